"""Generalised least squares under a local-level error, without ever forming its covariance.

The throttle's readings of one stretch are a random walk plus noise. ``Whitener`` applies the inverse of that
covariance to any column (filter forwards, adjoint backwards), or gives the innovations of a sparse design.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse

from analytics.drift.history import BoolArray, FloatArray, IntArray
from analytics.drift.likelihood import LEVEL_VAR
from analytics.drift.steps import UNREAD

BLOCK = 20_000
FORGOTTEN = 1e-3
"""Innovations depend on earlier readings by weights that die away; smaller ones than this are dropped."""


@dataclass(frozen=True)
class _Block:
    step: IntArray
    real: BoolArray
    gain: FloatArray
    keep: FloatArray
    inverse: FloatArray


class Whitener:
    """Inverse covariance of one reading per step: random walk within a stretch, fresh at each reset.

    stretch, years, reset (S,), var (S,) noise variance (UNREAD: no reading), walk_var (U,) per year.
    """

    def __init__(
        self, stretch: IntArray, years: FloatArray, reset: BoolArray, var: FloatArray, walk_var: FloatArray
    ) -> None:
        self.steps = len(stretch)
        count = np.bincount(stretch, minlength=len(walk_var))
        first = np.cumsum(count) - count
        order = np.argsort(-count, kind="stable")
        order = order[count[order] > 0]
        self._blocks = []
        for at in range(0, len(order), BLOCK):
            some = order[at : at + BLOCK]
            time = np.arange(count[some[0]])[:, None]
            real = time < count[some]
            step = np.where(real, first[some] + time, 0)
            noise = np.where(real, var[step], UNREAD)
            walk = np.where(real, years[step], 0.0) * walk_var[some]
            self._blocks.append(_block(step, real, noise, walk, reset[step] & real))

    def apply(self, column: FloatArray) -> FloatArray:
        """Inverse covariance times a column (S,)."""
        out = np.zeros(self.steps)
        for block in self._blocks:
            wide = np.where(block.real, column[block.step], 0.0)
            innovation = _innovations(block, wide) * block.inverse
            later = np.zeros(wide.shape[1])
            for t in range(len(wide) - 1, -1, -1):
                # the step after forgets this one where it starts afresh
                if t + 1 < len(wide):
                    later *= block.keep[t + 1]
                adjoint = innovation[t] - block.gain[t] * later
                later += adjoint
                wide[t] = adjoint
            out[block.step[block.real]] = wide[block.real]
        return out

    def deletion(self, column: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Smoothing error of each reading and the diagonal of the inverse covariance, both (S,)."""
        diagonal = np.zeros(self.steps)
        for block in self._blocks:
            spread = np.zeros(block.step.shape[1])
            values = np.zeros(block.step.shape)
            for t in range(len(values) - 1, -1, -1):
                if t + 1 < len(values):
                    spread = spread * block.keep[t + 1]
                values[t] = block.inverse[t] + block.gain[t] ** 2 * spread
                spread = block.inverse[t] + (1.0 - block.gain[t]) ** 2 * spread
            diagonal[block.step[block.real]] = values[block.real]
        return self.apply(column), diagonal

    def whitened(self, design: sparse.csr_array) -> sparse.csr_array:
        """Innovations of the design's columns, each row divided by its standard deviation."""
        whole = sparse.csr_array((self.steps, self.steps))
        for block in self._blocks:
            whole = whole + _innovation_matrix(block, self.steps)
        return sparse.csr_array(whole @ design)


def _block(step: IntArray, real: BoolArray, noise: FloatArray, walk: FloatArray, reset: BoolArray) -> _Block:
    gain, inverse = np.zeros(step.shape), np.zeros(step.shape)
    spread = np.zeros(step.shape[1])
    for t in range(len(step)):
        spread = np.where(reset[t], LEVEL_VAR[0], spread + walk[t])
        total = spread + noise[t]
        gain[t] = np.where(noise[t] < UNREAD, spread / total, 0.0)
        inverse[t] = np.where(noise[t] < UNREAD, 1.0 / total, 0.0)
        spread = spread * (1.0 - gain[t])
    return _Block(step, real, gain, np.where(reset, 0.0, 1.0), inverse)


def _innovations(block: _Block, wide: FloatArray) -> FloatArray:
    out = np.empty_like(wide)
    level = np.zeros(wide.shape[1])
    for t in range(len(wide)):
        level = level * block.keep[t]
        out[t] = wide[t] - level
        level = level + block.gain[t] * out[t]
    return out


def _innovation_matrix(block: _Block, steps: int) -> sparse.csr_array:
    """(S, S): innovation of step t from readings of steps t and before, over its standard deviation."""
    root = np.sqrt(block.inverse)
    rows, columns, values = [], [], []

    def add(t: int, s: int, value: FloatArray) -> bool:
        some = np.abs(value) > FORGOTTEN * root[t]
        rows.append(block.step[t, some])
        columns.append(block.step[s, some])
        values.append(value[some])
        return bool(some.any())

    for t in range(len(root)):
        add(t, t, root[t])
        reach = -root[t]
        for s in range(t - 1, -1, -1):
            reach = reach * block.keep[s + 1]
            if not add(t, s, reach * block.gain[s]):
                break
            reach = reach * (1.0 - block.gain[s])
    joined: npt.NDArray[np.float64] = np.concatenate(values)
    index = (np.concatenate(rows), np.concatenate(columns))
    return sparse.csr_array((joined, index), shape=(steps, steps))
