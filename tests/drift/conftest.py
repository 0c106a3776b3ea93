"""A small simulated fleet for the statistics' tests."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.drift.panels import LEVEL_VAR, Readings
from analytics.drift.steps import steps_of
from tests.simulator.arrays import history_of
from tests.simulator.fleet import simulate
from tests.simulator.options import Options


@pytest.fixture(scope="session")
def small_fleet():
    return simulate(Options(appliances=300, visits=8, analysers=6, areas=3, lost_share=0.1), 11)


@pytest.fixture(scope="session")
def small_fleet_steps(small_fleet):
    steps = steps_of(history_of(small_fleet).checked())
    level = np.stack([np.full(steps.stretches, -25.0), steps.offset_centre_pa], axis=1)
    return steps, Readings(steps.y, steps.var, steps.shared_var, level, np.array(LEVEL_VAR))
