"""Overall levels: the rms in a stated frequency band, all axes together."""

import numpy as np
import pandas as pd

from vibetrend.orders.signal import resampled
from vibetrend.orders.spectrum import fast_length, grid, transform
from vibetrend.recording import FloatArray, Recording

LOWEST_HZ = 2.0  # of the band that ISO 10816-6 and 20816-1 measure reciprocating machines in
HIGHEST_HZ = 1000.0
_USABLE = 0.8  # share of half the sampling rate that a sensor's own roll-off leaves
_SLOW = 2.5  # times the top frequency; the rate that the resampler is asked for at least
_LONG = 2**18  # samples; a shorter recording is transformed as it is
COLUMNS = ["name", "band_hz", "value", "unit"]


def overall(recording: Recording) -> pd.DataFrame:
    """Return overall rms values, columns `COLUMNS`.

    Acceleration comes with the velocity it integrates to, in mm/s. By Parseval over the band
    of the spectrum, 2 to 1000 Hz or to 0.8 of half the sampling rate where that is less.
    """
    assert recording.samples is not None
    rate = recording.mean_rate_hz
    top = min(HIGHEST_HZ, _USABLE * rate / 2)
    if top <= LOWEST_HZ or recording.duration_s < 2 / LOWEST_HZ:
        return pd.DataFrame(columns=COLUMNS)
    step, power = _power(recording, top)
    hertz = np.arange(len(power)) * step
    band = hertz >= LOWEST_HZ
    # |X| is 0-to-peak per bin; bins are closer than 1 / duration by the padding
    power = power[band] / 2 * (step * recording.duration_s)
    limits = [LOWEST_HZ, round(float(top), 1)]
    rows = [(recording.kind, limits, float(np.sqrt(power.sum())), recording.unit)]
    if recording.kind == "acceleration":
        speed = np.sqrt((power / (2 * np.pi * hertz[band]) ** 2).sum())
        rows.append(("velocity", limits, 1e3 * float(speed), "mm/s"))
    return pd.DataFrame(rows, columns=COLUMNS)


def _power(recording: Recording, top: float) -> tuple[float, FloatArray]:
    """Return the frequency step and |X|^2 of each bin up to `top`, all axes together.

    Fast sampling is slowed down before it is transformed, to a rate that gives the very
    frequencies that the transform of all samples would.
    """
    assert recording.samples is not None
    samples, rate = recording.samples, recording.sample_rate
    if rate is None or rate < 2 * _SLOW * top or len(samples) < _LONG:
        samples = samples - samples.mean(axis=0)
        gridded = grid(recording.time_s(), samples, top=top, even_rate=rate)
        step, spectrum = transform(gridded, padding=1, top=top)
        return step, (np.abs(spectrum) ** 2).sum(axis=0)
    step = rate / fast_length(len(samples))
    size = fast_length(int(_SLOW * top / step))
    slowed = resampled(samples, rate, size * step)
    scale = 2 / (len(samples) * size * step / rate)
    power = np.zeros(int(top / step) + 1)
    for axis in slowed.T:  # one at a time, for of two minutes each is megabytes
        power += np.abs(scale * np.fft.rfft(axis, size)[: len(power)]) ** 2
    return step, power
