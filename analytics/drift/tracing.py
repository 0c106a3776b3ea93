"""Forward and backward passes that keep everything: states, and what one reading or one move is worth.

The same model as ``likelihood``, in double precision and for fewer stretches. The backward pass gives, for
each
reading, the gain in likelihood if that reading is a blunder, and for each interval, if the trim jumped there.
Source of the recursions: Kalman filter with de Jong's smoother (Durbin and Koopman, Time Series Analysis by
State Space Methods), here for scalar readings in sequence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.drift.history import OFFSET, THROTTLE, FloatArray
from analytics.drift.panels import Panel
from analytics.drift.steps import UNREAD


@dataclass(frozen=True)
class Trace:
    """Arrays over G spreads and n stretches; per step (T, ..., G, n).

    log_likelihood (G, n), up to a constant per reading.  slope_score (2, G, n), slope_information (2, 2,
    G, n):
    of a steady drift per year of each trim.  score, information (T, 2, G, n): of each reading's error.
    move_score, move_information (T, 2, G, n): of a move of each trim just before the step.  state (T, 2,
    G, n),
    state_cov (T, 3, G, n): smoothed throttle and offset, and their variances and covariance (kk, kw, ww).
    """

    log_likelihood: FloatArray
    slope_score: FloatArray
    slope_information: FloatArray
    score: FloatArray
    information: FloatArray
    move_score: FloatArray
    move_information: FloatArray
    state: FloatArray
    state_cov: FloatArray


@dataclass
class _Forward:
    """Stored by the forward pass: predictions, and per reading its gains, innovation and variance."""

    mean: FloatArray
    cov: FloatArray
    gain: FloatArray
    innovation: FloatArray
    variance: FloatArray
    log_likelihood: FloatArray
    slope_score: FloatArray
    slope_information: FloatArray


def trace(panel: Panel, spreads: FloatArray, *, states: bool = True) -> Trace:
    """Trace of a panel's stretches, in the precision of spreads.

    spreads (G, 2, n) or (G, 2, 1): movement per root year of each trim.  states: smoothed ones too; they are
    empty otherwise, and in single precision their variances lose a few parts in a thousand.
    """
    n = panel.y1.shape[1]
    panel = panel.of_type(spreads.dtype)
    walk = np.broadcast_to(spreads**2, (len(spreads), 2, n))
    forward = _forward(panel, walk)
    return _backward(panel, forward, states)


_Reading = tuple[FloatArray, FloatArray | float, FloatArray, FloatArray]


def _readings(panel: Panel, t: int) -> tuple[_Reading, _Reading]:
    return (
        (panel.y1[t], 1.0, panel.h1[t], panel.r1[t]),
        (panel.y2[t], panel.k2[t], panel.h2[t], panel.r2[t]),
    )


def _forward(panel: Panel, walk: FloatArray) -> _Forward:
    times, shape = len(panel.y1), (walk.shape[0], walk.shape[2])
    kind = walk.dtype
    kept = _Forward(
        mean=np.empty((times, 2, *shape), kind),
        cov=np.empty((times, 3, *shape), kind),
        gain=np.empty((times, 2, 2, *shape), kind),
        innovation=np.empty((times, 2, *shape), kind),
        variance=np.empty((times, 2, *shape), kind),
        log_likelihood=np.zeros(shape, kind),
        slope_score=np.zeros((2, *shape), kind),
        slope_information=np.zeros((2, 2, *shape), kind),
    )
    # means of the readings and of two regressors: a steady drift of either trim
    m = np.zeros((3, 2, *shape), kind)
    e = np.empty((3, *shape), kind)
    p_kk, p_kw, p_ww = np.zeros((3, *shape), kind)
    elapsed = np.zeros((2, shape[1]), kind)
    for t in range(times):
        fresh_k, fresh_w = panel.reset[t, :, THROTTLE], panel.reset[t, :, OFFSET]
        elapsed = elapsed + panel.years[t]
        p_kk = p_kk + walk[:, THROTTLE] * panel.years[t]
        p_ww = p_ww + walk[:, OFFSET] * panel.years[t]
        if panel.reset[t].any():
            elapsed = np.where(panel.reset[t].T, 0.0, elapsed)
            p_kk = np.where(fresh_k, panel.level_var[THROTTLE], p_kk)
            p_ww = np.where(fresh_w, panel.level_var[OFFSET], p_ww)
            p_kw = np.where(fresh_k | fresh_w, 0.0, p_kw)
            for trim, fresh in ((THROTTLE, fresh_k), (OFFSET, fresh_w)):
                m[0, trim] = np.where(fresh, panel.level[:, trim], m[0, trim])
                m[1:, trim] = np.where(fresh, 0.0, m[1:, trim])
        kept.mean[t] = m[0]
        kept.cov[t, 0], kept.cov[t, 1], kept.cov[t, 2] = p_kk, p_kw, p_ww
        for i, (y, k, h, r) in enumerate(_readings(panel, t)):
            a, b = k * p_kk + h * p_kw, k * p_kw + h * p_ww
            s = k * a + h * b + r
            known = r < UNREAD
            np.multiply(m[:, 0], -k, out=e)
            e -= h * m[:, 1]
            e[0] += y
            e[1] += k * elapsed[0] * known
            e[2] += h * elapsed[1] * known
            g_k, g_w = a / s, b / s
            m[:, 0] += g_k * e
            m[:, 1] += g_w * e
            p_kk, p_kw, p_ww = p_kk - a * g_k, p_kw - a * g_w, p_ww - b * g_w
            kept.gain[t, i, 0], kept.gain[t, i, 1] = g_k, g_w
            kept.innovation[t, i], kept.variance[t, i] = e[0], s
            share = e / s
            kept.log_likelihood -= 0.5 * known * (np.log(s) + e[0] * share[0])
            kept.slope_score += e[1:] * share[0]
            kept.slope_information += e[1:, None] * share[None, 1:]
    return kept


def _backward(panel: Panel, kept: _Forward, states: bool) -> Trace:
    times, shape = len(panel.y1), kept.log_likelihood.shape
    kind = kept.log_likelihood.dtype
    score, information, move_score, move_information = np.empty((4, times, 2, *shape), kind)
    state, state_cov = (np.empty((times if states else 0, each, *shape), kind) for each in (2, 3))
    r_k, r_w, n_kk, n_kw, n_ww = np.zeros((5, *shape), kind)
    for t in range(times - 1, -1, -1):
        readings = _readings(panel, t)
        for i in (1, 0):
            _, k, h, _r = readings[i]
            g_k, g_w = kept.gain[t, i]
            weight = 1.0 / kept.variance[t, i]
            u = kept.innovation[t, i] * weight - g_k * r_k - g_w * r_w
            ng_k, ng_w = n_kk * g_k + n_kw * g_w, n_kw * g_k + n_ww * g_w
            d = weight + g_k * ng_k + g_w * ng_w
            score[t, i], information[t, i] = u, d
            kd, hd = k * d, h * d
            r_k, r_w = r_k + k * u, r_w + h * u
            n_kk = n_kk + k * (kd - 2.0 * ng_k)
            n_kw = n_kw + h * (kd - ng_k) - k * ng_w
            n_ww = n_ww + h * (hd - 2.0 * ng_w)
        if states:
            _smooth(kept.mean[t], kept.cov[t], (r_k, r_w), (n_kk, n_kw, n_ww), state[t], state_cov[t])
        if panel.reset[t].any():
            stays_k, stays_w = ~panel.reset[t, :, THROTTLE], ~panel.reset[t, :, OFFSET]
            r_k, n_kk, r_w, n_ww = r_k * stays_k, n_kk * stays_k, r_w * stays_w, n_ww * stays_w
            n_kw = n_kw * (stays_k & stays_w)
        moved = (panel.years[t] > 0.0) & panel.real[t]
        move_score[t, 0], move_score[t, 1] = r_k * moved, r_w * moved
        move_information[t, 0], move_information[t, 1] = n_kk * moved, n_ww * moved
    return Trace(
        log_likelihood=kept.log_likelihood,
        slope_score=kept.slope_score,
        slope_information=kept.slope_information,
        score=score,
        information=information,
        move_score=move_score,
        move_information=move_information,
        state=state,
        state_cov=state_cov,
    )


def _smooth(
    mean: FloatArray,
    cov: FloatArray,
    r: tuple[FloatArray, ...],
    n: tuple[FloatArray, ...],
    state: FloatArray,
    state_cov: FloatArray,
) -> None:
    """Fill in a step's smoothed state and its covariance from what was predicted and what came after."""
    (p_kk, p_kw, p_ww), (r_k, r_w), (n_kk, n_kw, n_ww) = cov, r, n
    state[0] = mean[0] + p_kk * r_k + p_kw * r_w
    state[1] = mean[1] + p_kw * r_k + p_ww * r_w
    x_k, x_w = p_kk * n_kk + p_kw * n_kw, p_kk * n_kw + p_kw * n_ww
    z_k, z_w = p_kw * n_kk + p_ww * n_kw, p_kw * n_kw + p_ww * n_ww
    state_cov[0] = p_kk - x_k * p_kk - x_w * p_kw
    state_cov[1] = p_kw - x_k * p_kw - x_w * p_ww
    state_cov[2] = p_ww - z_k * p_kw - z_w * p_ww
