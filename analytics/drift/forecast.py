"""When will a burner be outside its acceptance band, and so by when it must be seen."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from analytics.drift.history import FloatArray

NODE_Z = np.array([-2.856970, -1.355626, 0.0, 1.355626, 2.856970])
"""Five-point Gauss-Hermite nodes for a standard normal. Abramowitz and Stegun table 25.10, from MEMORY."""
NODE_WEIGHT = np.array([0.011257, 0.222076, 0.533333, 0.222076, 0.011257])
FINE_Z = np.linspace(-3.75, 3.75, 31)
ANNUAL_DAYS = 365.25
SOONEST_DAYS = 90.0
LIMIT = 0.05


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
    count = len(outlook.last_day)
    at_year = probability_outside(outlook, bands, np.full(count, ANNUAL_DAYS))
    early, late = np.full(count, SOONEST_DAYS), np.full(count, ANNUAL_DAYS)
    for _ in range(9):
        middle = 0.5 * (early + late)
        passed = probability_outside(outlook, bands, middle) > limit
        early, late = np.where(passed, early, middle), np.where(passed, middle, late)
    now = probability_outside(outlook, bands, np.full(count, SOONEST_DAYS)) > limit
    day = outlook.last_day + np.where(now, SOONEST_DAYS, np.floor(early))
    return np.where(at_year > limit, day, np.nan)


def _both_inside(
    centre: FloatArray, var: FloatArray, shared: FloatArray, low: FloatArray, high: FloatArray
) -> FloatArray:
    """Bivariate normal probability of a rectangle, by summing the second point given the first (B,)."""
    sd = np.sqrt(np.maximum(var, 1e-12))
    z = FINE_Z[:, None]
    first = centre[:, 0] + z * sd[:, 0]
    step = FINE_Z[1] - FINE_Z[0]
    # the share of each slice of the first point that lies inside its limits, so that edges are not stepwise
    from_z = np.maximum((low[:, 0] - centre[:, 0]) / sd[:, 0], z - step / 2)
    to_z = np.minimum((high[:, 0] - centre[:, 0]) / sd[:, 0], z + step / 2)
    mass = np.where(to_z > from_z, ndtr(to_z) - ndtr(from_z), 0.0)
    pull = shared / np.maximum(var[:, 0], 1e-12)
    given = centre[:, 1] + pull * (first - centre[:, 0])
    given_sd = np.sqrt(np.maximum(var[:, 1] - pull * shared, 1e-12))
    second = ndtr((high[:, 1] - given) / given_sd) - ndtr((low[:, 1] - given) / given_sd)
    return np.asarray(np.sum(mass * second, axis=0))
