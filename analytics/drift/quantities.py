"""Trends of what fouling and wear move: a robust line, or a change of level, and when a limit is passed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.drift.history import BoolArray, FloatArray, IntArray
from analytics.drift.threads import in_threads
from analytics.drift.trends import theil_sen

LEAST_READINGS = 4
"""Sen's 95 % interval of fewer readings is all their slopes and proves nothing."""
STRONG = 6.0
"""By how much of BIC a change of level must be better than line and constant: «strong» evidence."""
FORECAST_YEARS = 5.0
PART = 4_000
"""Series worked through at once."""


@dataclass(frozen=True)
class QuantityTrends:
    """Of n series, each (n,), NaN where there is no estimate.

    readings: used.   slope, low, high: per year, Sen's 95 % interval.   level: on the line at the last
    reading, a change's later level where one is told.   step, step_at: a change of level and the time (years)
    of the first reading after it.
    """

    readings: IntArray
    slope: FloatArray
    low: FloatArray
    high: FloatArray
    level: FloatArray
    step: FloatArray
    step_at: FloatArray

    def surely(self, least_per_year: npt.ArrayLike) -> BoolArray:
        """Whether the whole interval lies on one side of none and the slope is at least so large (n,).

        least_per_year: in the values' unit, not negative.
        """
        one_way = (self.low > 0.0) | (self.high < 0.0)
        return np.asarray(one_way & (np.abs(self.slope) >= np.asarray(least_per_year)))


def quantity_trends(times: npt.ArrayLike, values: npt.ArrayLike) -> QuantityTrends:
    """Trends of many series (n, T): times in years, values in any unit, NaN not read.

    The line is Theil and Sen's. A change of level is the split of the readings, two at least on either side,
    whose two medians leave the least absolute residuals; it is told where its information criterion (BIC, of
    Laplace-distributed errors: 2 n ln(mean absolute residual) + k ln n) is better by STRONG than the line's
    and the constant's; the slope is then of no use and NaN. Source: Sen 1968; Kass and Raftery 1995 for the
    grades of evidence, from MEMORY.

    >>> t = quantity_trends([[0.0, 1.0, 2.0, 3.0, 4.0]], [[1.0, 2.0, 3.1, 4.0, 5.0]])
    >>> round(float(t.slope[0]), 2), bool(t.surely(0.5)[0])
    (1.0, True)
    """
    t, y = np.broadcast_arrays(
        np.atleast_2d(np.asarray(times, float)), np.atleast_2d(np.asarray(values, float))
    )
    count = np.isfinite(y).sum(axis=1)
    some = np.flatnonzero(count >= LEAST_READINGS)
    parts = in_threads(
        lambda rows: _trends(t[rows], y[rows]), [some[at : at + PART] for at in range(0, len(some), PART)]
    )
    found = np.full((6, len(y)), np.nan)
    if parts:
        found[:, some] = np.concatenate(parts, axis=1)
    return QuantityTrends(count, *found)


def _trends(t: FloatArray, y: FloatArray) -> FloatArray:
    """Slope, low, high, level, step and step_at of series with readings enough (6, n)."""
    t, y = _packed(t, y)
    count = np.isfinite(y).sum(axis=1)
    at_once = np.nanmax(t, axis=1, initial=-np.inf) <= np.nanmin(t, axis=1, initial=np.inf)
    fit = theil_sen(t, y)
    with np.errstate(invalid="ignore"):
        apart = y - fit.slope[:, None] * t
    centre = _row_median(apart)
    last = np.take_along_axis(t, count[:, None] - 1, axis=1)[:, 0]
    step, later, step_at, told = _steps(t, y, count, _cost(apart - centre[:, None], count, 2))
    told &= ~at_once
    line = np.stack([fit.slope, fit.low, fit.high])
    line[:, told | at_once] = np.nan
    change = np.stack([step, step_at])
    change[:, ~told] = np.nan
    level = np.where(told, later, np.where(at_once, np.nan, centre + fit.slope * last))
    return np.concatenate([line, level[None], change])


def passing(level: npt.ArrayLike, slope: npt.ArrayLike, limit: npt.ArrayLike, *, upper: bool) -> FloatArray:
    """Years from the last reading until a line passes a limit: 0 passed, NaN not within FORECAST_YEARS.

    level, limit in the values' unit, slope per year.   upper: the limit is passed from below. Raises nothing.

    >>> passing([10.0, 10.0, 31.0], [5.0, -5.0, 1.0], 30.0, upper=True).tolist()
    [4.0, nan, 0.0]
    """
    way = 1.0 if upper else -1.0
    room = way * (np.asarray(limit, float) - np.asarray(level, float))
    pace = way * np.asarray(slope, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        years = np.where(room <= 0.0, 0.0, np.where(pace > 0.0, room / pace, np.nan))
        return np.where(years <= FORECAST_YEARS, years, np.nan)


def _packed(t: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Each row's readings in order of time, the missing ones last."""
    t = np.where(np.isfinite(y), t, np.nan)
    order = np.argsort(t, axis=1, kind="stable")
    return np.take_along_axis(t, order, axis=1), np.take_along_axis(y, order, axis=1)


def _row_median(values: FloatArray) -> FloatArray:
    """Median of each row's known values, which stand first; NaN without any (n,)."""
    count = np.isfinite(values).sum(axis=1)
    ordered = np.sort(values, axis=1)
    low, high = np.maximum(count - 1, 0) // 2, np.minimum(count // 2, max(values.shape[1] - 1, 0))
    if values.shape[1] == 0:
        return np.full(len(values), np.nan)
    pair = np.take_along_axis(ordered, np.stack([low, high], axis=1), axis=1)
    return np.where(count > 0, pair.mean(axis=1), np.nan)


def _cost(residuals: FloatArray, count: IntArray, parameters: int) -> FloatArray:
    """Information criterion of Laplace-distributed errors (n,)."""
    n = np.maximum(count, 1)
    mean = np.nansum(np.abs(residuals), axis=1) / n
    # exact fits of rounded readings would win by any margin
    floor = 1e-3 * np.nanmax(np.abs(residuals) + 1e-9, axis=1, initial=1e-9)
    return np.asarray(2.0 * n * np.log(np.maximum(mean, np.maximum(floor, 1e-9))) + parameters * np.log(n))


def _steps(
    t: FloatArray, y: FloatArray, count: IntArray, line: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """The best change of level: its size, the later level, its time, and whether it is told, each (n,)."""
    n, width = y.shape
    best = np.full(n, np.inf)
    step, later, at = (np.full(n, np.nan) for _ in range(3))
    constant = _cost(y - _row_median(y)[:, None], count, 1)
    place = np.arange(width)
    for split in range(2, width - 1):
        before = _row_median(np.where(place < split, y, np.nan))
        after = _row_median(np.where(place >= split, y, np.nan)[:, ::-1]) if width else before
        cost = _cost(y - np.where(place < split, before[:, None], after[:, None]), count, 3)
        better = (cost < best) & (count - split >= 2)
        best = np.where(better, cost, best)
        step, later = np.where(better, after - before, step), np.where(better, after, later)
        at = np.where(better, t[:, split], at)
    return step, later, at, best < np.minimum(line, constant) - STRONG
