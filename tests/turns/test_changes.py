"""From readings to changes of state: exact by the trims' relation, and not fooled by what made one move."""

import numpy as np
import pytest

from analytics.turns.changes import LEAST_PAIRS, Readings, found_of, likely, offset_changed, throttle_change
from analytics.turns.hierarchy import Moves, learn
from combustion.trims import phi_at

M = 5.0


def readings(ln_k, w, u=0.0):
    high, low = (np.log(np.atleast_1d(phi_at(ln_k, w, rate))) for rate in (1.0, 1.0 / M))
    var = np.full(len(high), u**2)
    return Readings(high, low, var, var.copy())


@pytest.mark.parametrize(("ln_k", "w"), [(-0.22, -0.0017), (-0.20, 0.004), (-0.26, -0.01)])
def test_both_trims_moved_at_once_are_told_apart_exactly(ln_k, w):
    before, after = readings(ln_k, w), readings(ln_k + 0.03, w + 0.003)
    m, both = np.array([M]), np.array([True])
    assert throttle_change(before, after, m, offset_moved=both)[0][0] == pytest.approx(0.03, abs=1e-12)
    assert offset_changed(before, after, m, throttle_moved=both)[0][0] == pytest.approx(0.003, abs=1e-12)


def test_one_trim_alone_is_told_exactly_and_by_its_own_point():
    m, alone = np.array([M]), np.array([False])
    before = readings(-0.22, -0.0017)
    after = readings(-0.22, 0.002)
    assert offset_changed(before, after, m, throttle_moved=alone)[0][0] == pytest.approx(0.0037, abs=1e-12)
    after = readings(-0.19, -0.0017)
    nothing = np.array([np.nan])
    after = Readings(after.ln_high, nothing, after.var_high, nothing)
    assert throttle_change(before, after, nothing, offset_moved=alone)[0][0] == pytest.approx(0.03, abs=1e-12)


def test_uncertainty_of_an_offset_is_what_repeated_readings_show():
    rng = np.random.default_rng(1)
    u, n = 0.005, 40_000
    before, after = readings(-0.22, -0.0017, u), readings(-0.22, 0.002, u)
    noisy = [
        Readings(
            *(each + u * rng.standard_normal(n) for each in (r.ln_high, r.ln_low)), *(np.full(n, u**2),) * 2
        )
        for r in (before, after)
    ]
    change, stated = offset_changed(*noisy, np.full(n, M), throttle_moved=np.zeros(n, bool))
    assert np.std(change) == pytest.approx(np.mean(stated), rel=0.06)


def test_what_cannot_be_told_is_missing_and_never_raises():
    odd = Readings(np.array([np.nan, -0.2]), np.array([-0.2, 3.0]), np.ones(2), np.ones(2))
    for moved in (False, True):
        change, _ = offset_changed(odd, odd, np.array([M, 1.0]), throttle_moved=np.full(2, moved))
        assert np.isnan(change).all()


def test_moves_made_because_of_a_chance_reading_do_not_inflate_the_effect():
    """Found spread 0.02 in ln φ, noise 0.007, moved when read 0.03 off: as read, some 11 % too much."""
    rng = np.random.default_rng(2)
    n, u, effect = 4_000, 0.007, -0.2
    true = np.array([-0.22, -0.24]) + 0.02 * rng.standard_normal((n, 2)) @ np.array([[1.0, 0.6], [0.0, 0.8]])
    read = true + u * rng.standard_normal((n, 2))
    moved = np.abs(read[:, 0] + 0.22) > 0.03
    amount = (-0.22 - read[moved, 0]) / effect
    after = true[moved, 0] + effect * amount + u * rng.standard_normal(moved.sum())
    var = np.full(moved.sum(), u**2)
    as_read = Readings(read[moved, 0], read[moved, 1], var, var)
    found = found_of(read[:, 0], read[:, 1])

    def learnt(before):
        left = Readings(after, np.full(len(after), np.nan), var, var)
        change, spread = throttle_change(
            before, left, np.full(len(after), M), offset_moved=np.zeros(len(after), bool)
        )
        return learn(Moves(amount, change, spread, np.arange(len(after)) % 100)).effect / effect

    assert learnt(as_read) > 1.09
    assert learnt(likely(as_read, found)) == pytest.approx(1.0, abs=0.015)


def test_few_pairs_and_blunders_do_not_set_how_burners_are_found():
    rng = np.random.default_rng(3)
    high, low = -0.2 + 0.02 * rng.standard_normal((2, 200))
    high[:5] = 1.0
    found = found_of(high, low)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx([0.02, 0.02], rel=0.15)
    assert found_of(high[: LEAST_PAIRS - 1], low[: LEAST_PAIRS - 1]) is None


def test_reading_that_varies_no_more_than_its_noise_is_taken_for_the_mean():
    rng = np.random.default_rng(4)
    high, low = -0.2 + 0.005 * rng.standard_normal((2, 500))
    found = found_of(high, low)
    shrunk = likely(Readings(high[:9], low[:9], np.full(9, 1e-4), np.full(9, 1e-4)), found)
    assert shrunk.ln_high == pytest.approx(np.full(9, found.mean[0]))
    assert np.isnan(likely(Readings(*np.full((4, 1), np.nan)), found).ln_high).all()
