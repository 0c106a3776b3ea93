"""A fit's arrays as rows of its run."""

import json
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import islice
from typing import Any

import numpy as np
from django.db import connection, models, transaction

from analytics.estimates import Appliances, Estimates, Trims
from analytics.models import ApplianceDrift, DriftRun, GasShift, PeriodBias, TrimDrift, Unit
from analytics.reading import FleetHistory
from analytics.reading.sources import FIRST_YEAR, TRIMS
from fleet.models import AnalyserPeriod
from visits.history.bulk import rows_write

ROWS_AT_ONCE = 5_000
EPOCH = date(1970, 1, 1)
EARLIER_VISIT_FROM = 0.05
"""Probability of being outside the acceptance band from which an earlier visit is proposed."""
LEAST_DAYS_AHEAD = 90

Written = Callable[[int], object]
_TRIM_NUMBERS = ("state", "state_u", "drift", "drift_low", "drift_high", "moved", "usual")
_TRIM_NUMBERS += ("from_analyser", "from_gas", "wander_probability")
_TRIM_COLUMNS = [
    "run", "appliance", "burner", "trim", "unit", "visits", "flagged", "reason", "change_points",
    "state", "state_u", "drift_per_year", "drift_low", "drift_high", "moved_per_year", "usual_per_year",
    "from_analyser_per_year", "from_gas_per_year", "wander_probability",
]  # fmt: skip
_APPLIANCE_COLUMNS = [
    "run", "appliance", "wander_probability", "flagged", "outside", "next_visit_by", "next_visit_reason",
    "next_visit_probability",
]  # fmt: skip


def estimates_write(
    run: DriftRun, read: FleetHistory, estimates: Estimates, *, due: dict[int, date], written: Written
) -> None:
    """Write everything under the run's number, some thousands of rows a transaction.

    due: appliance to its annual date.   written: told how many rows each transaction held.
    """
    for model, columns, rows in (
        (TrimDrift, _TRIM_COLUMNS, trim_rows(run, read, estimates.trims)),
        (ApplianceDrift, _APPLIANCE_COLUMNS, appliance_rows(run, read, estimates.appliances, due)),
        (PeriodBias, *_bias_rows(run, read, estimates)),
        (GasShift, *_shift_rows(run, read, estimates)),
    ):
        for chunk in _chunks(rows):
            rows_store(model, columns, chunk)
            written(len(chunk))


@transaction.atomic
def appliances_replace(
    run: DriftRun, read: FleetHistory, estimates: Estimates, *, due: dict[int, date]
) -> None:
    """Put the rows of the appliances that were read in the place of the run's own."""
    appliances = read.appliance_ids.tolist()
    TrimDrift.objects.filter(run=run, appliance__in=appliances).delete()
    ApplianceDrift.objects.filter(run=run, appliance__in=appliances).delete()
    rows_write(TrimDrift, _TRIM_COLUMNS, list(trim_rows(run, read, estimates.trims)))
    rows_write(ApplianceDrift, _APPLIANCE_COLUMNS, list(appliance_rows(run, read, estimates.appliances, due)))


@transaction.atomic
def rows_store(model: type[models.Model], columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """One chunk in one transaction."""
    rows_write(model, columns, rows)


def trim_rows(run: DriftRun, read: FleetHistory, trims: Trims) -> Iterator[tuple[Any, ...]]:
    """Values in the order of the trims' columns, burner by burner."""
    numbers = [_nullable(getattr(trims, name)) for name in _TRIM_NUMBERS]
    burner_ids, appliance_ids = read.burner_id.tolist(), read.appliance_id.tolist()
    visits, flagged, reason = trims.visits.tolist(), trims.flagged.tolist(), trims.reason.tolist()
    units = [(Unit.PCT_OF_K.value, (Unit.PASCAL if known else Unit.MILLI_W).value) for known in trims.pascal]
    for burner, (burner_id, appliance_id) in enumerate(zip(burner_ids, appliance_ids, strict=True)):
        for place, trim in enumerate(TRIMS):
            yield (
                run.pk,
                appliance_id,
                burner_id,
                trim,
                units[burner][place],
                visits[burner][place],
                flagged[burner][place],
                reason[burner][place],
                _json(trims.change_points.get((burner, place), [])),
                *(values[burner][place] for values in numbers),
            )


def appliance_rows(
    run: DriftRun, read: FleetHistory, appliances: Appliances, due: dict[int, date]
) -> Iterator[tuple[Any, ...]]:
    """Values in the order of the appliances' columns."""
    days = [EPOCH + timedelta(days=day) for day in appliances.outside_day.tolist()]
    words = [day.isoformat() for day in days]
    probability, flagged = _nullable(appliances.wander_probability), appliances.flagged.tolist()
    for place, appliance_id in enumerate(read.appliance_ids.tolist()):
        outside = appliances.outside[place]
        known = len(outside) > 0 and bool(np.isfinite(outside).all())
        rows = (
            [[day, round(value, 4)] for day, value in zip(words, outside.tolist(), strict=True)]
            if known
            else []
        )
        by, chance = _proposed(days, outside, run.as_of, due.get(appliance_id)) if known else (None, None)
        yield (
            run.pk,
            appliance_id,
            probability[place],
            flagged[place],
            _json(rows),
            by,
            ApplianceDrift.NextReason.OUTSIDE.value if by else "",
            chance,
        )


def _proposed(
    days: Sequence[date], outside: np.ndarray, as_of: date, due_on: date | None
) -> tuple[date | None, float | None]:
    """The day that the probability passes the cut, if before the annual date; never within 90 days."""
    late = np.flatnonzero(outside > EARLIER_VISIT_FROM)
    if not len(late):
        return None, None
    by = max(days[late[0]], as_of + timedelta(days=LEAST_DAYS_AHEAD))
    if due_on is None or by >= due_on:
        return None, None
    return by, float(outside[late[0]])


def _bias_rows(run: DriftRun, read: FleetHistory, estimates: Estimates) -> tuple[list[str], Iterator[Any]]:
    biases = estimates.biases
    columns = (biases.bias.tolist(), biases.u.tolist(), biases.readings.tolist(), biases.weak.tolist())
    rows = zip(read.period_ids.tolist(), *columns, strict=True) if len(biases.bias) else iter(())
    return (
        ["run", "period", "bias_co2_pct", "bias_u_co2_pct", "readings", "weak"],
        ((run.pk, *row) for row in rows),
    )


def _shift_rows(run: DriftRun, read: FleetHistory, estimates: Estimates) -> tuple[list[str], Iterator[Any]]:
    shifts = estimates.shifts
    months = [date(FIRST_YEAR + int(month) // 12, int(month) % 12 + 1, 1) for month in shifts.month]
    areas = read.area_ids[shifts.area.astype(np.int64)].tolist() if len(shifts.area) else []
    columns = (shifts.shift.tolist(), shifts.u.tolist(), shifts.readings.tolist(), shifts.weak.tolist())
    return (
        ["run", "gas_area", "month", "shift_pct", "shift_u_pct", "readings", "weak"],
        ((run.pk, *row) for row in zip(areas, months, *columns, strict=True)),
    )


@transaction.atomic
def period_biases_hand_over(run: DriftRun) -> int:
    """Write the run's biases into the analyser periods that the fleet owns. Returns how many."""
    rows = {row.period_id: row for row in PeriodBias.objects.filter(run=run)}
    periods = list(AnalyserPeriod.objects.filter(pk__in=rows).only("pk"))
    for period in periods:
        row = rows[period.pk]
        period.bias_co2_pct, period.bias_u_co2_pct = row.bias_co2_pct, row.bias_u_co2_pct
        period.bias_readings, period.bias_weak, period.bias_run = row.readings, row.weak, run.pk
    fields = ["bias_co2_pct", "bias_u_co2_pct", "bias_readings", "bias_weak", "bias_run"]
    AnalyserPeriod.objects.bulk_update(periods, fields, batch_size=500)
    return len(periods)


def day_number(instant: datetime) -> float:
    """Days since 1970, as the histories count them."""
    return instant.astimezone(UTC).timestamp() / 86_400


def _nullable(values: np.ndarray) -> list[Any]:
    return np.where(np.isfinite(values), values, None).tolist()


def _json(value: list[Any]) -> Any:
    """COPY takes JSON as text; elsewhere the field writes it."""
    return json.dumps(value) if connection.vendor == "postgresql" else value


def _chunks(rows: Iterator[Any]) -> Iterator[list[Any]]:
    rows = iter(rows)
    while chunk := list(islice(rows, ROWS_AT_ONCE)):
        yield chunk
