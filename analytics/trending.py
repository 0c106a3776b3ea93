"""The fleet's other trends, written under a run's number: only those that are of consequence."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from functools import cache

import numpy as np
from django.db import transaction

from analytics.drift.quantities import QuantityTrends
from analytics.estimates import EPOCH
from analytics.models import BurnerTrend, DriftRun
from analytics.quantities import (
    DAYS_A_YEAR,
    QUANTITIES,
    Limit,
    SafetyOf,
    Series,
    limits_of,
    passing_of,
    series_read,
)
from fleet.models import Customer, SafetyLimit
from fleet.selectors import limit_book, values_at

STEP_YEARS = 3.0
"""A change of level counts where it is worth this many years of the least slope of consequence."""


@transaction.atomic
def trends_write(run: DriftRun) -> int:
    """All material trends of the fleet; written again where they are there already. Returns how many."""
    BurnerTrend.objects.filter(run=run).delete()
    rows = list(_rows(run, series_read()))
    BurnerTrend.objects.bulk_create(rows, batch_size=1000)
    return len(rows)


def _rows(run: DriftRun, series: Series) -> Iterator[BurnerTrend]:
    if not len(series.burner):
        return
    limits = limits_of(series, _safety_of(run.as_of))
    for quantity in QUANTITIES:
        trends = series.trends(quantity.code)
        stepped = np.abs(np.nan_to_num(trends.step)) >= STEP_YEARS * quantity.least_per_year
        times = np.where(np.isfinite(series.values[quantity.code]), series.times, -np.inf)
        for place in np.flatnonzero(trends.surely(quantity.least_per_year) | stepped).tolist():
            last = float(times[place].max())
            own = limits(place)[quantity.code]
            on = passing_of(trends, place, last, own)
            size = trends.step[place] / STEP_YEARS if stepped[place] else trends.slope[place]
            row = trend_row(trends, place, quantity.code)
            row.run = run
            row.appliance_id, row.burner_id = int(series.appliance[place]), int(series.burner[place])
            limit = on.limit if on else _always_told(quantity.code, own)
            row.limit, row.limit_source = (limit.value, limit.source) if limit else (None, "")
            row.passes_on, row.passes_earliest_on = (on.on, on.earliest) if on else (None, None)
            row.strength = abs(float(size)) / quantity.least_per_year
            yield row


def _safety_of(on: date) -> SafetyOf:
    """Every customer's limits on a day. Two queries, one look for each customer."""
    book, countries = limit_book(), dict(Customer.objects.values_list("pk", "country"))

    @cache
    def of_customer(customer: int) -> dict[str, float]:
        held = book.in_force(countries.get(customer, ""), customer, on)
        return values_at(SafetyLimit.Level.INVESTIGATE, held)

    return of_customer


def _always_told(quantity: str, limits: Sequence[Limit]) -> Limit | None:
    """The safety limit of CO, which stands beside its trend whether its line passes it or not."""
    return limits[0] if limits and quantity == BurnerTrend.Code.CO_AIR_FREE_PPM else None


def trend_row(trends: QuantityTrends, place: int, quantity: str) -> BurnerTrend:
    """What one burner's readings of a quantity say, unsaved and of no run yet."""
    return BurnerTrend(
        quantity=quantity,
        readings=int(trends.readings[place]),
        level=float(trends.level[place]),
        slope=_known(trends.slope[place]),
        slope_low=_known(trends.low[place]),
        slope_high=_known(trends.high[place]),
        step=_known(trends.step[place]),
        step_on=day_of(trends.step_at[place]),
    )


def day_of(years: float) -> date | None:
    """The day that a time in years since the epoch lies in; None where it is not finite."""
    return EPOCH + timedelta(days=int(round(years * DAYS_A_YEAR, 3))) if np.isfinite(years) else None


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
