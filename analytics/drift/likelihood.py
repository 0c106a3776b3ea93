"""Exact likelihood of a stretch's readings under a two-trim local-level model, for many spreads at once.

State: throttle [%] and offset [Pa], each a random walk. The readings of both points are taken together, so
that
an error at high fire, which moves both trims' estimates, is seen as one error; where nothing was adjusted the
state carries over, so neighbouring differences share their reading error as they should.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.drift.history import HIGH, LOW, OFFSET, THROTTLE, FloatArray, IntArray
from analytics.drift.steps import UNREAD, Steps
from analytics.drift.threads import in_threads

CHUNK = 1_024
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
    for stretches, first, count in _parts(steps, chosen, size):
        yield _panel(steps, readings, stretches, first, count)


def over_panels(
    work: Callable[[Panel], None],
    steps: Steps,
    readings: Readings,
    chosen: IntArray | None = None,
    size: int = CHUNK,
) -> None:
    """Do work on every panel, two at a time; each is made by the thread that works on it."""

    def make_and_work(part: tuple[IntArray, IntArray, IntArray]) -> None:
        work(_panel(steps, readings, *part))

    in_threads(make_and_work, _parts(steps, chosen, size))


def _parts(steps: Steps, chosen: IntArray | None, size: int) -> list[tuple[IntArray, IntArray, IntArray]]:
    """The chosen stretches in parts of at most size, the longest first, with first step and step count."""
    count = np.bincount(steps.stretch, minlength=steps.stretches)
    first = np.cumsum(count) - count
    stretches = np.arange(steps.stretches) if chosen is None else np.asarray(chosen)
    stretches = stretches[np.argsort(-count[stretches], kind="stable")]
    stretches = stretches[count[stretches] > 0]
    split = [stretches[at : at + size] for at in range(0, len(stretches), size)]
    return [(some, first[some], count[some]) for some in split]


def _panel(steps: Steps, readings: Readings, chosen: IntArray, first: IntArray, count: IntArray) -> Panel:
    time = np.arange(count[0])[:, None]
    real = time < count[None, :]
    step = np.where(real, first[None, :] + time, 0)
    shared = readings.shared_var[step]
    var_high, var_low = (np.where(real, readings.var[step, point], UNREAD) for point in (HIGH, LOW))
    y_high, slope_high = readings.y[step, HIGH], steps.slope[step, HIGH]
    r1 = var_high + shared
    part = np.where(var_high < UNREAD, shared / r1, 0.0)
    return Panel(
        chosen=chosen,
        step=step,
        real=real,
        years=np.where(real, steps.years[step], 0.0),
        reset=steps.reset[step] & real[..., None],
        level=readings.level[step],
        level_var=readings.level_var[step],
        y1=np.where(r1 < UNREAD, y_high, 0.0),
        h1=slope_high,
        r1=r1,
        y2=np.where(var_low < UNREAD, readings.y[step, LOW] - part * y_high, 0.0),
        k2=1.0 - part,
        h2=steps.slope[step, LOW] - part * slope_high,
        r2=var_low + shared - part * shared,
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

    over_panels(work, steps, readings, stretches, CHUNK)
    return out


def _panel_log_likelihood(panel: Panel, spreads: FloatArray) -> Float32Array:
    """(G, n). In-place single-precision recursions: memory traffic is the whole cost here."""
    single = np.float32
    nodes, n = len(spreads), panel.y1.shape[1]
    q_k = np.ascontiguousarray(np.broadcast_to(spreads[:, THROTTLE] ** 2, (nodes, n)), single)
    q_w = np.ascontiguousarray(np.broadcast_to(spreads[:, OFFSET] ** 2, (nodes, n)), single)
    p_kk, p_kw, p_ww, m_k, m_w, total, a, b, s, e, work = (np.zeros((nodes, n), single) for _ in range(11))
    series = [
        x.astype(single)
        for x in (panel.years, panel.y1, panel.h1, panel.r1, panel.y2, panel.k2, panel.h2, panel.r2)
    ]
    level, level_var = panel.level.astype(single), panel.level_var.astype(single)

    def update(y: Float32Array, k: Float32Array | None, h: Float32Array, r: Float32Array) -> Float32Array:
        """One reading y = k K + h W, k one where None. Returns its variance, in a buffer of its own."""
        of_k = (lambda x: x) if k is None else (lambda x: np.multiply(x, k, out=s))
        np.multiply(p_kw, h, out=a)
        np.add(a, of_k(p_kk), out=a)
        np.multiply(p_ww, h, out=b)
        np.add(b, of_k(p_kw), out=b)
        np.multiply(m_w, h, out=work)
        np.subtract(y, work, out=e)
        np.subtract(e, of_k(m_k), out=e)
        np.multiply(b, h, out=work)
        np.add(work, of_k(a), out=work)
        variance = np.add(work, r)
        np.reciprocal(variance, out=s)
        np.multiply(e, s, out=work)
        np.multiply(e, work, out=e)
        np.subtract(total, e, out=total)
        np.multiply(a, work, out=e)
        np.add(m_k, e, out=m_k)
        np.multiply(b, work, out=e)
        np.add(m_w, e, out=m_w)
        np.multiply(b, s, out=s)
        np.multiply(b, s, out=work)
        np.subtract(p_ww, work, out=p_ww)
        np.multiply(a, s, out=work)
        np.subtract(p_kw, work, out=p_kw)
        np.divide(a, variance, out=s)
        np.multiply(a, s, out=work)
        np.subtract(p_kk, work, out=p_kk)
        return variance

    for t, (years, y1, h1, r1, y2, k2, h2, r2) in enumerate(zip(*series, strict=True)):
        if years.any():
            p_kk += np.multiply(q_k, years, out=work)
            p_ww += np.multiply(q_w, years, out=work)
        for trim, p, m in ((THROTTLE, p_kk, m_k), (OFFSET, p_ww, m_w)):
            at = np.flatnonzero(panel.reset[t, :, trim])
            if len(at):
                p[:, at], m[:, at] = level_var[t, at, trim], level[t, at, trim]
                p_kw[:, at] = 0.0
        both = update(y1, None, h1, r1)
        both *= update(y2, k2, h2, r2)
        # at most UNREAD squared, well inside single precision: one logarithm serves both
        total -= np.log(both, out=both)
    # padding and what was not read each took off log UNREAD: panels of other lengths must compare
    unread = np.sum(panel.r1 >= UNREAD, axis=0) + np.sum(panel.r2 >= UNREAD, axis=0)
    total += (unread * np.log(UNREAD)).astype(single)
    return np.multiply(total, single(0.5))
