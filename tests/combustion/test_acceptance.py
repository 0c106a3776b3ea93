"""Conformance probabilities and combustion health."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, norm

from combustion.acceptance import (
    best_provable,
    cannot_prove,
    guarded_limits,
    health,
    inside_probability,
    verdict,
)
from combustion.analyser import EN_50379
from combustion.errors import OutOfRange

LOWER, UPPER = np.array([8.7, 8.3]), np.array([9.3, 8.9])


def test_a_two_sided_probability_is_the_normal_share_between_the_limits():
    """scipy.stats as the reference."""
    expected = norm.cdf(9.3, 9.1, 0.12) - norm.cdf(8.7, 9.1, 0.12)
    assert float(inside_probability(9.1, 0.12, 8.7, 9.3)) == pytest.approx(expected, rel=1e-12)


def test_an_exact_reading_is_inside_or_not():
    got = inside_probability([8.69, 8.7, 9.3, 9.31], 0.0, 8.7, 9.3)
    assert got.tolist() == [0.0, 1.0, 1.0, 0.0]


def test_a_missing_reading_is_unknown_and_a_missing_limit_is_open():
    got = inside_probability([np.nan, 9.0, 9.0], 0.1, [8.7, np.nan, np.nan], [9.3, np.nan, 9.0])
    assert np.isnan(got[0])
    assert got[1:].tolist() == pytest.approx([1.0, 0.5])
    assert verdict(got).tolist() == ["unknown", "inside", "probably inside"]


def test_verdict_words_change_at_their_cuts():
    cuts = [1.0, 0.95, 0.9499, 0.5, 0.4999, 0.0501, 0.05, 0.0]
    assert verdict(cuts).tolist() == [
        "inside",
        "inside",
        "probably inside",
        "probably inside",
        "probably outside",
        "probably outside",
        "outside",
        "outside",
    ]


@pytest.mark.parametrize(
    ("own", "shared"), [(0.06, 0.13), (0.15, 0.0), (0.02, 0.3), (0.005, 0.15), (0.0, 0.15)]
)
@pytest.mark.parametrize(("high", "low"), [(9.0, 8.6), (9.2, 8.7), (9.35, 8.4), (8.8, 8.8), (9.0, 8.3)])
def test_joint_probability_of_two_points_agrees_with_the_bivariate_normal(own, shared, high, low):
    """scipy's multivariate normal; where the own error all but vanishes the grid is coarser."""
    values = np.array([high, low])
    covariance = np.full((2, 2), shared**2) + np.eye(2) * max(own**2, 1e-12)
    distribution = multivariate_normal([0.0, 0.0], covariance, allow_singular=True)
    expected = distribution.cdf(UPPER - values, lower_limit=LOWER - values)
    got = health([0, 0], [0, 0], values, own, shared, LOWER, UPPER).probability[0]
    assert got == pytest.approx(float(expected), abs=1e-5 if own > 0.1 * shared else 4e-3)


def test_three_points_and_two_channels_agree_with_monte_carlo():
    rng = np.random.default_rng(4)
    trials = 400_000
    values, own = np.array([9.1, 8.9, 8.6, 21.0]), np.array([0.06, 0.06, 0.08, 0.4])
    shared = np.array([0.12, 0.12, 0.11, 0.5])
    lower, upper = np.array([8.7, 8.6, 8.3, 20.0]), np.array([9.3, 9.2, 8.9, 22.0])
    common = rng.standard_normal((trials, 2))[:, [0, 0, 0, 1]]
    drawn = values + common * shared + rng.standard_normal((trials, 4)) * own
    expected = ((drawn >= lower) & (drawn <= upper)).all(axis=1).mean()
    got = health([0] * 4, [7, 7, 7, 3], values, own, shared, lower, upper).probability[0]
    assert got == pytest.approx(expected, abs=4.0 * np.sqrt(0.25 / trials))


def test_a_shared_error_makes_two_points_agree_more_than_independent_ones():
    together = health([0, 0], [0, 0], [9.2, 8.8], 0.05, 0.14, LOWER, UPPER).probability[0]
    apart = health([0, 0], [0, 1], [9.2, 8.8], 0.05, 0.14, LOWER, UPPER).probability[0]
    assert apart < together < inside_probability(9.2, np.hypot(0.05, 0.14), 8.7, 9.3)


def test_visits_of_any_size_in_any_order_keep_apart():
    visit = np.array([2, 0, 2, 0, 4, 2])
    channel = np.array([0, 0, 0, 1, 0, 1])
    value = np.array([9.0, 9.0, 8.6, 20.0, np.nan, 24.0])
    lower = np.array([8.7, 8.7, 8.3, 18.0, 8.7, 18.0])
    upper = np.array([9.3, 9.3, 8.9, 22.0, 9.3, 22.0])
    got = health(visit, channel, value, 0.06, 0.13, lower, upper, visits=6)

    assert got.checked.tolist() == [2, 0, 3, 0, 0, 0]
    assert np.isnan(got.probability[[1, 3, 4, 5]]).all()
    assert got.weakest.tolist() == [1, -1, 5, -1, -1, -1] or got.weakest[0] in (1, 3)
    assert got.weakest[2] == 5
    alone = health([0, 0], [0, 0], value[[0, 2]], 0.06, 0.13, lower[[0, 2]], upper[[0, 2]]).probability[0]
    assert got.probability[2] == pytest.approx(alone * got.row_probability[5], abs=1e-12)


def test_many_visits_at_once_are_each_as_if_alone():
    rng = np.random.default_rng(5)
    visit = np.repeat(np.arange(3000), 4)
    channel = np.tile([0, 0, 1, 2], 3000)
    value = rng.normal(9.0, 0.2, visit.size)
    whole = health(visit, channel, value, 0.06, 0.13, 8.7, 9.3)
    for one in (0, 1023, 1024, 2047, 2999):
        rows = visit == one
        alone = health(np.zeros(4, int), channel[rows], value[rows], 0.06, 0.13, 8.7, 9.3)
        assert whole.probability[one] == pytest.approx(alone.probability[0], abs=1e-12)
        assert whole.weakest[one] == np.flatnonzero(rows)[alone.weakest[0]]


def test_no_rows_at_all_is_nothing_known():
    got = health([], [], [], [], [], [], [], visits=2)
    assert np.isnan(got.probability).all()
    assert got.weakest.tolist() == [-1, -1]


def test_impossible_uncertainties_are_refused_by_name():
    with pytest.raises(OutOfRange, match="u_shared is -1"):
        health([0], [0], [9.0], [0.1], [-1.0], [8.7], [9.3])
    with pytest.raises(OutOfRange, match="u_independent"):
        health([0], [0], [9.0], [-0.1], [1.0], [8.7], [9.3])
    with pytest.raises(OutOfRange, match="visit"):
        health([-1], [0], [9.0], [0.1], [1.0], [8.7], [9.3])
    with pytest.raises(OutOfRange, match="u is -1"):
        inside_probability(1.0, -1.0)


def test_a_third_of_a_per_cent_class_only_just_proves_a_third_of_a_per_cent_band():
    """EN 50379 kind (MEMORY), limit of error read as k = 2: in the middle of the band 0.954."""
    u = EN_50379.standard_uncertainty("co2_pct", 9.0)
    assert float(best_provable(u, 8.7, 9.3)) == pytest.approx(0.9545, abs=1e-4)
    assert not cannot_prove(u, 8.7, 9.3)
    assert cannot_prove(u, 8.8, 9.2)


def test_a_one_sided_band_can_always_be_proved():
    assert best_provable(5.0, np.nan, 70.0) == 1.0
    assert best_provable(5.0, 70.0, 60.0) == 0.0


@settings(deadline=None)
@given(value=st.floats(8.0, 10.0), u=st.floats(0.001, 0.5))
def test_no_reading_beats_the_middle_of_the_band(value, u):
    assert inside_probability(value, u, 8.7, 9.3) <= best_provable(u, 8.7, 9.3) + 1e-12


@settings(deadline=None)
@given(u=st.floats(0.001, 0.5), probability=st.floats(0.5, 0.999))
def test_a_reading_at_a_guarded_limit_proves_its_side_exactly(u, probability):
    low, high = guarded_limits(u, 8.7, 9.3, probability)
    assert float(inside_probability(low, u, lower=8.7)) == pytest.approx(probability, abs=1e-9)
    assert float(inside_probability(high, u, upper=9.3)) == pytest.approx(probability, abs=1e-9)


def test_a_guard_wants_a_probability():
    with pytest.raises(OutOfRange, match="probability"):
        guarded_limits(0.1, 8.7, 9.3, 1.0)


def test_points_far_inside_are_inside_with_a_probability_of_one_at_most():
    far = health([0, 0, 1, 1], [0] * 4, 9.0, 0.01, 0.01, 0.0, 20.0)
    assert (far.probability <= 1.0).all()
    assert far.probability == pytest.approx([1.0, 1.0])
