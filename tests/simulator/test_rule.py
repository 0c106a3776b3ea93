"""The usual rule on a fleet of its own, and with its band widened."""

from __future__ import annotations

import numpy as np
import pytest

from tests.simulator.fleet import TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT, simulate
from tests.simulator.options import Options
from tests.simulator.rule import band_that_flags, flagged_beyond, two_of_last_four


@pytest.fixture(scope="module")
def fleet():
    return simulate(Options(appliances=200, visits=7, lost_share=0.4, low_read_share=0.8), 1)


def test_the_rule_is_what_counting_visits_one_by_one_gives(fleet):
    visits, expected = fleet.visits, []
    for appliance in range(200):
        found = visits.found_co2_pct[visits.appliance == appliance][-4:]
        off = np.abs(found - [TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT]) > fleet.options.acceptance_co2_pct
        expected.append(off.any(axis=1).sum() >= 2)
    assert two_of_last_four(fleet).tolist() == expected
    assert 0.2 < np.mean(expected) < 0.9


def test_a_band_widened_flags_at_most_as_many_as_asked_and_nearly_so(fleet):
    for most in (0, 5, 20):
        flags = flagged_beyond(fleet, band_that_flags(fleet, most)).sum()
        # readings have two decimals, so that some are level
        assert most - 3 <= flags <= most
    assert band_that_flags(fleet, 20) < band_that_flags(fleet, 5)
