"""Drift and analyser bias as sheets: one row after the other, however large the fleet."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from analytics.models import (
    ApplianceDrift,
    BurnerTrend,
    DriftPointer,
    PeriodBias,
    Reason,
    TrimDrift,
    TuningCost,
    Unit,
)
from analytics.quantities import BY_CODE
from analytics.reading.sources import TRIMS
from common.sheets import Echo, inert
from fleet.models import Appliance, ApplianceModel, Burner

PLACE_COLUMNS = ("customer", "site", "plant")
"""A tag is known within its plant only: the sheets of the whole fleet end with these."""
DRIFT_COLUMNS = (
    "appliance", "burner", "trim", "visits", "drift_per_year", "drift_low", "drift_high", "unit",
    "wander_probability", "flagged", "next_visit_by", "reason", *PLACE_COLUMNS,
)  # fmt: skip
TREND_COLUMNS = (
    "appliance", "burner", "quantity", "unit", "readings", "level", "slope_per_year", "slope_low",
    "slope_high", "step", "step_on", "limit", "limit_source", "passes_on", "passes_earliest_on",
)  # fmt: skip
COST_COLUMNS = (
    "appliance", "burner", "found_on", "points", "indicative", "high_excess_air_pct",
    "high_target_excess_air_pct", "low_excess_air_pct", "low_target_excess_air_pct", "lost_pct", "lost_u_pct",
    "use_kwh", "use_source", "lost_kwh", "lost_low_kwh", "lost_high_kwh", "lost_m3", "co2_kg", "co2_low_kg",
    "co2_high_kg", "price_per_kwh", "currency", "money", "money_low", "money_high", "reason",
)  # fmt: skip
TREND_SHEET_COLUMNS = (*TREND_COLUMNS, *PLACE_COLUMNS)
COST_SHEET_COLUMNS = (*COST_COLUMNS, *PLACE_COLUMNS)
ANALYSER_COLUMNS = ("analyser", "calibrated_on", "readings", "bias_co2_pct", "bias_u", "weak")
UNIT_WORDS = {
    Unit.PCT_OF_K.value: "% of K a year",
    Unit.PASCAL.value: "Pa a year",
    Unit.MILLI_W.value: "1e-3 of w a year",
}
BURNERS_AT_ONCE = 2_000
_PLACED = ("appliance__plant__site__customer", "burner")
_NUMBERS = ("drift_per_year", "drift_low", "drift_high", "wander_probability")

Sheet = Iterator[tuple[Any, ...]]


def sheet_lines(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    """Lines of a CSV file, text that a spreadsheet would run made inert; numbers stay numbers."""
    sheet = csv.writer(Echo())
    yield sheet.writerow(columns)
    for row in rows:
        yield sheet.writerow([inert(cell) for cell in row])


def drift_rows() -> Sheet:
    """One row per appliance, burner and trim of the fleet, from the run that readers see at the start."""
    run_id = _current_run_id()
    last = 0
    while burners := _burners_after(last):
        last = burners[-1][0]
        ids = [burner[0] for burner in burners]
        trims = {
            (row["burner_id"], row["trim"]): row
            for row in TrimDrift.objects.filter(run=run_id, burner__in=ids).values(
                "burner_id", "trim", "visits", "unit", "flagged", "reason", *_NUMBERS
            )
        }
        next_visit_by = dict(
            ApplianceDrift.objects.filter(
                run=run_id, appliance__in={burner[1] for burner in burners}, next_visit_by__isnull=False
            ).values_list("appliance", "next_visit_by")
        )
        for pk, appliance_id, *place in burners:
            for trim in TRIMS:
                yield _drift_row(trims.get((pk, trim)), trim, place, next_visit_by.get(appliance_id))


def analyser_rows() -> Sheet:
    """One row per analyser period with an estimate: reading minus truth at 9 % CO2."""
    rows = PeriodBias.objects.filter(run=_current_run_id()).order_by(
        "period__analyser__tag", "period__starts_on", "period"
    )
    yield from (
        (tag, _text(starts_on), readings, _rounded(bias), _rounded(u), _text(weak))
        for tag, starts_on, readings, bias, u, weak in rows.values_list(
            "period__analyser__tag",
            "period__starts_on",
            "readings",
            "bias_co2_pct",
            "bias_u_co2_pct",
            "weak",
        ).iterator(chunk_size=BURNERS_AT_ONCE)
    )


def trend_rows() -> Sheet:
    """One row per burner and quantity that surely trends or has stepped, and its place."""
    rows = BurnerTrend.objects.filter(run=_current_run_id()).select_related(*_PLACED)
    for row in rows.order_by("burner_id", "quantity").iterator(chunk_size=BURNERS_AT_ONCE):
        yield tuple(_blank(cell) for cell in [*trend_cells(row), *_place(row.appliance)])


def trend_cells(row: BurnerTrend) -> list[Any]:
    """One trend in the order of TREND_COLUMNS."""
    return [
        row.appliance.tag, burner_label(row.burner.name, row.burner.position), row.quantity,
        BY_CODE[row.quantity].unit, row.readings, row.level, row.slope, row.slope_low, row.slope_high,
        row.step, row.step_on, row.limit, row.limit_source, row.passes_on, row.passes_earliest_on,
    ]  # fmt: skip


def cost_rows() -> Sheet:
    """One row per burner read as found in the last three years: what being out of tune costs it a year."""
    rows = TuningCost.objects.filter(run=_current_run_id()).select_related(*_PLACED)
    for row in rows.order_by("burner_id").iterator(chunk_size=BURNERS_AT_ONCE):
        yield tuple(_blank(cell) for cell in [*cost_cells(row), *_place(row.appliance)])


def cost_cells(row: TuningCost) -> list[Any]:
    """One burner in the order of COST_COLUMNS; None where there is no figure."""
    nothing = [None, None, None]
    volume = row.worth(row.m3_per_kwh) or nothing
    co2, money = row.worth(row.co2_kg_per_kwh) or nothing, row.worth(row.price_per_kwh) or nothing
    return [
        row.appliance.tag, burner_label(row.burner.name, row.burner.position), row.read_on, row.points,
        row.indicative, row.high_excess_air_pct, row.high_target_excess_air_pct, row.low_excess_air_pct,
        row.low_target_excess_air_pct, row.lost_pct, row.lost_u_pct, row.use_kwh, row.use_source,
        row.lost_kwh, row.lost_low_kwh, row.lost_high_kwh, volume[0], *co2, row.price_per_kwh, row.currency,
        *money, row.reason,
    ]  # fmt: skip


def burner_label(name: str, position: int) -> str:
    """A burner's name, else its number in the casing: what a history file calls it."""
    return name or str(position)


def _place(appliance: Appliance) -> tuple[str, str, str]:
    plant = appliance.plant
    return plant.site.customer.name, plant.site.name, plant.name


def _current_run_id() -> int | None:
    return DriftPointer.objects.values_list("current_id", flat=True).first()


def _burners_after(last: int) -> list[tuple[Any, ...]]:
    rows = Burner.objects.filter(pk__gt=last).order_by("pk")
    plant = "appliance__plant"
    columns = (
        *("pk", "appliance_id", "appliance__tag", "name", "position", "appliance__model__ratio_control"),
        *(f"{plant}__site__customer__name", f"{plant}__site__name", f"{plant}__name"),
    )
    return list(rows.values_list(*columns)[:BURNERS_AT_ONCE])


def _drift_row(
    row: dict[str, Any] | None, trim: str, place: Sequence[Any], next_visit_by: Any
) -> tuple[Any, ...]:
    tag, name, position, ratio_control, *where = place
    if row is None:
        premix = ratio_control == ApplianceModel.RatioControl.PNEUMATIC_PREMIX
        why = Reason.NO_READINGS if premix else Reason.NOT_PREMIX
        row = {name: None for name in _NUMBERS}
        row |= {"visits": 0, "unit": "", "flagged": False, "reason": why.value}
    drift, low, high, probability = (_rounded(row[name]) for name in _NUMBERS)
    return (
        tag,
        burner_label(name, position),
        trim,
        row["visits"],
        drift,
        low,
        high,
        UNIT_WORDS.get(row["unit"], ""),
        probability,
        _text(row["flagged"]),
        _text(next_visit_by),
        Reason(row["reason"]).label if row["reason"] else "",
        *where,
    )


def _blank(cell: Any) -> Any:
    return _rounded(cell) if isinstance(cell, float) else _text(cell)


def _rounded(value: float | None) -> float | str:
    return "" if value is None else round(value, 6)


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is None else str(value)
