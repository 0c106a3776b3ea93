"""How much one turn of a model's trim does: all recorded moves together, burners allowed to differ.

A move of burner j by the signed amount a changed the trim's state by y, read with standard uncertainty u:

    y = b_j a + e,   b_j ~ N(mu, tau^2),   e ~ N(0, u^2 + (kappa a)^2)

mu is the model's effect per unit, tau the spread between burners, kappa the scatter from move to move
(hands, backlash, rounded amounts). tau and kappa are integrated over a grid, mu in closed form. Some entries
are clumsy (wrong way round, another amount): each move also has a probability of belonging to a wide
distribution about zero, and enters with what remains. Source: normal hierarchical model, docs/formulas.md,
«turn sensitivity».
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

RELATIVE_PRIOR_SD = 0.3
"""Half-normal prior of tau and kappa, relative to the effect: burners of one model, hands of one trade differ
by about a third at most. Assumed, no source."""
CLUMSY_SHARE, CLUMSY_PRIOR_MOVES = 0.05, 20.0
"""Prior share of clumsy entries and how many moves it weighs as. Assumed, no source."""
CLUMSY_REACH = 2.0
"""Standard deviation of a clumsy entry's change, in the effects of its amount. Assumed, no source."""
_RELATIVE = np.concatenate([[0.0], np.geomspace(0.01, 1.2, 24)])
_ROUNDS = 12


@dataclass(frozen=True)
class Moves:
    """Recorded moves of one trim of one model, (n,) each.

    amount: signed, positive clockwise, turns or marks, never 0.   change: of the trim's state [-].
    u: standard uncertainty of change [-], > 0.   burner: any whole numbers.
    """

    amount: FloatArray
    change: FloatArray
    u: FloatArray
    burner: IntArray


@dataclass(frozen=True)
class Learnt:
    """What one unit does, clockwise: change of the trim's state per unit [-].

    effect, u: of the model's mean.   low, high: its 95 % interval.   spread: standard deviation between
    burners.   scatter: between moves of one burner.   moves, burners: that it rests on, clumsy ones left out.
    set_aside: moves that look clumsy.
    """

    effect: float
    u: float
    low: float
    high: float
    spread: float
    scatter: float
    moves: int
    burners: int
    set_aside: int

    @property
    def u_one_burner(self) -> float:
        """Standard deviation of the effect on a burner of which nothing is known yet."""
        return float(np.hypot(self.u, self.spread))


def learn(moves: Moves) -> Learnt | None:
    """The effect of one unit from these moves; None where there is no move or they say nothing of a sign.

    Raises ValueError for an amount of 0, a u that is not positive, or a number that is not finite.
    """
    _check(moves)
    start = _first_guess(moves)
    if start is None:
        return None
    weight = np.ones(len(moves.amount))
    grid = posterior(moves, weight, abs(start))
    effect, spread, scatter = start, RELATIVE_PRIOR_SD * abs(start), RELATIVE_PRIOR_SD * abs(start)
    share = CLUMSY_SHARE
    for _ in range(_ROUNDS):
        before = weight
        weight = _trust(moves, weight, effect, spread, scatter, share)
        grid = posterior(moves, weight, abs(start))
        effect, spread, scatter = grid.effect, grid.spread, grid.scatter
        share = (CLUMSY_SHARE * CLUMSY_PRIOR_MOVES + float(np.sum(1.0 - weight))) / (
            CLUMSY_PRIOR_MOVES + len(weight)
        )
        if np.max(np.abs(weight - before)) < 0.01:
            break
    low, high = grid.interval()
    good = weight >= 0.5
    return Learnt(
        effect=grid.effect,
        u=grid.u,
        low=low,
        high=high,
        spread=grid.spread,
        scatter=grid.scatter,
        moves=int(good.sum()),
        burners=len(np.unique(moves.burner[good])),
        set_aside=int((~good).sum()),
    )


@dataclass(frozen=True)
class Posterior:
    """Posterior of mu over the grid of tau and kappa: a mixture of normals. Shapes (g,)."""

    probability: FloatArray
    mean: FloatArray
    sd: FloatArray
    tau: FloatArray
    kappa: FloatArray

    @property
    def effect(self) -> float:
        """Posterior mean of mu."""
        return float(self.probability @ self.mean)

    @property
    def u(self) -> float:
        """Posterior standard deviation of mu."""
        second = self.probability @ (self.sd**2 + (self.mean - self.effect) ** 2)
        return float(np.sqrt(second))

    @property
    def spread(self) -> float:
        """Root of the posterior mean of tau^2, so that a burner's predicted variance is right."""
        return float(np.sqrt(self.probability @ self.tau**2))

    @property
    def scatter(self) -> float:
        """Root of the posterior mean of kappa^2."""
        return float(np.sqrt(self.probability @ self.kappa**2))

    def interval(self, share: float = 0.95) -> tuple[float, float]:
        """Ends of the central interval of mu that holds this share."""
        at = self.effect + self.u * np.linspace(-6.0, 6.0, 601)
        held = self.probability > 1e-7
        cumulative = ndtr((at[:, None] - self.mean[held]) / self.sd[held]) @ self.probability[held]
        low, high = np.interp([(1.0 - share) / 2.0, (1.0 + share) / 2.0], cumulative, at)
        return float(low), float(high)


def posterior(
    moves: Moves,
    weight: FloatArray,
    scale: float,
    *,
    tau: FloatArray | None = None,
    kappa: FloatArray | None = None,
) -> Posterior:
    """Posterior of mu with a flat prior, given each move's weight (n,) from 0 to 1.

    scale: the effect's rough size, > 0; the grid and the priors of tau and kappa are relative to it.
    tau, kappa: grids of one's own, absolute; one point each makes the answer the exact conjugate one.
    """
    tau = scale * _RELATIVE if tau is None else tau
    kappa = scale * _RELATIVE if kappa is None else kappa
    _, burner = np.unique(moves.burner, return_inverse=True)
    precision, product, log_var, square = _sums(moves, weight, kappa, burner)
    shrunk = 1.0 / (1.0 + tau[:, None, None] ** 2 * precision)
    information = np.sum(precision * shrunk, axis=-1)
    mean = np.sum(product * shrunk, axis=-1) / information
    quadratic = (
        square - np.sum(tau[:, None, None] ** 2 * product**2 * shrunk, axis=-1) - information * mean**2
    )
    log_post = -0.5 * (log_var - np.sum(np.log(shrunk), axis=-1) + quadratic + np.log(information))
    log_post += _log_prior(tau / scale)[:, None] + _log_prior(kappa / scale)
    log_post += np.log(_widths(tau))[:, None] + np.log(_widths(kappa))
    probability = np.exp(log_post - log_post.max())
    shape = probability.shape
    return Posterior(
        probability=(probability / probability.sum()).ravel(),
        mean=mean.ravel(),
        sd=np.sqrt(1.0 / information).ravel(),
        tau=np.broadcast_to(tau[:, None], shape).ravel(),
        kappa=np.broadcast_to(kappa, shape).ravel(),
    )


def _sums(
    moves: Moves, weight: FloatArray, kappa: FloatArray, burner: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Per kappa and burner sum a^2/v and sum a y/v (k, b); per kappa sum ln v and sum y^2/v (k,)."""
    order = np.argsort(burner, kind="stable")
    start = np.flatnonzero(np.diff(burner[order], prepend=-1))
    a, y, w = moves.amount[order], moves.change[order], weight[order]
    var = moves.u[order] ** 2 + kappa[:, None] ** 2 * a**2
    return (
        np.add.reduceat(w * a**2 / var, start, axis=1),
        np.add.reduceat(w * a * y / var, start, axis=1),
        np.log(var) @ w,
        (1.0 / var) @ (w * y**2),
    )


def _log_prior(relative: FloatArray) -> FloatArray:
    return np.asarray(-0.5 * (relative / RELATIVE_PRIOR_SD) ** 2)


def _widths(grid: FloatArray) -> FloatArray:
    """How much of the axis each grid point stands for."""
    return np.gradient(grid) if len(grid) > 1 else np.ones(1)


def _first_guess(moves: Moves) -> float | None:
    """Weighted median of change over amount: half the entries may be clumsy before it gives way."""
    if not len(moves.amount):
        return None
    ratio = moves.change / moves.amount
    order = np.argsort(ratio)
    heavy = np.cumsum((np.abs(moves.amount) / moves.u)[order])
    guess = float(ratio[order][np.searchsorted(heavy, heavy[-1] / 2.0)])
    return guess or None


def _trust(
    moves: Moves, weight: FloatArray, effect: float, spread: float, scatter: float, share: float
) -> FloatArray:
    """Probability of each move (n,) of being no clumsy entry, given the other moves of its burner."""
    a, y = moves.amount, moves.change
    _, burner = np.unique(moves.burner, return_inverse=True)
    own = moves.u**2 + scatter**2 * a**2
    between = max(spread, 1e-6 * abs(effect)) ** 2

    def of_others(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(burner, values)[burner] - values)

    precision = 1.0 / between + np.maximum(of_others(weight * a**2 / own), 0.0)
    expected = (effect / between + of_others(weight * a * y / own)) / precision
    inside = own + a**2 / precision
    outside = moves.u**2 + (CLUMSY_REACH * effect * a) ** 2
    log_odds = 0.5 * np.log(outside / inside) - 0.5 * (y - expected * a) ** 2 / inside
    log_odds += 0.5 * y**2 / outside + np.log((1.0 - share) / share)
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(log_odds, -50.0, 50.0))))


def _check(moves: Moves) -> None:
    for name in ("amount", "change", "u"):
        values = getattr(moves, name)
        if not np.isfinite(values).all():
            raise ValueError(f"{name} holds {values[~np.isfinite(values)][0]}; it must be finite")
    for name, wrong, limit in (("amount", moves.amount == 0.0, "not 0"), ("u", moves.u <= 0.0, "above 0")):
        if wrong.any():
            raise ValueError(f"{name} holds {getattr(moves, name)[wrong][0]:g}; it must be {limit}")
