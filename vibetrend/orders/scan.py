"""One pass over the samples of a recording, piece by piece, for checks that need no copy of it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.recording import FloatArray

BLOCK_S = 0.5
_PIECE = 1 << 16  # rows; fits the cache, and what is made of it stays below a few megabytes
_STILL_SAMPLES, _STILL_S = 20, 5e-3  # a slow sensor's repeated value is no standstill
_SURELY_STILL_S = 0.1
_STEPS_PER_S = 3.0  # values that stand still more often are steps of a coarse converter


@dataclass(frozen=True, eq=False)
class Scan:
    """What the checks want to know of the samples of a recording."""

    lows: FloatArray  # (blocks, axes) least value, of `block` samples each; the last may be short
    highs: FloatArray  # (blocks, axes) largest value
    means: FloatArray  # (whole blocks, axes)
    rms: FloatArray  # (axes,) about those means
    block: int  # samples, about half a second
    still_s: FloatArray  # how long each stretch lasted in which no value changed, s
    still_from: NDArray[np.intp]  # the row each of them began with

    @property
    def low(self) -> FloatArray:
        """The least value of each axis."""
        least: FloatArray = self.lows.min(axis=0)
        return least

    @property
    def high(self) -> FloatArray:
        """The largest value of each axis."""
        largest: FloatArray = self.highs.max(axis=0)
        return largest


def scan(samples: FloatArray, rate: float) -> Scan:
    """Scan samples of shape (n, axes), `rate` Hz.

    Axis by axis, each piece put together first: numpy is slow along rows of two or three values.
    """
    count, axes = samples.shape
    block = min(max(2, round(BLOCK_S * rate)), count)
    lows, highs = (np.empty((-(-count // block), axes)) for _ in range(2))
    means, squares = (np.empty((count // block, axes)) for _ in range(2))
    same = np.ones(count, dtype=bool)  # as the row before, on all axes
    same[0] = False
    each = max(1, _PIECE // block)
    for first in range(0, len(lows), each):
        start = first * block
        rows = slice(max(0, start - 1), start + each * block)  # from the row before on
        for axis in range(axes):
            values = np.ascontiguousarray(samples[rows, axis])
            same[rows][1:] &= values[1:] == values[:-1]
            piece = values[start - rows.start :]
            edges = np.arange(0, len(piece), block)
            lows[first : first + each, axis] = np.minimum.reduceat(piece, edges)
            highs[first : first + each, axis] = np.maximum.reduceat(piece, edges)
            whole = piece[: len(piece) // block * block].reshape(-1, block)
            means[first : first + each, axis] = whole.mean(axis=1)
            squares[first : first + each, axis] = np.einsum("kb,kb->k", whole, whole)
    turns: NDArray[np.intp] = np.flatnonzero(same[1:] != same[:-1]) + 1
    begins, ends = turns[::2], np.append(turns, count)[1::2]
    variance = (squares / block - means**2).mean(axis=0)
    lost = _still(ends - begins + 1, rate, count / rate)
    return Scan(
        lows=lows,
        highs=highs,
        means=means,
        rms=np.sqrt(np.maximum(variance, 0)),
        block=block,
        still_s=(ends - begins + 1)[lost] / rate,
        still_from=begins[lost] - 1,
    )


def _shortest_run(rate: float) -> int:
    return max(_STILL_SAMPLES, round(_STILL_S * rate))


def _still(runs: NDArray[np.intp], rate: float, duration: float) -> NDArray[np.bool_]:
    """Return which runs of one value are no steps of a coarse converter.

    Steps thin out with their length and come all the time; what was lost stands apart.
    """
    limit = float(_shortest_run(rate))
    while limit < _SURELY_STILL_S * rate:
        longer = int((runs >= limit).sum())
        shorter = int((runs >= limit / 2).sum()) - longer
        if shorter < longer < _STEPS_PER_S * duration:
            break
        limit *= 2
    return np.asarray(runs >= limit)
