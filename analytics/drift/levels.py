"""Generalised least squares under a local-level error, without ever forming its covariance.

The throttle's readings of one stretch are a random walk plus noise. ``Whitener`` applies the inverse of that
covariance to any column (filter forwards, adjoint backwards), or gives the innovations of a sparse design.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse

from analytics.drift.history import BoolArray, FloatArray, IntArray
from analytics.drift.steps import UNREAD

BLOCK = 1_000
"""Stretches filtered at once: few enough that a row of them stays in the processor's own memory."""
LEVEL_VAR = 150.0**2
"""Variance of a fresh level of the throttle [%^2]. Wider than one burner needs: a fleet has tens of thousands
of them, and together they must not say where gas, bias and trend lie."""
ROW = 4
"""Entries in each row of a design."""
FORGOTTEN = 1e-3
"""Innovations depend on earlier readings by weights that die away; smaller ones than this are dropped."""


@dataclass(frozen=True)
class _Block:
    step: IntArray
    real: BoolArray
    gain: FloatArray
    keep: FloatArray
    inverse: FloatArray


def rows_of(values: npt.NDArray[np.floating], where: npt.NDArray[np.int32], columns: int) -> sparse.csr_array:
    """Sparse rows of ROW entries each: values and columns (n, ROW), with zeros kept."""
    start = np.arange(0, values.size + 1, ROW, dtype=np.int32)
    return sparse.csr_array((values.ravel(), where.ravel(), start), shape=(len(values), columns))


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
            wide = column[block.step]
            _apply(block, wide)
            out[block.step[block.real]] = wide[block.real]
        return out

    def diagonal(self) -> FloatArray:
        """Diagonal of the inverse covariance (S,)."""
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
        return diagonal

    def whitened(self, design: sparse.csr_array) -> sparse.csr_array:
        """Innovations of the design's columns, each row divided by its standard deviation."""
        whole = sparse.csr_array((self.steps, self.steps))
        for block in self._blocks:
            whole = whole + _innovation_matrix(block, self.steps)
        return sparse.csr_array(whole @ design)

    def normal_product(self, design: sparse.csr_array) -> Callable[[FloatArray], FloatArray]:
        """The product of the normal matrix (design' x inverse covariance x design) with a vector.

        design: of rows_of.  In single precision, which is far finer than what is asked of the solution. Rows
        are put in the blocks' own order once, so that no product has to gather them again.
        """
        blocks = [_single(block) for block in self._blocks]
        ordered = _in_order(design, blocks)
        turned = ordered.T

        def product(vector: FloatArray) -> FloatArray:
            # scaled, since single precision has little range
            size = float(np.abs(vector).max(initial=1e-30))
            rows = ordered @ (vector / size).astype(np.float32)
            at = 0
            for block in blocks:
                _apply(block, rows[at : at + block.step.size].reshape(block.step.shape))
                at += block.step.size
            return np.asarray(turned @ rows, dtype=np.float64) * size

        return product


def _single(block: _Block) -> _Block:
    single = [array.astype(np.float32) for array in (block.gain, block.keep, block.inverse)]
    return _Block(block.step, block.real, *single)  # type: ignore[arg-type]


def _in_order(design: sparse.csr_array, blocks: list[_Block]) -> sparse.csr_array:
    """The design's rows in the order of the blocks, in single precision; a padded place has zeros."""
    step = np.concatenate([np.zeros(0, np.int64), *(block.step.ravel() for block in blocks)])
    real = np.concatenate([np.zeros(0, np.bool_), *(block.real.ravel() for block in blocks)])
    values = design.data.reshape(-1, ROW).astype(np.float32)[step] * real[:, None]
    return rows_of(values, design.indices.reshape(-1, ROW)[step], design.shape[1])


def _block(step: IntArray, real: BoolArray, noise: FloatArray, walk: FloatArray, reset: BoolArray) -> _Block:
    gain, inverse = np.zeros(step.shape), np.zeros(step.shape)
    spread = np.zeros(step.shape[1])
    for t in range(len(step)):
        spread = np.where(reset[t], LEVEL_VAR, spread + walk[t])
        total = spread + noise[t]
        gain[t] = np.where(noise[t] < UNREAD, spread / total, 0.0)
        inverse[t] = np.where(noise[t] < UNREAD, 1.0 / total, 0.0)
        spread = spread * (1.0 - gain[t])
    return _Block(step, real, gain, np.where(reset, 0.0, 1.0), inverse)


def _apply(block: _Block, wide: FloatArray) -> None:
    """Turn columns (T, n) into inverse covariance times them, in place; padded places give nothing."""
    level, change = np.zeros((2, wide.shape[1]), wide.dtype)
    for t in range(len(wide)):
        level *= block.keep[t]
        wide[t] -= level
        np.multiply(block.gain[t], wide[t], out=change)
        level += change
    wide *= block.inverse
    later = np.zeros(wide.shape[1], wide.dtype)
    for t in range(len(wide) - 1, -1, -1):
        # the step after forgets this one where it starts afresh
        if t + 1 < len(wide):
            later *= block.keep[t + 1]
        np.multiply(block.gain[t], later, out=change)
        wide[t] -= change
        later += wide[t]


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
