"""Analyser periods as columns of the fit, cut in two where a repair nobody recorded shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from analytics.drift.history import BoolArray, FloatArray, IntArray
from analytics.drift.steps import Steps

LEAST_READINGS = 16
CUT_SIGMAS = 5.5
"""A period is cut where the leftovers before and after a day differ by this many standard errors."""
WEAK_SHARE = 0.5
"""Weak: the uncertainty is still more than this share of the prior spread."""


@dataclass(frozen=True)
class Columns:
    """Bias columns: period (K,) of each column, cut_day (P,): inf where a period is whole.

    The first P columns are the periods, or their parts before the cut; the parts after it follow.
    """

    period: IntArray
    cut_day: FloatArray
    after: IntArray

    @property
    def count(self) -> int:
        return len(self.period)

    def of(self, period: IntArray, day: FloatArray) -> IntArray:
        """Column of each reading (S,), -1 where the period is unknown to the fit."""
        known = (period >= 0) & (period < len(self.cut_day))
        p = np.where(known, period, 0)
        if not len(self.cut_day):
            return np.full(len(period), -1, np.int64)
        return np.where(known, np.where(day >= self.cut_day[p], self.after[p], p), -1)


def whole_periods(periods: int) -> Columns:
    every = np.arange(periods)
    return Columns(period=every, cut_day=np.full(periods, np.inf), after=every)


def cut_periods(steps: Steps, leftover: FloatArray, periods: int) -> Columns:
    """Cut each period at its clearest step in the standardised leftovers (S,), if it is clear enough."""
    used = np.flatnonzero((steps.period >= 0) & steps.read.any(axis=1))
    since = steps.day[used] - steps.day.min(initial=np.inf)
    # one key sorts several times faster than two; days of one period stay in order
    order = used[np.argsort(steps.period[used] * (since.max(initial=0.0) + 1.0) + since, kind="stable")]
    period, day = steps.period[order], steps.day[order]
    value = np.clip(leftover[order], -3.0, 3.0)
    count = np.bincount(period, minlength=periods)
    start = np.cumsum(count) - count
    total = np.bincount(period, value, minlength=periods)
    running = np.cumsum(value) - np.concatenate([[0.0], np.cumsum(value)])[start[period]]
    before = np.arange(len(order)) - start[period] + 1.0
    n = count[period].astype(np.float64)
    share = before / np.maximum(n, 1.0)
    # the last reading of a day closes it: a cut lies between days
    open_day = (
        np.append((period[1:] == period[:-1]) & (day[1:] == day[:-1]), False) if len(order) else share > 2
    )
    wide = (before >= LEAST_READINGS / 2) & (n - before >= LEAST_READINGS / 2) & ~open_day
    spread = np.sqrt(np.maximum(n * share * (1.0 - share), 1e-9))
    size = np.where(wide, np.abs(running - share * total[period]) / spread, 0.0)
    cut_day, after = np.full(periods, np.inf), np.arange(periods)
    clear = np.flatnonzero((size > CUT_SIGMAS) & (size == _largest(size, start, count)[period]))
    clear = clear[np.unique(period[clear], return_index=True)[1]]
    cut_day[period[clear]] = 0.5 * (day[clear] + day[np.minimum(clear + 1, len(day) - 1)])
    after[period[clear]] = periods + np.arange(len(clear))
    return Columns(period=np.concatenate([np.arange(periods), period[clear]]), cut_day=cut_day, after=after)


def _largest(size: FloatArray, start: IntArray, count: IntArray) -> FloatArray:
    """Largest size of each period's readings, which lie together; 0 where it has none (P,)."""
    largest = np.zeros(len(count))
    if len(size):
        largest[count > 0] = np.maximum.reduceat(size, start[count > 0])
    return largest


def lonely_periods(steps: Steps, periods: int) -> BoolArray:
    """Periods whose readings hang together with one gas area only, or none: bias and gas are then one
    (P,).
    """
    area = np.where(steps.cell >= 0, steps.cell_area[steps.cell] if len(steps.cell_area) else -1, -1)
    linked = (steps.period >= 0) & (area >= 0)
    areas = int(area.max(initial=-1)) + 1
    shape = (periods + areas, periods + areas)
    links = sparse.coo_array(
        (np.ones(linked.sum()), (steps.period[linked], periods + area[linked])), shape=shape
    )
    _, part = connected_components(links.tocsr(), directed=False)
    in_part = np.bincount(part[periods:], minlength=part.max(initial=0) + 1)
    return np.asarray(in_part[part[:periods]] < 2)
