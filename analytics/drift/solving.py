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


def variance_by_probes(multiply: Multiply, diagonal: FloatArray, probes: int = 2) -> FloatArray:
    """Diagonal of the inverse, as 1/diagonal times a common factor found with a few random signs.

    An approximation for fleets too large for the exact one; the factor is right on average.
    """
    rng = np.random.default_rng(20)
    factor = 0.0
    for _ in range(probes):
        signs = rng.choice(np.array([-1.0, 1.0]), len(diagonal))
        solved = conjugate_gradients(multiply, signs, diagonal, np.zeros_like(diagonal), tolerance=0.05)
        factor += float(signs @ solved) / float(np.sum(1.0 / diagonal)) / probes
    return max(factor, 1.0) / diagonal
