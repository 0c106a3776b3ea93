"""From readings before and after a move to the change of the trim's state. Arrays in, arrays out.

The gas, the air and an analyser's bias are the same before and after, so they cancel. Where the other trim
moved between the two readings its share is taken out by the other firing point, if that was read as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from combustion.trims import offset_change, state_from_points

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

TURNDOWN_LIMITS = (1.2, 50.0)


@dataclass(frozen=True)
class Readings:
    """ln(1/air ratio) [-] at both firing points and the variance of each [-], (n,); NaN where not read."""

    ln_high: FloatArray
    ln_low: FloatArray
    var_high: FloatArray
    var_low: FloatArray


def throttle_change(
    before: Readings, after: Readings, turndown: FloatArray, *, offset_moved: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Change of ln K [-] by high fire, and its standard uncertainty; NaN where it cannot be told.

    turndown: m (n,), NaN unknown.   offset_moved: between the two readings, which moves high fire a little;
    taken out where low fire was read too, else the change is not told.   Limits: none, odd rows are NaN.
    Source: docs/formulas.md, «turn sensitivity».
    """
    change = after.ln_high - before.ln_high
    w_before, w_after = _w(before, turndown), _w(after, turndown)
    own_share = 0.5 * (np.log1p(w_after) - np.log1p(w_before))
    change = np.where(offset_moved, change - own_share, change)
    return change, np.sqrt(before.var_high + after.var_high)


def offset_changed(
    before: Readings, after: Readings, turndown: FloatArray, *, throttle_moved: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Change of w [-] by low fire, and its standard uncertainty; NaN where it cannot be told.

    High fire must have been read before; after as well where throttle_moved, which moves low fire as much.
    turndown: m (n,), NaN unknown.   Limits: none, odd rows are NaN.   Source: docs/formulas.md, «turn
    sensitivity».
    """
    change = np.where(
        throttle_moved, _w(after, turndown) - _w(before, turndown), _alone(before, after, turndown)
    )
    more = np.where(throttle_moved, before.var_high + after.var_high, 0.0)
    m2 = turndown**2
    slope = 2.0 * np.exp(2.0 * (before.ln_low - before.ln_high)) / m2
    return change, slope * np.sqrt(before.var_low + after.var_low + more)


def _w(readings: Readings, turndown: FloatArray) -> FloatArray:
    high, low, ok = _usable(readings, turndown)
    w = np.full(len(ok), np.nan)
    w[ok] = state_from_points(high[ok], low[ok], turndown[ok]).w
    return w


def _alone(before: Readings, after: Readings, turndown: FloatArray) -> FloatArray:
    high, low, ok = _usable(before, turndown)
    low_after = np.exp(after.ln_low)
    ok &= np.isfinite(low_after)
    change = np.full(len(ok), np.nan)
    change[ok] = offset_change(high[ok], low[ok], low_after[ok], turndown[ok])
    return change


def _usable(readings: Readings, turndown: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Rows from which a state can be worked out."""
    high, low = np.exp(readings.ln_high), np.exp(readings.ln_low)
    with np.errstate(invalid="ignore"):
        ok = (turndown >= TURNDOWN_LIMITS[0]) & (turndown <= TURNDOWN_LIMITS[1])
        ok &= (low / high) ** 2 < 0.8 * turndown**2
    return high, low, ok


LEAST_PAIRS = 30
"""As found pairs below which readings are taken as they are. Own cut."""


@dataclass(frozen=True)
class Found:
    """How a model's burners are found: mean (2,), covariance (2, 2) of ln φ at high and low fire, as read."""

    mean: FloatArray
    covariance: FloatArray


def found_of(ln_high: FloatArray, ln_low: FloatArray) -> Found | None:
    """The spread of as found readings (n,) of one model and fuel, blunders left out; None on too few.

    Limits: pairs with a NaN are dropped.   Source: median and quartiles, docs/formulas.md, «turn
    sensitivity».
    """
    pairs = np.stack([ln_high, ln_low], axis=1)
    pairs = pairs[np.isfinite(pairs).all(axis=1)]
    if len(pairs) < LEAST_PAIRS:
        return None
    middle = np.median(pairs, axis=0)
    quartiles = np.subtract(*np.quantile(pairs, [0.75, 0.25], axis=0)) / 1.349
    pairs = pairs[(np.abs(pairs - middle) <= 5.0 * np.maximum(quartiles, 1e-6)).all(axis=1)]
    if len(pairs) < LEAST_PAIRS:
        return None
    return Found(pairs.mean(axis=0), np.cov(pairs.T))


def likely(readings: Readings, found: Found) -> Readings:
    """What was likely so behind as found readings, given how the model's burners are found.

    A burner is moved because it was read far off, and it was read so partly by chance: taken as read, every
    change would look larger than it was. Given the reading itself, its choice tells no more, so the usual
    shrinkage toward the model's mean is right. Points not read stay so.   Limits: none.   Source: normal
    regression to the mean, docs/formulas.md, «turn sensitivity».
    """
    value = np.stack([readings.ln_high, readings.ln_low], axis=1)
    noise = np.stack([readings.var_high, readings.var_low], axis=1)
    likely_value, likely_var = value.copy(), noise.copy()
    for row in range(len(value)):
        known = np.flatnonzero(np.isfinite(value[row]))
        if not len(known):
            continue
        own = np.sqrt(noise[row, known])
        whole = found.covariance[np.ix_(known, known)] / np.outer(own, own)
        size, axes = np.linalg.eigh(whole)
        # in units of the noise; what is found can vary no less than the noise alone
        kept = axes @ np.diag(1.0 - 1.0 / np.maximum(size, 1.0)) @ axes.T
        away = (value[row, known] - found.mean[known]) / own
        likely_value[row, known] = found.mean[known] + own * (kept @ away)
        likely_var[row, known] = np.diag(kept) * own**2
    return Readings(likely_value[:, 0], likely_value[:, 1], likely_var[:, 0], likely_var[:, 1])
