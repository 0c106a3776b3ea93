"""The filter, its smoother and their gains against the dense Gaussian they stand for."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.drift.likelihood import log_likelihoods
from analytics.drift.panels import Panel, panels
from analytics.drift.steps import UNREAD
from analytics.drift.tracing import trace
from tests.published import drift_figures as published

SPREAD = np.array([0.8, 0.35])


def _panel(rng, times=7):
    reset = np.zeros((times, 1, 2), bool)
    reset[0], reset[3, 0, 0], reset[5, 0, 1] = True, True, True
    r1 = rng.uniform(0.2, 0.6, (times, 1))
    return Panel(
        chosen=np.array([0]),
        step=np.arange(times)[:, None],
        real=np.ones((times, 1), bool),
        years=np.array([0.0, 1.0, 0.9, 0.0, 1.1, 0.0, 1.0])[:, None],
        reset=reset,
        level=np.zeros((1, 2)),
        level_var=np.array([9.0, 4.0]),
        y1=rng.normal(0, 1, (times, 1)),
        h1=np.full((times, 1), 0.07),
        r1=r1,
        y2=rng.normal(0, 1, (times, 1)),
        k2=np.full((times, 1), 0.9),
        h2=np.full((times, 1), 1.9),
        r2=r1 * 1.1,
    )


def _dense(panel):
    """Covariance of all readings, and of the states with them, by summing independent moves."""
    times = len(panel.years)
    loads = []
    for trim in (0, 1):
        moves, columns = [], []
        current = np.zeros((0,))
        for t in range(times):
            if panel.reset[t, 0, trim]:
                moves.append(panel.level_var[trim])
                current = np.zeros(len(moves))
                current[-1] = 1.0
            else:
                moves.append(SPREAD[trim] ** 2 * panel.years[t, 0])
                current = np.append(current, 1.0)
            columns.append(current.copy())
        matrix = np.array([np.pad(c, (0, times - len(c))) for c in columns])
        loads.append(matrix @ np.diag(moves) @ matrix.T)
    k = np.stack([np.ones(times), panel.k2[:, 0]], 1).ravel()
    h = np.stack([panel.h1[:, 0], panel.h2[:, 0]], 1).ravel()
    at = np.repeat(np.arange(times), 2)
    state_k = loads[0][:, at] * k
    state_w = loads[1][:, at] * h
    cov = loads[0][np.ix_(at, at)] * np.outer(k, k) + loads[1][np.ix_(at, at)] * np.outer(h, h)
    cov += np.diag(np.stack([panel.r1[:, 0], panel.r2[:, 0]], 1).ravel())
    y = np.stack([panel.y1[:, 0], panel.y2[:, 0]], 1).ravel()
    return cov, y, state_k, state_w, loads


def test_trace_is_the_dense_gaussian_it_stands_for():
    rng = np.random.default_rng(3)
    panel = _panel(rng)
    cov, y, state_k, state_w, loads = _dense(panel)
    inverse = np.linalg.inv(cov)
    got = trace(panel, SPREAD[None, :, None])
    expected = -0.5 * (np.linalg.slogdet(cov)[1] + y @ inverse @ y)
    assert got.log_likelihood[0, 0] == pytest.approx(expected, abs=1e-9)
    assert np.allclose(got.score[:, :, 0, 0].ravel(), inverse @ y, atol=1e-9)
    assert np.allclose(got.information[:, :, 0, 0].ravel(), np.diag(inverse), atol=1e-9)
    assert np.allclose(got.state[:, 0, 0, 0], state_k @ inverse @ y, atol=1e-9)
    assert np.allclose(got.state[:, 1, 0, 0], state_w @ inverse @ y, atol=1e-9)
    var_k = np.diag(loads[0] - state_k @ inverse @ state_k.T)
    assert np.allclose(got.state_cov[:, 0, 0, 0], var_k, atol=1e-9)
    assert np.allclose(got.state_cov[:, 1, 0, 0], -np.diag(state_k @ inverse @ state_w.T), atol=1e-9)


def test_move_gains_are_those_of_a_jump_in_the_dense_gaussian():
    rng = np.random.default_rng(4)
    panel = _panel(rng)
    cov, y, *_ = _dense(panel)
    inverse = np.linalg.inv(cov)
    got = trace(panel, SPREAD[None, :, None])
    # a jump of the throttle before step 1 lasts until it is set afresh at step 3
    effect = np.zeros(2 * len(panel.years))
    for t in (1, 2):
        effect[2 * t : 2 * t + 2] = 1.0, panel.k2[t, 0]
    assert got.move_score[1, 0, 0, 0] == pytest.approx(effect @ inverse @ y, abs=1e-9)
    assert got.move_information[1, 0, 0, 0] == pytest.approx(effect @ inverse @ effect, abs=1e-9)


def test_drift_information_is_that_of_regression_on_time_since_the_last_setting():
    rng = np.random.default_rng(5)
    panel = _panel(rng)
    cov, y, *_ = _dense(panel)
    inverse = np.linalg.inv(cov)
    since = np.array([0.0, 1.0, 1.9, 0.0, 1.1, 1.1, 2.1])
    effect = np.stack([since, since * panel.k2[:, 0]], 1).ravel()
    got = trace(panel, SPREAD[None, :, None])
    assert got.slope_score[0, 0, 0] == pytest.approx(effect @ inverse @ y, abs=1e-9)
    assert got.slope_information[0, 0, 0, 0] == pytest.approx(effect @ inverse @ effect, abs=1e-9)


def test_drift_of_a_trim_that_does_not_walk_is_the_certified_regression():
    x, y = np.array(published.NORRIS_X), np.array(published.NORRIS_Y)
    order = np.argsort(x)
    times, one = len(x), np.ones((len(x), 1))
    reset = np.zeros((times, 1, 2), bool)
    reset[0] = True
    panel = Panel(
        chosen=np.array([0]),
        step=np.arange(times)[:, None],
        real=np.ones((times, 1), bool),
        years=np.diff(x[order], prepend=x[order][0])[:, None],
        reset=reset,
        level=np.zeros((1, 2)),
        level_var=np.array([1e9, 1e-9]),
        y1=y[order][:, None],
        h1=0.0 * one,
        r1=one,
        y2=0.0 * one,
        k2=one,
        h2=0.0 * one,
        r2=UNREAD * one,
    )
    got = trace(panel, np.zeros((1, 2, 1)))
    information = got.slope_information[0, 0, 0, 0]
    assert got.slope_score[0, 0, 0] / information == pytest.approx(published.NORRIS_SLOPE, rel=1e-7)
    slope_u = published.NORRIS_RESIDUAL_SD / np.sqrt(information)
    assert slope_u == pytest.approx(published.NORRIS_SLOPE_U, rel=1e-6)


def test_single_precision_likelihood_agrees_with_the_trace(small_fleet_steps):
    steps, readings = small_fleet_steps
    spreads = np.array([[0.8, 0.35], [2.4, 0.3], [0.5, 1.4]])
    quick = log_likelihoods(steps, readings, spreads)
    for panel in panels(steps, readings, size=100):
        exact = trace(panel, spreads[:, :, None]).log_likelihood
        assert np.abs(quick[panel.chosen].T - exact).max() < 5e-3


def test_likelihood_of_a_stretch_does_not_depend_on_its_company(small_fleet_steps):
    steps, readings = small_fleet_steps
    spreads = np.array([[0.8, 0.35], [2.4, 0.3]])
    count = np.bincount(steps.stretch)
    short = int(count.argmin())
    assert count[short] < count.max()
    together = log_likelihoods(steps, readings, spreads)[short]
    alone = log_likelihoods(steps, readings, spreads, np.array([short]))[0]
    assert np.abs(together - alone).max() < 1e-3
    for panel in panels(steps, readings, size=100):
        if short in panel.chosen:
            exact = trace(panel, spreads[:, :, None]).log_likelihood[:, panel.chosen == short][:, 0]
            assert np.abs(exact - alone).max() < 5e-3


def test_a_trace_in_single_precision_is_that_in_double(small_fleet_steps):
    steps, readings = small_fleet_steps
    spreads = np.array([[0.8, 0.35], [2.4, 0.3], [0.5, 1.4]])[:, :, None]
    for panel in panels(steps, readings, size=100):
        exact, quick = trace(panel, spreads), trace(panel, spreads.astype(np.float32), states=False)
        assert np.abs(quick.log_likelihood - exact.log_likelihood).max() < 5e-3
        for name in ("score", "information", "move_score", "move_information", "slope_score"):
            assert np.allclose(getattr(quick, name), getattr(exact, name), rtol=2e-3, atol=5e-3), name
