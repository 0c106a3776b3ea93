"""From likelihoods to what is said of each burner: states, drift, movement, jumps, and the outlook."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from analytics.drift import wander
from analytics.drift.decomposition import Common
from analytics.drift.forecast import NODE_Z, Outlook
from analytics.drift.history import HIGH, LOW, OFFSET, THROTTLE, FloatArray, History, IntArray
from analytics.drift.movement import Movement, readings_of, spread_scale
from analytics.drift.panels import Panel, panels
from analytics.drift.scoring import Scored
from analytics.drift.setting import drawn
from analytics.drift.slices import Slice, over_slices
from analytics.drift.steps import Steps, constants, never_differ
from analytics.drift.tracing import trace

NO_READINGS, ONE_VISIT, TWO_VISITS, IDENTICAL, NO_LOW_FIRE = 1, 2, 3, 4, 5
CHUNK = 2_000
"""From this many visits on, readings that never differ in the last digit were copied, not read."""


@dataclass(frozen=True)
class Summary:
    """Per burner (B, ...) in % and Pa, from its current stretch; step_state, step_u (S, 2) for every step."""

    visits: IntArray
    reason: IntArray
    drift: FloatArray
    drift_u: FloatArray
    moved: FloatArray
    peers: FloatArray
    state: FloatArray
    state_u: FloatArray
    signal_pa: FloatArray
    wanders: FloatArray
    any_wanders: FloatArray
    jump_probability: FloatArray
    jump_visit: IntArray
    analyser_part: FloatArray
    gas_part: FloatArray
    outlook: Outlook
    step_state: FloatArray
    step_u: FloatArray


class _PerBurner(Protocol):
    def __call__(self, values: FloatArray, fallback: float = ...) -> FloatArray: ...


@dataclass(frozen=True)
class _Traced:
    drift: FloatArray
    drift_u: FloatArray
    held: FloatArray
    held_var: FloatArray
    state: FloatArray
    cov: FloatArray

    def part(self, at: Slice) -> _Traced:
        """Views of a slice's stretches and steps."""
        drift, drift_u, held, held_var = (
            array[at.stretches] for array in (self.drift, self.drift_u, self.held, self.held_var)
        )
        return _Traced(drift, drift_u, held, held_var, self.state[at.rows], self.cov[at.rows])


def summarise(
    history: History,
    common: Common,
    movement: Movement,
    score: Scored,
) -> Summary:
    """Summary of a checked history's steps as scored."""
    steps, posterior = score.steps, score.weighed.posterior
    square, log = score.weighed.square, score.weighed.log
    base = movement.reference * spread_scale(steps, movement, history.model).T
    traced = _trace_all(steps, common, movement, history.model, np.sqrt(square) * base)
    current = np.full(history.burners, -1)
    current[steps.burner[steps.is_current]] = np.flatnonzero(steps.is_current)
    here = np.where(current >= 0, current, 0)
    some = bool(steps.stretches)
    visits, low_visits, identical = _counts(history, steps)

    def burner(values: FloatArray, fallback: float = np.nan) -> FloatArray:
        if not some:
            return np.full((history.burners, *values.shape[1:]), fallback)
        known = (current >= 0).reshape(-1, *[1] * (values.ndim - 1))
        return np.where(known, values[here], fallback)

    reason = _reasons(
        burner(visits.astype(float), 0.0), burner(low_visits.astype(float), 0.0), burner(identical, 0.0)
    )
    wanders = np.stack([posterior[:, 1] + posterior[:, 3], posterior[:, 2] + posterior[:, 3]], axis=1)
    calm = burner(1.0 - posterior[:, 0], 0.0)
    # what has no estimate flags nobody
    any_wanders = np.where((reason == 0).all(axis=1), calm, burner(wanders[:, THROTTLE], 0.0))
    any_wanders = np.where(reason[:, THROTTLE] > 0, 0.0, any_wanders)
    jump, jump_visit = _jumps(score, movement)
    last = _last_steps(steps)
    cov = traced.cov[last].copy()
    cov[:, 0] += _level_var(steps, common)
    analyser, gas = _parts(steps, common.step_bias[:, HIGH]), _parts(steps, common.step_gas)
    return Summary(
        visits=burner(visits.astype(float), 0.0).astype(np.int64),
        reason=reason,
        drift=burner(traced.drift),
        drift_u=burner(traced.drift_u),
        moved=burner(np.exp(log) * base),
        peers=movement.reference * movement.model_scale[history.model] * np.exp(movement.mixture.centre),
        state=burner(traced.state[last]),
        state_u=burner(np.sqrt(cov[:, [0, 2]])),
        signal_pa=burner(steps.signal_pa),
        wanders=burner(wanders),
        any_wanders=any_wanders,
        jump_probability=burner(jump, 0.0),
        jump_visit=burner(jump_visit.astype(float), -1.0).astype(np.int64),
        analyser_part=burner(analyser),
        gas_part=burner(gas),
        outlook=_outlook(steps, common, traced, cov, square, log, base, last, burner),
        step_state=traced.state,
        step_u=np.sqrt(traced.cov[:, [0, 2]]),
    )


def _trace_all(
    steps: Steps, common: Common, movement: Movement, model: IntArray, spreads: FloatArray
) -> _Traced:
    """States and drift of every stretch at its own spreads (U, 2), trims just set drawn to their fellows."""
    n = steps.stretches
    drift, drift_u, held, held_var = np.full((4, n, 2), np.nan)
    out = _Traced(drift, drift_u, held, held_var, np.zeros((steps.count, 2)), np.ones((steps.count, 3)))

    def part(at: Slice) -> None:
        some, theirs = steps.part(at.stretches, at.rows), common.part(at.rows)
        readings = drawn(readings_of(some, theirs, movement), some, movement.setting, model[some.burner])
        for panel in panels(some, readings, size=CHUNK):
            _note(out.part(at), panel, movement, spreads[at.stretches])

    over_slices(part, steps)
    return out


def _note(out: _Traced, panel: Panel, movement: Movement, spreads: FloatArray) -> None:
    """Write down the states and drift of a panel's stretches."""
    got = trace(panel, spreads[panel.chosen].T[None])
    for trim in (THROTTLE, OFFSET):
        information, score = got.slope_information[trim, trim, 0], got.slope_score[trim, 0]
        known = information > 1e-9
        safe = np.where(known, information, 1.0)
        out.drift[panel.chosen, trim] = np.where(known, score / safe, np.nan)
        out.drift_u[panel.chosen, trim] = np.where(known, 1.0 / np.sqrt(safe), np.nan)
        prior = 1.0 / movement.drift_sd[trim] ** 2
        total = information + prior
        out.held[panel.chosen, trim] = (score + prior * movement.drift_mean[trim]) / total
        out.held_var[panel.chosen, trim] = 1.0 / total
    real = panel.real
    out.state[panel.step[real]] = np.moveaxis(got.state[:, :, 0], 1, 2)[real]
    out.cov[panel.step[real]] = np.moveaxis(got.state_cov[:, :, 0], 1, 2)[real]


def _counts(history: History, steps: Steps) -> tuple[IntArray, IntArray, FloatArray]:
    """Visits read, visits with low fire read, and whether readings never differ, per stretch (U,)."""
    read = steps.read.any(axis=1)
    new_row = np.ones(steps.count, np.bool_)
    new_row[1:] = (steps.row[1:] != steps.row[:-1]) | (steps.stretch[1:] != steps.stretch[:-1])
    group = np.cumsum(new_row) - 1
    owner = steps.stretch[new_row]
    any_read = np.bincount(group, read) > 0 if steps.count else np.zeros(0, np.bool_)
    any_low = np.bincount(group, steps.read[:, LOW]) > 0 if steps.count else np.zeros(0, np.bool_)
    visits = np.bincount(owner, any_read, minlength=steps.stretches).astype(np.int64)
    low = np.bincount(owner, any_low, minlength=steps.stretches).astype(np.int64)
    return visits, low, never_differ(history, steps).astype(np.float64)


def _reasons(visits: FloatArray, low_visits: FloatArray, identical: FloatArray) -> IntArray:
    reason = np.zeros((len(visits), 2), np.int64)
    reason[low_visits < 3, OFFSET] = NO_LOW_FIRE
    reason[identical > 0.0] = IDENTICAL
    for few, code in ((2, TWO_VISITS), (1, ONE_VISIT), (0, NO_READINGS)):
        reason[visits == few] = code
    return reason


def _jumps(score: Scored, movement: Movement) -> tuple[FloatArray, IntArray]:
    """Probability of one jump per trim (U, 2), and the history row it came before; 0 for the unsuspected."""
    steps, suspects, close = score.steps, score.suspects, score.close
    probability = np.zeros((steps.stretches, 2))
    visit = np.full((steps.stretches, 2), -1)
    if len(suspects):
        weight = wander.node_weights(close.log_likelihood.astype(np.float32), movement.mixture)
        probability[suspects] = np.einsum("ng,ngt->nt", weight, close.jump)
        best = (weight[..., None] * close.jump).argmax(axis=1)
        step = np.take_along_axis(close.jump_step, best[:, None, :], axis=1)[:, 0]
        visit[suspects] = steps.row[step]
    return probability, np.where(probability > 0.5, visit, -1)


def _last_steps(steps: Steps) -> IntArray:
    count = np.bincount(steps.stretch, minlength=steps.stretches)
    return np.asarray(np.maximum(np.cumsum(count) - 1, 0))


def _level_var(steps: Steps, common: Common) -> float:
    """Variance of where zero lies [%^2]: bias and gas are known less well in level than in their changes."""
    if not steps.count or not len(common.bias_u) or not len(common.gas_u):
        return 0.0
    effect = float(np.median(steps.bias_effect))
    return float((effect * np.median(common.bias_u)) ** 2 + np.median(common.gas_u) ** 2)


def _parts(steps: Steps, removed: FloatArray) -> FloatArray:
    """Movement per root year that what was removed would have looked like (U,)."""
    inside = (
        np.concatenate([[False], steps.stretch[1:] == steps.stretch[:-1]])
        if steps.count
        else np.zeros(0, bool)
    )
    change = np.diff(removed, prepend=removed[:1]) * inside
    square = np.bincount(steps.stretch, change**2, minlength=steps.stretches)
    years = np.bincount(steps.stretch, steps.years, minlength=steps.stretches)
    return np.asarray(np.sqrt(square / np.maximum(years, 1.0)))


def _outlook(
    steps: Steps,
    common: Common,
    traced: _Traced,
    cov: FloatArray,
    square: FloatArray,
    log: FloatArray,
    base: FloatArray,
    last: IntArray,
    burner: _PerBurner,
) -> Outlook:
    spread = np.sqrt(np.maximum(0.5 * np.log(np.maximum(square, 1e-12)) - log, 0.0))
    walk = np.exp(2.0 * (log[:, None] + spread[:, None] * NODE_Z[None, :, None])) * base[:, None] ** 2
    return Outlook(
        mean=burner(traced.state[last]),
        cov=burner(cov),
        walk_var=burner(walk),
        drift=burner(traced.held, 0.0),
        drift_var=burner(traced.held_var, 0.0),
        slope=burner(steps.slope[last]),
        constant=burner(constants(steps, last)),
        common_var=burner(np.full(steps.stretches, common.spread.gas_sd**2)),
        last_day=burner(steps.day[last]),
    )
