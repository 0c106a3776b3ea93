"""When will a burner be outside its acceptance band, and so by when it must be seen."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
from scipy.special import ndtr

from analytics.drift.history import FloatArray, IntArray
from analytics.drift.threads import in_threads

NODE_Z = np.array([-2.856970, -1.355626, 0.0, 1.355626, 2.856970])
"""Five-point Gauss-Hermite nodes for a standard normal. Abramowitz and Stegun table 25.10, from MEMORY."""
NODE_WEIGHT = np.array([0.011257, 0.222076, 0.533333, 0.222076, 0.011257])
FINE_Z = np.linspace(-3.75, 3.75, 31)
_EDGES = np.append(FINE_Z - 0.125, FINE_Z[-1] + 0.125)
CHUNK = 2_000
"""Burners looked ahead at once: so few that their slices stay in the processor's own memory."""
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
    years = np.asarray(days_ahead, dtype=np.float64) / ANNUAL_DAYS
    with np.errstate(invalid="ignore"):
        low, high = 100.0 * np.log(bands.lowest_phi), 100.0 * np.log(bands.highest_phi)
    low, high = np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high)
    state = outlook.mean + outlook.drift * years[:, None]
    centre = state[:, :1] + outlook.slope * state[:, 1:] + outlook.constant
    inside = np.zeros(len(years))
    for node, weight in enumerate(NODE_WEIGHT):
        grown = outlook.walk_var[:, node] * years[:, None] + outlook.drift_var * years[:, None] ** 2
        kk = outlook.cov[:, 0] + grown[:, 0] + outlook.common_var
        kw, ww = outlook.cov[:, 1], outlook.cov[:, 2] + grown[:, 1]
        s = outlook.slope
        var = kk[:, None] + 2.0 * s * kw[:, None] + s**2 * ww[:, None]
        shared = kk + (s[:, 0] + s[:, 1]) * kw + s[:, 0] * s[:, 1] * ww
        inside += weight * _both_inside(centre, var, shared, low, high)
    known = np.isfinite(centre).all(axis=1) & (np.isfinite(low) | np.isfinite(high)).any(axis=1)
    return np.where(known, np.clip(1.0 - inside / NODE_WEIGHT.sum(), 0.0, 1.0), np.nan)


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
    with np.errstate(invalid="ignore"):
        passes = probability_outside(outlook, bands, np.full(count, ANNUAL_DAYS)) > limit
        now = probability_outside(outlook, bands, np.full(count, SOONEST_DAYS)) > limit
    between = np.flatnonzero(passes & ~now)
    theirs, limits = _chosen(outlook, between), _chosen(bands, between)
    early, late = np.full(len(between), SOONEST_DAYS), np.full(len(between), ANNUAL_DAYS)
    for _ in range(HALVINGS):
        middle = 0.5 * (early + late)
        passed = probability_outside(theirs, limits, middle) > limit
        early, late = np.where(passed, early, middle), np.where(passed, middle, late)
    ahead = np.full(count, SOONEST_DAYS)
    ahead[between] = np.floor(early)
    return np.where(passes, outlook.last_day + ahead, np.nan)


def _chosen(whole: _Held, rows: IntArray) -> _Held:
    return replace(whole, **{field.name: getattr(whole, field.name)[rows] for field in fields(whole)})


def _both_inside(
    centre: FloatArray, var: FloatArray, shared: FloatArray, low: FloatArray, high: FloatArray
) -> FloatArray:
    """Bivariate normal probability of a rectangle, by summing the second point given the first (B,)."""
    sd = np.sqrt(np.maximum(var, 1e-12))
    # the share of each slice of the first point that lies inside its limits, so that edges are not stepwise
    bounds = [ndtr((limit[:, 0] - centre[:, 0]) / sd[:, 0]) for limit in (low, high)]
    below = np.clip(ndtr(_EDGES)[:, None], *bounds)
    mass = np.maximum(np.diff(below, axis=0), 0.0)
    pull = shared / np.maximum(var[:, 0], 1e-12)
    given_sd = np.sqrt(np.maximum(var[:, 1] - pull * shared, 1e-12))
    tilt = FINE_Z[:, None] * (pull * sd[:, 0] / given_sd)
    second = ndtr((high[:, 1] - centre[:, 1]) / given_sd - tilt)
    second -= ndtr((low[:, 1] - centre[:, 1]) / given_sd - tilt)
    return np.asarray(np.sum(mass * second, axis=0))
