"""What plain spectra of a recording give: highest peaks near the tag, read off."""

from collections.abc import Callable

import numpy as np
from scipy.signal import stft, welch

from vibetrend.recording import FloatArray, Recording

Plain = tuple[float, dict[float, float]]
"""Speed, rpm, and the rms of each order, all axes together."""

_FIRING = 3.0
_ORDERS = np.arange(1, 25) / 2
_SEARCH = 0.09  # of the tag, where the firing order is looked for
_RATE = 2000.0  # more samples per second hold nothing that is asked for


def hann_peak(recording: Recording) -> Plain:
    """Return the peaks of one Hann-windowed FFT of everything."""
    samples, rate = _even(recording)
    count = samples.shape[1]
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(count) * 2)) * 2 / count
    return _read_off(recording, rate / count, (spectrum**2).sum(axis=0) / 2)


def welch_peak(recording: Recording) -> Plain:
    """Return the peaks of Welch's average of segments of 4 s."""
    samples, rate = _even(recording)
    hertz, power = welch(samples, rate, nperseg=int(4 * rate), scaling="spectrum")
    return _read_off(recording, hertz[1], power.sum(axis=0))


def frames_peak(recording: Recording) -> Plain:
    """Return the peaks of the mean magnitude of frames of 1 s, padded to 4 s."""
    samples, rate = _even(recording)
    hertz, _, frames = stft(samples, rate, nperseg=int(rate), nfft=int(4 * rate), padded=False)
    return _read_off(recording, hertz[1], 2 * (np.abs(frames).mean(axis=-1) ** 2).sum(axis=0))


PLAIN: dict[str, Callable[[Recording], Plain]] = {
    "Hann FFT": hann_peak,
    "Welch 4 s": welch_peak,
    "STFT 1 s": frames_peak,
}


def _even(recording: Recording) -> tuple[FloatArray, float]:
    """Return samples interpolated to an even grid, (axes, n), means removed, and its rate."""
    samples, times = np.asarray(recording.samples), recording.time_s()
    rate = min(_RATE, recording.mean_rate_hz)
    grid = np.arange(times[0], times[-1], 1 / rate)
    return np.array([np.interp(grid, times, axis - axis.mean()) for axis in samples.T]), rate


def _read_off(recording: Recording, step: float, power: FloatArray) -> Plain:
    """Read off a line spectrum: `power` is the mean square of a line, all axes together."""
    hertz = np.arange(power.size) * step
    tag = (recording.rpm or 0) / 60
    near = np.abs(hertz / (_FIRING * tag) - 1) < _SEARCH
    crank = hertz[int(np.argmax(np.where(near, power, -1)))] / _FIRING
    sizes = {}
    for order in _ORDERS.tolist():
        within = np.abs(hertz - order * crank) <= 1.5 * step
        sizes[order] = float(np.sqrt(power[within].max())) if within.any() else 0.0
    return float(60 * crank), sizes
