"""Which trims wander: a two-group mixture on how far a trim moves in the root of a year.

Usual trims move by a fleet-wide amount, log-normal between burners; wandering ones by a multiple of it. Both
groups, and how many wander, are estimated from the fleet; priors are weak and say only what a fleet is like.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

from analytics.drift.history import OFFSET, THROTTLE, FloatArray

NODES = np.geomspace(0.3, 9.0, 7)
"""Multiples of the reference movement at which the likelihood is computed; between them it is
interpolated.
"""
FINE = np.geomspace(0.3, 9.0, 29)
_LOG_FINE = np.log(FINE)
_INTERPOLATE = np.asarray(CubicSpline(np.log(NODES), np.eye(len(NODES)), axis=0)(_LOG_FINE), dtype=np.float32)

LEAST_RATIO = 2.0
"""A trim that moves less than twice as far as its peers does not wander."""
RATIO_WEIGHT, RATIO_PRIOR, RATIO_SD_PRIOR = 40.0, 4.0, 0.17
BETWEEN_WEIGHT, BETWEEN_PRIOR = 40.0, 0.2
SHARE_WEIGHT, SHARE_PRIOR = 30.0, np.array([0.97, 0.0125, 0.0125, 0.005])
"""Pseudo-burners behind the prior, and its shares: neither trim wanders, throttle, offset, both."""
CLASSES = np.array([[False, False], [True, False], [False, True], [True, True]])


@dataclass(frozen=True)
class Mixture:
    """Groups of movement relative to the reference. Arrays are per trim: throttle, offset.

    centre, between: mean and standard deviation of the log multiple among usual trims.  ratio, ratio_sd: of a
    wandering trim's log multiple over its usual one.  share (4,): as CLASSES.
    """

    centre: FloatArray
    between: FloatArray
    ratio: FloatArray
    ratio_sd: FloatArray
    share: FloatArray

    def weights(self, trim: int) -> tuple[FloatArray, FloatArray]:
        """Weight of each fine node among usual and among wandering trims, each summing to 1."""
        usual = _normal(self.centre[trim], self.between[trim])
        spread = float(np.hypot(self.between[trim], self.ratio_sd[trim]))
        return usual, _normal(self.centre[trim] + self.ratio[trim], spread)


START = Mixture(
    centre=np.zeros(2),
    between=np.full(2, BETWEEN_PRIOR),
    ratio=np.full(2, np.log(RATIO_PRIOR)),
    ratio_sd=np.full(2, RATIO_SD_PRIOR),
    share=SHARE_PRIOR,
)


def node_spreads(reference: FloatArray) -> FloatArray:
    """Spreads (G, 2) on the grid of nodes for a reference movement (2,): throttle [%], offset [Pa]."""
    first, second = np.meshgrid(NODES, NODES, indexing="ij")
    return np.stack([first.ravel() * reference[THROTTLE], second.ravel() * reference[OFFSET]], axis=1)


def fine_likelihood(log_likelihood: npt.NDArray[np.float32]) -> tuple[npt.NDArray[np.float32], FloatArray]:
    """Likelihood on the fine grid (n, 29, 29), scaled to a largest of 1, and the log of that scale (n,)."""
    n = len(log_likelihood)
    coarse = log_likelihood.reshape(n, len(NODES), len(NODES))
    top = coarse.max(axis=(1, 2), keepdims=True)
    fine = _INTERPOLATE @ (coarse - top) @ _INTERPOLATE.T
    return np.exp(np.minimum(fine, 1.0)), top[:, 0, 0].astype(np.float64)


@dataclass(frozen=True)
class _Sides:
    """Likelihood with one trim's groups taken in: by throttle's multiple and offset's group, and turned about
    (n, 29, 2) and (n, 2, 29).  weights (2, 2, 29): by trim and group.
    """

    by_throttle: npt.NDArray[np.float32]
    by_offset: npt.NDArray[np.float32]
    weights: npt.NDArray[np.float32]

    def classes(self) -> FloatArray:
        table = self.weights[THROTTLE] @ self.by_throttle
        return np.stack([table[:, a, b] for a, b in CLASSES.astype(int)], axis=1).astype(np.float64)

    def mass(self, number: int, trim: int) -> npt.NDArray[np.float32]:
        """Mass of one class over a trim's multiples (n, 29)."""
        a, b = CLASSES[number].astype(int)
        if trim == THROTTLE:
            return np.asarray(self.by_throttle[:, :, b] * self.weights[THROTTLE, a])
        return np.asarray(self.by_offset[:, a] * self.weights[OFFSET, b])


def _sides(fine: npt.NDArray[np.float32], mixture: Mixture) -> _Sides:
    weights = np.array([mixture.weights(trim) for trim in (THROTTLE, OFFSET)], np.float32)
    return _Sides(fine @ weights[OFFSET].T, weights[THROTTLE] @ fine, weights)


def class_likelihood(fine: npt.NDArray[np.float32], mixture: Mixture) -> FloatArray:
    """Likelihood of each stretch under each of CLASSES (n, 4)."""
    weights = np.array([mixture.weights(trim) for trim in (THROTTLE, OFFSET)], np.float32)
    table = weights[THROTTLE] @ (fine @ weights[OFFSET].T)
    return np.stack([table[:, a, b] for a, b in CLASSES.astype(int)], axis=1).astype(np.float64)


def probabilities(classes: FloatArray, share: FloatArray) -> FloatArray:
    """Posterior of CLASSES (n, 4)."""
    joint = classes * share + 1e-300
    return np.asarray(joint / joint.sum(axis=1, keepdims=True))


def fit_share(classes: FloatArray, share: FloatArray, rounds: int = 60) -> FloatArray:
    """Shares of CLASSES over a fleet by expectation-maximisation."""
    for _ in range(rounds):
        total = probabilities(classes, share).sum(axis=0) + SHARE_WEIGHT * SHARE_PRIOR
        share = total / total.sum()
    return share


def fit_mixture(
    fine: npt.NDArray[np.float32], weight: FloatArray, start: Mixture, rounds: int = 40
) -> Mixture:
    """Mixture of a fleet by expectation-maximisation, with weak priors.

    fine (n, 29, 29).  weight (n,): how many stretches of the fleet each stands for.
    """
    mixture = start
    for _ in range(rounds):
        mixture = _round(fine, weight, mixture)
    return mixture


def log_evidence(table: npt.NDArray[np.float32], mixture: Mixture) -> FloatArray:
    """Log marginal likelihood of each stretch under a mixture (n,), from its table of nodes (n, G)."""
    fine, scale = fine_likelihood(table)
    return np.asarray(np.log(class_likelihood(fine, mixture) @ mixture.share + 1e-300) + scale)


def movement_moments(
    fine: npt.NDArray[np.float32], mixture: Mixture, posterior: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Posterior mean of each trim's squared multiple, and of its log multiple (n, 2)."""
    density = _marginals(fine, mixture, posterior)
    return (
        np.stack([d @ FINE**2 for d in density], axis=1),
        np.stack([d @ _LOG_FINE for d in density], axis=1),
    )


def node_weights(table: npt.NDArray[np.float32], mixture: Mixture) -> FloatArray:
    """Posterior of the coarse nodes (n, G): likelihood times the mixture's mass near each node."""
    usual = [mixture.weights(trim) for trim in (THROTTLE, OFFSET)]
    nearest = np.abs(np.log(FINE)[:, None] - np.log(NODES)[None]).argmin(axis=1)
    prior = np.zeros((len(NODES), len(NODES)))
    for share, (a, b) in zip(mixture.share, CLASSES.astype(int), strict=True):
        first = np.bincount(nearest, usual[THROTTLE][a], minlength=len(NODES))
        second = np.bincount(nearest, usual[OFFSET][b], minlength=len(NODES))
        prior += share * np.outer(first, second)
    joint = table.astype(np.float64) + np.log(prior.ravel() + 1e-300)
    joint = np.exp(joint - joint.max(axis=1, keepdims=True))
    return np.asarray(joint / joint.sum(axis=1, keepdims=True))


def _marginals(
    fine: npt.NDArray[np.float32], mixture: Mixture, posterior: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Posterior of each trim's multiple on the fine grid, (n, 29) each."""
    sides = _sides(fine, mixture)
    sums = np.zeros((2, len(fine), len(FINE)))
    for trim in (THROTTLE, OFFSET):
        for number in range(len(CLASSES)):
            mass = sides.mass(number, trim)
            sums[trim] += posterior[:, number, None] * (mass / (mass.sum(axis=1, keepdims=True) + 1e-30))
    return sums[THROTTLE], sums[OFFSET]


def _round(fine: npt.NDArray[np.float32], weight: FloatArray, mixture: Mixture) -> Mixture:
    sides = _sides(fine, mixture)
    posterior = probabilities(sides.classes(), mixture.share) * weight[:, None]
    total = posterior.sum(axis=0) + SHARE_WEIGHT * SHARE_PRIOR
    centre, between, ratio, ratio_sd = (np.empty(2) for _ in range(4))
    for trim in (THROTTLE, OFFSET):
        usual, wandering = _group_sums(sides, posterior, trim)
        n = usual.sum()
        centre[trim] = (usual @ _LOG_FINE) / n
        square = usual @ (_LOG_FINE - centre[trim]) ** 2
        between[trim] = np.sqrt((square + BETWEEN_WEIGHT * BETWEEN_PRIOR**2) / (n + BETWEEN_WEIGHT))
        over = _LOG_FINE - centre[trim]
        n = wandering.sum()
        mean = (wandering @ over + RATIO_WEIGHT * np.log(RATIO_PRIOR)) / (n + RATIO_WEIGHT)
        ratio[trim] = max(mean, np.log(LEAST_RATIO))
        square = wandering @ (over - ratio[trim]) ** 2 + RATIO_WEIGHT * (RATIO_SD_PRIOR**2 + BETWEEN_PRIOR**2)
        ratio_sd[trim] = np.sqrt(max(square / (n + RATIO_WEIGHT) - between[trim] ** 2, 0.1**2))
    return replace(
        mixture, centre=centre, between=between, ratio=ratio, ratio_sd=ratio_sd, share=total / total.sum()
    )


def _group_sums(sides: _Sides, posterior: FloatArray, trim: int) -> tuple[FloatArray, FloatArray]:
    """Posterior mass on the fine grid summed over usual and over wandering trims (29,) each."""
    sums = np.zeros((2, len(FINE)))
    for number in range(len(CLASSES)):
        mass = sides.mass(number, trim)
        share = posterior[:, number] / (mass.sum(axis=1) + 1e-30)
        # summed here: so short a product would wake the linear algebra library's threads to wait for it
        sums[int(CLASSES[number, trim])] += np.einsum("n,nk->k", share, mass)
    return sums[0], sums[1]


def _normal(mean: float, spread: float) -> FloatArray:
    density = np.exp(-0.5 * ((_LOG_FINE - mean) / max(spread, 0.5 * (_LOG_FINE[1] - _LOG_FINE[0]))) ** 2)
    return np.asarray(density / density.sum())
