"""Means by group and repeatability against independent libraries."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from analytics.drift.pooling import pooled_means, repeatability


def test_a_groups_mean_and_interval_are_those_of_weighted_least_squares_with_robust_errors() -> None:
    draw = np.random.default_rng(4)
    group = np.repeat([0, 1, 2], [4, 30, 2])
    u = draw.uniform(0.2, 2.0, len(group))
    values = draw.normal([1.0, -2.0, 0.0], 1.0, (len(group), 3))[np.arange(len(group)), group]
    pooled = pooled_means(values, u, group, 4)
    for place in (0, 1):
        mine = group == place
        fit = sm.WLS(values[mine], np.ones(mine.sum()), weights=1 / u[mine] ** 2).fit(
            cov_type="HC1", use_t=True
        )
        low, high = fit.conf_int()[0]
        assert pooled.mean[place] == pytest.approx(fit.params[0])
        assert (pooled.low[place], pooled.high[place]) == pytest.approx((low, high))
    assert np.isfinite(pooled.mean[2])
    assert np.isnan([pooled.low[2], pooled.mean[3]]).all()
    assert pooled.count.tolist() == [4, 30, 2, 0]


def test_repeatability_holds_the_true_deviation_as_often_as_it_says() -> None:
    draw = np.random.default_rng(7)
    pairs = draw.normal(9.0, 0.06, (2_000, 40, 2))
    square = np.mean((pairs[..., 0] - pairs[..., 1]) ** 2, axis=1)
    found = np.array([repeatability(40, value) for value in square])
    assert found[:, 0].mean() == pytest.approx(0.06, rel=0.02)
    assert np.mean((found[:, 1] < 0.06) & (found[:, 2] > 0.06)) == pytest.approx(0.95, abs=0.015)
    low = np.sqrt(40 * 0.06**2 / stats.chi2.ppf(0.975, 40))
    assert repeatability(40, 2 * 0.06**2)[1] == pytest.approx(low)


@pytest.mark.parametrize(("values", "u"), [([np.nan], [1.0]), ([1.0], [0.0])])
def test_values_that_say_nothing_are_refused(values: list[float], u: list[float]) -> None:
    with pytest.raises(ValueError, match="finite"):
        pooled_means(values, u, [0], 1)
    with pytest.raises(ValueError, match="at least 1"):
        repeatability(0, 0.1)
