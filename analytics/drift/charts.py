"""Control charts after ISO 7870: exponentially weighted means and cumulative sums of one series."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.drift.history import BoolArray, FloatArray


@dataclass(frozen=True)
class WeightedMean:
    """EWMA and its limits, each (n,), in the unit of the values."""

    mean: FloatArray
    low: FloatArray
    high: FloatArray

    @property
    def outside(self) -> BoolArray:
        return np.asarray((self.mean < self.low) | (self.mean > self.high))


@dataclass(frozen=True)
class CumulativeSum:
    """Upper and lower one-sided sums (n,) and the decision interval, in the unit of the values."""

    upper: FloatArray
    lower: FloatArray
    decision: float

    @property
    def outside(self) -> BoolArray:
        return np.asarray((self.upper > self.decision) | (self.lower > self.decision))


def weighted_mean(
    values: npt.ArrayLike,
    target: float,
    sd: float,
    *,
    weight: float = 0.3,
    width: float = 3.0,
    exact: bool = True,
) -> WeightedMean:
    """EWMA chart of a series (n,), NaN skipped.

    target, sd: in the values' unit, sd > 0.  weight: of the newest, 0 < weight <= 1.  width: limits in
    standard
    deviations.  exact: limits that widen from the first value on, else their limit. Raises ValueError outside
    the limits.  Source: ISO 7870-6; NIST/SEMATECH e-Handbook 6.3.2.4.
    """
    _check("sd", sd, sd > 0.0, "above 0")
    _check("weight", weight, 0.0 < weight <= 1.0, "above 0 and at most 1")
    series = np.asarray(values, dtype=np.float64)
    mean = np.empty(len(series))
    level = target
    for i, value in enumerate(series):
        level = level if np.isnan(value) else weight * value + (1.0 - weight) * level
        mean[i] = level
    seen = np.cumsum(np.isfinite(series))
    share = weight / (2.0 - weight)
    spread = share * (1.0 - (1.0 - weight) ** (2 * seen)) if exact else np.full(len(series), share)
    half = width * sd * np.sqrt(spread)
    return WeightedMean(mean=mean, low=target - half, high=target + half)


def cumulative_sum(
    values: npt.ArrayLike, target: float, sd: float, *, slack: float = 0.5, decision: float = 4.0
) -> CumulativeSum:
    """Two-sided tabular CUSUM of a series (n,), NaN skipped.

    target, sd: in the values' unit, sd > 0.  slack, decision: k and h in standard deviations. Raises
    ValueError
    outside the limits.  Source: ISO 7870-4; NIST/SEMATECH e-Handbook 6.3.2.3.
    """
    _check("sd", sd, sd > 0.0, "above 0")
    series = np.asarray(values, dtype=np.float64)
    upper, lower = np.empty(len(series)), np.empty(len(series))
    up = down = 0.0
    for i, value in enumerate(series):
        if not np.isnan(value):
            up = max(0.0, up + value - target - slack * sd)
            down = max(0.0, down + target - slack * sd - value)
        upper[i], lower[i] = up, down
    return CumulativeSum(upper=upper, lower=lower, decision=decision * sd)


def _check(name: str, value: float, right: bool, limit: str) -> None:
    if not right:
        raise ValueError(f"{name} is {value:g}; it must be {limit}")
