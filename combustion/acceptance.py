"""Is the true value inside its acceptance limits? Probabilities, verdict words and combustion health.

By JCGM 106:2012: the measured value and its standard uncertainty give a normal distribution for the true
value; the conformance probability is its share between the limits. Readings of one analyser share that
analyser's error, so over several firing points the shared error is integrated once (docs/formulas.md, section
«health»). Limits themselves are data and come from the caller.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from combustion.arrays import F64, Bool, Int, as_float, refuse

INSIDE_FROM: Final = 0.95
PROBABLY_INSIDE_FROM: Final = 0.5
PROBABLY_OUTSIDE_ABOVE: Final = 0.05

# The shared error is integrated on this grid of standard normal deviates; 2e-9 of it lies beyond.
_STEP: Final = 0.1
_NODES: Final = np.arange(-60, 61) * _STEP
_WEIGHTS: Final = np.exp(-0.5 * _NODES**2) / np.exp(-0.5 * _NODES**2).sum()
# A row's own error is kept at least this share of the shared one, or steps would fall between two nodes.
_SMALLEST_OWN_SHARE: Final = 0.6 * _STEP
_ROWS_AT_ONCE: Final = 4096


@dataclass(frozen=True)
class Health:
    """Combustion health of visits: probability that everything checked is inside. Source: JCGM 106.

    probability: per visit, 0 to 1 [-]; NaN where nothing could be checked.   weakest: per visit, position of
    the row with the lowest probability of its own, -1 where none.   checked: per visit, how many rows
    entered. row_probability: per row [-], NaN where a value was missing.   Limits: none, a result.
    """

    probability: F64
    weakest: Int
    checked: Int
    row_probability: F64


def inside_probability(
    value: ArrayLike, u: ArrayLike, lower: ArrayLike = -np.inf, upper: ArrayLike = np.inf
) -> F64:
    """Probability [-] that the true value lies from lower to upper, given a measured value and its u (k = 1).

    All in one unit; shapes broadcast; NaN value or u gives NaN; a NaN limit means no limit on that side.
    Limits: u >= 0, else OutOfRange.   Source: JCGM 106:2012, section 7, normal distribution.

    >>> round(float(inside_probability(9.0, 0.15, 8.7, 9.3)), 4)
    0.9545
    """
    x, spread = as_float(value), as_float(u)
    low, high = _open_ended(lower, upper)
    refuse("u", spread, spread < 0.0, "u >= 0")
    with np.errstate(divide="ignore", invalid="ignore"):
        share = ndtr((high - x) / spread) - ndtr((low - x) / spread)
    exact = ((x >= low) & (x <= high)).astype(np.float64)
    share = np.where(spread == 0.0, np.where(np.isnan(x), np.nan, exact), share)
    return np.asarray(share, dtype=np.float64)


def verdict(probability: ArrayLike) -> NDArray[np.str_]:
    """The word for a conformance probability [-], from inside to outside; unknown without one.

    Limits: inside from 0.95, probably inside from 0.5, probably outside above 0.05, else outside; NaN is
    unknown.
    Source: JCGM 106:2012 for the idea; the cuts are this product's own.

    >>> verdict([0.97, 0.6, 0.2, 0.01]).tolist()
    ['inside', 'probably inside', 'probably outside', 'outside']
    """
    p = as_float(probability)
    return np.select(
        [np.isnan(p), p >= INSIDE_FROM, p >= PROBABLY_INSIDE_FROM, p > PROBABLY_OUTSIDE_ABOVE],
        ["unknown", "inside", "probably inside", "probably outside"],
        "outside",
    )


def best_provable(u: ArrayLike, lower: ArrayLike, upper: ArrayLike) -> F64:
    """Highest probability [-] of being inside that any reading can give: the one in the middle of the band.

    u: standard uncertainty, in the limits' unit; shapes broadcast; a one-sided band always reaches 1.
    Limits: u >= 0, else OutOfRange.   Source: JCGM 106:2012, section 7.

    >>> round(float(best_provable(0.15, 8.7, 9.3)), 4)
    0.9545
    """
    low, high = _open_ended(lower, upper)
    finite = np.isfinite(low) & np.isfinite(high)
    half = np.where(finite, (np.where(finite, high, 0.0) - np.where(finite, low, 0.0)) / 2.0, np.inf)
    return np.where(half < 0.0, 0.0, inside_probability(0.0, u, -half, half))


def cannot_prove(u: ArrayLike, lower: ArrayLike, upper: ArrayLike, probability: float = INSIDE_FROM) -> Bool:
    """True where no reading with that standard uncertainty can prove the band with that probability [-].

    u, lower, upper: one unit; shapes broadcast.   Limits: u >= 0, else OutOfRange.   Source: JCGM 106:2012.

    >>> cannot_prove([0.15, 0.2], 8.7, 9.3).tolist()
    [False, True]
    """
    return np.asarray(best_provable(u, lower, upper) < probability)


def guarded_limits(
    u: ArrayLike, lower: ArrayLike, upper: ArrayLike, probability: float = INSIDE_FROM
) -> tuple[F64, F64]:
    """Lowest and highest reading that still proves one side of the band: the limits drawn in by a guard band.

    u, lower, upper: one unit; shapes broadcast. One-sided guard (1.645 u at 0.95); where the band cannot be
    proved the two cross.   Limits: u >= 0, 0 < probability < 1.   Source: JCGM 106:2012, section 8.3.

    >>> low, high = guarded_limits(0.06, 8.7, 9.3)
    >>> round(float(low), 3), round(float(high), 3)
    (8.799, 9.201)
    """
    spread = as_float(u)
    refuse("u", spread, spread < 0.0, "u >= 0")
    refuse(
        "probability", as_float(probability), np.asarray(not 0.0 < probability < 1.0), "0 < probability < 1"
    )
    low, high = _open_ended(lower, upper)
    guard = spread * float(ndtri(probability))
    return np.asarray(low + guard), np.asarray(high - guard)


def health(
    visit: ArrayLike,
    channel: ArrayLike,
    value: ArrayLike,
    u_independent: ArrayLike,
    u_shared: ArrayLike,
    lower: ArrayLike,
    upper: ArrayLike,
    *,
    visits: int | None = None,
) -> Health:
    """Probability per visit that all its rows are inside their limits, one row per firing point and quantity.

    visit: 0, 1, 2 … per row, any order.   channel: integer per row; rows of one visit and channel share one
    analyser error.   value: corrected reading; u_independent, u_shared: standard uncertainties of the row's
    own and of the shared error; lower, upper: limits, NaN for none; all four in the row's own unit, shape
    (rows,). Rows without a value or uncertainty are left out and not counted.   visits: length of the result.
    Limits: uncertainties >= 0, visit >= 0, else OutOfRange.   Errors of different channels are taken
    independent. Source: JCGM 106:2012; the shared error as a common factor, integrated numerically (error
    below 0.004).

    >>> h = health([0, 0], [1, 1], [9.0, 8.6], [0.06, 0.06], [0.13, 0.13], [8.7, 8.3], [9.3, 8.9])
    >>> round(float(h.probability[0]), 3)
    0.944
    """
    groups, channels = np.asarray(visit, dtype=np.intp), np.asarray(channel, dtype=np.intp)
    x, own, shared, low, high = (
        np.broadcast_to(as_float(a), groups.shape) for a in (value, u_independent, u_shared, lower, upper)
    )
    refuse("visit", groups.astype(np.float64), groups < 0, "visit >= 0")
    refuse("u_independent", own, own < 0.0, "u_independent >= 0")
    refuse("u_shared", shared, shared < 0.0, "u_shared >= 0")
    count = visits if visits is not None else int(groups.max(initial=-1)) + 1

    row_probability = inside_probability(x, np.hypot(own, shared), low, high)
    kept = np.flatnonzero(~np.isnan(row_probability))
    order = kept[np.lexsort((row_probability[kept], channels[kept], groups[kept]))]
    probability, checked = np.ones(count), np.bincount(groups[kept], minlength=count)
    for start, stop in _slices(groups[order], channels[order]):
        rows = order[start:stop]
        joint, first = _joint(
            groups[rows], channels[rows], x[rows], own[rows], shared[rows], low[rows], high[rows]
        )
        np.multiply.at(probability, groups[rows][first], joint)
    probability[checked == 0] = np.nan
    return Health(probability, _weakest(groups, row_probability, kept, count), checked, row_probability)


def _joint(
    groups: Int, channels: Int, x: F64, own: F64, shared: F64, lower: F64, upper: F64
) -> tuple[F64, Int]:
    """Joint probability of each run of rows of one visit and channel, and where each run starts."""
    starts = np.flatnonzero(_is_new(groups, channels))
    lengths = np.diff(np.append(starts, len(groups)))
    alone = np.repeat(lengths == 1, lengths)
    result = np.empty(len(starts))
    result[lengths == 1] = inside_probability(
        x[alone], np.hypot(own[alone], shared[alone]), lower[alone], upper[alone]
    )
    together = ~alone
    if together.any():
        own, shared = _steps_widened(own[together], shared[together])
        at_nodes = inside_probability(
            x[together, None] + shared[:, None] * _NODES,
            own[:, None],
            lower[together, None],
            upper[together, None],
        )
        runs = lengths[lengths > 1]
        products = np.multiply.reduceat(at_nodes, np.cumsum(runs) - runs, axis=0)
        # the weights sum to 1 but for rounding, and no probability is above it
        result[lengths > 1] = np.minimum(products @ _WEIGHTS, 1.0)
    return result, starts


def _steps_widened(own: F64, shared: F64) -> tuple[F64, F64]:
    total = np.hypot(own, shared)
    widened = np.maximum(own, _SMALLEST_OWN_SHARE * shared)
    return widened, np.sqrt(np.maximum(total**2 - widened**2, 0.0))


def _weakest(groups: Int, row_probability: F64, kept: Int, count: int) -> Int:
    weakest = np.full(count, -1, dtype=np.intp)
    falling = kept[np.argsort(-row_probability[kept], kind="stable")]
    weakest[groups[falling]] = falling
    return weakest


def _slices(groups: Int, channels: Int) -> list[tuple[int, int]]:
    """Cuts of the sorted rows into blocks that never split a run, so memory stays flat."""
    starts = np.flatnonzero(_is_new(groups, channels))
    cuts = [0]
    while cuts[-1] < len(groups):
        ahead = np.searchsorted(starts, cuts[-1] + _ROWS_AT_ONCE)
        cuts.append(int(starts[ahead]) if ahead < len(starts) else len(groups))
    return list(pairwise(cuts))


def _is_new(groups: Int, channels: Int) -> Bool:
    new = np.ones(len(groups), dtype=np.bool_)
    new[1:] = (groups[1:] != groups[:-1]) | (channels[1:] != channels[:-1])
    return new


def _open_ended(lower: ArrayLike, upper: ArrayLike) -> tuple[F64, F64]:
    low, high = as_float(lower), as_float(upper)
    return np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high)
