"""The whole fleet's fit: what is common, how trims move, and each stretch's likelihood, in a few rounds."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analytics.drift import wander
from analytics.drift.decomposition import Common, CommonSpread, decompose
from analytics.drift.evidence import Evidence, look_closer
from analytics.drift.history import OFFSET, THROTTLE, FloatArray, IntArray
from analytics.drift.likelihood import THREADS, log_likelihoods, panels
from analytics.drift.movement import (
    SAMPLE,
    Movement,
    first_guess,
    fit_noise,
    noise_of,
    readings_of,
    scaled_spreads,
    spread_scale,
)
from analytics.drift.periods import Columns, cut_periods, whole_periods
from analytics.drift.steps import UNREAD, Steps
from analytics.drift.tracing import trace

BLUNDER_SIGMAS = 3.5
"""A leftover beyond this many standard deviations loses weight in the fit of what is common."""
SUSPECT = 0.02
"""Stretches with at least this probability of a wandering trim are looked at more closely."""
QUIET_SAMPLE = 2_000
FIRST_SAMPLE = 6_000
SHARE_PRIOR_READINGS = 20_000.0
PEER_WEIGHT = 5.0
PART = 2_000
MIXTURE_ROUNDS = 25
DRIFT_LEAST = 100
FLOOR_DRIFT_SD = np.array([0.02, 0.01])
"""Least spread of steady drift per year [%, Pa]."""


@dataclass(frozen=True)
class Fit:
    """A fleet's fit. log_likelihood (U, G) on the grid of nodes; close: evidence of the suspects (n, ...)."""

    common: Common
    columns: Columns
    movement: Movement
    log_likelihood: npt.NDArray[np.float32]
    suspects: IntArray
    close: Evidence


def fit_fleet(steps: Steps, model: IntArray, periods: int) -> Fit:
    """Fit a fleet. model (B,): peers, numbered from 0.  periods: number of analyser periods."""
    movement = first_guess(int(model.max(initial=-1)) + 1)
    columns = whole_periods(periods)
    spread, var_factor = CommonSpread(), np.ones(steps.count)
    walk = np.full(steps.stretches, movement.reference[THROTTLE] ** 2)
    common, solution, leftover = _common(steps, columns, movement, walk, spread, var_factor, None)
    rng = np.random.default_rng(7)
    sample = np.sort(rng.permutation(steps.stretches)[:SAMPLE])
    if len(sample):
        movement = fit_noise(steps, common, movement, sample)

    columns = cut_periods(steps, leftover, periods)
    var_factor = np.maximum(np.abs(leftover) / BLUNDER_SIGMAS, 1.0) ** 4
    some = np.sort(rng.permutation(steps.stretches)[:FIRST_SAMPLE])
    quick = _grid(steps, common, movement, model, some)
    movement = _fit_mixture(movement, quick, rng)
    movement = _fit_peers(movement, quick, model[steps.burner[some]])
    usual = movement.reference[THROTTLE] * np.exp(movement.mixture.centre[THROTTLE])
    walk = (usual * spread_scale(steps, movement, model)[THROTTLE]) ** 2
    start = _extended(solution, periods, columns)
    common, *_ = _common(steps, columns, movement, walk, common.spread, var_factor, start)

    table = _grid(steps, common, movement, model)
    movement = _fit_mixture(movement, table, rng)
    movement = _fit_drift(steps, common, movement, table, model, rng)
    suspects = np.flatnonzero(_any_wanders(table, movement.mixture) > SUSPECT)
    close = look_at(steps, common, movement, model, suspects)
    movement = _fit_accidents(steps, movement, table, close, suspects)
    close = look_at(steps, common, movement, model, suspects)
    table[suspects] = close.log_likelihood
    movement = _fit_mixture(movement, table, rng)
    return Fit(common, columns, movement, table, suspects, close)


def _common(
    steps: Steps,
    columns: Columns,
    movement: Movement,
    walk: FloatArray,
    spread: CommonSpread,
    var_factor: FloatArray,
    start: FloatArray | None,
) -> tuple[Common, FloatArray, FloatArray]:
    var, shared = noise_of(steps, movement)
    var = np.where(steps.read, np.minimum(var * var_factor[:, None], UNREAD / 10.0), UNREAD)
    column = columns.of(steps.period, steps.day)
    return decompose(
        steps, column, columns.count, var=var, shared_var=shared, walk_var=walk, spread=spread, start=start
    )


def _extended(solution: FloatArray, periods: int, columns: Columns) -> FloatArray:
    """An earlier solution with each cut period's value given to both its parts."""
    return np.concatenate([solution[columns.period], solution[periods:]])


def _grid(
    steps: Steps, common: Common, movement: Movement, model: IntArray, chosen: IntArray | None = None
) -> npt.NDArray[np.float32]:
    spreads = scaled_spreads(wander.node_spreads(movement.reference), spread_scale(steps, movement, model))
    return log_likelihoods(steps, readings_of(steps, common, movement), spreads, chosen)


def look_at(steps: Steps, common: Common, movement: Movement, model: IntArray, chosen: IntArray) -> Evidence:
    spreads = wander.node_spreads(movement.reference)
    scale = spread_scale(steps, movement, model)
    return look_closer(steps, readings_of(steps, common, movement), movement, spreads, scale, chosen)


def classes_of(table: npt.NDArray[np.float32], mixture: wander.Mixture) -> FloatArray:
    """Likelihood of each stretch under each class of wandering (U, 4), in parts to bound memory."""

    def part(at: int) -> FloatArray:
        return wander.class_likelihood(wander.fine_likelihood(table[at : at + PART])[0], mixture)

    with ThreadPoolExecutor(THREADS) as pool:
        parts = list(pool.map(part, range(0, len(table), PART)))
    return np.concatenate([np.zeros((0, 4)), *parts])


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


def moments_of(table: npt.NDArray[np.float32], mixture: wander.Mixture) -> tuple[FloatArray, FloatArray]:
    """Posterior mean of each trim's squared multiple, and of its log multiple (U, 2)."""
    squares, logs = [], []
    for at in range(0, len(table), PART):
        fine, _ = wander.fine_likelihood(table[at : at + PART])
        posterior = wander.probabilities(wander.class_likelihood(fine, mixture), mixture.share)
        square, log = wander.movement_moments(fine, mixture, posterior)
        squares.append(square)
        logs.append(log)
    empty = np.zeros((0, 2))
    return np.concatenate([empty, *squares]), np.concatenate([empty, *logs])


def _fit_peers(movement: Movement, table: npt.NDArray[np.float32], own: IntArray) -> Movement:
    """Each model's usual movement over the fleet's, drawn towards 1 where it has few burners."""
    mixture = movement.mixture
    _, log = moments_of(table, mixture)
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
    rng: np.random.Generator,
) -> Movement:
    """Mean and spread of steady drift between burners, from a sample of quiet stretches."""
    quiet = np.flatnonzero(_any_wanders(table, movement.mixture) <= SUSPECT)
    chosen = rng.permutation(quiet)[:QUIET_SAMPLE]
    if len(chosen) < DRIFT_LEAST:
        return movement
    usual = movement.reference[:, None] * spread_scale(steps, movement, model)
    score, information = np.zeros((2, steps.stretches)), np.zeros((2, steps.stretches))
    for panel in panels(steps, readings_of(steps, common, movement), chosen, 1_000):
        got = trace(panel, usual[None, :, panel.chosen])
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


def _fit_accidents(
    steps: Steps, movement: Movement, table: npt.NDArray[np.float32], close: Evidence, suspects: IntArray
) -> Movement:
    """Shares of blunders and jumps from the closer look, each with a prior worth some thousands of
    readings.
    """
    if not len(suspects):
        return movement
    weight = node_weights(close.log_likelihood.astype(np.float32), movement.mixture)
    blunders = float(np.sum(weight * close.blunders))
    jumps = float(np.sum(weight[..., None] * close.jump))
    readings, intervals = float(steps.read.sum()), 2.0 * float(np.sum(steps.years > 0.0))
    prior = SHARE_PRIOR_READINGS
    return replace(
        movement,
        blunder_share=(blunders + prior * movement.blunder_share / 4.0) / (readings + prior),
        jump_share=(jumps + prior * movement.jump_share / 4.0) / (intervals + prior),
    )


def node_weights(table: npt.NDArray[np.float32], mixture: wander.Mixture) -> FloatArray:
    """Posterior of the coarse nodes (n, G): likelihood times the mixture's mass near each node."""
    usual = [mixture.weights(trim) for trim in (THROTTLE, OFFSET)]
    nearest = np.abs(np.log(wander.FINE)[:, None] - np.log(wander.NODES)[None]).argmin(axis=1)
    prior = np.zeros((len(wander.NODES), len(wander.NODES)))
    for share, (a, b) in zip(mixture.share, wander.CLASSES.astype(int), strict=True):
        first = np.bincount(nearest, usual[THROTTLE][a], minlength=len(wander.NODES))
        second = np.bincount(nearest, usual[OFFSET][b], minlength=len(wander.NODES))
        prior += share * np.outer(first, second)
    joint = table.astype(np.float64) + np.log(prior.ravel() + 1e-300)
    joint = np.exp(joint - joint.max(axis=1, keepdims=True))
    return np.asarray(joint / joint.sum(axis=1, keepdims=True))
