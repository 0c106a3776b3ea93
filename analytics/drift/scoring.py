"""Each stretch's likelihood and posterior under the fleet's figures, with a closer look at the suspects."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analytics.drift import wander
from analytics.drift.decomposition import Common
from analytics.drift.evidence import BLUNDER_FACTORS, Evidence, Gains, likeliest_blunder, look_closer
from analytics.drift.history import FloatArray, IntArray
from analytics.drift.likelihood import log_likelihoods
from analytics.drift.movement import Movement, only, readings_of, scaled_spreads, spread_scale
from analytics.drift.slices import Slice, over_slices
from analytics.drift.steps import Steps
from analytics.drift.threads import in_threads

SUSPECT = 0.04
"""Stretches with at least this probability of a wandering trim are looked at more closely."""
PART = 500
BLUNDER_FROM = 0.5
MOST_BLUNDERS = 6
"""Readings of one stretch that may be set aside one after another."""


@dataclass(frozen=True)
class Weighed:
    """Per stretch: posterior (n, 4) of the classes of wandering; square, log (n, 2): posterior mean of each
    trim's squared multiple of the reference movement, and of its logarithm.
    """

    posterior: FloatArray
    square: FloatArray
    log: FloatArray


@dataclass(frozen=True)
class Scored:
    """Stretches under the fleet's figures. steps: as they were, blunders set aside.

    suspects (n,): stretches looked at closely, whose evidence is close.
    """

    steps: Steps
    weighed: Weighed
    suspects: IntArray
    close: Evidence


def grid(
    steps: Steps, common: Common, movement: Movement, model: IntArray, chosen: IntArray | None = None
) -> npt.NDArray[np.float32]:
    """Log-likelihood of the chosen stretches (sorted; all by default) on the grid of nodes (n, G)."""
    if chosen is not None:
        steps, common, _ = only(steps, common, chosen)
    nodes = wander.node_spreads(movement.reference)

    def part(at: Slice) -> npt.NDArray[np.float32]:
        some, theirs = steps.part(at.stretches, at.rows), common.part(at.rows)
        spreads = scaled_spreads(nodes, spread_scale(some, movement, model))
        return log_likelihoods(some, readings_of(some, theirs, movement), spreads)

    return np.concatenate(over_slices(part, steps))


def scored(
    steps: Steps, common: Common, movement: Movement, model: IntArray, table: npt.NDArray[np.float32]
) -> Scored:
    """Posteriors of all stretches from their table (U, G), with a closer look at the suspects."""
    whole = weighed(table, movement.mixture)
    suspects = np.flatnonzero(1.0 - whole.posterior[:, 0] > SUSPECT)
    gains = look_at(steps, common, movement, model, suspects)
    steps, close = look_hard(steps, common, movement, model, suspects, gains, table[suspects])
    again = weighed(close.log_likelihood.astype(np.float32), movement.mixture)
    for array, newer in (
        (whole.posterior, again.posterior),
        (whole.square, again.square),
        (whole.log, again.log),
    ):
        array[suspects] = newer
    return Scored(steps, whole, suspects, close)


def look_at(steps: Steps, common: Common, movement: Movement, model: IntArray, chosen: IntArray) -> Gains:
    """Gains of the chosen stretches (sorted) on the grid of nodes."""
    steps, common, _ = only(steps, common, chosen)
    nodes = wander.node_spreads(movement.reference)

    def part(at: Slice) -> Gains:
        some, theirs = steps.part(at.stretches, at.rows), common.part(at.rows)
        scale = spread_scale(some, movement, model)
        found = look_closer(some, readings_of(some, theirs, movement), movement, nodes, scale)
        return replace(found, jump_step=found.jump_step + at.rows.start)

    return Gains.joined(over_slices(part, steps))


def look_hard(
    steps: Steps,
    common: Common,
    movement: Movement,
    model: IntArray,
    chosen: IntArray,
    gains: Gains,
    table: npt.NDArray[np.float32],
) -> tuple[Steps, Evidence]:
    """Evidence of the chosen stretches, with blunders set aside where that makes the readings likelier.

    gains, table: of the chosen stretches, by look_at and grid. Each blunder has its price.  Returns the steps
    with the variance of those readings raised, and the evidence: at each spread the better of what the
    readings say whole and without their blunders.
    """
    few, theirs, place = only(steps, common, chosen)
    evidence = gains.under(movement)
    few, count = set_aside(few, theirs, movement, model, table)
    fewer = np.flatnonzero(count > 0)
    if len(fewer):
        left = look_at(few, theirs, movement, model, fewer).under(movement)
        price = count[fewer, None] * np.log(movement.blunder_share / len(BLUNDER_FACTORS))
        best = np.maximum(evidence.log_likelihood[fewer], left.log_likelihood + price)
        evidence = evidence.updated(fewer, replace(left, log_likelihood=best))
    var = steps.var.copy()
    var[place] = few.var
    return replace(steps, var=var), evidence


def set_aside(
    steps: Steps, common: Common, movement: Movement, model: IntArray, table: npt.NDArray[np.float32]
) -> tuple[Steps, IntArray]:
    """Steps with the variance of blunders raised, and how many there are in each stretch (U,).

    table (U, G): their log-likelihood by grid.  Readings are taken one after another, each the likeliest
    blunder of a trim that moves as usual: several blunders make a trim look as if it wandered, and hide each
    other from whoever believes that. How many of them are kept is then decided over all movements.
    """
    scale = spread_scale(steps, movement, model)
    whole, active = steps, np.arange(steps.stretches)
    best = wander.log_evidence(table, movement.mixture)
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
        lighter = grid(steps, common, movement, model, active)
        evidence = wander.log_evidence(lighter, movement.mixture) + number * price
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


def weighed(table: npt.NDArray[np.float32], mixture: wander.Mixture) -> Weighed:
    """What a table (n, G) says of each stretch, in parts to bound memory."""

    def part(at: int) -> tuple[FloatArray, ...]:
        fine, _ = wander.fine_likelihood(table[at : at + PART])
        posterior = wander.probabilities(wander.class_likelihood(fine, mixture), mixture.share)
        return posterior, *wander.movement_moments(fine, mixture, posterior)

    empty = (np.zeros((0, 4)), np.zeros((0, 2)), np.zeros((0, 2)))
    parts = in_threads(part, range(0, len(table), PART))
    return Weighed(*(np.concatenate(arrays) for arrays in zip(empty, *parts, strict=True)))
