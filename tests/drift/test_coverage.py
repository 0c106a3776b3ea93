"""How often the truth lies inside what is said: intervals of drift, over simulated fleets."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.drift.estimate import estimate_fleet
from tests.simulator.arrays import history_of
from tests.simulator.fleet import simulate
from tests.simulator.options import Options

DRIFTING = Options(appliances=1_000, analysers=12, areas=4, throttle_drift=0.004)


@pytest.mark.slow
def test_drift_intervals_hold_the_truth_about_as_often_as_they_say():
    fleet = simulate(DRIFTING, 1)
    trims = estimate_fleet(history_of(fleet)).trims
    truth = np.stack([100.0 * fleet.truth.drift[:, 0], np.zeros(DRIFTING.appliances)], axis=1)
    known = np.isfinite(trims.drift) & ~fleet.truth.wanders
    assert known.sum() > 1_500
    inside = (trims.drift_low <= truth) & (truth <= trims.drift_high)
    for trim in (0, 1):
        held = inside[known[:, trim], trim].mean()
        # 1,000 burners: a standard error of 0.7 points, and bias and gas shared between them
        assert 0.92 < held < 0.98
    # an interval that is merely wide would hold the truth too
    half = 0.5 * (trims.drift_high - trims.drift_low)[known[:, 0], 0]
    assert np.median(half) < 1.96 * 0.8
