"""What is done in blocks and in single precision against plain sums, on small random fleets."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from analytics.drift import decomposition, forecast, levels, slices
from analytics.drift import steps as steps_module
from analytics.drift.decomposition import CommonSpread, decompose, throttle_view
from analytics.drift.forecast import (
    ANNUAL_DAYS,
    SOONEST_DAYS,
    Bands,
    Outlook,
    next_visit_day,
    probability_outside,
)
from analytics.drift.history import THROTTLE
from analytics.drift.levels import LEVEL_VAR
from analytics.drift.movement import first_guess
from analytics.drift.scoring import grid, look_at
from analytics.drift.solving import solve_with_variance
from analytics.drift.steps import UNREAD, steps_of
from analytics.drift.wander import CLASSES, FINE, START, class_likelihood, fit_mixture, movement_moments
from tests.simulator.arrays import history_of
from tests.simulator.fleet import simulate
from tests.simulator.options import Options

FLEET = Options(appliances=60, visits=6, analysers=4, areas=2, lost_share=0.2, low_read_share=0.8)


def _history(seed):
    history = history_of(simulate(FLEET, seed))
    rng = np.random.default_rng(seed)
    history.new_state[:] = rng.random(history.visits) < 0.05
    history.period[rng.random(history.visits) < 0.05] = -1
    history.area[rng.random(history.visits) < 0.05] = -1
    return history.checked()


@pytest.mark.parametrize("seed", [1, 2])
def test_steps_made_in_parts_are_those_made_whole(seed, monkeypatch):
    history = _history(seed)
    whole = steps_of(history)
    monkeypatch.setattr(steps_module, "PART", 37)
    parts = steps_of(history)
    for name in vars(whole):
        assert np.allclose(getattr(parts, name), getattr(whole, name), atol=1e-7), name


def test_what_is_worked_through_in_slices_is_what_the_whole_gives(monkeypatch):
    steps = steps_of(_history(3))
    movement, model = first_guess(6), np.arange(60) % 6
    common, _, _ = decompose(
        steps,
        steps.period,
        int(steps.period.max()) + 1,
        var=steps.var,
        shared_var=steps.shared_var,
        walk_var=np.full(steps.stretches, 0.64),
        spread=CommonSpread(),
    )
    chosen = np.arange(0, steps.stretches, 2)
    whole = grid(steps, common, movement, model, chosen)
    gains = look_at(steps, common, movement, model, chosen)
    monkeypatch.setattr(slices, "MOST", 7)
    assert len(slices.slices_of(steps)) > 5
    assert np.abs(grid(steps, common, movement, model, chosen) - whole).max() < 2e-3
    sliced = look_at(steps, common, movement, model, chosen)
    assert np.abs(sliced.log_likelihood - gains.log_likelihood).max() < 1e-2
    assert np.allclose(sliced.blunder, gains.blunder, rtol=1e-2)
    likeliest = gains.jump.max(axis=(1, 2)) > 2.0
    assert (sliced.jump_step == gains.jump_step)[likeliest].mean() > 0.99


def _plain(steps, var, walk_var):
    """Covariance of the throttle's readings, term by term."""
    cov = np.diag(var)
    gathered = 0.0
    for i in range(steps.count):
        fresh = steps.reset[i, THROTTLE]
        gathered = LEVEL_VAR if fresh else gathered + walk_var[steps.stretch[i]] * steps.years[i]
        cov[i, i] += gathered
        # what one reading's state has gathered, every later one has too, until the trim starts afresh
        for j in range(i + 1, steps.count):
            if steps.reset[j, THROTTLE]:
                break
            cov[i, j] = cov[j, i] = gathered
    return cov


@pytest.mark.parametrize("seed", [1, 2])
def test_the_fleet_s_least_squares_are_the_plain_ones_by_either_path(seed, monkeypatch):
    steps = steps_of(_history(seed))
    rng = np.random.default_rng(seed)
    periods = int(steps.period.max()) + 1
    walk = rng.uniform(0.3, 2.0, steps.stretches)
    shared = rng.uniform(0.0, 0.1, steps.count)
    spread = CommonSpread()
    monkeypatch.setattr(decomposition, "DIRECT_ROUNDS", 1)
    asked = {"var": steps.var, "shared_var": shared, "walk_var": walk, "spread": spread}
    direct, solution, _ = decompose(steps, steps.period, periods, **asked)
    monkeypatch.setattr(decomposition, "DIRECT_LIMIT", 0)
    monkeypatch.setattr(decomposition, "TOLERANCES", (1e-6,))
    iterated, by_iteration, _ = decompose(steps, steps.period, periods, **asked)

    view = throttle_view(steps, steps.var, shared)
    noise = view.var + decomposition._unknown_var(steps, steps.period, view, spread)
    read = view.var < UNREAD
    cells = len(steps.cell_area)
    design = np.zeros((steps.count, periods + cells + 2))
    for i in range(steps.count):
        if steps.period[i] >= 0:
            design[i, steps.period[i]] = view.bias_effect[i]
        if steps.cell[i] >= 0:
            design[i, periods + steps.cell[i]] = 1.0
    design[:, -2], design[:, -1] = steps.air, decomposition.since_reset(steps)
    target = view.y.copy()
    for stretch in range(steps.stretches):
        own = read & (steps.stretch == stretch)
        target[own] -= target[own].mean() if own.any() else 0.0
    inverse = np.linalg.inv(_plain(steps, noise, walk)[np.ix_(read, read)])
    normal = design[read].T @ inverse @ design[read]
    normal += decomposition._prior(steps, periods, spread).toarray()
    plain = np.linalg.solve(normal, design[read].T @ inverse @ target[read])
    assert np.allclose(solution, plain, atol=2e-3)
    assert np.allclose(by_iteration, plain, atol=2e-3)
    u = np.sqrt(np.diag(np.linalg.inv(normal)))
    assert np.allclose(direct.bias_u, u[:periods], rtol=0.01)
    # one factor for all columns is an approximation, and is said to be one
    assert 0.5 < np.median(iterated.bias_u / u[:periods]) < 2.0


def test_levels_of_many_burners_do_not_tell_together_where_gas_and_trend_lie(monkeypatch):
    """A prior that is wide for one level is narrow for thousands: ten times wider must say the same."""
    steps = steps_of(history_of(simulate(FLEET.but(appliances=1_000, visits=9), 3)).checked())
    asked = {"var": steps.var, "shared_var": steps.shared_var, "walk_var": np.full(steps.stretches, 0.64)}
    gas = {}
    for wider in (1.0, 10.0):
        monkeypatch.setattr(levels, "LEVEL_VAR", wider**2 * LEVEL_VAR)
        common, _, _ = decompose(steps, steps.period, 48, spread=CommonSpread(), **asked)
        gas[wider] = common.gas
    assert np.abs(gas[10.0] - gas[1.0]).max() < 0.05


def test_solution_and_variances_are_those_of_the_inverse():
    rng = np.random.default_rng(1)
    root = rng.normal(size=(40, 30))
    matrix, right = root.T @ root + np.eye(30), rng.normal(size=30)
    solution, variance = solve_with_variance(matrix, right)
    assert np.allclose(matrix @ solution, right)
    assert np.allclose(variance, np.diag(np.linalg.inv(matrix)))
    with pytest.raises(np.linalg.LinAlgError):
        solve_with_variance(-matrix, right)


def test_groups_are_summed_over_the_grid_as_plain_loops_sum_them():
    rng = np.random.default_rng(2)
    fine = rng.random((7, len(FINE), len(FINE))).astype(np.float32)
    classes = class_likelihood(fine, START)
    square, _ = movement_moments(fine, START, np.tile([0.4, 0.3, 0.2, 0.1], (7, 1)))
    for n in range(7):
        mean = np.zeros(2)
        for number, share in enumerate([0.4, 0.3, 0.2, 0.1]):
            a, b = CLASSES[number].astype(int)
            joint = fine[n] * START.weights(0)[a][:, None] * START.weights(1)[b][None, :]
            assert classes[n, number] == pytest.approx(joint.sum(), rel=1e-5)
            mean += share * np.array([joint.sum(1) @ FINE**2, joint.sum(0) @ FINE**2]) / joint.sum()
        assert square[n] == pytest.approx(mean, rel=1e-5)
    fitted = fit_mixture(fine, np.ones(7), START, 1)
    posterior = classes * START.share
    posterior /= posterior.sum(axis=1, keepdims=True)
    assert fitted.share == pytest.approx((posterior.sum(0) + 30.0 * START.share) / 37.0, rel=1e-5)


def _random_outlook(burners, seed):
    """Burners of all widths around their bands; where the five movements are alike they are one."""
    rng = np.random.default_rng(seed)
    sd, lean = rng.uniform(0.1, 1.0, (burners, 2)), rng.uniform(-0.9, 0.9, burners)
    slope = np.stack([np.full(burners, 0.07), rng.uniform(1.0, 2.0, burners)], axis=1)
    centre = 100.0 * np.log([0.78, 0.75])
    outlook = Outlook(
        mean=np.stack([centre[0] + rng.normal(0, 1, burners), rng.normal(0, 0.5, burners)], axis=1),
        cov=np.stack([sd[:, 0] ** 2, lean * sd.prod(axis=1), sd[:, 1] ** 2], axis=1),
        walk_var=np.repeat(rng.uniform(0.05, 2.0, (burners, 1, 2)), 5, axis=1),
        drift=rng.normal(0, 0.1, (burners, 2)),
        drift_var=rng.uniform(0, 0.05, (burners, 2)),
        slope=slope,
        constant=np.tile([0.0, centre[1] - centre[0]], (burners, 1)),
        common_var=np.full(burners, 0.5),
        last_day=rng.uniform(0, 4_000, burners).round(),
    )
    half = rng.uniform(0.02, 0.06, (burners, 1))
    return outlook, Bands(np.array([0.78, 0.75]) - half, np.array([0.78, 0.75]) + half)


def test_the_day_to_be_seen_by_is_the_first_that_a_day_by_day_search_finds():
    outlook, bands = _random_outlook(40, seed=3)
    days = np.arange(SOONEST_DAYS, np.ceil(ANNUAL_DAYS) + 1.0)
    usual_gas = replace(outlook, common_var=np.zeros(40))
    chance = np.stack([probability_outside(usual_gas, bands, np.full(40, day)) for day in days])
    got = next_visit_day(outlook, bands) - outlook.last_day
    for burner in range(40):
        passed = np.flatnonzero(chance[:, burner] > 0.05)
        if len(passed) and days[passed[0]] <= ANNUAL_DAYS:
            # halving stops within half a day, and the day is rounded down
            assert 0.0 <= days[passed[0]] - got[burner] <= 2.0
        else:
            assert np.isnan(got[burner])


def test_the_probability_of_a_rectangle_is_the_librarys():
    rng = np.random.default_rng(6)
    middle, half, correlation = (
        rng.normal(0, 1.5, (60, 2)),
        rng.uniform(0.2, 4, (60, 2)),
        rng.uniform(-0.3, 0.99, 60),
    )
    low, high = middle - half, middle + half
    got = forecast._both_inside(low, high, correlation)
    for i in range(60):
        cov = [[1.0, correlation[i]], [correlation[i], 1.0]]
        expected = multivariate_normal.cdf(high[i], cov=cov, lower_limit=low[i])
        assert got[i] == pytest.approx(expected, abs=5e-5)


def test_the_probability_of_being_outside_is_that_of_drawn_states():
    outlook, bands = _random_outlook(12, seed=4)
    rng = np.random.default_rng(5)
    chance = probability_outside(outlook, bands, np.full(12, 300.0))
    years = 300.0 / ANNUAL_DAYS
    z = rng.normal(size=(40_000, 2))
    for burner in range(12):
        kk, kw, ww = outlook.cov[burner]
        walk = outlook.walk_var[burner, 0] * years + outlook.drift_var[burner] * years**2
        cov = np.array([[kk + walk[0] + outlook.common_var[burner], kw], [kw, ww + walk[1]]])
        state = outlook.mean[burner] + outlook.drift[burner] * years + z @ np.linalg.cholesky(cov).T
        y = state[:, :1] + outlook.slope[burner] * state[:, 1:] + outlook.constant[burner]
        phi = np.exp(y / 100.0)
        inside = ((phi > bands.lowest_phi[burner]) & (phi < bands.highest_phi[burner])).all(axis=1)
        assert chance[burner] == pytest.approx(1.0 - inside.mean(), abs=0.012)
