"""Exact likelihood of a stretch's readings under a two-trim local-level model, for many spreads at once.

State: throttle [%] and offset [Pa], each a random walk. The readings of both points are taken together, so
that an error at high fire, which moves both trims' estimates, is seen as one error; where nothing was
adjusted the state carries over, so neighbouring differences share their reading error as they should.

What is known of the state is kept as exp(-x'Ax/2 + b'x): a reading then only adds to A and b, the same for
every spread, and a move or a fresh start integrates one trim out. Source: the information form of the Kalman
filter (Durbin and Koopman, Time Series Analysis by State Space Methods).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.drift.history import OFFSET, THROTTLE, FloatArray, IntArray
from analytics.drift.panels import Panel, Readings, panels
from analytics.drift.steps import UNREAD, Steps

CHUNK = 512

Float32Array = npt.NDArray[np.float32]


def log_likelihoods(
    steps: Steps, readings: Readings, spreads: FloatArray, chosen: IntArray | None = None
) -> Float32Array:
    """Log-likelihood of each stretch (n) for each spread (G), up to a constant per reading.

    spreads (G, 2) or (G, 2, U): movement per root year, throttle [%] and offset [Pa].   Returns (n, G), in
    the order of chosen. Single precision: exact to about 1e-3.
    """
    stretches = np.arange(steps.stretches) if chosen is None else np.asarray(chosen)
    place = np.zeros(steps.stretches, np.int64)
    place[stretches] = np.arange(len(stretches))
    out = np.zeros((len(stretches), len(spreads)), np.float32)
    for panel in panels(steps, readings, stretches, size=CHUNK):
        own = spreads[..., panel.chosen] if spreads.ndim == 3 else spreads[..., None]
        out[place[panel.chosen]] = _panel_log_likelihood(panel, own).T
    return out


@dataclass(frozen=True)
class _Added:
    """What each step adds to what is known (T, n): to A's kk, kw and ww and to b's k and w; and its
    logarithm of what does not depend on the spread (n,), twice.
    """

    kk: Float32Array
    kw: Float32Array
    ww: Float32Array
    k: Float32Array
    w: Float32Array
    twice_log: FloatArray


def _added(panel: Panel) -> _Added:
    """Readings and fresh states as information, about the stretch's own level."""
    level_k, level_w = panel.level.T
    kk, kw, ww, k, w = np.zeros((5, *panel.y1.shape))
    twice_log = np.zeros(panel.y1.shape[1])
    for y, of_k, of_w, var in (
        (panel.y1, np.ones_like(panel.k2), panel.h1, panel.r1),
        (panel.y2, panel.k2, panel.h2, panel.r2),
    ):
        read = var < UNREAD
        inverse = read / var
        off = y - of_k * level_k - of_w * level_w
        pull_k, pull_w = of_k * inverse, of_w * inverse
        kk += of_k * pull_k
        kw += of_w * pull_k
        ww += of_w * pull_w
        k += pull_k * off
        w += pull_w * off
        twice_log -= np.sum(off**2 * inverse + np.log(np.where(read, var, 1.0)), axis=0)
    for trim, information in ((THROTTLE, kk), (OFFSET, ww)):
        information += panel.reset[..., trim] / panel.level_var[trim]
        twice_log -= panel.reset[..., trim].sum(axis=0) * np.log(panel.level_var[trim])
    kk, kw, ww, k, w = (array.astype(np.float32) for array in (kk, kw, ww, k, w))
    return _Added(kk, kw, ww, k, w, twice_log)


class _Known:
    """What is known of both trims under each spread, and twice the log-likelihood so far, each (G, n)."""

    def __init__(self, shape: tuple[int, int]) -> None:
        zeros = np.zeros((11, *shape), np.float32)
        self.kk, self.kw, self.ww, self.k, self.w, self.total, *self._spare = zeros

    def add(self, added: _Added, t: int) -> None:
        self.kk += added.kk[t]
        self.kw += added.kw[t]
        self.ww += added.ww[t]
        self.k += added.k[t]
        self.w += added.w[t]

    def integrate(self, walks: tuple[Float32Array, ...], years: Float32Array, keep: Float32Array) -> None:
        """Both trims move by walk x years where keep is 1; what is known of one ends where it is 0.

        walks: two of (G, n).  years (n,), keep (n, 2).  In place: memory traffic is the whole cost here.
        """
        move, gain, part, spare, scale = self._spare
        for trim, walk in enumerate(walks):
            stays = keep[:, trim]
            a, b = (self.ww, self.w) if trim == OFFSET else (self.kk, self.k)
            a_other, b_other = (self.kk, self.k) if trim == OFFSET else (self.ww, self.w)
            np.multiply(walk, years * stays, out=move)
            np.add(move, 1.0 - stays, out=move)
            np.multiply(move, a, out=part)
            np.add(part, stays, out=part)
            np.divide(move, part, out=gain)
            np.divide(stays, part, out=move)
            np.multiply(part, scale if trim == OFFSET else 1.0, out=scale)
            np.multiply(gain, b, out=part)
            np.multiply(part, b, out=spare)
            np.add(self.total, spare, out=self.total)
            np.multiply(part, self.kw, out=spare)
            np.subtract(b_other, spare, out=b_other)
            np.multiply(gain, self.kw, out=gain)
            np.multiply(gain, self.kw, out=gain)
            np.subtract(a_other, gain, out=a_other)
            for known in (a, b, self.kw):
                np.multiply(known, move, out=known)
        # both factors lie well inside single precision: one logarithm serves them
        np.log(scale, out=scale)
        np.subtract(self.total, scale, out=self.total)


def _panel_log_likelihood(panel: Panel, spreads: FloatArray) -> Float32Array:
    """(G, n)."""
    shape = (len(spreads), panel.y1.shape[1])
    walks = tuple(
        np.ascontiguousarray(np.broadcast_to(spreads[:, trim] ** 2, shape), np.float32)
        for trim in (THROTTLE, OFFSET)
    )
    added, known = _added(panel), _Known(shape)
    years, keep = panel.years.astype(np.float32), (~panel.reset).astype(np.float32)
    known.add(added, 0)
    for t in range(1, len(years)):
        known.integrate(walks, years[t], keep[t])
        known.add(added, t)
    known.integrate(walks, years[0], np.zeros_like(keep[0]))
    return (0.5 * (known.total + added.twice_log)).astype(np.float32)
