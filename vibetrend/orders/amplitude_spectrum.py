"""Amplitude against frequency: a picture to look at, beside the orders' own amplitudes.

Pieces of the recording are windowed (Hann), transformed and averaged as power (Welch, IEEE Trans.
AU-15, 1967), so that noise stands as a level and not as grass. It is scaled by the window's sum:
a sine of rms a reads a at its peak. Noise of one-sided density S reads sqrt(1.5 S / T), T being
the length of a piece: the window's noise bandwidth is 1.5 bins (Harris, Proc. IEEE 66, 1978).
A line that wanders with the speed spreads over its neighbours and reads less than its order's
amplitude, which follows the crank.
"""

from dataclasses import dataclass

import numpy as np

from vibetrend.orders.signal import LEAST_GAIN, Signal, between, prepare
from vibetrend.orders.spectrum import fast_length, grid
from vibetrend.recording import FloatArray, Recording

_PADDING = 8  # between two frequencies a sine loses 0.3 % at most
_BANDWIDTH = 1.5  # of a Hann window, in 1 / T
_LOWEST = 3.0  # in 1 / T: what stands below is the mean and its drift
_FEWEST = 32  # samples in a piece; what is left of one around a gap tells nothing


@dataclass(frozen=True, eq=False)
class AmplitudeSpectrum:
    """Rms amplitude against frequency, all axes together (root of the sum of squares)."""

    hertz: FloatArray  # (n,) evenly spaced, rising
    amplitude: FloatArray  # (n,) rms, in `unit`
    unit: str
    resolution_hz: float  # two lines nearer than this stand as one
    pieces: int  # averaged
    piece_s: float


def amplitude_spectrum(
    recording: Recording, *, top_hz: float, piece_s: float, start_s: float, end_s: float
) -> AmplitudeSpectrum | None:
    """Return the averaged spectrum of what was recorded from `start_s` to `end_s`.

    Uneven samples keep their times: they are weighted where they are and shared out on a fine
    grid, as in :mod:`vibetrend.orders.spectrum`.

    Parameters
    ----------
    recording : Recording
        With samples.
    top_hz : float
        Highest frequency wanted; half the sampling rate bounds it.
    piece_s : float
        Length of a piece; the recording's where that is shorter.
    start_s, end_s : float
        On the recording's own clock.

    Returns
    -------
    AmplitudeSpectrum or None
        None where no piece holds enough samples, or all of them hold one value only.
    """
    part, _ = between(recording, start_s, end_s)
    if part.count < _FEWEST:
        return None
    signal = prepare(part, top_hz=min(top_hz, part.mean_rate_hz / 2))
    if len(signal.time) < _FEWEST:
        return None
    top = min(top_hz, signal.nyquist_hz)
    length = min(piece_s, signal.duration)
    pieces = 1 + int(2 * (signal.duration - length) / length + 1e-9)  # each half over the next
    power, step, used = np.zeros(0), 0.0, 0
    for begin in np.linspace(0.0, signal.duration - length, pieces):
        piece = _piece(signal, float(begin), length)
        if len(piece) < _FEWEST:
            continue
        step, found = _power(signal, piece, float(begin), length, top)
        power = found if not used else power + found
        used += 1
    if not power.any():
        return None
    hertz: FloatArray = np.arange(len(power), dtype=float) * float(step)
    shown = hertz >= _LOWEST / length
    return AmplitudeSpectrum(
        hertz=hertz[shown],
        amplitude=np.sqrt(power[shown] / used),
        unit=recording.unit,
        resolution_hz=_BANDWIDTH / length,
        pieces=used,
        piece_s=length,
    )


def _piece(signal: Signal, begin: float, length: float) -> range:
    """Return the rows of a piece; of even samples as many in each."""
    if signal.even:
        size = min(round(length * signal.rate), len(signal.time))
        first = min(round(begin * signal.rate), len(signal.time) - size)
        return range(first, first + size)
    first, last = np.searchsorted(signal.time, [begin, begin + length]).tolist()
    return range(first, last)


def _power(
    signal: Signal, piece: range, begin: float, length: float, top: float
) -> tuple[float, FloatArray]:
    """Return the frequency step and the mean square at each frequency, all axes together."""
    rows = slice(piece.start, piece.stop)
    time = signal.time[rows] - (signal.time[piece.start] if signal.even else begin)
    window = 1 - np.cos(2 * np.pi * time / length)
    values = signal.samples[rows]
    values = window[:, np.newaxis] * (values - np.average(values, axis=0, weights=window))
    if not signal.even:  # silence at both ends gives every piece the same grid
        time = np.concatenate([[0.0], time, [length]])
        values = np.pad(values, ((1, 1), (0, 0)))
    gridded = grid(time, values, top=top, even_rate=signal.rate if signal.even else None)
    size = fast_length(_PADDING * gridded.values.shape[1])
    step = gridded.rate / size
    count = min(int(top / step) + 1, size // 2)
    lines = np.fft.rfft(gridded.values, size)[:, :count]
    hertz: FloatArray = np.arange(count, dtype=float) * float(step)
    # As for the orders: what the uncertainty of the times takes is given back.
    lines /= gridded.gain(hertz) * np.maximum(signal.rounding_gain(hertz), LEAST_GAIN)
    # A sine of rms a has sqrt(2) a for amplitude, half of it at its own frequency.
    power: FloatArray = 2 * (np.abs(lines) ** 2).sum(axis=0) / window.sum() ** 2
    return step, power
