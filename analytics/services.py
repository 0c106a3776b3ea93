"""Writes of the drift work: the whole fleet under a new run, or a few appliances inside the current one."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache

from django.db import transaction
from django.db.models import Subquery
from django.utils import timezone

from analytics.claiming import Claim, claim
from analytics.costing.pricing import costs_reprice
from analytics.costing.reckoning import costs_of
from analytics.costing.taken_off import TakenOff
from analytics.costing.totals import total_of
from analytics.estimates import Estimates
from analytics.fitting import appliances_fit, fleet_fit
from analytics.handing_over import period_biases_hand_over
from analytics.keeping import Kept, KeptOutdated, unpacked
from analytics.models import (
    ApplianceDrift,
    BurnerTrend,
    DriftDuty,
    DriftPointer,
    DriftRun,
    FleetMonth,
    GasShift,
    ModelAgeing,
    PeriodBias,
    TechnicianRepeat,
    TrimDrift,
    TuningCost,
)
from analytics.reading import FleetHistory, history_read
from analytics.summing import sums_write
from analytics.trending import trends_write
from analytics.writing import appliances_replace, estimates_write
from common.models import OutboxEvent
from common.planner import tables_analyse
from fleet.models import Appliance
from fleet.records import PRICES_CHANGED

RUNS_KEPT = 2
ROWS_DELETED_AT_ONCE = 20_000
REFITTED_AT_ONCE = 200
_SHEETS = (
    TrimDrift, ApplianceDrift, PeriodBias, GasShift, FleetMonth, ModelAgeing, TechnicianRepeat, BurnerTrend,
    TuningCost,
)  # fmt: skip
_CURRENT = DriftPointer.objects.filter(only=1).values("current")[:1]
COMMIT_LAG = timedelta(minutes=10)
"""An event's time is its transaction's beginning; it may be seen this much later."""

Progress = Callable[[str, int], object]
"""Told the step (reading, fitting, writing, summing, catching up) and how many more rows of it are done."""


@dataclass(frozen=True)
class Recomputed:
    """What a recompute saw and found."""

    run: DriftRun
    estimated_trims: int
    flagged_trims: int
    refitted_appliances: int


def fleet_recompute(
    *,
    kind: DriftRun.Kind,
    now: datetime,
    dry_run: bool = False,
    progress: Progress = lambda step, rows: None,
) -> Recomputed:
    """Read, fit and write the whole fleet, then let readers see it. A dry run writes nothing.

    Visits closed meanwhile are refitted after. Raises DriftBusy where another recompute is under way.
    """
    as_of = timezone.localdate(now)
    if dry_run:
        run = DriftRun(kind=kind, started_at=now, as_of=as_of)
        return _counted(run, _fitted(run, progress)[1], refitted=0)
    held = claim(kind=kind, now=now, as_of=as_of)
    try:
        began = timezone.now()
        read, estimates = _fitted(held.run, progress)
        _publish(held, read, estimates, progress)
        return _counted(held.run, estimates, refitted=_catch_up(held.run, began, progress))
    finally:
        held.release()
        runs_forget()


def _fitted(run: DriftRun, progress: Progress) -> tuple[FleetHistory, Estimates]:
    """Read and fit, and note on the run, unsaved, what it saw."""
    run.read_at = timezone.now()
    read = history_read(progress=progress)
    progress("fitting", 0)
    estimates, kept = fleet_fit(read, as_of=run.as_of)
    run.visits, run.firing_tests, run.burners = read.history.visits, read.tests, len(read.burner_id)
    run.flagged_appliances = int(estimates.appliances.flagged.sum())
    run.hyperparameters, run.kept = kept.figures(), kept.packed()
    return read, estimates


def _counted(run: DriftRun, estimates: Estimates, *, refitted: int) -> Recomputed:
    trims = estimates.trims
    return Recomputed(run, int((trims.reason == "").sum()), int(trims.flagged.sum()), refitted)


def _publish(held: Claim, read: FleetHistory, estimates: Estimates, progress: Progress) -> None:
    run = held.run

    def written(rows: int) -> None:
        held.renew()
        progress("writing", rows)

    run.priced_at = timezone.now()
    costs = costs_of(None, as_of=run.as_of, taken=TakenOff.of_fit(read, estimates))
    estimates_write(run, read, estimates, costs=costs, due=_due(None), written=written)
    tables_analyse(TrimDrift, ApplianceDrift, PeriodBias, GasShift, TuningCost)
    run.tuning_cost = total_of(TuningCost.objects.filter(run=run)).as_json()
    with transaction.atomic():
        run.finished_at = timezone.now()
        run.save()
        held.flip()
        period_biases_hand_over(run)
    # counted against the biases just handed over; a page whose sums are not there yet says so
    sums_write(run)
    trends_write(run)
    progress("summing", 0)


def appliances_refit(appliance_ids: Sequence[int]) -> int:
    """Fit these appliances again inside the current run, whose bias, gas and fleet-wide figures are held.

    Returns the number of appliances; 0 where the next run will see them: there is none yet, or the current
    one is an earlier engine's.
    """
    ids = sorted(set(appliance_ids))
    with transaction.atomic():
        # held before the record is read, so that an older reading never overwrites a newer one
        list(
            Appliance.objects.select_for_update(no_key=True)
            .filter(pk__in=ids)
            .order_by("pk")
            .values_list("pk")
        )
        run = current_run()
        if run is None:
            return 0
        kept = _kept_or_owed(run)
        if kept is None:
            return 0
        read = history_read(ids, numbering=kept.numbering)
        trims, appliances = appliances_fit(read, kept, as_of=run.as_of)
        costs = costs_of(ids, as_of=run.as_of, priced_on=timezone.localdate(), run=run)
        appliances_replace(run, ids, read, trims, appliances, costs=costs, due=_due(ids))
    return len(ids)


def current_run() -> DriftRun | None:
    """The run that readers see."""
    return DriftRun.objects.defer("kept").filter(pk=Subquery(_CURRENT)).first()


def _kept_or_owed(run: DriftRun) -> Kept | None:
    """What a run learnt of the fleet; where this engine cannot hold it, a recompute is asked for."""
    kept = kept_of_run(run.pk, run.started_at)
    if kept is None:
        DriftDuty.objects.get_or_create(period=f"engine of run {run.pk} is outdated")
    return kept


@lru_cache(maxsize=2)
def kept_of_run(run_id: int, started_at: datetime) -> Kept | None:
    """What a run learnt of the fleet, read once in each process; None where this engine cannot hold it."""
    data = DriftRun.objects.values_list("kept", flat=True).get(pk=run_id)
    try:
        return None if data is None else unpacked(bytes(data))
    except KeptOutdated:
        return None


def _catch_up(run: DriftRun, began: datetime, progress: Progress) -> int:
    """Refit what was closed or corrected while the run was reading and writing, at the prices as they are."""
    since = began - COMMIT_LAG
    events = OutboxEvent.objects.filter(kind__in=["visit.closed", "visit.corrected"], created_at__gte=since)
    appliances = sorted({payload["appliance"] for payload in events.values_list("payload", flat=True)})
    for start in range(0, len(appliances), REFITTED_AT_ONCE):
        some = appliances[start : start + REFITTED_AT_ONCE]
        appliances_refit(some)
        progress("catching up", len(some))
    if OutboxEvent.objects.filter(kind=PRICES_CHANGED, created_at__gte=since).exists():
        costs_reprice(run, now=timezone.now(), on=timezone.localdate())
    return len(appliances)


def runs_forget() -> int:
    """Delete all but the last two finished runs, and what broken ones left. Returns rows deleted."""
    finished = DriftRun.objects.filter(finished_at__isnull=False).order_by("-id")
    kept = [*finished.values_list("pk", flat=True)[:RUNS_KEPT], *_held_runs()]
    return sum(_forget(run) for run in DriftRun.objects.defer("kept").exclude(pk__in=kept))


def _forget(run: DriftRun) -> int:
    gone = 0
    for model in _SHEETS:
        rows = model.objects.filter(run=run).order_by()
        while ids := list(rows.values_list("pk", flat=True)[:ROWS_DELETED_AT_ONCE]):
            gone += model.objects.filter(pk__gte=min(ids), pk__lte=max(ids), run=run).delete()[0]
    # a run that began meanwhile is nobody's to delete
    unheld = DriftRun.objects.filter(pk=run.pk).exclude(pk__in=_held_runs())
    return gone + unheld.delete()[0]


def _held_runs() -> list[int]:
    pointer = DriftPointer.objects.filter(only=1).first()
    held = (pointer.current_id, pointer.computing_id) if pointer else ()
    return [run for run in held if run is not None]


def _due(appliance_ids: Sequence[int] | None) -> dict[int, date]:
    """Annual dates by appliance."""
    rows = Appliance.objects.filter(next_due_on__isnull=False)
    if appliance_ids is not None:
        rows = rows.filter(pk__in=appliance_ids)
    return dict(rows.values_list("pk", "next_due_on"))
