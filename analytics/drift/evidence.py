"""The closer look at trims that might wander: could one blunder, one jump or a steady drift explain them?"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from analytics.drift.history import FloatArray, IntArray
from analytics.drift.likelihood import Panel, Readings, over_panels, panels
from analytics.drift.movement import Movement
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
    """Per stretch (n) and spread (G), in the order of chosen.

    log_likelihood (n, G): with drift, one blunder and one jump integrated out.  blunders (n, G): expected
    number.  jump (n, G, 2): posterior of a jump of each trim.  jump_step (n, G, 2): where it is likeliest.
    share (n, SHARES): log likelihood of a share of blunders among readings, over that of none.
    """

    log_likelihood: FloatArray
    blunders: FloatArray
    jump: FloatArray
    jump_step: IntArray
    share: FloatArray

    def updated(self, rows: IntArray, newer: Evidence) -> Evidence:
        """The same with some rows (k,) taken from newer evidence of k stretches."""
        arrays = {}
        for field in fields(self):
            arrays[field.name] = getattr(self, field.name).copy()
            arrays[field.name][rows] = getattr(newer, field.name)
        return Evidence(**arrays)


def look_closer(
    steps: Steps,
    readings: Readings,
    movement: Movement,
    spreads: FloatArray,
    scale: FloatArray,
    chosen: IntArray,
) -> Evidence:
    """Evidence of the chosen stretches for spreads (G, 2) times their scale (2, U)."""
    place = np.zeros(steps.stretches, np.int64)
    place[chosen] = np.arange(len(chosen))
    shape = (len(chosen), len(spreads))
    out = Evidence(
        log_likelihood=np.zeros(shape),
        blunders=np.zeros(shape),
        jump=np.zeros((*shape, 2)),
        jump_step=np.zeros((*shape, 2), np.int64),
        share=np.zeros((len(chosen), len(SHARES))),
    )

    def work(panel: Panel) -> None:
        own = scale[:, panel.chosen]
        traced = trace(panel, spreads[:, :, None] * own)
        at = place[panel.chosen]
        gains = _blunder_gains(panel, traced).sum(axis=0)
        each = movement.blunder_share * gains
        jumps = _jump_gain(traced, own * movement.reference[:, None])
        odds_blunder = each.sum(axis=(0, 1))
        odds_jump = movement.jump_share * jumps.sum(axis=0)
        total = 1.0 + odds_blunder + odds_jump.sum(axis=0)
        out.log_likelihood[at] = (traced.log_likelihood + _drift_gain(traced, movement) + np.log(total)).T
        out.blunders[at] = (odds_blunder / total).T
        out.jump[at] = np.moveaxis(odds_jump / total, 0, 2).swapaxes(0, 1)
        weight = node_weights(out.log_likelihood[at].astype(np.float32), movement.mixture).T
        out.share[at] = _of_shares((gains * weight).sum(axis=2))
        step = np.take_along_axis(panel.step[:, None, None, :], jumps.argmax(axis=0)[None], axis=0)[0]
        out.jump_step[at] = np.moveaxis(step, 0, 2).swapaxes(0, 1)

    over_panels(work, steps, readings, chosen, CHUNK)
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
    for panel in panels(steps, readings, chosen, USUAL_CHUNK):
        sizes = _blunder_gains(panel, trace(panel, usual[None][..., panel.chosen]))[:, :, :, 0]
        sizes = movement.blunder_share * sizes.reshape(len(BLUNDER_FACTORS), -1, len(panel.chosen))
        odds = sizes.sum(axis=0)
        worst, own = odds.argmax(axis=0), np.arange(len(panel.chosen))
        at = place[panel.chosen]
        probability[at] = odds[worst, own] / (1.0 + odds.sum(axis=0))
        factor[at] = BLUNDER_FACTORS[sizes[:, worst, own].argmax(axis=0)]
        step[at], point[at] = panel.step[worst // 2, own], worst % 2
    return Blunder(probability, factor, step, point)


def _gain(score: FloatArray, information: FloatArray, variance: FloatArray) -> FloatArray:
    """Likelihood with one more independent error of that variance, over the likelihood without."""
    factor = 1.0 + variance * information
    exponent = np.minimum(0.5 * variance * score**2 / factor, _MOST)
    return np.asarray(np.exp(exponent) / np.sqrt(factor))


def _blunder_gains(panel: Panel, traced: Trace) -> FloatArray:
    """Gain if one reading is a blunder, by BLUNDER_FACTORS (F, T, 2, G, n); 0 where nothing was read."""
    noise = np.stack([panel.r1, panel.r2], axis=1)[:, :, None, :]
    known = noise < UNREAD
    gains = []
    for factor in BLUNDER_FACTORS:
        extra = np.where(known, (factor**2 - 1.0) * noise, 0.0)
        gains.append(np.where(known, _gain(traced.score, traced.information, extra), 0.0))
    return np.stack(gains) / len(BLUNDER_FACTORS)


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
