"""Trends of what fouling moves: against scipy and a published example, steps against lines, limits passed."""

import numpy as np
import pytest
import scipy.stats

from analytics.drift.quantities import passing, quantity_trends
from tests.published import drift_figures as published


def test_the_published_example_of_theils_slope_comes_out():
    trend = quantity_trends([published.THEIL_YEARS], [published.THEIL_RATIOS])
    assert trend.slope[0] == pytest.approx(published.THEIL_SLOPE, abs=5e-4)
    assert not trend.surely(0.0)[0]  # the example does not reject a slope of none at 5 %


def test_lines_agree_with_scipy_over_random_series_with_gaps():
    rng = np.random.default_rng(7)
    times = np.sort(rng.uniform(0.0, 12.0, (60, 11)), axis=1)
    values = 20.0 + rng.normal(0.8, 0.5, (60, 1)) * times + rng.standard_t(3, (60, 11))
    values[rng.uniform(size=values.shape) < 0.2] = np.nan
    got = quantity_trends(times, values)
    checked = 0
    for i in range(60):
        known = np.isfinite(values[i])
        if known.sum() < 4 or np.isfinite(got.step[i]):
            continue
        oracle = scipy.stats.theilslopes(values[i, known], times[i, known], 0.95)
        assert [got.slope[i], got.low[i], got.high[i]] == pytest.approx(
            [oracle.slope, oracle.low_slope, oracle.high_slope]
        )
        checked += 1
    assert checked > 40


def test_a_change_of_level_is_told_from_a_trend_and_both_from_noise():
    rng = np.random.default_rng(3)
    years, noise = np.arange(10.0), rng.normal(0.0, 0.5, (200, 10))
    steps = quantity_trends(years, 20.0 + 6.0 * (years >= 6) + noise)
    assert np.isfinite(steps.step).mean() > 0.9
    told = np.isfinite(steps.step)
    assert np.median(steps.step[told]) == pytest.approx(6.0, abs=0.3)
    assert (steps.step_at[told] == 6.0).mean() > 0.95
    assert np.isnan(steps.slope[told]).all()
    lines = quantity_trends(years, 20.0 + 1.5 * years + noise)
    assert np.isnan(lines.step).mean() > 0.97
    assert lines.surely(0.5).mean() > 0.97
    still = quantity_trends(years, 20.0 + noise)
    assert np.isfinite(still.step).mean() < 0.1
    assert still.surely(0.0).mean() < 0.1


def test_a_blunder_neither_tilts_the_line_nor_makes_a_step():
    values = 20.0 + np.arange(10.0)
    values[4] = 90.0
    trend = quantity_trends([np.arange(10.0)], [values])
    assert trend.slope[0] == pytest.approx(1.0)
    assert np.isnan(trend.step[0])


@pytest.mark.parametrize("values", [[], [1.0], [1.0, 2.0, 3.0], [np.nan] * 5])
def test_too_few_readings_give_no_estimate(values):
    trend = quantity_trends([np.arange(float(len(values)))], [values])
    assert np.isnan([trend.slope[0], trend.level[0], trend.step[0]]).all()
    assert not trend.surely(0.0)[0]


def test_readings_all_on_one_day_give_no_trend():
    assert np.isnan(quantity_trends([[2.0] * 5], [[1.0, 2.0, 3.0, 4.0, 5.0]]).slope[0])


def test_a_limit_below_is_passed_from_above():
    assert passing(20.0, -2.0, 16.0, upper=False) == pytest.approx(2.0)
    assert np.isnan(passing(20.0, -0.5, 16.0, upper=False))
