"""Normal equations: small ones whole, large ones known only by their product with a vector."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import linalg

from analytics.drift.history import FloatArray

Multiply = Callable[[FloatArray], FloatArray]


def solve_with_variance(matrix: FloatArray, right: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Solution and diagonal of the inverse of a symmetric positive definite matrix (n, n), by Cholesky.

    Raises numpy.linalg.LinAlgError where it is not positive definite.
    """
    lower = linalg.cholesky(matrix, lower=True, check_finite=False)
    solution = linalg.cho_solve((lower, True), right, check_finite=False)
    inverse, _ = linalg.lapack.dpotri(lower, lower=True)
    return solution, np.diag(inverse).copy()


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
    direction, product = scaled.copy(), _dot(residual, scaled)
    goal = tolerance**2 * _dot(right, right / diagonal)
    for _ in range(most):
        if product <= goal:
            break
        image = multiply(direction)
        length = product / _dot(direction, image)
        x += length * direction
        residual -= length * image
        scaled = residual / diagonal
        before, product = product, _dot(residual, scaled)
        direction = scaled + (product / before) * direction
    return x


def inverse_factor(multiply: Multiply, diagonal: FloatArray) -> float:
    """How much larger the inverse's diagonal is than one over the diagonal, on the whole; at least 1.

    Found with one vector of random signs: an approximation for fleets too large for the exact inverse.
    """
    signs = np.random.default_rng(20).choice(np.array([-1.0, 1.0]), len(diagonal))
    solved = conjugate_gradients(multiply, signs, diagonal, np.zeros_like(diagonal), tolerance=0.1)
    return max(_dot(signs, solved) / float(np.sum(1.0 / diagonal)), 1.0)


def _dot(first: FloatArray, second: FloatArray) -> float:
    """Summed here: waking the linear algebra library's threads for ten thousand products costs more."""
    return float(np.sum(first * second))
