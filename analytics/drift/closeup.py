"""One burner looked at closely: what each visit read, what was expected of it, and what lies ahead.

The run's bias, gas and fleet-wide figures are held, as in a refit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.drift.decomposition import Common
from analytics.drift.estimate import Run, common_of
from analytics.drift.forecast import ANNUAL_DAYS, NODE_WEIGHT, Outlook
from analytics.drift.history import HIGH, LOW, BoolArray, FloatArray, History, IntArray
from analytics.drift.movement import Movement, noise_of
from analytics.drift.scoring import grid, scored
from analytics.drift.steps import Steps, constants, steps_of
from analytics.drift.summary import summarise


@dataclass(frozen=True)
class CloseUp:
    """S steps, each one phase of one visit, in order of burner and time; points are high and low fire.

    row, phase (S,): of the history.   burner (S,).   current (S,): of the burner's present state.
    state, state_u (S, 2): throttle [% of K] and offset [Pa], smoothed over all visits.
    reset (S, 2): the trim starts afresh here.
    removed_bias, removed_gas (S,): taken off the reading at high fire [% of the mixture's richness].
    expected, expected_u (S, 2): 100 ln phi that the point's last reading leads one to expect where no trim
    has moved: with the bias, gas and season of then taken off and those of now put on, and the standard
    deviation of both readings together; NaN at the first reading of a state and after a move.
    outlook: of the burners, for what lies ahead.
    """

    row: IntArray
    phase: IntArray
    burner: IntArray
    current: BoolArray
    state: FloatArray
    state_u: FloatArray
    reset: BoolArray
    removed_bias: FloatArray
    removed_gas: FloatArray
    expected: FloatArray
    expected_u: FloatArray
    outlook: Outlook


def close_up(run: Run, history: History) -> CloseUp:
    """Look closely at the burners of a small history, whose numbers must be those of the run."""
    history = history.checked()
    steps = steps_of(history)
    common = common_of(run, steps)
    table = grid(steps, common, run.movement, history.model)
    score = scored(steps, common, run.movement, history.model, table)
    steps = score.steps
    summary = summarise(history, common, run.movement, score)
    expected, expected_u = _expected(steps, common, run.movement)
    return CloseUp(
        row=steps.row,
        phase=steps.phase,
        burner=steps.burner[steps.stretch],
        current=steps.is_current[steps.stretch],
        state=summary.step_state,
        state_u=summary.step_u,
        reset=steps.reset,
        removed_bias=common.step_bias[:, 0],
        removed_gas=common.step_gas,
        expected=expected,
        expected_u=expected_u,
        outlook=summary.outlook,
    )


def reading_ahead(outlook: Outlook, days_ahead: FloatArray) -> tuple[FloatArray, FloatArray]:
    """100 ln phi at both points some days after the last visit, and its standard deviation, each (B, D, 2).

    days_ahead (D,).   At the usual gas and 15 °C air, as the acceptance band is compared; the month's gas is
    part of the deviation.
    """
    years = np.asarray(days_ahead, dtype=np.float64)[None, :, None] / ANNUAL_DAYS
    state = outlook.mean[:, None] + outlook.drift[:, None] * years
    slope = outlook.slope[:, None]
    centre = state[..., :1] + slope * state[..., 1:] + outlook.constant[:, None]
    walk = np.einsum("n,bnt->bt", NODE_WEIGHT / NODE_WEIGHT.sum(), outlook.walk_var)
    grown = walk[:, None] * years + outlook.drift_var[:, None] * years**2
    kk = outlook.cov[:, None, :1] + grown[..., :1] + outlook.common_var[:, None, None]
    kw, ww = outlook.cov[:, None, 1:2], outlook.cov[:, None, 2:] + grown[..., 1:]
    return centre, np.sqrt(np.maximum(kk + 2.0 * slope * kw + slope**2 * ww, 0.0))


def _expected(steps: Steps, common: Common, movement: Movement) -> tuple[FloatArray, FloatArray]:
    """What each step should read at either point, from the last reading of it (S, 2), and its deviation."""
    added = common.step_bias + (common.step_gas + common.step_air + 0.5 * steps.air)[:, None]
    pure = steps.y - common.step_bias - (common.step_gas + common.step_air)[:, None]
    noise, shared = noise_of(steps, movement)
    var = noise + (shared + common.step_var)[:, None]
    usual = np.where(steps.read, var, np.nan)
    expected, deviation = np.full(steps.y.shape, np.nan), np.full(steps.y.shape, np.nan)
    constant = constants(steps, np.arange(steps.count))
    for point in (HIGH, LOW):
        last = -1
        fallback = float(np.nanmedian(usual[:, point])) if steps.read[:, point].any() else 0.0
        for s in range(steps.count):
            if last >= 0 and (steps.stretch[s] != steps.stretch[last] or steps.reset[s].any()):
                last = -1
            if last >= 0:
                here = var[s, point] if steps.read[s, point] else fallback
                expected[s, point] = pure[last, point] + added[s, point] + constant[s, point]
                deviation[s, point] = np.sqrt(var[last, point] + here)
            if steps.read[s, point]:
                last = s
    return expected, deviation
