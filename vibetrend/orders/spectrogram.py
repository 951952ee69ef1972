"""A recording over time and frequency: a picture to look at, nothing is concluded from it."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from vibetrend.orders.signal import slowed
from vibetrend.orders.spectrum import grid
from vibetrend.recording import FloatArray, Recording

_WINDOW_SECONDS = 0.8  # tells half orders apart at idle
_COLUMNS = 110
_ROWS = 96
_DEEPEST_DB = -60.0


@dataclass(frozen=True, eq=False)
class Spectrogram:
    """Level of a recording, all axes together, against its strongest cell."""

    time_s: FloatArray  # (columns,) middle of each
    hertz: FloatArray  # (rows,) middle of each
    level_db: FloatArray  # (rows, columns), 0 at the strongest cell, -60 at the least

    label: str


def spectrogram(recording: Recording, *, top_hz: float, label: str = "") -> Spectrogram:
    """Return the short-time spectrum of a recording up to `top_hz`.

    Uneven samples are put on a fine even grid first, as in :mod:`vibetrend.orders.spectrum`.
    """
    import librosa  # a second to import, for one picture

    top = min(top_hz, 0.49 * recording.mean_rate_hz)
    slow = slowed(recording, top_hz=top)
    assert slow.samples is not None
    samples = slow.samples - slow.samples.mean(axis=0)
    gridded = grid(slow.time_s(), samples, top=top, even_rate=slow.sample_rate)
    length = int(_WINDOW_SECONDS * gridded.rate)
    hop = max(1, gridded.values.shape[1] // _COLUMNS)
    frames = librosa.stft(gridded.values, n_fft=length, hop_length=hop, center=False)
    power = (np.abs(frames) ** 2).sum(axis=0)  # (bins, columns)
    bins = min(int(top * length / gridded.rate), len(power))
    edges = np.linspace(1, bins, min(_ROWS, bins - 1) + 1).astype(int)
    rows = np.stack([power[low:high].max(axis=0) for low, high in pairwise(edges)])
    level = librosa.power_to_db(rows, ref=np.max, top_db=-_DEEPEST_DB)
    return Spectrogram(
        time_s=(np.arange(rows.shape[1]) * hop + length / 2) / gridded.rate,
        hertz=(edges[:-1] + edges[1:] - 1) / 2 * gridded.rate / length,
        level_db=np.asarray(level, dtype=float),
        label=label,
    )
