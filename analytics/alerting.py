"""Raising alerts: one row per cause, found anew by every run, told once."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Count, QuerySet
from django.utils import timezone

from analytics.models import Alert, ApplianceDrift, DriftRun, GasShift, PeriodBias
from common.audit import audit
from common.problems import Problem
from fleet.models import GasArea
from people.models import User
from people.permissions import sees_everything

OFF_FROM_CO2_PCT = 0.1
"""An analyser surely off by more than this is worth an alert: a third of the usual acceptance half-width."""
OFF_WITHIN = timedelta(days=540)
"""A period's bias is often known only once other analysers have read the same burners a year later."""
GAS_FROM_PCT, GAS_SIGMAS, GAS_WITHIN = 1.0, 2.58, timedelta(days=365)
OUTSIDE_FROM = 0.5
SAME_CAUSE_WITHIN = timedelta(days=182)
VALUES = ["value", "low", "high", "day"]


@dataclass(frozen=True)
class Cause:
    """Something to be told of."""

    kind: str
    cause: str
    value: float
    low: float | None = None
    high: float | None = None
    day: date | None = None
    appliance_id: int | None = None
    period_id: int | None = None
    gas_area_id: int | None = None


@transaction.atomic
def alerts_raise(run: DriftRun, *, now: datetime) -> int:
    """Look through a whole run. Returns how many are new. A cause that ceased is marked so."""
    own = ApplianceDrift.objects.filter(run=run)
    causes = [*_wanderers(own), *_outside(own), *_analysers(run), *_gases(run)]
    return _settle(Alert.objects.filter(holds=True), causes, run, now)


@transaction.atomic
def appliance_alerts_raise(run: DriftRun, appliance_id: int, *, now: datetime) -> int:
    """The same for one appliance that has just been fitted again."""
    own = ApplianceDrift.objects.filter(run=run, appliance=appliance_id)
    held = Alert.objects.filter(holds=True, appliance=appliance_id)
    return _settle(held, [*_wanderers(own), *_outside(own)], run, now)


@transaction.atomic
def alert_acknowledge(*, by: User, alert: Alert, note: str) -> Alert:
    """The office has seen it, and says what is done about it. Raises Problem `alert_acknowledged`."""
    if not sees_everything(by):
        raise PermissionDenied
    done = Alert.objects.filter(pk=alert.pk, acknowledged_at__isnull=True).update(
        acknowledged_by=by, acknowledged_at=timezone.now(), note=note
    )
    if done != 1:
        raise Problem("alert_acknowledged", "This alert has been acknowledged already.", status=409)
    audit(by=by, verb="acknowledged", subject=alert, note=note)
    alert.refresh_from_db()
    return alert


def _wanderers(rows: QuerySet[ApplianceDrift]) -> Iterable[Cause]:
    """A part fitted since makes it another cause: the trim's state is another."""
    flagged = rows.filter(flagged=True).annotate(parts=Count("appliance__burners__parts"))
    for pk, chance, parts in flagged.values_list("appliance", "wander_probability", "parts"):
        yield Cause("wanderer", f"appliance {pk} parts {parts}", chance or 0.0, appliance_id=pk)


def _outside(rows: QuerySet[ApplianceDrift]) -> Iterable[Cause]:
    """Rather outside than inside by the annual date. A wanderer is told as such, and not again."""
    quiet = rows.filter(flagged=False, next_visit_by__isnull=False)
    columns = ("appliance", "outside", "next_visit_by", "appliance__next_due_on")
    for pk, outside, by, due_on in quiet.values_list(*columns):
        chance = chance_on([(date.fromisoformat(day), value) for day, value in outside], due_on)
        if chance is not None and chance >= OUTSIDE_FROM:
            yield Cause("outside", f"appliance {pk}", chance, day=by, appliance_id=pk)


def chance_on(rows: Sequence[tuple[date, float]], day: date | None) -> float | None:
    """The probability on a day, between the days that are told; the last one's where no day is given."""
    if not rows:
        return None
    if day is None or day >= rows[-1][0]:
        return rows[-1][1]
    for (first, low), (later, high) in pairwise(rows):
        if first <= day < later:
            return low + (high - low) * (day - first).days / (later - first).days
    return rows[0][1]


def _analysers(run: DriftRun) -> Iterable[Cause]:
    recent = PeriodBias.objects.filter(run=run, weak=False, last_on__gte=run.as_of - OFF_WITHIN)
    for pk, bias, u in recent.values_list("period", "bias_co2_pct", "bias_u_co2_pct"):
        low, high = bias - 1.96 * u, bias + 1.96 * u
        if low > OFF_FROM_CO2_PCT or high < -OFF_FROM_CO2_PCT:
            yield Cause("analyser", f"period {pk}", bias, low, high, period_id=pk)


def _gases(run: DriftRun) -> Iterable[Cause]:
    """A network area's newest sure shift each way."""
    rows = GasShift.objects.filter(
        run=run, gas_area__supply=GasArea.Supply.NETWORK, month__gte=run.as_of - GAS_WITHIN
    )
    newest: dict[str, Cause] = {}
    columns = ("gas_area", "month", "shift_pct", "shift_u_pct")
    for pk, month, shift, u in rows.order_by("month").values_list(*columns):
        if abs(shift) > max(GAS_FROM_PCT, GAS_SIGMAS * u):
            key = f"area {pk} {'richer' if shift > 0 else 'leaner'}"
            newest[key] = Cause("gas", key, shift, shift - 1.96 * u, shift + 1.96 * u, month, gas_area_id=pk)
    return newest.values()


def _settle(held: QuerySet[Alert], causes: Iterable[Cause], run: DriftRun, now: datetime) -> int:
    """Make the standing alerts those of the causes. Raced by another process, the database keeps one."""
    standing = {(row.kind, row.cause): row for row in held}
    wanted = {(cause.kind, cause.cause): cause for cause in causes}
    gone = [row.pk for key, row in standing.items() if key not in wanted]
    Alert.objects.filter(pk__in=gone).update(holds=False, ceased_at=now)
    fresh = {key: cause for key, cause in wanted.items() if key not in standing}
    back = _come_back(fresh, now)
    known = [(row, wanted[key]) for key, row in {**standing, **back}.items() if key in wanted]
    for row, cause in known:
        row.value, row.low, row.high, row.day = cause.value, cause.low, cause.high, cause.day
        row.holds, row.ceased_at = True, None
    Alert.objects.bulk_update([row for row, _ in known], [*VALUES, "holds", "ceased_at"], batch_size=500)
    new = [_row(cause, run) for key, cause in fresh.items() if key not in back]
    Alert.objects.bulk_create(new, ignore_conflicts=True, batch_size=500)
    return len(new)


def _come_back(fresh: dict[tuple[str, str], Cause], now: datetime) -> dict[tuple[str, str], Alert]:
    """Rows of the same causes that ceased lately, the newest of each."""
    ceased = Alert.objects.filter(holds=False, ceased_at__gte=now - SAME_CAUSE_WITHIN).order_by("pk")
    found = {(row.kind, row.cause): row for row in ceased}
    return {key: found[key] for key in fresh if key in found}


def _row(cause: Cause, run: DriftRun) -> Alert:
    return Alert(
        kind=cause.kind,
        cause=cause.cause,
        value=cause.value,
        low=cause.low,
        high=cause.high,
        day=cause.day,
        appliance_id=cause.appliance_id,
        period_id=cause.period_id,
        gas_area_id=cause.gas_area_id,
        raised_by=run,
    )
