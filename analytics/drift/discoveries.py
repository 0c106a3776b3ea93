"""Holding the share of false flags."""

from __future__ import annotations

import numpy as np
from scipy.special import pdtrc

from analytics.drift.history import BoolArray, FloatArray


def flags_by_probability(
    probability: FloatArray, rate: float, *, most: float = 1.0, chance: float = 1.0
) -> BoolArray:
    """Flag the largest set whose expected share of false flags is at most rate.

    probability: posterior probability of each (n,), NaN never flagged.  rate: 0 to 1 exclusive.  most,
    chance: and in which more than that share are false with no more than that chance, which is what holds a
    small fleet back.
    Returns: flags (n,).  Source: Bayes false discovery rate (Efron), the running mean of 1 - probability;
    exceedance of the false discovery proportion (Genovese and Wasserman 2006), its number taken as Poisson.
    """
    _check_rate(rate)
    ranked = np.where(np.isfinite(probability), probability, 0.0)
    order = np.argsort(-ranked, kind="stable")
    size = np.arange(1, len(ranked) + 1)
    false = np.cumsum(1.0 - ranked[order])
    # whoever asks for at most 8 % of 25 allows two, whatever 0.08 is in binary
    held = (false <= rate * size) & (pdtrc(np.floor(most * size + 1e-9), false) <= chance)
    # all of a tie or none of it: equal evidence gets equal treatment
    last_of_tie = np.diff(ranked[order], append=-1.0) < 0.0
    within = np.flatnonzero(held & last_of_tie & (ranked[order] > 0.0))
    flags = np.zeros(len(ranked), np.bool_)
    if len(within):
        flags[order[: within[-1] + 1]] = True
    return flags


def benjamini_hochberg(p_values: FloatArray, rate: float) -> BoolArray:
    """Rejections that hold the false discovery rate, for independent p-values (n,), each 0 to 1.

    Raises ValueError outside the limits.  Source: Benjamini and Hochberg 1995.
    """
    _check_rate(rate)
    p = np.asarray(p_values, dtype=np.float64)
    if p.size and not ((p >= 0.0) & (p <= 1.0)).all():
        wrong = p[~((p >= 0.0) & (p <= 1.0))][0]
        raise ValueError(f"p_values holds {wrong:g}; it must be 0 to 1")
    order = np.argsort(p, kind="stable")
    below = np.flatnonzero(p[order] <= rate * np.arange(1, len(p) + 1) / max(len(p), 1))
    rejected = np.zeros(len(p), np.bool_)
    if len(below):
        rejected[order[: below[-1] + 1]] = True
    return rejected


def _check_rate(rate: float) -> None:
    if not 0.0 < rate < 1.0:
        raise ValueError(f"rate is {rate:g}; it must be above 0 and below 1")
