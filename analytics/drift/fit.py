"""The whole fleet's fit: what is common, how trims move, and each stretch's likelihood, in a few rounds."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analytics.drift import wander
from analytics.drift.decomposition import Common, CommonSpread, decompose
from analytics.drift.evidence import SHARES, Evidence, Gains
from analytics.drift.history import OFFSET, THROTTLE, BoolArray, FloatArray, IntArray
from analytics.drift.movement import (
    SAMPLE,
    Movement,
    first_guess,
    fit_noise,
    noise_of,
    only,
    readings_of,
    spread_scale,
)
from analytics.drift.panels import panels
from analytics.drift.periods import Columns, cut_periods, whole_periods
from analytics.drift.scoring import (
    SUSPECT,
    Scored,
    classes_of,
    grid,
    look_at,
    look_hard,
    scored,
    weighed,
)
from analytics.drift.setting import setting_of
from analytics.drift.steps import UNREAD, Steps
from analytics.drift.tracing import trace

BLUNDER_SIGMAS = 3.5
"""A leftover beyond this many standard deviations loses weight in the fit of what is common."""
FIRST_FACTOR = 4.0
"""Of a large fleet's first fit: only the spreads that the second begins with rest on it."""
QUIET_SAMPLE = 2_000
FIRST_SAMPLE = 6_000
LEARNT = 10_000
"""Stretches that the fleet's figures are learnt from; the others are only scored."""
PRIOR_INTERVALS = 20_000.0
"""What the prior of the share of jumps weighs."""
BLUNDER_PRIOR_SD = 1.0
CLEANINGS = 2
MANY_BLUNDERS = 0.001
"""Share of the sample's readings set aside from which the noise is fitted again without them."""
PEER_WEIGHT = 5.0
MIXTURE_ROUNDS = 25
DRIFT_LEAST = 100
FLOOR_DRIFT_SD = np.array([0.02, 0.01])
"""Least spread of steady drift per year [%, Pa]."""


@dataclass(frozen=True)
class Fit:
    """A fleet's fit: what is common, the columns of bias, how trims move, and every stretch's score."""

    common: Common
    columns: Columns
    movement: Movement
    scored: Scored


def fit_fleet(steps: Steps, model: IntArray, periods: int, copied: BoolArray) -> Fit:
    """Fit a fleet. model (B,): peers, numbered from 0.  periods: number of analyser periods.  copied (U,):
    stretches that are scored and teach nothing: values written again and again tell of no noise, bias or gas.
    """
    whole, steps = steps, replace(steps, var=np.where(copied[steps.stretch, None], UNREAD, steps.var))
    telling = np.flatnonzero(~copied)
    movement = first_guess(int(model.max(initial=-1)) + 1)
    columns = whole_periods(periods)
    spread, var_factor = CommonSpread(), np.ones(steps.count)
    walk = np.full(steps.stretches, movement.reference[THROTTLE] ** 2)
    common, solution, leftover = _common(
        steps, columns, movement, walk, spread, var_factor, None, FIRST_FACTOR
    )
    rng = np.random.default_rng(7)
    sample = _some(telling, SAMPLE, rng)
    if len(sample):
        movement = fit_noise(steps, common, movement, sample)

        movement = _clean(steps, common, movement, model, sample)

    columns = cut_periods(steps, leftover, periods)
    var_factor = np.maximum(np.abs(leftover) / BLUNDER_SIGMAS, 1.0) ** 4
    some = _some(telling, FIRST_SAMPLE, rng)
    quick = grid(steps, common, movement, model, some)
    movement = _fit_mixture(movement, quick, rng)
    movement = _fit_peers(movement, quick, model[steps.burner[some]])
    usual = movement.reference[THROTTLE] * np.exp(movement.mixture.centre[THROTTLE])
    walk = (usual * spread_scale(steps, movement, model)[THROTTLE]) ** 2
    start = _extended(solution, periods, columns)
    common, *_ = _common(steps, columns, movement, walk, common.spread, var_factor, start)

    learnt = _some(telling, LEARNT, rng)
    table = grid(steps, common, movement, model, learnt)
    movement = _fit_mixture(movement, table, rng)
    movement = _fit_drift(steps, common, movement, table, model, learnt, rng)
    movement = _fit_close(steps, common, movement, table, model, learnt, rng)
    movement = _fit_setting(steps, common, movement, model, learnt)
    if len(learnt) < whole.stretches:
        table = grid(whole, common, movement, model)
    return Fit(common, columns, movement, scored(whole, common, movement, model, table))


def _fit_close(
    steps: Steps,
    common: Common,
    movement: Movement,
    table: npt.NDArray[np.float32],
    model: IntArray,
    learnt: IntArray,
    rng: np.random.Generator,
) -> Movement:
    """Share of jumps, and the mixture once more, after a closer look at the suspects among the learnt."""
    loud = np.flatnonzero(_any_wanders(table, movement.mixture) > SUSPECT)
    gains = look_at(steps, common, movement, model, learnt[loud])
    movement = _fit_jumps(steps, movement, gains.under(movement), learnt)
    _, close = look_hard(steps, common, movement, model, learnt[loud], gains, table[loud])
    seen = table.copy()
    seen[loud] = close.log_likelihood
    return _fit_mixture(movement, seen, rng)


def _common(
    steps: Steps,
    columns: Columns,
    movement: Movement,
    walk: FloatArray,
    spread: CommonSpread,
    var_factor: FloatArray,
    start: FloatArray | None,
    factor: float = 0.0,
) -> tuple[Common, FloatArray, FloatArray]:
    var, shared = noise_of(steps, movement)
    var = np.where(steps.read, np.minimum(var * var_factor[:, None], UNREAD / 10.0), UNREAD)
    column = columns.of(steps.period, steps.day)
    return decompose(
        steps,
        column,
        columns.count,
        var=var,
        shared_var=shared,
        walk_var=walk,
        spread=spread,
        start=start,
        factor=factor,
    )


def _extended(solution: FloatArray, periods: int, columns: Columns) -> FloatArray:
    """An earlier solution with each cut period's value given to both its parts."""
    return np.concatenate([solution[columns.period], solution[periods:]])


def _any_wanders(table: npt.NDArray[np.float32], mixture: wander.Mixture) -> FloatArray:
    return np.asarray(1.0 - wander.probabilities(classes_of(table, mixture), mixture.share)[:, 0])


def _fit_mixture(movement: Movement, table: npt.NDArray[np.float32], rng: np.random.Generator) -> Movement:
    """The mixture from every stretch that may wander and a weighted sample of the others."""
    if not len(table):
        return movement
    chance = _any_wanders(table, movement.mixture)
    loud, quiet = np.flatnonzero(chance > SUSPECT), np.flatnonzero(chance <= SUSPECT)
    some = rng.permutation(quiet)[:QUIET_SAMPLE]
    weight = np.concatenate([np.ones(len(loud)), np.full(len(some), len(quiet) / max(len(some), 1))])
    fine, _ = wander.fine_likelihood(table[np.concatenate([loud, some])])
    mixture = wander.fit_mixture(fine, weight, movement.mixture, MIXTURE_ROUNDS)
    share = wander.fit_share(classes_of(table, mixture), mixture.share)
    return replace(movement, mixture=replace(mixture, share=share))


def _fit_peers(movement: Movement, table: npt.NDArray[np.float32], own: IntArray) -> Movement:
    """Each model's usual movement over the fleet's, drawn towards 1 where it has few burners."""
    mixture = movement.mixture
    log = weighed(table, mixture).log
    scale = movement.model_scale.copy()
    for trim in (THROTTLE, OFFSET):
        usual = np.abs(log[:, trim] - mixture.centre[trim]) < 3.0 * mixture.between[trim]
        count = np.bincount(own[usual], minlength=len(scale))
        total = np.bincount(own[usual], (log[:, trim] - mixture.centre[trim])[usual], minlength=len(scale))
        scale[:, trim] *= np.exp(total / (count + PEER_WEIGHT))
    return replace(movement, model_scale=scale)


def _fit_drift(
    steps: Steps,
    common: Common,
    movement: Movement,
    table: npt.NDArray[np.float32],
    model: IntArray,
    learnt: IntArray,
    rng: np.random.Generator,
) -> Movement:
    """Mean and spread of steady drift between burners, from a sample of quiet stretches."""
    quiet = np.flatnonzero(_any_wanders(table, movement.mixture) <= SUSPECT)
    chosen = learnt[rng.permutation(quiet)[:QUIET_SAMPLE]]
    if len(chosen) < DRIFT_LEAST:
        return movement
    usual = movement.reference[:, None] * spread_scale(steps, movement, model)
    score, information = np.zeros((2, steps.stretches)), np.zeros((2, steps.stretches))
    for panel in panels(steps, readings_of(steps, common, movement), chosen, size=1_000):
        got = trace(panel, usual[None, :, panel.chosen], states=False)
        for trim in (THROTTLE, OFFSET):
            score[trim, panel.chosen] = got.slope_score[trim, 0]
            information[trim, panel.chosen] = got.slope_information[trim, trim, 0]
    mean, sd = np.zeros(2), FLOOR_DRIFT_SD * movement.reference / np.array([0.8, 0.35])
    floor = sd.copy()
    for trim in (THROTTLE, OFFSET):
        known = information[trim] > 1e-6
        slope, var = score[trim][known] / information[trim][known], 1.0 / information[trim][known]
        if known.sum() < DRIFT_LEAST:
            continue
        between = float(np.median(var))
        for _ in range(100):
            weight = 1.0 / (between + var)
            mean[trim] = float(np.sum(weight * slope) / np.sum(weight))
            excess = np.sum(weight**2 * ((slope - mean[trim]) ** 2 - var))
            between = max(float(excess / np.sum(weight**2)), 0.0)
        sd[trim] = max(np.sqrt(between), floor[trim])
    return replace(movement, drift_mean=mean, drift_sd=sd)


def _fit_setting(
    steps: Steps, common: Common, movement: Movement, model: IntArray, learnt: IntArray
) -> Movement:
    """What trims are set to, from the learnt stretches."""
    some, theirs, _ = only(steps, common, learnt)
    readings = readings_of(some, theirs, movement)
    setting = setting_of(some, readings, model[some.burner], len(movement.model_scale))
    return replace(movement, setting=setting)


def _fit_jumps(steps: Steps, movement: Movement, close: Evidence, learnt: IntArray) -> Movement:
    """Share of intervals with a jump, from the closer look at the learnt stretches' suspects."""
    if not len(close.log_likelihood):
        return movement
    weight = wander.node_weights(close.log_likelihood.astype(np.float32), movement.mixture)
    jumps = float(np.sum(weight[..., None] * close.jump))
    share_learnt = len(learnt) / max(steps.stretches, 1)
    intervals = 2.0 * float(np.sum(steps.years > 0.0)) * share_learnt
    prior = PRIOR_INTERVALS
    return replace(movement, jump_share=(jumps + prior * movement.jump_share / 4.0) / (intervals + prior))


def _clean(steps: Steps, common: Common, movement: Movement, model: IntArray, sample: IntArray) -> Movement:
    """Share of blunders among the sample's readings; noise and movements again where those are set aside."""
    readings = float(steps.read[np.isin(steps.stretch, sample)].sum())
    for _ in range(CLEANINGS):
        gains = look_at(steps, common, movement, model, sample)
        movement = replace(movement, blunder_share=_blunder_share(gains))
        table = grid(steps, common, movement, model, sample)
        cleaned, _ = look_hard(steps, common, movement, model, sample, gains, table)
        if np.sum(cleaned.var > steps.var) <= MANY_BLUNDERS * readings:
            break
        movement = fit_noise(cleaned, common, movement, sample)
    return movement


def _blunder_share(gains: Gains) -> float:
    """Posterior mean of the share of blunders, log-normal about the first guess before the readings."""
    prior = -0.5 * (np.log(SHARES / first_guess(1).blunder_share) / BLUNDER_PRIOR_SD) ** 2
    log = gains.share.sum(axis=0) + prior
    weight = np.exp(log - log.max())
    return float(weight @ SHARES / weight.sum())


def _some(stretches: IntArray, most: int, rng: np.random.Generator) -> IntArray:
    return np.sort(rng.permutation(stretches)[:most])
