"""Trends of any positive quantity: robust slopes for many series at once, and the local level of each.

For flue minus return temperature, gas rate over nameplate, flame signal, working inlet pressure, CO air-free
and fan rpm: take ``local_levels`` of the logarithm, and the slope beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from analytics.drift.history import FloatArray


@dataclass(frozen=True)
class Slopes:
    """Median slope per year, its interval, and the series' median level at their median time, each (n,)."""

    slope: FloatArray
    low: FloatArray
    high: FloatArray
    level: FloatArray


def theil_sen(times: npt.ArrayLike, values: npt.ArrayLike, confidence: float = 0.95) -> Slopes:
    """Theil-Sen slope of many series (n, T), NaN where not read; NaN where fewer than two times differ.

    times in years, values in any unit.  confidence: 0 to 1, of Sen's interval from Kendall's variance.
    Raises ValueError outside the limits.  Source: Sen 1968; the same interval as scipy.stats.theilslopes.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence:g}; it must be above 0 and below 1")
    t, y = np.broadcast_arrays(
        np.atleast_2d(np.asarray(times, float)), np.atleast_2d(np.asarray(values, float))
    )
    t = np.where(np.isfinite(y), t, np.nan)
    first, second = np.triu_indices(t.shape[1], 1)
    run = t[:, second] - t[:, first]
    with np.errstate(divide="ignore", invalid="ignore"):
        slopes = np.where(run != 0.0, (y[:, second] - y[:, first]) / run, np.nan)
    slopes = np.sort(slopes, axis=1)
    pairs = np.isfinite(slopes).sum(axis=1)
    count = np.isfinite(y).sum(axis=1).astype(np.float64)
    sigma = np.sqrt(np.maximum(count * (count - 1.0) * (2.0 * count + 5.0) - _ties(t) - _ties(y), 0.0) / 18.0)
    reach = ndtri(0.5 + 0.5 * confidence) * sigma
    upper = np.minimum(np.round((pairs + reach) / 2.0).astype(np.int64), pairs - 1)
    lower = np.maximum(np.round((pairs - reach) / 2.0).astype(np.int64) - 1, 0)
    return Slopes(
        slope=_median(slopes, pairs),
        low=_pick(slopes, lower, pairs),
        high=_pick(slopes, upper, pairs),
        level=_median(np.sort(y, axis=1), count.astype(np.int64)),
    )


def local_levels(
    values: npt.ArrayLike, noise_var: float, walk_var: float
) -> tuple[FloatArray, FloatArray, float]:
    """Local level of an evenly spaced series (n,), NaN not read: filtered level, its variance,
    log-likelihood.

    noise_var > 0, walk_var >= 0 in the square of the values' unit. Exact diffuse start: the first value
    read sets
    the level, and gives no likelihood. Raises ValueError outside the limits.
    Source: Durbin and Koopman, Time Series Analysis by State Space Methods, section 2.2.
    """
    if not (noise_var > 0.0 and walk_var >= 0.0):
        raise ValueError(
            f"noise_var, walk_var are {noise_var:g}, {walk_var:g}; they must be above 0 and at least 0"
        )
    series = np.asarray(values, dtype=np.float64)
    level, var = np.full(len(series), np.nan), np.full(len(series), np.nan)
    a = p = np.nan
    log_likelihood = 0.0
    for i, value in enumerate(series):
        p = p + walk_var
        if not np.isnan(value):
            if np.isnan(p):
                a, p = value, noise_var
            else:
                f, v = p + noise_var, value - a
                log_likelihood -= 0.5 * (np.log(2.0 * np.pi * f) + v * v / f)
                a, p = a + p / f * v, p * noise_var / f
        level[i], var[i] = a, p
    return level, var, float(log_likelihood)


def shrink_to_mean(values: npt.ArrayLike, var: float) -> tuple[FloatArray, float]:
    """Efron and Morris's estimates of many means from one value each (n >= 4), and the factor kept.

    var: known variance of each value, > 0.   Returns: mean + factor x (value - mean), and
    factor = 1 - (n - 3) var / S.
    Raises ValueError outside the limits.  Source: Efron and Morris 1975.
    """
    series = np.asarray(values, dtype=np.float64)
    if not (var > 0.0 and len(series) >= 4):
        raise ValueError(
            f"var is {var:g} for {len(series)} values; it must be above 0, for at least 4 values"
        )
    mean = series.mean()
    total = float(np.sum((series - mean) ** 2))
    factor = max(1.0 - (len(series) - 3) * var / max(total, 1e-300), 0.0)
    return np.asarray(mean + factor * (series - mean)), factor


def _ties(values: FloatArray) -> FloatArray:
    """Kendall's correction for repeated values of each row."""
    out = np.zeros(len(values))
    ordered = np.sort(values, axis=1)
    if ordered.shape[1] < 2 or not (np.diff(ordered, axis=1) == 0.0).any():
        return out
    for row in np.flatnonzero((np.diff(ordered, axis=1) == 0.0).any(axis=1)):
        _, k = np.unique(values[row][np.isfinite(values[row])], return_counts=True)
        out[row] = float(np.sum(k * (k - 1) * (2 * k + 5)))
    return out


def _median(ordered: FloatArray, count: npt.NDArray[np.int64]) -> FloatArray:
    lower, upper = (count - 1) // 2, count // 2
    return 0.5 * (_pick(ordered, lower, count) + _pick(ordered, upper, count))


def _pick(ordered: FloatArray, index: npt.NDArray[np.int64], count: npt.NDArray[np.int64]) -> FloatArray:
    if ordered.shape[1] == 0:
        return np.full(len(ordered), np.nan)
    safe = np.clip(index, 0, ordered.shape[1] - 1)
    picked = np.take_along_axis(ordered, safe[:, None], axis=1)[:, 0]
    return np.where(count > 0, picked, np.nan)
