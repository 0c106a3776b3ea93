"""A fit's arrays as rows of its run."""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from itertools import repeat
from typing import Any

import numpy as np
from django.db import models, transaction
from django.db.models import Count, Q
from django.db.models.functions import TruncMonth

from analytics.costing.reckoning import Costs
from analytics.costing.storing import COLUMNS as COST_COLUMNS
from analytics.costing.storing import Ends, cost_rows, costs_by_appliance, nullable
from analytics.estimates import EPOCH, Appliances, Biases, Estimates, FloatArray, IntArray, Shifts, Trims
from analytics.models import (
    ApplianceDrift,
    DriftRun,
    FleetMonth,
    GasShift,
    PeriodBias,
    TrimDrift,
    TuningCost,
    Unit,
)
from analytics.reading import FleetHistory
from analytics.reading.sources import FIRST_YEAR, TRIMS
from common.bulk import rows_write
from common.grouping import in_chunks
from visits.models import Visit

ROWS_AT_ONCE = 5_000
INSIDE_FROM, OUTSIDE_TO = 0.95, 0.05
"""Health from which a visit counts as inside, and up to which as outside: the words of a verdict."""

Written = Callable[[int], object]
_TRIM_NUMBERS = (
    "state", "state_u", "drift", "drift_low", "drift_high", "moved", "usual", "from_analyser", "from_gas",
    "wander_probability",
)  # fmt: skip
_TRIM_COLUMNS = [
    "run", "appliance", "burner", "trim", "unit", "visits", "flagged", "reason", "change_points",
    "state", "state_u", "drift_per_year", "drift_low", "drift_high", "moved_per_year", "usual_per_year",
    "from_analyser_per_year", "from_gas_per_year", "wander_probability",
]  # fmt: skip
_APPLIANCE_COLUMNS = [
    "run", "appliance", "wander_probability", "flagged", "outside", "next_visit_by", "next_visit_reason",
    "cost_kwh", "cost_low_kwh", "cost_high_kwh",
]  # fmt: skip
_BIAS_COLUMNS = [
    "run", "period", "bias_co2_pct", "bias_u_co2_pct", "readings", "weak", "visits", "first_on", "last_on",
]  # fmt: skip
_SHIFT_COLUMNS = ["run", "gas_area", "month", "shift_pct", "shift_u_pct", "readings", "weak"]


def estimates_write(
    run: DriftRun,
    read: FleetHistory,
    estimates: Estimates,
    *,
    costs: Costs,
    due: dict[int, date],
    written: Written,
) -> None:
    """Write everything under the run's number, some thousands of rows a transaction.

    due: appliance to its annual date.   written: told how many rows each transaction held.
    """
    together = costs_by_appliance(costs)
    sheets: list[tuple[type[models.Model], list[str], Iterator[tuple[Any, ...]]]] = [
        (TrimDrift, _TRIM_COLUMNS, trim_rows(run, read, estimates.trims)),
        (ApplianceDrift, _APPLIANCE_COLUMNS, appliance_rows(run, read, estimates.appliances, due, together)),
        (TuningCost, COST_COLUMNS, cost_rows(run, costs)),
        (PeriodBias, _BIAS_COLUMNS, _bias_rows(run, read, estimates.biases)),
        (GasShift, _SHIFT_COLUMNS, _shift_rows(run, read, estimates.shifts)),
    ]
    for model, columns, rows in sheets:
        for chunk in in_chunks(rows, ROWS_AT_ONCE):
            rows_store(model, columns, chunk)
            written(len(chunk))
    months_write(run)


@transaction.atomic
def appliances_replace(
    run: DriftRun,
    ids: Sequence[int],
    read: FleetHistory,
    trims: Trims,
    appliances: Appliances,
    *,
    costs: Costs,
    due: dict[int, date],
) -> None:
    """Put what was reckoned of these appliances in the place of the run's own rows of them."""
    for model in (TrimDrift, ApplianceDrift, TuningCost):
        model.objects.filter(run=run, appliance__in=ids).delete()
    together = costs_by_appliance(costs)
    rows_write(TrimDrift, _TRIM_COLUMNS, list(trim_rows(run, read, trims)))
    rows_write(ApplianceDrift, _APPLIANCE_COLUMNS, list(appliance_rows(run, read, appliances, due, together)))
    rows_write(TuningCost, COST_COLUMNS, list(cost_rows(run, costs)))


@transaction.atomic
def rows_store(model: type[models.Model], columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """One chunk in one transaction."""
    rows_write(model, columns, rows)


def trim_rows(run: DriftRun, read: FleetHistory, trims: Trims) -> Iterator[tuple[Any, ...]]:
    """Values in the order of the trims' columns, burner by burner."""
    burners, count = len(read.burner_id), len(TRIMS)
    offset_unit = np.where(trims.pascal, Unit.PASCAL.value, Unit.MILLI_W.value)
    units = np.stack([np.full(burners, Unit.PCT_OF_K.value), offset_unit], axis=1)
    points = [json.dumps([])] * (burners * count)
    for (burner, place), found in trims.change_points.items():
        points[burner * count + place] = json.dumps(found)
    return zip(
        repeat(run.pk, burners * count),
        np.repeat(read.appliance_id, count).tolist(),
        np.repeat(read.burner_id, count).tolist(),
        TRIMS * burners,
        units.ravel().tolist(),
        trims.visits.ravel().tolist(),
        trims.flagged.ravel().tolist(),
        trims.reason.ravel().tolist(),
        points,
        *(nullable(getattr(trims, name).ravel()) for name in _TRIM_NUMBERS),
        strict=True,
    )


def appliance_rows(
    run: DriftRun,
    read: FleetHistory,
    appliances: Appliances,
    due: dict[int, date],
    costs: Mapping[int, Ends],
) -> Iterator[tuple[Any, ...]]:
    """Values in the order of the appliances' columns."""
    days = [EPOCH + timedelta(days=day) for day in appliances.outside_day.tolist()]
    words = [day.isoformat() for day in days]
    probability, flagged = nullable(appliances.wander_probability), appliances.flagged.tolist()
    for place, appliance_id in enumerate(read.appliance_ids.tolist()):
        outside = appliances.outside[place]
        known = len(outside) > 0 and bool(np.isfinite(outside).all())
        rows = (
            [[day, round(value, 4)] for day, value in zip(words, outside.tolist(), strict=True)]
            if known
            else []
        )
        by = _proposed(appliances.next_visit_day[place], run.as_of, due.get(appliance_id))
        yield (
            run.pk,
            appliance_id,
            probability[place],
            flagged[place],
            json.dumps(rows),
            by,
            ApplianceDrift.NextReason.OUTSIDE.value if by else "",
            *costs.get(appliance_id, (None, None, None)),
        )


def _proposed(next_visit_day: float, as_of: date, due_on: date | None) -> date | None:
    """The day by which to come earlier, where that is not past and before the annual date."""
    if np.isnan(next_visit_day):
        return None
    by = max(EPOCH + timedelta(days=int(next_visit_day)), as_of)
    return by if due_on is None or by < due_on else None


def _bias_rows(run: DriftRun, read: FleetHistory, biases: Biases) -> Iterator[tuple[Any, ...]]:
    visits, first_day, last_day = _used(read)
    for place in np.flatnonzero(np.isfinite(biases.bias)).tolist():
        yield (
            run.pk,
            int(read.numbering.period_ids[place]),
            float(biases.bias[place]),
            float(biases.u[place]),
            int(biases.readings[place]),
            bool(biases.weak[place]),
            int(visits[place]),
            EPOCH + timedelta(days=int(first_day[place])),
            EPOCH + timedelta(days=int(last_day[place])),
        )


def _used(read: FleetHistory) -> tuple[IntArray, FloatArray, FloatArray]:
    """Visits, first and last day of each analyser period (P,)."""
    period, day = read.history.period[:, 0], read.history.day
    known, count = period >= 0, len(read.numbering.period_ids)
    first, last = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(first, period[known], day[known])
    np.maximum.at(last, period[known], day[known])
    return np.bincount(period[known], minlength=count), first, last


def _shift_rows(run: DriftRun, read: FleetHistory, shifts: Shifts) -> Iterator[tuple[Any, ...]]:
    for place in np.flatnonzero(np.isfinite(shifts.shift)).tolist():
        month = int(shifts.month[place])
        yield (
            run.pk,
            int(read.numbering.area_ids[shifts.area[place]]),
            date(FIRST_YEAR + month // 12, month % 12 + 1, 1),
            float(shifts.shift[place]),
            float(shifts.u[place]),
            int(shifts.readings[place]),
            bool(shifts.weak[place]),
        )


@transaction.atomic
def months_write(run: DriftRun) -> None:
    """Count every month's closed visits by their health as found, under the run's number.

    Those judged in part count as not judged: they are not ranked against whole ones.
    """
    whole = Q(health_as_found__isnull=False, health_as_found_full=True)
    verdicts = {
        "inside": whole & Q(health_as_found__gte=INSIDE_FROM),
        "probably_inside": whole & Q(health_as_found__gte=0.5, health_as_found__lt=INSIDE_FROM),
        "probably_outside": whole & Q(health_as_found__gt=OUTSIDE_TO, health_as_found__lt=0.5),
        "outside": whole & Q(health_as_found__lte=OUTSIDE_TO),
        "not_judged": Q(health_as_found__isnull=True) | Q(health_as_found_full=False),
    }
    counted = (
        Visit.objects.closed()
        .order_by()
        .annotate(first_day=TruncMonth("local_on"))
        .values("first_day")
        .annotate(**{word: Count("pk", filter=condition) for word, condition in verdicts.items()})
    )
    FleetMonth.objects.bulk_create(
        FleetMonth(run=run, month=row.pop("first_day"), **row) for row in list(counted)
    )
