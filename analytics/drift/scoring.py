"""Each stretch's likelihood and posterior under the fleet's figures, with a closer look at the suspects."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analytics.drift import wander
from analytics.drift.decomposition import Common
from analytics.drift.evidence import Evidence, look_closer
from analytics.drift.history import FloatArray, IntArray
from analytics.drift.likelihood import THREADS, log_likelihoods
from analytics.drift.movement import Movement, readings_of, scaled_spreads, spread_scale
from analytics.drift.steps import Steps

SUSPECT = 0.04
"""Stretches with at least this probability of a wandering trim are looked at more closely."""
PART = 2_000
BLUNDER_FROM = 0.5
MOST_BLUNDERS = 6
"""Readings of one stretch that may be set aside one after another."""
SET_ASIDE = 25.0**2
"""Factor on the variance of a reading that is set aside: it then says almost nothing."""


@dataclass(frozen=True)
class Scored:
    """Stretches under the fleet's figures. steps: as they were, blunders set aside.

    log_likelihood (U, G) on the grid of nodes.  posterior (U, 4) of the classes of wandering.  suspects (n,):
    stretches looked at closely, whose evidence is close.
    """

    steps: Steps
    log_likelihood: npt.NDArray[np.float32]
    posterior: FloatArray
    suspects: IntArray
    close: Evidence


def grid(
    steps: Steps, common: Common, movement: Movement, model: IntArray, chosen: IntArray | None = None
) -> npt.NDArray[np.float32]:
    """Log-likelihood of the chosen stretches on the grid of nodes (n, G)."""
    spreads = scaled_spreads(wander.node_spreads(movement.reference), spread_scale(steps, movement, model))
    return log_likelihoods(steps, readings_of(steps, common, movement), spreads, chosen)


def scored(
    steps: Steps, common: Common, movement: Movement, model: IntArray, table: npt.NDArray[np.float32]
) -> Scored:
    """Posteriors of all stretches from their table (U, G), which takes what the closer look finds."""
    mixture = movement.mixture
    posterior = wander.probabilities(classes_of(table, mixture), mixture.share)
    suspects = np.flatnonzero(1.0 - posterior[:, 0] > SUSPECT)
    steps, close = look_hard(steps, common, movement, model, suspects)
    table[suspects] = close.log_likelihood
    again = classes_of(table[suspects], mixture)
    posterior[suspects] = wander.probabilities(again, mixture.share)
    return Scored(steps, table, posterior, suspects, close)


def look_at(steps: Steps, common: Common, movement: Movement, model: IntArray, chosen: IntArray) -> Evidence:
    """Evidence of the chosen stretches on the grid of nodes."""
    spreads = wander.node_spreads(movement.reference)
    scale = spread_scale(steps, movement, model)
    return look_closer(steps, readings_of(steps, common, movement), movement, spreads, scale, chosen)


def look_hard(
    steps: Steps, common: Common, movement: Movement, model: IntArray, chosen: IntArray
) -> tuple[Steps, Evidence]:
    """The same, with blunders set aside one after another: the likeliest reading while it is more likely than
    not.

    Returns the steps with the variance of those readings raised, and the evidence that is left.
    """
    evidence = look_at(steps, common, movement, model, chosen)
    again = np.flatnonzero(evidence.blunder > BLUNDER_FROM)
    for _ in range(MOST_BLUNDERS):
        if not len(again):
            break
        var = steps.var.copy()
        var[evidence.blunder_step[again], evidence.blunder_point[again]] *= SET_ASIDE
        steps = replace(steps, var=var)
        evidence = evidence.updated(again, look_at(steps, common, movement, model, chosen[again]))
        again = again[evidence.blunder[again] > BLUNDER_FROM]
    return steps, evidence


def classes_of(table: npt.NDArray[np.float32], mixture: wander.Mixture) -> FloatArray:
    """Likelihood of each stretch under each class of wandering (U, 4), in parts to bound memory."""

    def part(at: int) -> FloatArray:
        return wander.class_likelihood(wander.fine_likelihood(table[at : at + PART])[0], mixture)

    with ThreadPoolExecutor(THREADS) as pool:
        parts = list(pool.map(part, range(0, len(table), PART)))
    return np.concatenate([np.zeros((0, 4)), *parts])


def moments_of(table: npt.NDArray[np.float32], mixture: wander.Mixture) -> tuple[FloatArray, FloatArray]:
    """Posterior mean of each trim's squared multiple, and of its log multiple (U, 2)."""

    def part(at: int) -> tuple[FloatArray, FloatArray]:
        fine, _ = wander.fine_likelihood(table[at : at + PART])
        posterior = wander.probabilities(wander.class_likelihood(fine, mixture), mixture.share)
        return wander.movement_moments(fine, mixture, posterior)

    with ThreadPoolExecutor(THREADS) as pool:
        parts = list(pool.map(part, range(0, len(table), PART)))
    empty = np.zeros((0, 2))
    return (
        np.concatenate([empty, *(square for square, _ in parts)]),
        np.concatenate([empty, *(log for _, log in parts)]),
    )
