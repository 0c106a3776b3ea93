"""Control charts, false discoveries, shrinkage and local levels against published figures and libraries."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
import statsmodels.api as sm
from scipy.stats import poisson
from statsmodels.stats.multitest import multipletests
from statsmodels.tsa.statespace.structural import UnobservedComponents

from analytics.drift.charts import cumulative_sum, weighted_mean
from analytics.drift.discoveries import benjamini_hochberg, flags_by_probability
from analytics.drift.trends import local_levels, shrink_to_mean, theil_sen
from tests.published import drift_figures as published


def test_weighted_mean_reproduces_the_handbook_example():
    chart = weighted_mean(
        published.EWMA_VALUES,
        published.EWMA_TARGET,
        published.EWMA_SD,
        weight=published.EWMA_WEIGHT,
        exact=False,
    )
    assert np.abs(chart.mean - published.EWMA_MEANS).max() < 0.011
    assert chart.low[-1] == pytest.approx(published.EWMA_LIMITS[0], abs=2e-3)
    assert chart.high[-1] == pytest.approx(published.EWMA_LIMITS[1], abs=2e-3)
    assert not chart.outside.any()


def test_cumulative_sum_reproduces_the_handbook_example():
    sd = 1.0
    chart = cumulative_sum(
        published.CUSUM_VALUES,
        published.CUSUM_TARGET,
        sd,
        slack=published.CUSUM_K,
        decision=published.CUSUM_H,
    )
    assert np.flatnonzero(chart.outside)[0] + 1 == published.CUSUM_FIRST_OUTSIDE
    assert not (chart.lower > chart.decision).any()


def test_missing_values_leave_the_charts_where_they_were():
    chart = weighted_mean([1.0, np.nan, 1.0], 0.0, 1.0)
    assert chart.mean[1] == chart.mean[0]
    assert chart.high[1] == chart.high[0]
    sums = cumulative_sum([3.0, np.nan], 0.0, 1.0)
    assert sums.upper[1] == sums.upper[0]


def test_benjamini_hochberg_rejects_the_four_of_the_published_trial():
    rejected = benjamini_hochberg(np.array(published.BH_P_VALUES), 0.05)
    assert rejected.sum() == published.BH_REJECTED
    assert rejected[: published.BH_REJECTED].all()


def test_benjamini_hochberg_agrees_with_statsmodels_on_random_values():
    rng = np.random.default_rng(1)
    for _ in range(50):
        p = rng.uniform(0, 1, 40) ** rng.uniform(1, 4)
        assert (benjamini_hochberg(p, 0.1) == multipletests(p, 0.1, method="fdr_bh")[0]).all()


def test_flags_by_probability_stop_at_the_expected_share_of_false_ones():
    probability = np.array([0.99, 0.98, 0.9, 0.6, np.nan, 0.1])
    assert flags_by_probability(probability, 0.05).tolist() == [True, True, True, False, False, False]
    assert not flags_by_probability(np.full(4, 0.5), 0.05).any()
    # four that are not known would still leave the share under one in twenty
    assert not flags_by_probability(np.append(np.ones(100), np.full(4, np.nan)), 0.05)[100:].any()


def test_few_flags_are_held_back_where_two_false_ones_would_pass_the_most_that_may_be():
    for count, chance in ((20, 0.97), (20, 0.99), (25, 0.97), (400, 0.96)):
        most_allowed = int(0.08 * count + 1e-9)
        passing = poisson.sf(most_allowed, count * (1.0 - chance))
        flags = flags_by_probability(np.full(count, chance), 0.05, most=0.08, chance=0.05)
        assert flags.all() if passing <= 0.05 else not flags.any()
    # the number of false ones among many is no larger than Poisson's, as a draw shows
    draws = np.random.default_rng(8).random((20_000, 20)) > 0.97
    assert (draws.sum(axis=1) > 1).mean() <= poisson.sf(1, 20 * 0.03) + 0.005


def test_shrinkage_of_batting_averages_is_the_published_one():
    batting = np.array(published.BATTING)
    mean = batting.mean()
    shrunk, factor = shrink_to_mean(batting, mean * (1 - mean) / 45)
    assert factor == pytest.approx(published.BATTING_SHRINKAGE, abs=2e-3)
    assert shrunk.mean() == pytest.approx(mean)


def test_nile_local_level_is_the_published_exact_diffuse_one():
    nile = sm.datasets.nile.load_pandas().data["volume"].to_numpy()
    noise, walk = published.NILE_NOISE_VAR, published.NILE_WALK_VAR
    level, var, log_likelihood = local_levels(nile, noise, walk)
    model = UnobservedComponents(nile, "local level", use_exact_diffuse=True)
    oracle = model.smooth([noise, walk])
    assert np.allclose(level, oracle.filtered_state[0], atol=1e-6)
    assert np.allclose(var, oracle.filtered_state_cov[0, 0], atol=1e-4)
    assert log_likelihood == pytest.approx(published.NILE_LOG_LIKELIHOOD, abs=1.0)
    nearby = [local_levels(nile, noise * a, walk * b)[2] for a in (0.9, 1.1) for b in (0.8, 1.2)]
    assert log_likelihood > max(nearby)


def test_theil_sen_agrees_with_scipy_on_random_series():
    rng = np.random.default_rng(2)
    times = np.sort(rng.uniform(0, 10, (30, 11)), axis=1)
    values = rng.normal(0, 1, times.shape) + 0.3 * times
    values[rng.random(times.shape) < 0.2] = np.nan
    got = theil_sen(times, values)
    for i in range(len(times)):
        known = np.isfinite(values[i])
        oracle = scipy.stats.theilslopes(values[i, known], times[i, known], 0.95)
        assert got.slope[i] == pytest.approx(oracle.slope, abs=1e-12)
        assert got.low[i] == pytest.approx(oracle.low_slope, abs=1e-12)
        assert got.high[i] == pytest.approx(oracle.high_slope, abs=1e-12)


def test_theil_sen_of_a_single_reading_is_no_slope():
    got = theil_sen([[0.0, 1.0]], [[3.0, np.nan]])
    assert np.isnan(got.slope[0])
    assert got.level[0] == 3.0


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: weighted_mean([1.0], 0.0, 0.0), "sd is 0"),
        (lambda: weighted_mean([1.0], 0.0, 1.0, weight=2.0), "weight is 2"),
        (lambda: cumulative_sum([1.0], 0.0, -1.0), "sd is -1"),
        (lambda: theil_sen([0.0, 1.0], [0.0, 1.0], 1.0), "confidence is 1"),
        (lambda: local_levels([1.0], 0.0, 1.0), "noise_var"),
        (lambda: shrink_to_mean([1.0, 2.0], 1.0), "at least 4"),
        (lambda: benjamini_hochberg(np.array([1.5]), 0.05), "p_values holds 1.5"),
        (lambda: flags_by_probability(np.array([0.5]), 0.0), "rate is 0"),
    ],
)
def test_wrong_input_is_refused_with_value_and_limit(call, text):
    with pytest.raises(ValueError, match=text):
        call()
