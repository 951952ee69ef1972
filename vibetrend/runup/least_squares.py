"""Least squares: linear ones of many orders at once, and a descent to the rest."""

from collections.abc import Callable

import numpy as np

from vibetrend.recording import FloatArray

SMALL = 1e-4  # step of a derivative
_RIDGE = 1e-9
_MOST_STEPS = 20
CLOSE = 5e-5  # steps of logarithms this small are the end


def solve(
    design: FloatArray, power: FloatArray, weight: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Solve each order's linear least squares.

    Parameters
    ----------
    design : ndarray, shape (..., K, N, P)
    power, weight : ndarray, shape (..., K, N)
        The weight is one over a standard error, 0 where there is no point.

    Returns
    -------
    coefficients : ndarray, shape (..., K, P)
    covariance : ndarray, shape (..., K, P, P)
    residual : ndarray, shape (..., K, N)
        Weighted.
    """
    A = design * weight[..., np.newaxis]
    y = (power * weight)[..., np.newaxis]
    turned = np.swapaxes(A, -1, -2)
    normal = turned @ A
    size = np.sqrt(np.diagonal(normal, axis1=-2, axis2=-1)) + 1e-300
    pairs = size[..., :, np.newaxis] * size[..., np.newaxis, :]
    covariance = np.linalg.inv(normal / pairs + _RIDGE * np.eye(design.shape[-1])) / pairs
    coefficients = covariance @ (turned @ y)
    return coefficients[..., 0], covariance, (y - A @ coefficients)[..., 0]


def descend(
    residual: Callable[[FloatArray], FloatArray],
    start: FloatArray,
    low: FloatArray,
    high: FloatArray,
    close: float = CLOSE,
) -> tuple[FloatArray, FloatArray]:
    """Return what makes the squares of `residual` least, and its covariance (unit variance).

    Gauss-Newton with Marquardt's damping; derivatives by differences. `residual` takes several
    points at once, (T, P) to (T, R). Steps smaller than `close` end it.
    """
    at, steps = start, SMALL * np.vstack([np.zeros(start.size), np.eye(start.size)])
    damping, around = 1e-3, residual(at + steps)
    for _ in range(_MOST_STEPS):
        now, J = around[0], (around[1:] - around[0]).T / SMALL
        normal, slope = J.T @ J, J.T @ now
        moved = 0.0
        for _ in range(6):
            step = np.linalg.solve(normal + np.diag(np.diag(normal) * damping + 1e-12), -slope)
            there = np.clip(at + step, low, high)
            new = residual(there + steps)
            if new[0] @ new[0] <= now @ now:
                moved = float(np.abs(there - at).max())
                at, around, damping = there, new, damping / 10
                break
            damping *= 10
        if moved < close:
            break
    return at, np.linalg.inv(normal + 1e-12 * np.eye(at.size) * max(np.trace(normal), 1e-300))
