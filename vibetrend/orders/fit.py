"""Joint least squares of orders and other lines on samples at their own times.

With theta(t) in turns, the model of each axis is

    x(t) = c0 + sum_k Re[c_k exp(2 pi i k theta(t))] + sum_l Re[d_l exp(2 pi i f_l t)]       (1)

solved by normal equations (the design is well scaled by construction: unit phasors). In noise
whose one-sided density near line k is S_k, the variance of the real and of the imaginary part
of c_k is

    v_k = S_k rate / 2 * [(D^T D)^-1]_kk                                                     (2)

S_k / T for a line alone (Kay, Fundamentals of Statistical Signal Processing I, ex. 3.14); more
where lines are hard to tell apart, by the variance inflation factor

    VIF_k = [(D^T D)^-1]_kk n / 2                                                            (3)
"""

from dataclasses import dataclass

import numpy as np
import scipy.linalg
from numpy.typing import NDArray

from vibetrend.errors import MeasureError
from vibetrend.orders.signal import fold
from vibetrend.orders.spectrum import grid, transform
from vibetrend.recording import FloatArray

ComplexArray = NDArray[np.complex128]

_SINGULAR = 1e-9  # smallest pivot, relative: below it two lines are one


@dataclass(frozen=True, eq=False)
class LineFit:
    """Complex amplitudes (0-to-peak) of every line on every axis, and what is left over."""

    amplitude: ComplexArray  # (lines, axes)
    inflation: FloatArray  # (lines,) VIF, 1 for a line alone; inf where inseparable
    residual: FloatArray  # (n, axes)


def phasors(theta: FloatArray, orders: FloatArray) -> ComplexArray:
    """Return exp(2 pi i k theta) for each order, shape (orders, n).

    Half orders are powers of one phasor: a product each instead of a sine and a cosine.
    """
    result = np.empty((len(orders), len(theta)), complex)
    half = np.exp(1j * np.pi * theta)
    power, reached = np.ones_like(half), 0
    for row in np.argsort(orders):
        halves = 2 * orders[row]
        if halves == round(halves):
            while reached < round(halves):
                power = power * half
                reached += 1
            result[row] = power
        else:
            result[row] = np.exp(2j * np.pi * orders[row] * theta)
    return result


def fit_lines(samples: FloatArray, lines: ComplexArray) -> LineFit:
    """Solve Eq. 1 for unit phasors `lines`, shape (lines, n), on samples (n, axes)."""
    count, n = lines.shape
    design = np.empty((2 * count + 1, n))
    design[:count] = lines.real
    design[count:-1] = -lines.imag  # Re[(a + ib) e] = a Re e - b Im e
    design[-1] = 1.0
    normal = design @ design.T
    right = design @ samples
    # A ridge far below any noise keeps inseparable lines finite; Eq. 3 then shows them.
    ridge = _SINGULAR * n / 2
    factor = scipy.linalg.cho_factor(normal + ridge * np.eye(len(normal)))
    solution = scipy.linalg.cho_solve(factor, right)
    inverse = scipy.linalg.cho_solve(factor, np.eye(len(normal))).diagonal()
    inflation = 0.5 * (inverse[:count] + inverse[count:-1]) * n / 2
    residual = samples - design.T @ solution
    amplitude = solution[:count] + 1j * solution[count:-1]
    return LineFit(amplitude, np.where(inflation > 1e6, np.inf, inflation), residual)


def local_density(
    time: FloatArray,
    residual: FloatArray,
    frequencies: FloatArray,
    *,
    width_hz: float,
    even_rate: float | None,
) -> FloatArray:
    """Return the one-sided noise density of the residual near each frequency.

    The median of the periodogram within `width_hz` / 2 either side, over ln 2: a line that was
    left over moves it little.

    Returns
    -------
    array, shape (frequencies, axes)
        Unit squared per Hz.

    Raises
    ------
    MeasureError
        If there is no frequency.
    """
    if not len(frequencies):
        raise MeasureError(
            "no order lies where these samples can show it; record for longer, or with more "
            "samples per second"
        )
    shown = frequencies
    if even_rate is not None:  # an order above half the rate has the noise where it folds to
        shown = fold(frequencies, even_rate)
    top = float(shown.max() + width_hz)
    step, spectrum = transform(
        grid(time, residual, top=top, even_rate=even_rate), padding=1, top=top
    )
    duration = time[-1] - time[0]
    density = np.abs(spectrum) ** 2 * duration / 2
    half = max(3, int(width_hz / 2 / step))
    result = np.empty((len(frequencies), residual.shape[1]))
    for row, frequency in enumerate(shown):
        centre = int(frequency / step)
        low = max(1, min(centre - half, density.shape[1] - 2 * half))
        result[row] = np.median(density[:, low : low + 2 * half + 1], axis=1) / np.log(2)
    return result
