"""What was reckoned, as rows of its run, and what an appliance's burners cost together."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import numpy as np

from analytics.costing.reckoning import Costs
from analytics.costing.totals import COVERAGE_Z
from analytics.estimates import EPOCH, FloatArray
from analytics.models import PARTS, DriftRun
from analytics.reading.sources import FUELS

COLUMNS = [
    "run", "appliance", "burner", "period", "fuel", "read_on", "points", "indicative", "reason",
    "high_excess_air_pct", "low_excess_air_pct", "high_target_excess_air_pct", "low_target_excess_air_pct",
    "lost_pct", "lost_u_pct", "use_kwh", "use_source", "lost_kwh", "lost_low_kwh", "lost_high_kwh",
    *(f"part_{name}_kwh" for name in PARTS), "price_per_kwh", "currency",
]  # fmt: skip
Ends = tuple[float, float, float]


def cost_rows(run: DriftRun, costs: Costs) -> Iterator[tuple[Any, ...]]:
    """Values in the order of COLUMNS, burner by burner."""
    found, told = costs.found, costs.reason == ""
    numbers = [
        *(costs.air[:, place] for place in (0, 1)),
        *(costs.target[:, place] for place in (0, 1)),
        100.0 * costs.lost,
        100.0 * costs.lost_u,
        costs.use_kwh,
    ]
    kwh = [costs.loss.kwh, costs.loss.low, costs.loss.high, *(costs.loss.parts[name] for name in PARTS)]
    columns = [nullable(np.where(told, column, np.nan)) for column in (*numbers, *kwh)]
    ids = [found.place["appliance"].tolist(), found.place["id"].tolist(), found.period.tolist()]
    words = [found.fuel.tolist(), found.read_on.tolist(), costs.points.tolist(), costs.indicative.tolist()]
    sources, reasons = costs.use_source.tolist(), costs.reason.tolist()
    for row, (appliance, burner, period, fuel, day, points, indicative) in enumerate(
        zip(*ids, *words, strict=True)
    ):
        price, currency = costs.prices[row] or (None, "")
        values = [column[row] for column in columns]
        yield (
            run.pk, appliance, burner, period if period >= 0 else None, FUELS[fuel],
            EPOCH + timedelta(days=day), points, indicative, reasons[row],
            *values[: len(numbers)], sources[row], *values[len(numbers) :], price, currency,
        )  # fmt: skip


def costs_by_appliance(costs: Costs) -> dict[int, Ends]:
    """Appliance to its burners' cost together, kWh a year: what they share is added fully."""
    told = costs.reason == ""
    ids, at, count = np.unique(costs.found.place["appliance"][told], return_inverse=True, return_counts=True)

    def summed(values: FloatArray) -> FloatArray:
        return np.bincount(at, values[told], minlength=len(ids)).astype(np.float64)

    parts = costs.loss.parts
    shared = sum(summed(parts[name]) ** 2 for name in PARTS if name != "own")
    half = COVERAGE_Z * np.sqrt(summed(parts["own"] ** 2) + shared)
    middle = summed(costs.loss.kwh)
    alone = count == 1
    low = np.where(alone, summed(costs.loss.low), middle - half)
    high = np.where(alone, summed(costs.loss.high), middle + half)
    ends = zip(middle.tolist(), low.tolist(), high.tolist(), strict=True)
    return dict(zip(ids.tolist(), ends, strict=True))


def nullable(values: FloatArray) -> list[Any]:
    """Numbers as a column takes them: None where they are not finite."""
    cells = values.astype(object)
    cells[~np.isfinite(values)] = None
    return list(cells.tolist())
