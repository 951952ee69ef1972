"""A sweep as two pictures: level against speed and order, and against speed and frequency.

In the order map what follows the engine stands upright; in the frequency map resonances and hum do.
Pictures to look at: nothing is concluded from them.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from vibetrend.orders.signal import Signal, prepare
from vibetrend.orders.spectrum import Grid, grid
from vibetrend.recording import FloatArray, Recording
from vibetrend.runup.track import Track, track_through

TOP_ORDER = 12.5
_COLUMNS, _ROWS = 120, 160
_WINDOW_TURNS = 16.0
_DEEPEST_DB = -60.0


@dataclass(frozen=True, eq=False)
class SweepMap:
    """Level of a sweep, all axes together, against its strongest cell."""

    speed_rpm: FloatArray  # (M,) rising
    place: FloatArray  # (N,) orders, or Hz
    level_db: FloatArray  # (N, M), 0 at the strongest cell, -60 at the least
    over: Literal["order", "Hz"]


def order_map(recording: Recording, track: pd.DataFrame) -> SweepMap:
    """Return the level against speed and order; `track` is that of the measurement's speed."""
    signal, crank = _swept(recording, track)
    theta = crank.turns_at(signal.time)
    gridded = grid(theta - theta[0], signal.samples, top=TOP_ORDER, even_rate=None)
    turns = min(_WINDOW_TURNS, (theta[-1] - theta[0]) / 4)
    centres = np.linspace(turns / 2, theta[-1] - theta[0] - turns / 2, 2 * _COLUMNS)
    at = np.interp(centres + theta[0], theta, signal.time)
    top = min(TOP_ORDER, signal.nyquist_hz / float(crank.hertz.min()))
    return _mapped(gridded, centres, turns, top, 60 * crank.hertz_at(at), "order")


def frequency_map(recording: Recording, track: pd.DataFrame) -> SweepMap:
    """Return the level against speed and frequency, up to order 12 of the highest speed."""
    signal, crank = _swept(recording, track)
    top = min(TOP_ORDER * float(crank.hertz.max()), 0.95 * signal.nyquist_hz)
    gridded = grid(
        signal.time, signal.samples, top=top, even_rate=signal.rate if signal.even else None
    )
    seconds = min(_WINDOW_TURNS / crank.mean_hz(), signal.duration / 4)
    centres = np.linspace(seconds / 2, signal.duration - seconds / 2, 2 * _COLUMNS)
    return _mapped(gridded, centres, seconds, top, 60 * crank.hertz_at(centres), "Hz")


def _swept(recording: Recording, track: pd.DataFrame) -> tuple[Signal, Track]:
    rpm, time = track["rpm"].to_numpy(), track["time_s"].to_numpy()
    signal = prepare(recording, top_hz=TOP_ORDER * float(rpm.max()) / 60)
    return signal, track_through(time - signal.start_s, rpm / 60)


def _mapped(
    gridded: Grid,
    centres: FloatArray,
    length: float,
    top: float,
    rpm: FloatArray,
    over: Literal["order", "Hz"],
) -> SweepMap:
    """Return spectra around centres, the highest of those that fall into a column of speed."""
    count = max(8, int(length * gridded.rate))
    starts = np.clip(
        (centres - length / 2) * gridded.rate, 0, gridded.values.shape[1] - count
    ).astype(np.intp)
    frames = np.lib.stride_tricks.sliding_window_view(gridded.values, count, axis=1)[:, starts]
    step = gridded.rate / count
    bins = min(int(top / step) + 1, count // 2)
    power = (np.abs(np.fft.rfft(frames * np.hanning(count))[..., :bins]) ** 2).sum(axis=0)
    edges = np.unique(np.linspace(1, bins, min(_ROWS, bins - 1) + 1).astype(int))
    rows = np.maximum.reduceat(power, edges[:-1], axis=1)
    columns = np.linspace(rpm.min(), rpm.max() * (1 + 1e-9), _COLUMNS + 1)
    column = np.clip(np.searchsorted(columns, rpm, side="right") - 1, 0, _COLUMNS - 1)
    highest = np.zeros((_COLUMNS, rows.shape[1]))
    np.maximum.at(highest, column, rows)
    held = np.flatnonzero(highest.any(axis=1))  # speeds that were passed quickly have none
    level = 10 * np.log10(np.maximum(highest[held] / max(highest.max(), 1e-300), 1e-30))
    return SweepMap(
        speed_rpm=((columns[1:] + columns[:-1]) / 2)[held],
        place=(edges[:-1] + edges[1:] - 1) / 2 * step,
        level_db=np.maximum(level, _DEEPEST_DB).T,
        over=over,
    )
