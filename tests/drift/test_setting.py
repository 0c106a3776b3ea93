"""What trims are set to, learnt from how far they fall back, and readings drawn to it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import linregress

from analytics.drift.history import HIGH, LOW, History
from analytics.drift.panels import LEVEL_VAR, Readings
from analytics.drift.setting import Setting, drawn, setting_of, was_set
from analytics.drift.steps import steps_of

TARGET, NOISE_VAR, SET_VAR = -24.0, 0.5, 0.6
BURNERS = 4_000


def _set_once(*, read_again: bool, burners: int = BURNERS, seed: int = 1):
    """Burners whose throttle is set at the first of two visits, with the truth (B,), in % as 100 ln phi.

    read_again: as left is a second reading; otherwise what the analyser showed when it was set.
    """
    rng = np.random.default_rng(seed)
    noise = np.sqrt(NOISE_VAR)
    if read_again:
        truth = TARGET + rng.normal(0, np.sqrt(SET_VAR), burners)
        left = truth + rng.normal(0, noise, burners)
    else:
        left = TARGET + rng.normal(0, np.sqrt(SET_VAR), burners)
        truth = left + rng.normal(0, noise, burners)
    visits = 2 * burners
    found = np.full((burners, 2, 2), np.nan)
    found[:, 0, HIGH] = TARGET + rng.normal(0, 4.0, burners)
    found[:, 1, HIGH] = truth + rng.normal(0, noise, burners)
    as_left = np.full((burners, 2, 2), np.nan)
    as_left[:, 0, HIGH] = left
    adjusted = np.zeros((burners, 2, 2), np.bool_)
    adjusted[:, 0, HIGH] = True
    none, var = np.full(visits, -1), np.full((visits, 2), NOISE_VAR / 1e4)
    history = History(
        appliance=np.arange(burners),
        model=np.zeros(burners, np.int64),
        control_pressure_pa=np.full(burners, 700.0),
        burner=np.repeat(np.arange(burners), 2),
        day=np.tile([0.0, 365.25], burners),
        area=none,
        month=none,
        fuel=np.zeros(visits, np.int64),
        new_state=np.zeros(visits, np.bool_),
        found_phi=np.exp(found.reshape(visits, 2) / 100.0),
        found_var=var,
        left_phi=np.exp(as_left.reshape(visits, 2) / 100.0),
        left_var=var,
        moved_before=np.zeros((visits, 2), np.bool_),
        adjusted=adjusted.reshape(visits, 2),
        low_air_rate=np.full((visits, 2), 0.2),
        air_temp_c=np.full((visits, 2), 15.0),
        period=np.full((visits, 2), -1),
    )
    steps = steps_of(history.checked())
    level = np.stack([np.full(burners, TARGET), np.zeros(burners)], axis=1)
    return steps, Readings(steps.y, steps.var, steps.shared_var, level, np.array(LEVEL_VAR)), truth


def _learnt(steps, readings):
    return setting_of(steps, readings, np.zeros(steps.stretches, np.int64), 1)


def test_what_falls_back_by_the_next_visit_is_the_librarys_slope():
    steps, readings, _ = _set_once(read_again=True)
    setting = _learnt(steps, readings)
    rows = np.flatnonzero(was_set(steps)[:, HIGH])
    change = readings.y[rows + 1, HIGH] - readings.y[rows, HIGH]
    slope = linregress(readings.y[rows, HIGH], change).slope
    assert NOISE_VAR / (NOISE_VAR + setting.var[HIGH]) == pytest.approx(-slope, rel=0.01)
    # a standard error of 2 % of the slope makes one of 4 % of the variance
    assert setting.var[HIGH] == pytest.approx(SET_VAR, rel=0.1)
    assert setting.level[0, HIGH] == pytest.approx(TARGET, abs=0.06)


def test_a_reading_drawn_to_its_fellows_misses_the_truth_by_as_much_as_it_says():
    steps, readings, truth = _set_once(read_again=True)
    got = drawn(readings, steps, _learnt(steps, readings), np.zeros(steps.stretches, np.int64))
    rows = np.flatnonzero(was_set(steps)[:, HIGH])
    error = got.y[rows, HIGH] - truth
    assert np.mean(error**2) == pytest.approx(NOISE_VAR * SET_VAR / (NOISE_VAR + SET_VAR), rel=0.06)
    assert np.mean(got.var[rows, HIGH]) == pytest.approx(np.mean(error**2), rel=0.06)
    others = np.setdiff1d(np.arange(steps.count), rows)
    assert (got.y[others] == readings.y[others]).all()
    assert (got.var[others] == readings.var[others]).all()


def test_a_value_written_down_as_set_is_believed():
    steps, readings, _ = _set_once(read_again=False)
    setting = _learnt(steps, readings)
    assert NOISE_VAR / (NOISE_VAR + setting.var[HIGH]) < 0.05


def test_few_trims_set_change_nothing_and_what_nobody_set_has_no_level():
    steps, readings, _ = _set_once(read_again=True, burners=8)
    few = _learnt(steps, readings)
    assert np.isnan(few.level).all()
    assert np.isinf(few.var).all()
    got = drawn(readings, steps, few, np.zeros(steps.stretches, np.int64))
    assert (got.y == readings.y).all()
    steps, readings, _ = _set_once(read_again=True)
    many = _learnt(steps, readings)
    assert np.isnan(many.level[0, LOW])
    assert np.isinf(many.var[LOW])


def test_an_unknown_models_trims_are_left_as_read():
    steps, readings, _ = _set_once(read_again=True, burners=100)
    setting = _learnt(steps, readings)
    with_unknown = replace(setting, level=np.concatenate([setting.level, np.full((1, 2), np.nan)]))
    got = drawn(readings, steps, with_unknown, np.ones(steps.stretches, np.int64))
    assert (got.y == readings.y).all()
    assert (drawn(readings, steps, Setting.unknown(1), np.zeros(100, np.int64)).var == readings.var).all()
