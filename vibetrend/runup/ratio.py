"""Whether a track follows the orders themselves, and not lines at another ratio to the crank.

Along a track that is right, half orders stand still. Stretches of the angle are transformed, and
the comb of half orders is laid over them at every ratio from a half to double.
"""

import numpy as np

from vibetrend.orders.spectrum import grid
from vibetrend.recording import FloatArray

_LEAST, _MOST, _STEP = 0.45, 2.25, 0.002
_TURNS = 32.0
_FEWEST_BLOCKS = 3
_TOP = 12.5  # order
_COMB = np.arange(1, 25) / 2
_CAP = 20.0  # what one line may count, in its noise level
_SAME = 0.015  # ratios nearer to 1 are the track itself
_ALMOST = 0.9  # of the best: as good


def strengths(theta: FloatArray, samples: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return ratios, and by how much the comb stands out of the noise at each, per stretch."""
    span = theta[-1] - theta[0]
    turns = min(_TURNS, span / _FEWEST_BLOCKS)
    top = _TOP * _MOST
    gridded = grid(theta - theta[0], samples, top=top, even_rate=None)
    count = int(turns * gridded.rate)
    starts = np.arange(0, gridded.values.shape[1] - count + 1, count)
    window = np.hanning(count)
    step = gridded.rate / (2 * count)
    bins = int(top / step) + 2
    power = np.stack(
        [
            np.abs(np.fft.rfft(gridded.values[:, s : s + count] * window, 2 * count)[:, :bins]) ** 2
            for s in starts
        ]
    )
    width = max(4, int(2 / step))
    blocks = bins // width
    level = np.median(
        power[..., : blocks * width].reshape(*power.shape[:2], blocks, width), axis=-1
    )
    centres = (np.arange(blocks) + 0.5) * width
    at = np.arange(bins)
    floor = np.stack(
        [[np.interp(at, centres, axis) for axis in block] for block in level / np.log(2)]
    )
    white = np.minimum(power / np.maximum(floor, 1e-300), _CAP).sum(axis=1).mean(axis=0)
    ratios = np.exp(np.arange(np.log(_LEAST), np.log(_MOST), _STEP))
    found = np.zeros(len(ratios))
    for comb, sign in ((_COMB, 1.0), (_COMB - 0.25, -0.5), (_COMB + 0.25, -0.5)):
        place = np.minimum(np.rint(ratios[:, np.newaxis] * comb / step).astype(np.intp), bins - 1)
        found += sign * white[place].sum(axis=1)
    return ratios, found


def own_and_rivals(theta: FloatArray, samples: FloatArray) -> tuple[float, list[float]]:
    """Return how far the track's own comb stands out, and ratios at which one does as well."""
    ratios, found = strengths(theta, samples)
    same = np.abs(np.log(ratios)) < _SAME
    own = float(found[same].max())
    inner = np.zeros(len(found), bool)
    inner[1:-1] = (found[1:-1] > found[:-2]) & (found[1:-1] >= found[2:])
    other = np.flatnonzero(inner & ~same & (found > _ALMOST * max(own, 1.0)))
    other = other[np.argsort(-found[other])][:3]
    return own, [float(ratio) for ratio in ratios[other]]
