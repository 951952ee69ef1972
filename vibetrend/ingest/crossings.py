"""Where a sampled signal changes between its two levels, to a fraction of a sample."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from vibetrend.errors import ReadError
from vibetrend.recording import FloatArray

BEYOND_MEASURE = 1e30
"""No sensor gives such a number; a damaged file may."""
_WIDEST_BAND = 0.15  # of the swing, to either side of the level that is passed
_HEARD, _QUIET = 0.15, 0.06  # of the usual range: where levels are sought; what is no signal
_DOUBLINGS = 3
_SMOOTH = 17  # blocks whose median is the local level: a spike or a drop-out moves it little
_GAP = 3  # times the usual time between samples
_UNSURE = 0.03  # of the time from tooth to tooth; less does not matter
_CHUNK = 1_000_000  # samples at once, for the memory
_SHORTEST_PULSE = 0.1  # of the usual one; what bounces is shorter


@dataclass(frozen=True, eq=False)
class Changes:
    """Changes of level in the order they come, up and down in turn."""

    times: FloatArray  # (n,) seconds
    rising: NDArray[np.bool_]  # (n,)

    def without_bounces(self, longest_s: float) -> "Changes":
        """Leave out both ends of pulses, high or low, too short for this signal."""
        if len(self.times) < 3:
            return self
        widths = np.diff(self.times)
        # A narrow mark is low for long and high for short: each has its own usual width.
        usual = min(float(np.median(widths[i::2])) for i in (0, 1))
        keep = np.ones(len(self.times), dtype=bool)
        for i in np.flatnonzero(widths < min(longest_s, _SHORTEST_PULSE * usual)):
            if keep[i]:
                keep[i : i + 2] = False
        return Changes(self.times[keep], self.rising[keep])


class Levels:
    """The local high and low level of a signal whose amplitude may change slowly.

    Parameters
    ----------
    values : array, shape (n,)
        All smaller than `BEYOND_MEASURE`.

    Raises
    ------
    ReadError
        If the signal does not change.
    """

    def __init__(self, values: FloatArray) -> None:
        self.values = values
        usual = _usual_range(values)
        if not usual > 0:
            raise ReadError(
                "the tacho's signal does not change; check the sensor's gap and cable, or choose "
                "another column with tacho_column"
            )
        high, low, length = _ranges(values, usual)
        size = min(_SMOOTH, 2 * ((len(high) - 1) // 2) + 1)
        high, low = (median_filter(level, size=size, mode="mirror") for level in (high, low))
        self._centres = (np.arange(len(high)) + 0.5) * length
        self._low = low
        self._swing = np.maximum(high - low, _QUIET * usual)

    def relative(self, at: NDArray[np.int64]) -> FloatArray:
        """Return the samples of these indices, 0 at the local low level and 1 at the high one."""
        low = np.interp(at, self._centres, self._low)
        swing = np.interp(at, self._centres, self._swing)
        result: FloatArray = (self.values[at] - low) / swing
        return result


def crossings(time: FloatArray, levels: Levels, share: float) -> Changes:
    """Find where the signal passes the level at this share of the way from low to high.

    A change counts once the signal has gone beyond a band around that level; its time is that of
    the last passage before, by a straight line between the two samples. Where samples are
    missing just there, it is left out.

    Parameters
    ----------
    time : array, shape (n,)
        Seconds, never decreasing.
    """
    at, rising = _passages(levels, share)
    before, after = levels.relative(at) - share, levels.relative(at + 1) - share
    between = time[at + 1] - time[at]
    times = time[at] + before / (before - after) * between
    if len(times) < 3:
        return Changes(times, rising)
    usual, pitch = (time[-1] - time[0]) / (len(time) - 1), np.median(times[2:] - times[:-2])
    sure = (between <= _GAP * usual) | (between <= _UNSURE * pitch)
    return Changes(times[sure], rising[sure])


def _usual_range(values: FloatArray) -> float:
    """Return the range of values through the recording, in spite of some beyond all others."""
    ranges = [float(np.ptp(part)) for part in np.array_split(values, 12) if len(part)]
    return float(np.median(ranges)) or max(ranges)


def _ranges(values: FloatArray, usual: float) -> tuple[FloatArray, FloatArray, int]:
    """Return highest and lowest value of each block, and the blocks' length in samples.

    The shortest length whose blocks nearly all hold both levels is one whose double has no wider
    a range than a slow change of amplitude gives it. Some times that length makes smooth levels.
    """
    length = 8
    starts = np.arange(max(len(values) // length, 1)) * length
    high, low = np.maximum.reduceat(values, starts), np.minimum.reduceat(values, starts)
    more = _DOUBLINGS
    while len(high) >= 16 and more:
        wide_high, wide_low = _pairs(high, np.max), _pairs(low, np.min)
        wide, narrow = wide_high - wide_low, _pairs(high - low, np.min)
        heard = wide > _HEARD * usual
        if heard.any() and np.quantile(narrow[heard] / wide[heard], 0.1) > 0.6:
            more -= 1
        high, low, length = wide_high, wide_low, 2 * length
    return high, low, length


def _pairs(blocks: FloatArray, of_two: Callable[..., FloatArray]) -> FloatArray:
    return of_two(blocks[: len(blocks) // 2 * 2].reshape(-1, 2), axis=1)


def _passages(levels: Levels, share: float) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return the last sample before each passage of the level, and whether it rises."""
    band = min(_WIDEST_BAND, 0.4 * min(share, 1 - share))
    at: list[NDArray[np.int64]] = [np.zeros(0, dtype=np.int64)]
    rising: list[NDArray[np.bool_]] = [np.zeros(0, dtype=bool)]
    side, last_below, last_above = 0, 0, 0
    for start in range(0, len(levels.values), _CHUNK):
        index = np.arange(start, min(start + _CHUNK, len(levels.values)))
        x = levels.relative(index) - share
        below = np.maximum.accumulate(np.where(x <= 0, index, last_below))
        above = np.maximum.accumulate(np.where(x >= 0, index, last_above))
        sure = np.flatnonzero(np.abs(x) > band)
        if sure.size:
            sides = np.where(x[sure] > 0, 1, -1)
            turned = np.diff(sides, prepend=side or sides[0]) != 0
            upward = sides[turned] > 0
            at.append(np.where(upward, below[sure[turned]], above[sure[turned]]))
            rising.append(upward)
            side = int(sides[-1])
        last_below, last_above = int(below[-1]), int(above[-1])
    return np.concatenate(at), np.concatenate(rising)
