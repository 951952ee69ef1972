"""Spectra of unevenly timed samples by gridding.

Each sample is shared between its two neighbours on an even grid several times finer than the
signal needs (the adjoint of linear interpolation), the grid is Fourier transformed, and the
gain of the sharing, sinc^2, is divided out. What this leaves over is below 2 % at the top
frequency: good for finding lines and for noise levels. Amplitudes come from the fit.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.recording import FloatArray

_OVERSAMPLING = 8  # grid points per period of the top frequency


@dataclass(frozen=True, eq=False)
class Grid:
    """Samples on an even grid; their sum over grid points is their sum over samples."""

    values: FloatArray  # (axes, m)
    rate: float  # grid points per second (or per turn)
    shared: bool  # whether samples were shared between neighbours
    samples_per_unit: float  # mean number of samples per second (or turn)

    def gain(self, frequency: FloatArray) -> FloatArray:
        """Return the amplitude gain of the sharing at each frequency."""
        if not self.shared:
            return np.ones_like(frequency)
        return np.sinc(frequency / self.rate) ** 2


def grid(position: FloatArray, samples: FloatArray, *, top: float, even_rate: float | None) -> Grid:
    """Put samples on an even grid fine enough for frequencies up to `top`.

    Parameters
    ----------
    position : array, shape (n,)
        Seconds, or turns for an order spectrum; starts near 0.
    samples : array, shape (n, axes)
    top : float
        Highest frequency wanted, Hz or orders.
    even_rate : float or None
        The rate of evenly sampled data, which need no sharing.
    """
    if even_rate is not None:
        return Grid(np.ascontiguousarray(samples.T), even_rate, False, even_rate)
    rate = _OVERSAMPLING * top
    place = (position - position.min()) * rate  # a poor track may run backwards
    left = np.floor(place).astype(np.intp)
    share = place - left
    length = int(left.max()) + 2
    values = np.stack(
        [
            np.bincount(left, axis * (1 - share), length)
            + np.bincount(left + 1, axis * share, length)
            for axis in samples.T
        ]
    )
    density = len(position) / np.ptp(position)
    return Grid(values, rate, True, density)


def transform(
    gridded: Grid, *, top: float, padding: int = 2, hann: bool = False
) -> tuple[float, NDArray[np.complex128]]:
    """Return the frequency step and the spectrum, shape (axes, frequencies).

    Scaled so that a line of 0-to-peak amplitude A reads A, and noise of one-sided density S
    has a mean square of 2 S / duration, 1.5 times that with a Hann window (Harris, Proc. IEEE
    66, 1978), whose sidelobes do not hide a weak line beside a strong one.
    """
    length = gridded.values.shape[1]
    size = fast_length(padding * length)
    step = gridded.rate / size
    count = min(int(top / step) + 1, size // 2)
    values = gridded.values * np.hanning(length) * 2 if hann else gridded.values
    spectrum = np.fft.rfft(values, size)[:, :count]
    samples = length / gridded.rate * gridded.samples_per_unit
    frequencies: FloatArray = np.arange(count, dtype=float) * float(step)
    scale = 2 / samples / gridded.gain(frequencies)
    return step, spectrum * scale


def fast_length(length: int) -> int:
    """Return the next length of the form 2^a 3^b that is not shorter: quick to transform."""
    best = 1 << (length - 1).bit_length()
    three = 3
    while three < best:
        two = 1 << max(0, ((length + three - 1) // three - 1).bit_length())
        best = min(best, two * three)
        three *= 3
    return best
