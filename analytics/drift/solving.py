"""Iterative solution of large normal equations known only by their product with a vector."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analytics.drift.history import FloatArray

Multiply = Callable[[FloatArray], FloatArray]


def conjugate_gradients(
    multiply: Multiply,
    right: FloatArray,
    diagonal: FloatArray,
    start: FloatArray,
    *,
    tolerance: float = 1e-4,
    most: int = 80,
) -> FloatArray:
    """Solve multiply(x) = right, symmetric positive definite, preconditioned by its diagonal.

    Stops when the residual, in the norm of the inverse diagonal, has fallen by tolerance.
    """
    x = start.copy()
    residual = right - multiply(x) if x.any() else right.copy()
    scaled = residual / diagonal
    direction, product = scaled.copy(), float(residual @ scaled)
    goal = tolerance**2 * float(right @ (right / diagonal))
    for _ in range(most):
        if product <= goal:
            break
        image = multiply(direction)
        length = product / float(direction @ image)
        x += length * direction
        residual -= length * image
        scaled = residual / diagonal
        before, product = product, float(residual @ scaled)
        direction = scaled + (product / before) * direction
    return x


def inverse_factor(multiply: Multiply, diagonal: FloatArray) -> float:
    """How much larger the inverse's diagonal is than one over the diagonal, on the whole; at least 1.

    Found with one vector of random signs: an approximation for fleets too large for the exact inverse.
    """
    signs = np.random.default_rng(20).choice(np.array([-1.0, 1.0]), len(diagonal))
    solved = conjugate_gradients(multiply, signs, diagonal, np.zeros_like(diagonal), tolerance=0.1)
    return max(float(signs @ solved) / float(np.sum(1.0 / diagonal)), 1.0)
