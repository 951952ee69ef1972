"""One pass over the samples of a recording, piece by piece, for checks that need no copy of it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from vibetrend.recording import FloatArray

BLOCK_S = 0.5
_PIECE = 1 << 16  # rows; fits the cache, and what is made of it stays below a few megabytes
_STILL_SAMPLES, _STILL_S = 20, 5e-3  # a slow sensor's repeated value is no standstill
_SURELY_STILL_S = 0.1
_STEPS_PER_S = 3.0  # values that stand still more often are steps of a coarse converter


@dataclass(frozen=True, eq=False)
class Scan:
    """What the checks want to know of the samples of a recording."""

    low: FloatArray  # (axes,) least value
    high: FloatArray  # (axes,) largest value
    means: FloatArray  # (blocks, axes) over `block` samples each
    rms: FloatArray  # (axes,) about those means
    block: int  # samples, about half a second
    still_s: FloatArray  # how long each stretch lasted in which no value changed, s


def pieces(samples: FloatArray, *, rows: int = _PIECE) -> Iterator[tuple[int, FloatArray]]:
    """Yield views of `rows` rows of samples, each with the index of its first row."""
    for start in range(0, len(samples), rows):
        yield start, samples[start : start + rows]


def scan(samples: FloatArray, rate: float) -> Scan:
    """Scan samples of shape (n, axes), `rate` Hz."""
    block = min(max(2, round(BLOCK_S * rate)), len(samples))
    axes = samples.shape[1]
    low, high, squares = np.full(axes, np.inf), np.full(axes, -np.inf), np.zeros(axes)
    means: list[FloatArray] = []
    runs = [np.zeros(0, dtype=np.intp)]
    changed = 0  # row at which a value last changed
    shortest = _shortest_run(rate)
    for start, piece in pieces(samples, rows=block * max(1, _PIECE // block)):
        low = np.minimum(low, piece.min(axis=0))
        high = np.maximum(high, piece.max(axis=0))
        whole = piece[: len(piece) // block * block].reshape(-1, block, axes)
        mean = whole.mean(axis=1)
        squares += np.einsum("kba,kba->a", whole, whole) - block * (mean**2).sum(axis=0)
        means.append(mean)
        rows = samples[max(0, start - 1) : start + len(piece)]
        differs = rows[1:, 0] != rows[:-1, 0]
        for axis in range(1, axes):
            differs |= rows[1:, axis] != rows[:-1, axis]
        edges = np.flatnonzero(differs) + max(1, start)
        lengths = np.diff(edges, prepend=changed)
        runs.append(lengths[lengths >= shortest / 2])
        changed = int(edges[-1]) if edges.size else changed
    last = np.array([len(samples) - changed], dtype=np.intp)
    count = sum(map(len, means))
    return Scan(
        low=low,
        high=high,
        means=np.concatenate(means),
        rms=np.sqrt(np.maximum(squares, 0) / (count * block)),
        block=block,
        still_s=_still(np.concatenate([*runs, last]), rate, len(samples) / rate),
    )


def _shortest_run(rate: float) -> int:
    return max(_STILL_SAMPLES, round(_STILL_S * rate))


def _still(runs: FloatArray, rate: float, duration: float) -> FloatArray:
    """Return the runs of one value that are no steps of a coarse converter, seconds.

    Steps thin out with their length and come all the time; what was lost stands apart.
    """
    limit = float(_shortest_run(rate))
    while limit < _SURELY_STILL_S * rate:
        longer = int((runs >= limit).sum())
        shorter = int((runs >= limit / 2).sum()) - longer
        if shorter < longer < _STEPS_PER_S * duration:
            break
        limit *= 2
    found: FloatArray = runs[runs >= limit] / rate
    return found
