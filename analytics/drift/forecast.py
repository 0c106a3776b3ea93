"""When will a burner be outside its acceptance band, and so by when it must be seen."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
from scipy.special import ndtr

from analytics.drift.history import BoolArray, FloatArray, IntArray
from analytics.drift.threads import in_threads

NODE_Z = np.array([-2.856970, -1.355626, 0.0, 1.355626, 2.856970])
"""Five-point Gauss-Hermite nodes for a standard normal. Abramowitz and Stegun table 25.10, from MEMORY."""
NODE_WEIGHT = np.array([0.011257, 0.222076, 0.533333, 0.222076, 0.011257])
_SHARE = NODE_WEIGHT / NODE_WEIGHT.sum()
_ANGLE, _ANGLE_WEIGHT = np.polynomial.legendre.leggauss(6)
"""Six points between no correlation and all of it: the probability of a rectangle to 2e-5."""
FARTHEST = 8.0
"""Standard deviations beyond which nothing lies."""
CHUNK = 2_000
"""Burners looked ahead at once: so few that their slices stay in the processor's own memory."""
MOST_CORRELATION = 0.9999
ANNUAL_DAYS = 365.25
SOONEST_DAYS = 90.0
LIMIT = 0.05
HALVINGS = 9
"""Of the 275 days between the soonest and the annual date: to half a day."""


@dataclass(frozen=True)
class Bands:
    """Acceptance of each burner at the usual gas and 15 °C air: phi (B, 2) at high and low fire, NaN
    unlimited.
    """

    lowest_phi: FloatArray
    highest_phi: FloatArray


@dataclass(frozen=True)
class Outlook:
    """What is known of burners after their last visit (B,): enough to say where they will be at a date.

    mean (B, 2), cov (B, 3): throttle [%] and offset [Pa].  walk_var (B, 5, 2): five equally meant values
    of the
    variance gained per year, weighted as NODE_WEIGHT.  drift, drift_var (B, 2): steady part per year.
    slope (B, 2), constant (B, 2): of 100 ln phi at high and low fire in the offset.  common_var (B,):
    variance
    of what nobody knows yet, gas above all [%^2].  last_day (B,).
    """

    mean: FloatArray
    cov: FloatArray
    walk_var: FloatArray
    drift: FloatArray
    drift_var: FloatArray
    slope: FloatArray
    constant: FloatArray
    common_var: FloatArray
    last_day: FloatArray


_Held = TypeVar("_Held", Outlook, Bands)


def probability_outside(outlook: Outlook, bands: Bands, days_ahead: FloatArray) -> FloatArray:
    """Probability that a burner fires outside its band at either point, days_ahead (B,) after its last visit.

    NaN where nothing is known or no band is set. The two points are taken together, with their correlation.
    """
    limits = _standard_limits(outlook, bands, days_ahead)
    inside = np.einsum("n,nb->b", _SHARE, _both_inside(*limits))
    return np.where(_is_known(outlook, bands), np.clip(1.0 - inside, 0.0, 1.0), np.nan)


def passes(outlook: Outlook, bands: Bands, days_ahead: FloatArray, limit: float) -> BoolArray:
    """Whether that probability is over limit (B,); False where it is not known.

    It is at least what lies outside at either point and at most their sum: few need both points together.
    """
    low, high, correlation = _standard_limits(outlook, bands, days_ahead)
    alone = np.einsum("n,nbp->bp", _SHARE, 1.0 - (ndtr(high) - ndtr(low)))
    over = alone.max(axis=1) > limit
    open_ = np.flatnonzero(~over & (alone.sum(axis=1) > limit))
    inside = _both_inside(low[:, open_], high[:, open_], correlation[:, open_])
    over[open_] = 1.0 - np.einsum("n,nb->b", _SHARE, inside) > limit
    return np.asarray(over & _is_known(outlook, bands))


def _is_known(outlook: Outlook, bands: Bands) -> BoolArray:
    limited = np.isfinite(bands.lowest_phi) | np.isfinite(bands.highest_phi)
    return np.asarray(np.isfinite(outlook.mean).all(axis=1) & limited.any(axis=1))


def _standard_limits(
    outlook: Outlook, bands: Bands, days_ahead: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Limits of both points in standard deviations (N, B, 2) and their correlation (N, B), by NODE_Z."""
    years = np.asarray(days_ahead, dtype=np.float64)[:, None] / ANNUAL_DAYS
    state = outlook.mean + outlook.drift * years
    slope = outlook.slope
    centre = state[:, :1] + slope * state[:, 1:] + outlook.constant
    grown = outlook.walk_var.swapaxes(0, 1) * years + outlook.drift_var * years**2
    kk = grown[..., 0] + outlook.cov[:, 0] + outlook.common_var
    kw, ww = outlook.cov[:, 1], grown[..., 1] + outlook.cov[:, 2]
    sd = np.stack([np.sqrt(np.maximum(kk + s * (2.0 * kw + s * ww), 1e-12)) for s in slope.T], axis=-1)
    shared = kk + (slope[:, 0] + slope[:, 1]) * kw + slope[:, 0] * slope[:, 1] * ww
    correlation = np.clip(shared / (sd[..., 0] * sd[..., 1]), -MOST_CORRELATION, MOST_CORRELATION)
    low, high = (
        np.clip((100.0 * np.log(phi) - centre) / sd, -FARTHEST, FARTHEST)
        for phi in (bands.lowest_phi, bands.highest_phi)
    )
    low, high = np.where(np.isnan(low), -FARTHEST, low), np.where(np.isnan(high), FARTHEST, high)
    return low, high, correlation


def _both_inside(low: FloatArray, high: FloatArray, correlation: FloatArray) -> FloatArray:
    """Bivariate normal probability of a rectangle; limits (..., 2) in standard deviations.

    That of independent points and what the correlation adds, by Plackett's identity: the density at the four
    corners integrated over the correlation's angle. Source: Plackett 1954; Drezner and Wesolowsky 1990.
    """
    alone = ndtr(high) - ndtr(low)
    half_angle = 0.5 * np.arcsin(correlation)
    added = np.zeros(correlation.shape)
    corners = [(x[..., 0], y[..., 1], 1.0 if x is y else -1.0) for x in (low, high) for y in (low, high)]
    for point, weight in zip(_ANGLE, _ANGLE_WEIGHT, strict=True):
        sine = np.sin(half_angle * (1.0 + point))
        per = 0.5 / (1.0 - sine**2)
        for x, y, sign in corners:
            added += sign * weight * np.exp((2.0 * sine * x * y - x**2 - y**2) * per)
    return np.asarray(alone[..., 0] * alone[..., 1] + added * half_angle / (2.0 * np.pi))


def next_visit_day(outlook: Outlook, bands: Bands, limit: float = LIMIT) -> FloatArray:
    """Day by which the probability of being outside passes limit before the annual date, else NaN (B,).

    At the usual gas: a visit mends a trim, not the month's gas. Never sooner than 90 days after the last
    visit.
    """
    outlook = replace(outlook, common_var=np.zeros_like(outlook.common_var))
    day = np.full(len(outlook.last_day), np.nan)

    def work(at: int) -> None:
        some = np.arange(at, min(at + CHUNK, len(day)))
        day[some] = _passing_day(_chosen(outlook, some), _chosen(bands, some), limit)

    in_threads(work, range(0, len(day), CHUNK))
    return day


def _passing_day(outlook: Outlook, bands: Bands, limit: float) -> FloatArray:
    """As next_visit_day, by halving between the soonest day and the annual one where it lies between."""
    count = len(outlook.last_day)
    by_then = passes(outlook, bands, np.full(count, ANNUAL_DAYS), limit)
    now = passes(outlook, bands, np.full(count, SOONEST_DAYS), limit)
    between = np.flatnonzero(by_then & ~now)
    theirs, limits = _chosen(outlook, between), _chosen(bands, between)
    early, late = np.full(len(between), SOONEST_DAYS), np.full(len(between), ANNUAL_DAYS)
    for _ in range(HALVINGS):
        middle = 0.5 * (early + late)
        passed = passes(theirs, limits, middle, limit)
        early, late = np.where(passed, early, middle), np.where(passed, middle, late)
    ahead = np.full(count, SOONEST_DAYS)
    ahead[between] = np.floor(early)
    return np.where(by_then, outlook.last_day + ahead, np.nan)


def _chosen(whole: _Held, rows: IntArray) -> _Held:
    return replace(whole, **{field.name: getattr(whole, field.name)[rows] for field in fields(whole)})
