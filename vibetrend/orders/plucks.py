"""Where in a recording something is plucked, against what sounds all the time."""

import math
from itertools import pairwise

import numpy as np
import scipy.fft
from scipy.ndimage import median_filter
from scipy.signal import find_peaks

from vibetrend.errors import MeasureError
from vibetrend.orders.damped import Density
from vibetrend.recording import FloatArray

# Background: the power that most frames of a quarter of a second reach.
_FRAME_S = 0.25
_QUANTILE = 0.15
_OF_MEAN = -math.log(1 - _QUANTILE)  # of an exponential distribution, as noise power has

# A machine in it: lines over what lies beside them. A belt has fewer overtones than that.
_LINES_S, _BESIDE_HZ = 0.4, 40.0
_LINE, _LINES = 8.0, 9

# Plucks: by power over the background in short frames.
LOOK_S = 0.06
_HOP_S = 0.01
_BANDS_HZ = (20.0, 70.0, 170.0, 400.0, 2000.0)  # a pluck stands out in one of these
_RISE_DB, _OVER_DB = 6.0, 5.0
_APART_S = 0.15
_BLOW_S, _AFTER_S = 0.005, 0.012  # where a pluck is loudest; from when on it rings freely
SHORTEST_S = 0.04
_RINGS_S = 0.7
_MOST = 20


def cannot(why: str) -> MeasureError:
    """Return the error for a recording that does not tell a belt's tone, with what to do."""
    return MeasureError(
        f"the belt's tone cannot be told: {why}. Record again with the engine stopped and in a "
        f"quieter place, pluck harder with a second between plucks, hold the phone nearer, or "
        f"state the hertz"
    )


def _frames(
    samples: FloatArray, rate: float, seconds: float, hop: float
) -> tuple[FloatArray, FloatArray]:
    """Return frequencies and the one-sided density of Hann-windowed frames, (frames, bins)."""
    length, step = max(8, round(seconds * rate)), max(1, round(hop * rate))
    window = np.hanning(length + 1)[:-1]
    cut = np.lib.stride_tricks.sliding_window_view(samples, length)[::step]
    power = np.abs(scipy.fft.rfft(cut * window, axis=1)) ** 2
    hertz: FloatArray = scipy.fft.rfftfreq(length, 1 / rate)
    return hertz, 2 * power / (rate * (window @ window))


def background(samples: FloatArray, rate: float) -> Density:
    """Return the density of what sounds all the time."""
    hertz, density = _frames(samples, rate, _FRAME_S, _FRAME_S / 2)
    usual = np.quantile(density, _QUANTILE, axis=0) / _OF_MEAN
    # Perfect silence between invented plucks is no measure.
    least = 1e-9 * float(density.mean()) + np.finfo(float).tiny
    smooth = np.convolve(np.pad(usual, 1, mode="edge"), [0.25, 0.5, 0.25], "valid")
    usual = np.maximum(np.maximum(usual, smooth), least)

    def noise(at: FloatArray) -> FloatArray:
        there: FloatArray = np.interp(at, hertz, usual)
        return there

    return noise


def machine_runs(samples: FloatArray, rate: float, top: float) -> bool:
    """Say whether a row of lines sounds all the time, as an engine or a fan makes."""
    if len(samples) < 3 * _LINES_S * rate:
        return False
    hertz, density = _frames(samples, rate, _LINES_S, _LINES_S / 4)
    usual = np.quantile(density, _QUANTILE, axis=0)[(hertz >= _BANDS_HZ[0]) & (hertz < top)]
    beside = median_filter(usual, size=2 * round(_BESIDE_HZ * _LINES_S) + 1, mode="nearest")
    crests, _ = find_peaks(usual / np.maximum(beside, np.finfo(float).tiny), height=_LINE)
    return len(crests) >= _LINES


def stretches(
    samples: FloatArray, rate: float, top: float, noise: Density
) -> list[tuple[int, int]]:
    """Return where each pluck rings, first sample and end."""
    hertz, density = _frames(samples, rate, LOOK_S, _HOP_S)
    bands = [(hertz >= low) & (hertz < min(high, top)) for low, high in pairwise(_BANDS_HZ)]
    relative = density / noise(hertz)
    loud = np.stack([relative[:, band].mean(axis=1) for band in bands if band.any()])
    over = 10 * np.log10(loud.max(axis=0) + 1e-12)
    step = max(1, round(_HOP_S * rate))
    padded = np.concatenate([[0.0], over])  # a recording may begin within a pluck
    peaks, _ = find_peaks(
        padded, height=_OVER_DB + _RISE_DB, prominence=_RISE_DB, distance=round(_APART_S / _HOP_S)
    )
    peaks = peaks - 1
    found = []
    for peak, following in pairwise([*peaks, len(over)]):
        quiet = np.flatnonzero(over[peak:following] < _OVER_DB)
        last = peak + (int(quiet[0]) if len(quiet) else following - peak)
        start = _loudest(samples, rate, peak * step) + int(_AFTER_S * rate)
        end = min(start + int(_RINGS_S * rate), int(last * step + LOOK_S / 2 * rate))
        if following < len(over):
            end = min(end, int(following * step))
        end = min(end, len(samples))
        if end - start >= SHORTEST_S * rate:
            found.append((start, end, over[peak]))
    if not found:
        raise cannot("no plucks stand out of what sounds all the time")
    loudest = sorted(found, key=lambda each: -each[2])[:_MOST]
    return sorted((start, end) for start, end, _ in loudest)


def _loudest(samples: FloatArray, rate: float, begin: int) -> int:
    """Return where in a frame a signal is loudest for some milliseconds."""
    frame = samples[begin : begin + round(LOOK_S * rate)]
    width = max(1, round(_BLOW_S * rate))
    return begin + int(np.argmax(np.convolve(frame**2, np.ones(width), "same")))
