"""The mean of a window of readings whose noise is not independent, with its uncertainty.

Successive readings of an analyser resemble each other. Their noise is taken as first-order autoregressive
with unknown correlation, and everything is averaged over a grid of correlations by restricted likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, gammaln, stdtr, stdtrit

from combustion.arrays import F64, as_float

FEWEST: Final = 4  # fewer readings give no estimate of scatter at all: assumed, no source
NORMAL_95: Final = 1.959964

_LOWEST, _HIGHEST = -0.95, 0.98
_RHO: Final = np.linspace(_LOWEST, _HIGHEST, 24)
_LN_PRIOR: Final = -0.15 * np.log1p(-(_RHO**2))  # between flat and Jeffreys; found by coverage


@dataclass(frozen=True)
class WindowEstimate:
    """What a window of readings says of one channel, in the channel's unit.

    mean; half_width_95: of its 95 % interval.   drift: change over the window.   p_flat, p_quiet: probability
    that drift and standard deviation are inside their limits, 0 to 1.   readings: how many.
    Limits: a result.   Source: docs/formulas.md, section «settled values».
    """

    mean: float
    half_width_95: float
    drift: float
    p_flat: float
    p_quiet: float
    readings: int

    @property
    def u(self) -> float:
        """Standard uncertainty of the mean in the channel's unit: the half width over 1.96.

        So a k of 1.96 covers 95 % however few readings there were. Limits: none. Source: GUM, annex G.
        """
        return self.half_width_95 / NORMAL_95


def window_estimate(
    time_s: ArrayLike, value: ArrayLike, *, resolution: float = 0.0, limit: float | None = None
) -> WindowEstimate:
    """Mean of one channel over a window, with the uncertainty that autocorrelated noise leaves.

    time_s: seconds from any origin, ascending, no two equal.   value: in the channel's unit.   resolution: of
    its display; enters as a rectangular error that averaging does not lessen.   limit: of drift and of
    standard deviation, in the same unit; the resolution where None.
    Limits: at least 4 readings of finite values, else ValueError.   Source: docs/formulas.md, section
    «settled values»; restricted likelihood of an AR(1) mean (Harville 1977, from MEMORY), prior found by
    coverage.

    >>> e = window_estimate(range(8), [4.9, 5.0, 4.9, 5.0, 5.0, 4.9, 5.0, 5.0], resolution=0.1)
    >>> round(e.mean, 2), round(e.u, 2)
    (4.96, 0.04)
    """
    time, y = as_float(time_s), as_float(value)
    if time.shape != y.shape or time.ndim != 1 or len(y) < FEWEST:
        raise ValueError(f"value has shape {y.shape}; it must be that of time_s, {FEWEST} or more")
    bound = resolution if limit is None else limit
    return window_estimates(time, y[None, :], np.array([resolution]), np.array([bound]))[0]


def window_estimates(time: F64, y: F64, resolution: F64, bound: F64) -> list[WindowEstimate]:
    """Estimates of several channels (C, n) read at the same times (n,), as window_estimate.

    resolution, bound (C,): in each channel's unit.   Limits: none of its own.   Source: as window_estimate.

    >>> step = np.array([0.1])
    >>> [e.mean for e in window_estimates(np.arange(4.0), np.full((1, 4), 9.0), step, step)]
    [9.0]
    """
    rounding = resolution / np.sqrt(12.0)
    span = float(time[-1] - time[0])
    design = _whitened(time, y - y[:, :1])
    level, trend = _flat(design, rounding), _sloping(design, rounding)
    drift = (trend.weight * trend.at).sum(axis=1) * span
    slope_bound = bound[:, None] / span
    flat = stdtr(trend.dof, (slope_bound - trend.at) / trend.spread)
    flat -= stdtr(trend.dof, (-slope_bound - trend.at) / trend.spread)
    p_flat = (trend.weight * flat).sum(axis=1)
    # A variance is below a bound where the chi-square is above the squares over that bound.
    below = chdtrc(trend.dof, trend.squares / np.maximum(bound, 1e-12)[:, None] ** 2)
    p_quiet = (trend.weight * below).sum(axis=1)
    mean = (level.weight * level.at).sum(axis=1)
    half = np.hypot(level.half_width_95(mean), NORMAL_95 * rounding)
    constant = np.ptp(y, axis=1) == 0.0
    half = np.where(constant, NORMAL_95 * rounding, half)
    p_flat, p_quiet = np.where(constant, 1.0, p_flat), np.where(constant, 1.0, p_quiet)
    drift = np.where(constant, 0.0, drift)
    columns = (mean + y[:, 0], half, drift, p_flat, p_quiet)
    lists = (column.tolist() for column in columns)
    return [
        WindowEstimate(m, h, d, flat, quiet, len(time)) for m, h, d, flat, quiet in zip(*lists, strict=True)
    ]


@dataclass(frozen=True)
class _Grid:
    """Per channel over the grid of correlations (C, G): weights, estimates, standard errors, squares left."""

    weight: F64
    at: F64
    spread: F64
    squares: F64
    dof: int

    def half_width_95(self, centre: F64) -> F64:
        """Half width of the interval about the centre (C,) that holds 95 % of the mixture.

        Newton in logarithms, where a tail is nearly a straight line: three steps are within a thousandth.
        """
        apart = self.at - centre[:, None]
        variance = (self.weight * (self.spread**2 + apart**2)).sum(axis=1)
        half = np.asarray(_t_975(self.dof)[0] * np.sqrt(variance))
        for _ in range(3):
            up, down = (half[:, None] - apart) / self.spread, (half[:, None] + apart) / self.spread
            tail = (self.weight * (stdtr(self.dof, -up) + stdtr(self.dof, -down))).sum(axis=1)
            power = -0.5 * (self.dof + 1)
            density = (1.0 + up**2 / self.dof) ** power + (1.0 + down**2 / self.dof) ** power
            fall = _t_975(self.dof)[1] * (self.weight / self.spread * density).sum(axis=1)
            half = half * np.exp(np.clip(np.log(tail / 0.05) * tail / (half * fall), -1.0, 1.0))
        return half


@cache
def _t_975(dof: int) -> tuple[float, float]:
    """The 97.5 % point of Student's t, and its density's constant."""
    constant = np.exp(gammaln(0.5 * (dof + 1)) - gammaln(0.5 * dof)) / np.sqrt(dof * np.pi)
    return float(stdtrit(dof, 0.975)), float(constant)


@dataclass(frozen=True)
class _Design:
    """With the correlation taken out: readings (C, G, n), constant and time (G, n); ln determinant (G,)."""

    z: F64
    one: F64
    slope: F64
    ln_det: F64


def _whitened(time: F64, y: F64) -> _Design:
    lags = np.diff(time)
    lags = lags / np.median(lags)
    # Missing readings leave whole steps; in between, a negative correlation has no meaning of its own.
    sign = np.where((_RHO[:, None] < 0.0) & (np.rint(lags) % 2 == 1), -1.0, 1.0)
    phi = np.clip(sign * np.abs(_RHO[:, None]) ** lags, _LOWEST, _HIGHEST)
    left = np.sqrt(1.0 - phi**2)

    def out(column: F64) -> F64:
        rest = (column[..., None, 1:] - phi * column[..., None, :-1]) / left
        first = np.broadcast_to(column[..., None, :1], (*rest.shape[:-1], 1))
        return np.concatenate([first, rest], axis=-1)

    centred = time - time.mean()
    return _Design(out(y), out(np.ones_like(time)), out(centred), 2.0 * np.log(left).sum(axis=1))


def _flat(design: _Design, rounding: F64) -> _Grid:
    z, one = design.z, design.one
    information = np.einsum("gn,gn->g", one, one)
    at = np.einsum("gn,cgn->cg", one, z) / information
    squares = ((z - at[..., None] * one) ** 2).sum(axis=-1)
    return _grid(design, at, information, np.log(information), squares, z.shape[-1] - 1, rounding)


def _sloping(design: _Design, rounding: F64) -> _Grid:
    z, one, slope = design.z, design.one, design.slope
    aa, ab, bb = (np.einsum("gn,gn->g", a, b) for a, b in ((one, one), (one, slope), (slope, slope)))
    az, bz = np.einsum("gn,cgn->cg", one, z), np.einsum("gn,cgn->cg", slope, z)
    det = aa * bb - ab**2
    level, at = (bb * az - ab * bz) / det, (aa * bz - ab * az) / det
    squares = ((z - level[..., None] * one - at[..., None] * slope) ** 2).sum(axis=-1)
    return _grid(design, at, det / aa, np.log(det), squares, z.shape[-1] - 2, rounding)


def _grid(
    design: _Design, at: F64, information: F64, ln_information: F64, squares: F64, dof: int, rounding: F64
) -> _Grid:
    """Weights by restricted likelihood. A display hides scatter below its step: no less is believed."""
    squares = np.maximum(squares, np.maximum(dof * rounding**2, 1e-24)[:, None])
    ln_weight = _LN_PRIOR - 0.5 * (design.ln_det + ln_information + dof * np.log(squares))
    weight = np.exp(ln_weight - ln_weight.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    return _Grid(weight, at, np.sqrt(squares / dof / information), squares, dof)
