"""Estimates of single burners or readings pooled by group, with intervals that hold where groups differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.stats import chi2, t

from analytics.drift.history import FloatArray

LEAST_FOR_INTERVAL = 3


@dataclass(frozen=True)
class Pooled:
    """Per group (G,): how many, the weighted mean, and its interval (NaN below three)."""

    count: npt.NDArray[np.int64]
    mean: FloatArray
    low: FloatArray
    high: FloatArray


def pooled_means(
    values: npt.ArrayLike, u: npt.ArrayLike, group: npt.ArrayLike, groups: int, confidence: float = 0.95
) -> Pooled:
    """Means by group, each value weighted by 1/u^2.

    values, u (n,): finite, u > 0, in one unit.   group (n,): 0 to groups - 1.   confidence: 0 to 1.
    The interval rests on the scatter that is seen, not on u: White's heteroscedasticity-consistent variance
    with n/(n - 1) and Student's t.  Raises ValueError outside the limits.  Source: White 1980 (HC1).
    """
    v, s, g = np.asarray(values, float), np.asarray(u, float), np.asarray(group, np.int64)
    if not np.all(np.isfinite(v) & (s > 0.0)):
        raise ValueError("values must be finite and u above 0")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence:g}; it must be above 0 and below 1")
    weight = 1.0 / s**2
    count = np.bincount(g, minlength=groups)
    total = np.bincount(g, weight, minlength=groups)
    some = total > 0.0
    safe = np.where(some, total, 1.0)
    mean = np.where(some, np.bincount(g, weight * v, minlength=groups) / safe, np.nan)
    scatter = np.bincount(g, (weight * (v - mean[g])) ** 2, minlength=groups)
    enough = count >= LEAST_FOR_INTERVAL
    n = np.where(enough, count, 2)
    half = t.ppf(0.5 + 0.5 * confidence, n - 1) * np.sqrt(scatter * n / (n - 1.0)) / safe
    half = np.where(enough, half, np.nan)
    return Pooled(count, mean, mean - half, mean + half)


def repeatability(pairs: int, mean_square: float, confidence: float = 0.95) -> tuple[float, float, float]:
    """Standard deviation of one reading from differences of pairs, with its interval by chi-squared.

    pairs >= 1; mean_square: of the differences, in the square of the reading's unit, >= 0. A difference of
    two readings has twice the variance of one.  Raises ValueError outside the limits.
    Source: ISO 5725-2, repeatability from duplicate determinations (MEMORY).

    >>> [round(value, 4) for value in repeatability(30, 0.0128)]
    [0.08, 0.0639, 0.1069]
    """
    if pairs < 1 or not mean_square >= 0.0:
        raise ValueError(f"pairs, mean_square are {pairs}, {mean_square:g}; at least 1 and at least 0")
    tail = 0.5 - 0.5 * confidence
    sd = float(np.sqrt(mean_square / 2.0))
    low, high = (sd * float(np.sqrt(pairs / chi2.ppf(q, pairs))) for q in (1.0 - tail, tail))
    return sd, low, high
