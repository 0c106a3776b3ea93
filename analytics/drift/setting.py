"""To what level trims are set, and how much of a reading as left is the reading's own error.

Whoever sets a trim reads the analyser again and leaves it near the target. Of two readings as left, the one
farther from its fellows is so partly by its own error, and believing it makes forecasts too sure. How far
such a trim falls back is seen at its next visit as found. That is learnt from the fleet: where the value set
was written down and not read again, nothing falls back, and nothing is drawn.

States, drift and forecasts stand on the readings so drawn. Whether a trim wanders does not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analytics.drift.history import FOUND, HIGH, LEFT, LOW, BoolArray, FloatArray, IntArray
from analytics.drift.panels import Readings
from analytics.drift.steps import Steps, constants, medians

LEAST = 10
"""Trims of a model set, below which nothing is known of its level."""
FALL_PRIOR_SD = 0.25
"""Of the share of a distance that falls back, about none: it weighs as much as some 30 trims set."""
MOST_FALL = 0.95
FARTHEST = 4.0
"""Robust standard deviations beyond which a change is a wandering trim's or a blunder's, and no lesson."""
MAD_TO_SD = 1.4826
"""Normal standard deviation over the median absolute deviation."""
TINY = 1e-9


@dataclass(frozen=True)
class Setting:
    """What trims are set to. level (M, 2): 100 ln phi as shown at high and low fire, by model; NaN unknown.

    var (2,): how far a trim set lies from it [%^2]; infinite where nothing falls back.
    """

    level: FloatArray
    var: FloatArray

    @classmethod
    def unknown(cls, models: int) -> Setting:
        return cls(np.full((models, 2), np.nan), np.full(2, np.inf))


def was_set(steps: Steps) -> BoolArray:
    """Readings as left of the point that a trim was just set by (S, 2): the throttle's high fire, the
    offset's low fire. Not where a stretch begins: a new part need not have been followed by a setting.
    """
    inside = np.diff(steps.stretch, prepend=-1) == 0
    return np.asarray(steps.reset & steps.read & ((steps.phase == LEFT) & inside)[:, None])


def setting_of(steps: Steps, readings: Readings, model: IntArray, models: int) -> Setting:
    """What the trims of some steps were set to, and how far their distance from it fell back.

    readings: of the steps, less what is common.  model (U,): of the stretches.
    """
    setting, chosen = Setting.unknown(models), was_set(steps)
    for point in (HIGH, LOW):
        rows = np.flatnonzero(chosen[:, point])
        own, shown = model[steps.stretch[rows]], _shown(steps, rows, point)
        enough = np.bincount(own, minlength=models) >= LEAST
        setting.level[enough, point] = medians(shown, own, models)[enough]
        known = enough[own]
        distance = (shown - setting.level[own, point])[known]
        setting.var[point] = _spread(steps, readings, point, rows[known], distance)
    return setting


def drawn(readings: Readings, steps: Steps, setting: Setting, model: IntArray) -> Readings:
    """Readings of trims just set, drawn to what their fellows were set to; model (U,) of the stretches."""
    y, var, chosen = readings.y.copy(), readings.var.copy(), was_set(steps)
    for point in (HIGH, LOW):
        rows = np.flatnonzero(chosen[:, point])
        level = setting.level[model[steps.stretch[rows]], point]
        rows, level = rows[np.isfinite(level)], level[np.isfinite(level)]
        fall = var[rows, point] / (var[rows, point] + setting.var[point])
        y[rows, point] -= fall * (_shown(steps, rows, point) - level)
        var[rows, point] *= 1.0 - fall
    return replace(readings, y=y, var=var)


def _shown(steps: Steps, rows: IntArray, point: int) -> FloatArray:
    """100 ln phi of some steps as it was read."""
    return np.asarray(steps.y[rows, point] + constants(steps, rows)[:, point] + 0.5 * steps.air[rows])


def _spread(steps: Steps, readings: Readings, point: int, rows: IntArray, distance: FloatArray) -> float:
    """Variance of what trims are set to [%^2], from how much of their distance was gone at the next visit.

    Of readings with variance v of trims set within s^2, v / (v + s^2) of the distance falls back on average.
    That share by least squares, with a weak prior about none.
    """
    after = np.minimum(rows + 1, steps.count - 1)
    seen = (steps.stretch[after] == steps.stretch[rows]) & (steps.phase[after] == FOUND)
    seen &= steps.read[after, point] & ~steps.reset[after].any(axis=1)
    change = readings.y[after, point] - readings.y[rows, point]
    if seen.sum() < LEAST:
        return np.inf
    off = np.abs(change - np.median(change[seen]))
    near = seen & (off <= FARTHEST * MAD_TO_SD * np.median(off[seen]))
    change, distance = change[near], distance[near]
    square = max(float(np.sum(distance**2)), TINY)
    share = -float(np.sum(change * distance)) / square
    u2 = float(np.mean((change + share * distance) ** 2)) / square
    share = min(share * FALL_PRIOR_SD**2 / (FALL_PRIOR_SD**2 + u2), MOST_FALL)
    noise = float(np.mean(readings.var[rows[near], point]))
    return noise * (1.0 - share) / share if share > 0.0 else np.inf
