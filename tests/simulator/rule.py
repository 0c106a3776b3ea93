"""The usual rule, for comparison: out of band as found in two of the last four visits."""

from __future__ import annotations

import numpy as np

from tests.simulator.fleet import TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT, Fleet

RECENT, TIMES = 4, 2


def two_of_last_four(fleet: Fleet) -> np.ndarray:
    """Appliances (A,) that the rule flags at the end of their history."""
    return flagged_beyond(fleet, fleet.options.acceptance_co2_pct)


def flagged_beyond(fleet: Fleet, band_co2_pct: float) -> np.ndarray:
    """The same with another band, so far to either side of the target [% CO2]."""
    return second_worst_co2_pct(fleet) > band_co2_pct


def band_that_flags(fleet: Fleet, most: int) -> float:
    """The narrowest band [% CO2 to either side] with which the rule flags at most so many appliances."""
    worst = np.sort(second_worst_co2_pct(fleet))[::-1]
    return float(worst[most]) if most < len(worst) else 0.0


def second_worst_co2_pct(fleet: Fleet) -> np.ndarray:
    """Distance from the target as found, at the worse point, that two of the last four visits reach (A,)."""
    visits, appliances = fleet.visits, fleet.options.appliances
    target = np.array([TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT])
    off = np.nan_to_num(np.abs(visits.found_co2_pct - target)).max(axis=1)
    ended = np.cumsum(np.bincount(visits.appliance, minlength=appliances))
    back = ended[visits.appliance] - 1 - np.arange(len(off))
    recent = np.zeros((appliances, RECENT))
    late = back < RECENT
    recent[visits.appliance[late], back[late]] = off[late]
    return np.sort(recent, axis=1)[:, -TIMES]
