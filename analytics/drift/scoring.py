"""Each stretch's likelihood and posterior under the fleet's figures, with a closer look at the suspects."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analytics.drift import wander
from analytics.drift.decomposition import Common
from analytics.drift.evidence import BLUNDER_FACTORS, Evidence, likeliest_blunder, look_closer
from analytics.drift.history import FloatArray, IntArray
from analytics.drift.likelihood import log_likelihoods
from analytics.drift.movement import Movement, only, readings_of, scaled_spreads, spread_scale
from analytics.drift.steps import Steps
from analytics.drift.threads import in_threads

SUSPECT = 0.04
"""Stretches with at least this probability of a wandering trim are looked at more closely."""
PART = 500
BLUNDER_FROM = 0.5
MOST_BLUNDERS = 6
"""Readings of one stretch that may be set aside one after another."""


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
    """Log-likelihood of the chosen stretches (sorted; all by default) on the grid of nodes (n, G)."""
    if chosen is not None:
        steps, common, _ = only(steps, common, chosen)
    spreads = scaled_spreads(wander.node_spreads(movement.reference), spread_scale(steps, movement, model))
    return log_likelihoods(steps, readings_of(steps, common, movement), spreads)


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
    """Evidence of the chosen stretches (sorted) on the grid of nodes."""
    steps, common, _ = only(steps, common, chosen)
    spreads = wander.node_spreads(movement.reference)
    scale = spread_scale(steps, movement, model)
    return look_closer(
        steps, readings_of(steps, common, movement), movement, spreads, scale, np.arange(len(chosen))
    )


def look_hard(
    steps: Steps, common: Common, movement: Movement, model: IntArray, chosen: IntArray
) -> tuple[Steps, Evidence]:
    """The same, with blunders set aside where that makes the readings likelier, at the price of each blunder.

    Returns the steps with the variance of those readings raised, and the evidence: at each spread the better
    of what the readings say whole and without their blunders.
    """
    few, theirs, place = only(steps, common, chosen)
    evidence = look_at(few, theirs, movement, model, np.arange(len(chosen)))
    few, count = set_aside(few, theirs, movement, model)
    fewer = np.flatnonzero(count > 0)
    if len(fewer):
        left = look_at(few, theirs, movement, model, fewer)
        price = count[fewer, None] * np.log(movement.blunder_share / len(BLUNDER_FACTORS))
        best = np.maximum(evidence.log_likelihood[fewer], left.log_likelihood + price)
        evidence = evidence.updated(fewer, replace(left, log_likelihood=best))
    var = steps.var.copy()
    var[place] = few.var
    return replace(steps, var=var), evidence


def set_aside(steps: Steps, common: Common, movement: Movement, model: IntArray) -> tuple[Steps, IntArray]:
    """Steps with the variance of blunders raised, and how many there are in each stretch (U,).

    Readings are taken one after another, each the likeliest blunder of a trim that moves as usual: several
    blunders make a trim look as if it wandered, and hide each other from whoever believes that. How many of
    them are kept is then decided over all movements.
    """
    scale = spread_scale(steps, movement, model)
    whole, active = steps, np.arange(steps.stretches)
    best = wander.log_evidence(grid(steps, common, movement, model), movement.mixture)
    kept = np.zeros(steps.stretches, np.int64)
    taken: list[tuple[IntArray, IntArray, IntArray, FloatArray]] = []
    price = np.log(movement.blunder_share / len(BLUNDER_FACTORS))
    for number in range(1, MOST_BLUNDERS + 1):
        readings = readings_of(steps, common, movement)
        found = likeliest_blunder(steps, readings, movement, scale, active)
        likely = found.probability > BLUNDER_FROM
        active, step, point = active[likely], found.step[likely], found.point[likely]
        wider = found.factor[likely] ** 2
        if not len(active):
            break
        taken.append((active, step, point, wider))
        var = steps.var.copy()
        var[step, point] *= wider
        steps = replace(steps, var=var)
        table = grid(steps, common, movement, model, active)
        evidence = wander.log_evidence(table, movement.mixture) + number * price
        better = evidence > best[active]
        best[active[better]], kept[active[better]] = evidence[better], number
    var = whole.var.copy()
    for number, (of, step, point, wider) in enumerate(taken, 1):
        stays = kept[of] >= number
        var[step[stays], point[stays]] *= wider[stays]
    return replace(whole, var=var), kept


def classes_of(table: npt.NDArray[np.float32], mixture: wander.Mixture) -> FloatArray:
    """Likelihood of each stretch under each class of wandering (U, 4), in parts to bound memory."""

    def part(at: int) -> FloatArray:
        return wander.class_likelihood(wander.fine_likelihood(table[at : at + PART])[0], mixture)

    return np.concatenate([np.zeros((0, 4)), *in_threads(part, range(0, len(table), PART))])


def moments_of(table: npt.NDArray[np.float32], mixture: wander.Mixture) -> tuple[FloatArray, FloatArray]:
    """Posterior mean of each trim's squared multiple, and of its log multiple (U, 2)."""

    def part(at: int) -> tuple[FloatArray, FloatArray]:
        fine, _ = wander.fine_likelihood(table[at : at + PART])
        posterior = wander.probabilities(wander.class_likelihood(fine, mixture), mixture.share)
        return wander.movement_moments(fine, mixture, posterior)

    parts = in_threads(part, range(0, len(table), PART))
    empty = np.zeros((0, 2))
    return (
        np.concatenate([empty, *(square for square, _ in parts)]),
        np.concatenate([empty, *(log for _, log in parts)]),
    )
