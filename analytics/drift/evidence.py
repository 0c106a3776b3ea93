"""The closer look at trims that might wander: could one blunder, one jump or a steady drift explain them?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np

from analytics.drift.history import FloatArray, IntArray
from analytics.drift.movement import Movement
from analytics.drift.panels import Panel, Readings, panels
from analytics.drift.steps import UNREAD, Steps
from analytics.drift.tracing import Trace, trace
from analytics.drift.wander import node_weights

BLUNDER_FACTORS = np.array([5.0, 25.0])
"""A blunder's standard deviation over that of the reading's noise, either as likely."""
JUMP_FACTOR = 6.0
"""A jump's standard deviation over the usual movement of a year."""
CHUNK = 192
USUAL_CHUNK = 1_000
SHARES = np.geomspace(2.5e-4, 0.04, 12)
"""Shares of blunders among readings that the fleet's own is looked for in."""
_MOST = 600.0


@dataclass(frozen=True)
class Evidence:
    """What speaks for each stretch (n) at each spread (G), under a fleet's shares of blunders and jumps.

    log_likelihood (n, G): with drift, one blunder and one jump integrated out.  jump (n, G, 2): posterior of
    a jump of each trim.  jump_step (n, G, 2): where it is likeliest.
    """

    log_likelihood: FloatArray
    jump: FloatArray
    jump_step: IntArray

    def updated(self, rows: IntArray, newer: Evidence) -> Evidence:
        """The same with some rows (k,) taken from newer evidence of k stretches."""
        arrays = {}
        for field in fields(self):
            arrays[field.name] = getattr(self, field.name).copy()
            arrays[field.name][rows] = getattr(newer, field.name)
        return Evidence(**arrays)


@dataclass(frozen=True)
class Gains:
    """Of n stretches at G spreads, whatever the shares of blunders and jumps.

    log_likelihood (n, G): with drift integrated out.  blunder (n, G): likelihood with one reading a blunder
    over that without, summed over the readings.  jump (n, G, 2): the same for a jump of each trim, and
    jump_step where it is likeliest.  share (n, SHARES): log likelihood of a share of blunders among readings,
    over that of none.
    """

    log_likelihood: FloatArray
    blunder: FloatArray
    jump: FloatArray
    jump_step: IntArray
    share: FloatArray

    @classmethod
    def joined(cls, parts: list[Gains]) -> Gains:
        """Those of one part's stretches after the other's."""
        return cls(**{f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(cls)})

    def under(self, movement: Movement) -> Evidence:
        """The evidence under a fleet's shares."""
        jumps = movement.jump_share * self.jump
        total = 1.0 + movement.blunder_share * self.blunder + jumps.sum(axis=2)
        return Evidence(self.log_likelihood + np.log(total), jumps / total[..., None], self.jump_step)


def look_closer(
    steps: Steps, readings: Readings, movement: Movement, spreads: FloatArray, scale: FloatArray
) -> Gains:
    """What blunders, jumps and drift explain of each stretch, for spreads (G, 2) times their scale (2, U)."""
    shape = (steps.stretches, len(spreads))
    out = Gains(
        log_likelihood=np.zeros(shape),
        blunder=np.zeros(shape),
        jump=np.zeros((*shape, 2)),
        jump_step=np.zeros((*shape, 2), np.int64),
        share=np.zeros((steps.stretches, len(SHARES))),
    )

    for panel in panels(steps, readings, size=CHUNK):
        at, own = panel.chosen, scale[:, panel.chosen]
        # single precision moves a log-likelihood by a hundredth at most
        traced = trace(panel, (spreads[:, :, None] * own).astype(np.float32), states=False)
        blunders = _blunder_gains(panel, traced).sum(axis=0)
        jumps = _jump_gain(traced, own * movement.reference[:, None])
        out.log_likelihood[at] = (traced.log_likelihood + _drift_gain(traced, movement)).T
        out.blunder[at] = blunders.sum(axis=(0, 1)).T
        out.jump[at] = np.moveaxis(jumps.sum(axis=0), 0, 2).swapaxes(0, 1)
        step = np.take_along_axis(panel.step[:, None, None, :], jumps.argmax(axis=0)[None], axis=0)[0]
        out.jump_step[at] = np.moveaxis(step, 0, 2).swapaxes(0, 1)
        total = out.log_likelihood[at] + np.log1p(movement.blunder_share * out.blunder[at])
        weight = node_weights(total.astype(np.float32), movement.mixture).T
        out.share[at] = _of_shares((blunders * weight).sum(axis=2))
    return out


@dataclass(frozen=True)
class Blunder:
    """Per stretch (n): posterior of its likeliest blunder if its trims move as usual, its standard deviation
    over the reading's, its step and point.
    """

    probability: FloatArray
    factor: FloatArray
    step: IntArray
    point: IntArray


def likeliest_blunder(
    steps: Steps, readings: Readings, movement: Movement, scale: FloatArray, chosen: IntArray
) -> Blunder:
    """The reading of each chosen stretch that is likeliest a blunder if its trims move as usual trims do."""
    place = np.zeros(steps.stretches, np.int64)
    place[chosen] = np.arange(len(chosen))
    probability, factor = np.zeros((2, len(chosen)))
    step, point = np.zeros((2, len(chosen)), np.int64)
    usual = movement.reference[:, None] * np.exp(movement.mixture.centre)[:, None] * scale
    for panel in panels(steps, readings, chosen, size=USUAL_CHUNK):
        traced = trace(panel, usual[None][..., panel.chosen], states=False)
        sizes = _log_blunder_gains(panel, traced)[:, :, :, 0]
        sizes = np.log(movement.blunder_share) + sizes.reshape(len(BLUNDER_FACTORS), -1, len(panel.chosen))
        odds = np.logaddexp.reduce(sizes, axis=0)
        worst, own = odds.argmax(axis=0), np.arange(len(panel.chosen))
        at = place[panel.chosen]
        total = np.logaddexp(0.0, np.logaddexp.reduce(odds, axis=0))
        probability[at] = np.exp(odds[worst, own] - total)
        factor[at] = BLUNDER_FACTORS[sizes[:, worst, own].argmax(axis=0)]
        step[at], point[at] = panel.step[worst // 2, own], worst % 2
    return Blunder(probability, factor, step, point)


def _gain(score: FloatArray, information: FloatArray, variance: FloatArray) -> FloatArray:
    """Likelihood with one more independent error of that variance, over the likelihood without."""
    factor = 1.0 + variance * information
    exponent = np.minimum(0.5 * variance * score**2 / factor, _MOST)
    return np.asarray(np.exp(exponent) / np.sqrt(factor))


def _log_gain(score: FloatArray, information: FloatArray, variance: FloatArray) -> FloatArray:
    """Its logarithm, without the limit of what a number can hold."""
    factor = 1.0 + variance * information
    return np.asarray(0.5 * variance * score**2 / factor - 0.5 * np.log(factor))


def _blunder_gains(panel: Panel, traced: Trace) -> FloatArray:
    """Gain if one reading is a blunder, by BLUNDER_FACTORS (F, T, 2, G, n); 0 where nothing was read."""
    return np.asarray(_by_blunder(panel, traced, _gain, 0.0) / len(BLUNDER_FACTORS))


def _log_blunder_gains(panel: Panel, traced: Trace) -> FloatArray:
    """Its logarithm; -inf where nothing was read.

    A decimal point slipped is hundreds of standard deviations: at the limit of _gain such a reading and its
    neighbours are all the same, and none of them is the likeliest blunder.
    """
    return np.asarray(_by_blunder(panel, traced, _log_gain, -np.inf) - np.log(len(BLUNDER_FACTORS)))


def _by_blunder(
    panel: Panel,
    traced: Trace,
    gain: Callable[[FloatArray, FloatArray, FloatArray], FloatArray],
    unread: float,
) -> FloatArray:
    noise = np.stack([panel.r1, panel.r2], axis=1)[:, :, None, :]
    known = noise < UNREAD
    gains = []
    for factor in BLUNDER_FACTORS:
        extra = np.where(known, (factor**2 - 1.0) * noise, 0.0)
        gains.append(np.where(known, gain(traced.score, traced.information, extra), unread))
    return np.stack(gains)


def _of_shares(gain: FloatArray) -> FloatArray:
    """Log likelihood of each of SHARES (n, SHARES) from the readings' mean gains (T, 2, n), one by one."""
    over = np.where(gain > 0.0, gain - 1.0, 0.0)
    return np.stack([np.log1p(share * over).sum(axis=(0, 1)) for share in SHARES], axis=1)


def _jump_gain(traced: Trace, usual: FloatArray) -> FloatArray:
    """Gain if a trim jumped just before a step (T, 2, G, n); 0 where it cannot have."""
    variance = (JUMP_FACTOR * usual[:, None, :]) ** 2
    gain = _gain(traced.move_score, traced.move_information, variance)
    return np.where(traced.move_information > 0.0, gain, 0.0)


def _drift_gain(traced: Trace, movement: Movement) -> FloatArray:
    """Log gain of a steady drift of each trim with its prior, taking the two as independent (G, n)."""
    total = np.zeros(traced.log_likelihood.shape)
    for trim in (0, 1):
        mean, precision = movement.drift_mean[trim], 1.0 / movement.drift_sd[trim] ** 2
        information = traced.slope_information[trim, trim]
        pull = traced.slope_score[trim] + mean * precision
        total += 0.5 * (pull**2 / (information + precision) - mean**2 * precision)
        total -= 0.5 * np.log1p(information / precision)
    return total
