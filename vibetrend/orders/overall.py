"""Overall levels: the rms in a stated frequency band, all axes together."""

import numpy as np
import pandas as pd

from vibetrend.orders.signal import slowed
from vibetrend.orders.spectrum import grid, transform
from vibetrend.recording import Recording

LOWEST_HZ = 2.0  # of the band that ISO 10816-6 and 20816-1 measure reciprocating machines in
HIGHEST_HZ = 1000.0
_USABLE = 0.8  # share of half the sampling rate that a sensor's own roll-off leaves
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
    slow = slowed(recording, top_hz=top)
    assert slow.samples is not None
    samples = slow.samples - slow.samples.mean(axis=0)
    gridded = grid(slow.time_s(), samples, top=top, even_rate=slow.sample_rate)
    step, spectrum = transform(gridded, padding=1, top=top)
    power = (np.abs(spectrum) ** 2).sum(axis=0)
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
