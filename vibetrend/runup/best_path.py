"""The likeliest way through stretches of known likelihood, speed and change of speed together.

All lines of an engine rise or fall by the same share in a second. A path that slides from one order
to its neighbour, or to twice the speed, would have to change faster or slower than the lines it
follows: so the change of speed along the path has to be the one at which the stretches were seen.
"""

import numpy as np
from numpy.typing import NDArray

from vibetrend.recording import FloatArray

IntArray = NDArray[np.intp]

_TURN = 1.0  # steps of the change of speed from stretch to stretch: standard deviation
_FURTHEST_TURN = 3
_SLACK = 0.35  # of a step of the change of speed, by which the path may differ from it


def best_path(
    energy: NDArray[np.float32], step: float, changes: FloatArray
) -> tuple[IntArray, IntArray]:
    """Return the index of speed and of change in each stretch (Viterbi).

    Parameters
    ----------
    energy : array, shape (stretches, changes, speeds)
        Log likelihood; speeds are `step` apart in log speed.
    changes : array, shape (changes,)
        Of log speed from one stretch to the next; even steps.
    """
    count, size = energy.shape[1:]
    slack = max(_SLACK * abs(changes[1] - changes[0]) / step, 0.5)
    moves = np.arange(-int(np.ceil(3 * slack)), int(np.ceil(3 * slack)) + 1)
    cost = (0.5 * (moves / slack) ** 2).astype(np.float32)
    turns = np.arange(-_FURTHEST_TURN, _FURTHEST_TURN + 1)[:, np.newaxis]
    after = np.arange(count)
    came = after + turns  # (turns, after): the change before
    before = np.clip(came, 0, count - 1)
    shift = np.rint((changes[before] + changes[after]) / 2 / step).astype(np.intp)
    turn = np.where(came == before, 0.5 * (turns / _TURN) ** 2, np.inf).astype(np.float32)
    source = np.arange(size) - shift[..., np.newaxis]  # (turns, after, speeds)
    outside = (source < 0) | (source >= size)
    source = np.clip(source, 0, size - 1)
    penalty = np.where(outside, np.inf, turn[..., np.newaxis]).astype(np.float32)
    rows = before[..., np.newaxis]

    score = energy[0].copy()
    moved = np.empty((len(energy), count, size), np.int16)
    chosen = np.empty((len(energy), count, size), np.int16)
    for row in range(1, len(energy)):
        padded = np.pad(score, ((0, 0), (-moves[0], moves[-1])), constant_values=-np.inf)
        near = np.lib.stride_tricks.sliding_window_view(padded, len(moves), axis=1) - cost
        moved[row] = near.argmax(axis=2)
        slid = near.max(axis=2)
        onward = slid[rows, source] - penalty
        chosen[row] = onward.argmax(axis=0)
        score = onward.max(axis=0) + energy[row]
    path, change = np.empty(len(energy), np.intp), np.empty(len(energy), np.intp)
    change[-1], path[-1] = np.unravel_index(int(score.argmax()), score.shape)
    for row in range(len(energy) - 1, 0, -1):
        turned = chosen[row, change[row], path[row]]
        place = source[turned, change[row], path[row]]
        last = before[turned, change[row]]
        path[row - 1] = np.clip(place + moves[moved[row, last, place]], 0, size - 1)
        change[row - 1] = last
    return path, change
