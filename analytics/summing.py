"""Sums over the fleet for the pages, written once under a run's number."""

from datetime import date, timedelta

import numpy as np
from django.conf import settings
from django.db import transaction
from django.db.models import Avg, Count, Exists, F, OuterRef, QuerySet, Subquery

from analytics.drift.pooling import pooled_means, repeatability
from analytics.estimates import EPOCH
from analytics.models import DriftRun, ModelAgeing, PeriodBias, TechnicianRepeat, TrimDrift, Unit
from analytics.reading.columns import Columns, EpochDays, Place, columns_read
from analytics.reading.sources import TRIMS
from analytics.verdicts import changed_by_bias
from visits.models import Adjustment, FiringTest, Phase, TestResult

AGE_BANDS = (0, 5, 10, 15)
ALL_AGES, UNKNOWN_AGE = -2, -1
UNITS = (Unit.PCT_OF_K.value, Unit.PASCAL.value, Unit.MILLI_W.value)
RECENT = timedelta(days=730)
PAIRS_SINCE = timedelta(days=3 * 365)
LEAST_PAIRS = 20
"""Fewer repeated readings than this say nothing of a person."""


def sums_write(run: DriftRun) -> None:
    """Everything, each sheet whole or not at all; written again where it is there already."""
    for write in (ageing_write, repeats_write, verdicts_count):
        with transaction.atomic():
            write(run)


def ageing_write(run: DriftRun) -> None:
    """Drift by model, trim and age."""
    read = columns_read(
        TrimDrift.objects.filter(run=run, reason=""),
        {
            "model": ("i8", "appliance__model_id"),
            "trim": ("i2", Place("trim", TRIMS)),
            "unit": ("i2", Place("unit", UNITS)),
            "installed": ("f8", EpochDays("appliance__installed_on")),
            "drift": ("f8", "drift_per_year"),
            "low": ("f8", "drift_low"),
            "high": ("f8", "drift_high"),
            "moved": ("f8", "moved_per_year"),
            "flagged": ("i2", Place("flagged", (False, True))),
        },
    )
    u = (read["high"] - read["low"]) / (2 * 1.96)
    use = np.isfinite(read["drift"]) & (u > 0)
    read = {name: column[use] for name, column in read.items()}
    ModelAgeing.objects.filter(run=run).delete()
    band = _bands(read["installed"], run.as_of)
    everyone = np.full(len(band), ALL_AGES)
    rows = [row for ages in (everyone, band) for row in _ageing(run, read, u[use], ages)]
    ModelAgeing.objects.bulk_create(rows, batch_size=1000)


def _bands(installed: np.ndarray, as_of: date) -> np.ndarray:
    years = ((as_of - EPOCH).days - installed) / 365.25
    known = np.isfinite(years)
    place = np.clip(np.searchsorted(AGE_BANDS, np.where(known, years, 0.0), side="right") - 1, 0, None)
    return np.where(known, np.array(AGE_BANDS)[place], UNKNOWN_AGE)


def _ageing(run: DriftRun, read: Columns, u: np.ndarray, ages: np.ndarray) -> list[ModelAgeing]:
    keys = np.stack([read["model"], read["trim"], read["unit"], ages], axis=1)
    if not len(keys):
        return []
    unique, group = np.unique(keys, axis=0, return_inverse=True)
    group = group.ravel()
    pooled = pooled_means(read["drift"], u, group, len(unique))
    flagged = np.bincount(group, read["flagged"] == 1, minlength=len(unique)).astype(int)
    order = np.argsort(group, kind="stable")
    moved = np.split(read["moved"][order], np.cumsum(pooled.count)[:-1])
    return [
        ModelAgeing(
            run=run,
            model_id=int(model),
            trim=TRIMS[int(trim)],
            unit=UNITS[int(unit)],
            age_from=int(age),
            burners=int(pooled.count[place]),
            flagged=int(flagged[place]),
            drift=float(pooled.mean[place]),
            drift_low=_known(pooled.low[place]),
            drift_high=_known(pooled.high[place]),
            moved=float(np.nanmedian(moved[place])),
        )
        for place, (model, trim, unit, age) in enumerate(unique.tolist())
    ]


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def repeats_write(run: DriftRun) -> None:
    """How closely each technician's readings repeat, where the firm has agreed to have it worked out."""
    TechnicianRepeat.objects.filter(run=run).delete()
    if not settings.TECHNICIAN_REPEATABILITY:
        return
    rows = repeated_pairs(since=run.as_of - PAIRS_SINCE).values("visit__technician")
    found = rows.annotate(pairs=Count("pk"), square=Avg(F("apart") * F("apart"))).order_by()
    made = []
    for row in found.filter(pairs__gte=LEAST_PAIRS):
        sd, low, high = repeatability(row["pairs"], row["square"])
        made.append(
            TechnicianRepeat(
                run=run,
                technician_id=row["visit__technician"],
                pairs=row["pairs"],
                sd_co2_pct=sd,
                sd_low_co2_pct=low,
                sd_high_co2_pct=high,
            )
        )
    TechnicianRepeat.objects.bulk_create(made)


def repeated_pairs(*, since: date) -> QuerySet[FiringTest]:
    """As-left tests whose burner and point were read as found on the same visit with nothing moved between.

    Each carries `apart`: as left minus as found, CO2 dry vol %.
    """
    found = FiringTest.objects.standing().filter(
        visit=OuterRef("visit"), burner=OuterRef("burner"), point=OuterRef("point"), phase=Phase.AS_FOUND
    )
    moved = Adjustment.objects.filter(visit=OuterRef("visit"), burner=OuterRef("burner"), withdrawn_reason="")
    own = TestResult.objects.filter(test=OuterRef("pk")).order_by("-engine_version")
    theirs = TestResult.objects.filter(test=OuterRef("first")).order_by("-engine_version")
    rows = FiringTest.objects.for_drift().filter(
        phase=Phase.AS_LEFT,
        visit__local_on__gte=since,
        visit__technician__isnull=False,
        point__in=["high", "low"],
    )
    rows = rows.filter(~Exists(moved)).annotate(
        first=Subquery(found.order_by("-sequence", "-pk").values("pk")[:1]),
        after=Subquery(own.values("co2_pct")[:1]),
    )
    rows = rows.annotate(before=Subquery(theirs.values("co2_pct")[:1]))
    both: QuerySet[FiringTest] = rows.filter(before__isnull=False, after__isnull=False)
    return both.annotate(apart=F("after") - F("before"))


def verdicts_count(run: DriftRun) -> None:
    """Per recent analyser period, how many tests as found its bias put on the other side of a limit."""
    recent = PeriodBias.objects.filter(run=run, last_on__gte=run.as_of - RECENT, weak=False)
    changed = dict(
        changed_by_bias(period__in=recent.values("period"))
        .values("test__visit__analyser_period")
        .annotate(count=Count("pk"))
        .values_list("test__visit__analyser_period", "count")
        .order_by()
    )
    rows = list(recent.only("pk", "period_id"))
    for row in rows:
        row.verdicts_changed = changed.get(row.period_id, 0)
    PeriodBias.objects.bulk_update(rows, ["verdicts_changed"], batch_size=500)


__all__ = ["ALL_AGES", "UNKNOWN_AGE", "ageing_write", "repeats_write", "sums_write", "verdicts_count"]
