"""The usual rule, for comparison: out of band as found in two of the last four visits."""

from __future__ import annotations

import numpy as np

from tests.simulator.fleet import TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT, Fleet


def two_of_last_four(fleet: Fleet) -> np.ndarray:
    """Appliances (A,) that the rule flags at the end of their history."""
    visits, o = fleet.visits, fleet.options
    target = np.array([TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT])
    outside = (np.abs(visits.found_co2_pct - target) > o.acceptance_co2_pct).any(axis=1)
    count = np.bincount(visits.appliance, minlength=o.appliances)
    place = np.arange(len(outside)) - np.repeat(np.cumsum(count) - count, count)
    recent = place >= np.repeat(count, count) - 4
    return np.bincount(visits.appliance, outside & recent, minlength=o.appliances) >= 2
