"""Steps of many stretches laid side by side: time downwards, one column a stretch."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analytics.drift.history import HIGH, LOW, FloatArray, IntArray
from analytics.drift.steps import UNREAD, Steps

LEVEL_VAR = (15.0**2, 8.0**2)
"""Variance of a fresh state [%^2, Pa^2]: wide, so that only differences count."""


@dataclass(frozen=True)
class Readings:
    """Corrected readings of steps and what is believed of fresh states.

    y, var (S, 2) [%].  shared_var (S,).  level (U, 2), level_var (2,): mean and variance of a trim's state
    where it starts afresh.
    """

    y: FloatArray
    var: FloatArray
    shared_var: FloatArray
    level: FloatArray
    level_var: FloatArray


@dataclass(frozen=True)
class Panel:
    """Steps of n stretches padded to (T, n).

    The second reading is taken after removing what it shares with the first: y2 = k2 K + h2 W + noise r2,
    where the first is y1 = K + h1 W + noise r1; UNREAD where not read.  reset (T, n, 2).  level (n, 2),
    level_var (2,): of fresh states.
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

    def of_type(self, kind: npt.DTypeLike) -> Panel:
        """The same in another precision."""
        names = ("years", "level", "level_var", "y1", "h1", "r1", "y2", "k2", "h2", "r2")
        return replace(self, **{name: getattr(self, name).astype(kind, copy=False) for name in names})


def panels(steps: Steps, readings: Readings, chosen: IntArray | None = None, *, size: int) -> Iterator[Panel]:
    """Panels of the chosen stretches (all by default), alike in length so that little is padded."""
    count = np.bincount(steps.stretch, minlength=steps.stretches)
    first = np.cumsum(count) - count
    stretches = np.arange(steps.stretches) if chosen is None else np.asarray(chosen)
    stretches = stretches[np.argsort(-count[stretches], kind="stable")]
    stretches = stretches[count[stretches] > 0]
    for at in range(0, len(stretches), size):
        some = stretches[at : at + size]
        yield _panel(steps, readings, some, first[some], count[some])


def _panel(steps: Steps, readings: Readings, chosen: IntArray, first: IntArray, count: IntArray) -> Panel:
    time = np.arange(count[0])[:, None]
    real = time < count[None, :]
    step = np.where(real, first[None, :] + time, 0)
    shared = readings.shared_var[step]
    var, y, slope = readings.var[step], readings.y[step], steps.slope[step]
    var[~real] = UNREAD
    r1 = var[..., HIGH] + shared
    part = np.where(var[..., HIGH] < UNREAD, shared / r1, 0.0)
    return Panel(
        chosen=chosen,
        step=step,
        real=real,
        years=np.where(real, steps.years[step], 0.0),
        reset=steps.reset[step] & real[..., None],
        level=readings.level[chosen],
        level_var=readings.level_var,
        y1=np.where(r1 < UNREAD, y[..., HIGH], 0.0),
        h1=slope[..., HIGH],
        r1=r1,
        y2=np.where(var[..., LOW] < UNREAD, y[..., LOW] - part * y[..., HIGH], 0.0),
        k2=1.0 - part,
        h2=slope[..., LOW] - part * slope[..., HIGH],
        r2=var[..., LOW] + shared - part * shared,
    )
