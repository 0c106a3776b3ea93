"""Exact likelihood of a stretch's readings under a two-trim local-level model, for many spreads at once.

State: throttle [%] and offset [Pa], each a random walk. The readings of both points are taken together, so
that
an error at high fire, which moves both trims' estimates, is seen as one error; where nothing was adjusted the
state carries over, so neighbouring differences share their reading error as they should.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.drift.history import HIGH, LOW, OFFSET, THROTTLE, FloatArray, IntArray
from analytics.drift.steps import UNREAD, Steps

CHUNK = 1_024
THREADS = 2
LEVEL_VAR = (15.0**2, 8.0**2)
"""Variance of a fresh state [%^2, Pa^2]: wide, so that only differences count."""

Float32Array = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Readings:
    """Corrected readings of steps and what is believed of fresh states.

    y, var (S, 2) [%].  shared_var (S,).  level, level_var (S, 2): mean and variance of a trim's state
    where it
    starts afresh.
    """

    y: FloatArray
    var: FloatArray
    shared_var: FloatArray
    level: FloatArray
    level_var: FloatArray


@dataclass(frozen=True)
class Panel:
    """Steps of some stretches padded to (T, n): time first, so that each column is one stretch.

    The second reading is taken after removing what it shares with the first: y2 = k2 K + h2 W + noise.
    """

    chosen: IntArray
    step: IntArray
    real: npt.NDArray[np.bool_]
    years: FloatArray
    reset: npt.NDArray[np.bool_]
    level: FloatArray
    level_var: FloatArray
    y1: FloatArray
    h1: FloatArray
    r1: FloatArray
    y2: FloatArray
    k2: FloatArray
    h2: FloatArray
    r2: FloatArray


def panels(
    steps: Steps, readings: Readings, chosen: IntArray | None = None, size: int = CHUNK
) -> Iterator[Panel]:
    """Panels of the chosen stretches (all by default), alike in length so that little is padded."""
    count = np.bincount(steps.stretch, minlength=steps.stretches)
    first = np.cumsum(count) - count
    stretches = np.arange(steps.stretches) if chosen is None else np.asarray(chosen)
    stretches = stretches[np.argsort(-count[stretches], kind="stable")]
    for at in range(0, len(stretches), size):
        some = stretches[at : at + size]
        if count[some[0]] > 0:
            yield _panel(steps, readings, some, first[some], count[some])


def _panel(steps: Steps, readings: Readings, chosen: IntArray, first: IntArray, count: IntArray) -> Panel:
    time = np.arange(count[0])[:, None]
    real = time < count[None, :]
    step = np.where(real, first[None, :] + time, 0)
    var = np.where(real[..., None], readings.var[step], UNREAD)
    shared = readings.shared_var[step]
    y, slope = readings.y[step], steps.slope[step]
    r1 = var[..., HIGH] + shared
    part = np.where(var[..., HIGH] < UNREAD, shared / r1, 0.0)
    return Panel(
        chosen=chosen,
        step=step,
        real=real,
        years=np.where(real, steps.years[step], 0.0),
        reset=steps.reset[step] & real[..., None],
        level=readings.level[step],
        level_var=readings.level_var[step],
        y1=np.where(r1 < UNREAD, y[..., HIGH], 0.0),
        h1=slope[..., HIGH],
        r1=r1,
        y2=np.where(var[..., LOW] < UNREAD, y[..., LOW] - part * y[..., HIGH], 0.0),
        k2=1.0 - part,
        h2=slope[..., LOW] - part * slope[..., HIGH],
        r2=var[..., LOW] + shared - part * shared,
    )


def log_likelihoods(
    steps: Steps, readings: Readings, spreads: FloatArray, chosen: IntArray | None = None
) -> Float32Array:
    """Log-likelihood of each stretch (n) for each spread (G), up to a constant per reading.

    spreads (G, 2) or (G, 2, U): movement per root year, throttle [%] and offset [Pa].   Returns (n, G), in
    the
    order of chosen. Single precision: exact to about 1e-4.
    """
    stretches = np.arange(steps.stretches) if chosen is None else np.asarray(chosen)
    place = np.zeros(steps.stretches, np.int64)
    place[stretches] = np.arange(len(stretches))
    out = np.zeros((len(stretches), len(spreads)), np.float32)

    def work(panel: Panel) -> None:
        own = spreads[..., panel.chosen] if spreads.ndim == 3 else spreads[..., None]
        out[place[panel.chosen]] = _panel_log_likelihood(panel, own).T

    with ThreadPoolExecutor(THREADS) as pool:
        for _ in pool.map(work, panels(steps, readings, stretches)):
            pass
    return out


def _panel_log_likelihood(panel: Panel, spreads: FloatArray) -> Float32Array:
    """(G, n). In-place single-precision recursions: memory traffic is the whole cost here."""
    single = np.float32
    nodes, n = len(spreads), panel.y1.shape[1]
    q_k = np.ascontiguousarray(np.broadcast_to(spreads[:, THROTTLE] ** 2, (nodes, n)), single)
    q_w = np.ascontiguousarray(np.broadcast_to(spreads[:, OFFSET] ** 2, (nodes, n)), single)
    p_kk, p_kw, p_ww, m_k, m_w, total, a, b, s, e = (np.zeros((nodes, n), single) for _ in range(10))
    ones = np.ones(n, single)
    series = [
        x.astype(single)
        for x in (panel.years, panel.y1, panel.h1, panel.r1, panel.y2, panel.k2, panel.h2, panel.r2)
    ]
    level, level_var = panel.level.astype(single), panel.level_var.astype(single)

    def update(y: Float32Array, k: Float32Array, h: Float32Array, r: Float32Array) -> None:
        np.multiply(p_kw, h, out=a)
        np.multiply(p_kw, k, out=b)
        if k is ones:
            np.add(a, p_kk, out=a)
        else:
            np.multiply(p_kk, k, out=s)
            np.add(a, s, out=a)
        np.multiply(p_ww, h, out=s)
        np.add(b, s, out=b)
        np.multiply(a, k, out=s)
        np.multiply(b, h, out=e)
        np.add(s, e, out=s)
        np.add(s, r, out=s)
        np.multiply(m_k, k, out=e)
        np.subtract(y, e, out=e)
        work = m_w * h
        np.subtract(e, work, out=e)
        np.log(s, out=work)
        np.subtract(total, work, out=total)
        np.reciprocal(s, out=s)
        np.multiply(e, s, out=work)
        np.multiply(e, work, out=e)
        np.subtract(total, e, out=total)
        np.multiply(a, work, out=e)
        np.add(m_k, e, out=m_k)
        np.multiply(b, work, out=e)
        np.add(m_w, e, out=m_w)
        np.multiply(a, s, out=e)
        np.multiply(b, s, out=s)
        np.multiply(a, e, out=work)
        np.subtract(p_kk, work, out=p_kk)
        np.multiply(b, e, out=work)
        np.subtract(p_kw, work, out=p_kw)
        np.multiply(b, s, out=work)
        np.subtract(p_ww, work, out=p_ww)

    for t, (years, y1, h1, r1, y2, k2, h2, r2) in enumerate(zip(*series, strict=True)):
        if years.any():
            p_kk += q_k * years
            p_ww += q_w * years
        for trim, p, m in ((THROTTLE, p_kk, m_k), (OFFSET, p_ww, m_w)):
            at = np.flatnonzero(panel.reset[t, :, trim])
            if len(at):
                p[:, at], m[:, at] = level_var[t, at, trim], level[t, at, trim]
                p_kw[:, at] = 0.0
        update(y1, ones, h1, r1)
        update(y2, k2, h2, r2)
    # padding and what was not read each took off log UNREAD: panels of other lengths must compare
    unread = np.sum(panel.r1 >= UNREAD, axis=0) + np.sum(panel.r2 >= UNREAD, axis=0)
    total += (unread * np.log(UNREAD)).astype(single)
    return np.multiply(total, single(0.5))
