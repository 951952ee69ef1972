"""Mains hum taken out of a recording in which something else rings now and then."""

import numpy as np
import scipy.fft

from vibetrend.recording import FloatArray

MAINS_HZ = (50.0, 60.0)
LINES = 16
_OFF = 0.004  # relative; of the mains and of the recorder's clock
_ROUNDS = 3
_SHARE = 0.02  # of the power where it is quiet
_AROUND_S = 0.25
_QUIET = 0.15  # quantile


def without_hum(samples: FloatArray, rate: float) -> tuple[FloatArray, float]:
    """Return a signal without mains hum, and the mains frequency; 0 if there is none."""
    left, mains = samples, 0.0
    for _ in range(_ROUNDS):  # what is left shows better where the plucks are
        power, weight = _quietness(left, rate)
        mains = _mains(samples * weight, rate)
        columns = _columns(mains, len(samples), rate)
        root = np.sqrt(weight)[:, None]
        amounts = np.linalg.lstsq(columns * root, samples * root[:, 0], rcond=None)[0]
        left = samples - columns @ amounts
    quiet = power <= np.quantile(power, _QUIET)
    before, after = (float(np.sum(each[quiet] ** 2)) for each in (samples, left))
    # The columns explain a little of any noise.
    chance = 4 * columns.shape[1] / max(1, int(quiet.sum()))
    if after > before * (1 - max(_SHARE, chance)):
        return samples, 0.0
    return left, mains


def _quietness(samples: FloatArray, rate: float) -> tuple[FloatArray, FloatArray]:
    """Return the power around each sample, and a weight that is small where it is loud."""
    length = max(1, round(_AROUND_S * rate))
    power = np.convolve(samples**2, np.ones(length) / length, "same")
    weight = 1 / (power + 0.3 * float(np.quantile(power, _QUIET)) + np.finfo(float).tiny)
    return power, weight / weight.mean()


def _mains(samples: FloatArray, rate: float) -> float:
    """Return the frequency near 50 or 60 Hz whose multiples are strongest."""
    size = scipy.fft.next_fast_len(4 * len(samples), real=True)
    window = np.hanning(len(samples) + 2)[1:-1]
    spectrum = np.abs(scipy.fft.rfft(samples * window, size)) ** 2
    step = rate / size
    tried = np.concatenate(
        [np.arange(1 - _OFF, 1 + _OFF, 0.1 * step / nominal) * nominal for nominal in MAINS_HZ]
    )
    lines = np.outer(np.arange(1, LINES + 1), tried)
    places = np.where(lines < 0.45 * rate, np.round(lines / step), len(spectrum)).astype(int)
    heard = np.append(spectrum, 0.0)[places].sum(axis=0)
    return float(tried[np.argmax(heard)])


def _columns(mains: float, count: int, rate: float) -> FloatArray:
    lines = mains * np.arange(1, LINES + 1)
    angle = 2 * np.pi * np.outer(np.arange(count) / rate, lines[lines < 0.45 * rate])
    columns: FloatArray = np.hstack([np.cos(angle), np.sin(angle)])
    return columns
