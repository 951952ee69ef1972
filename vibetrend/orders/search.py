"""Where the crankshaft speed is: a comb of orders over short blocks, near the tag.

For each block of about twenty turns and each speed near the tag, the energy at all half orders,
divided by the noise level there, is added up: the log likelihood of that speed, were the orders
independent lines in noise. The best path through the blocks is found by dynamic programming;
the energy of the whole recording taken as steady is searched beside it. What is found here is
only a start for :mod:`vibetrend.orders.phase`.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from vibetrend.orders.signal import Signal, fold
from vibetrend.orders.spectrum import Grid, fast_length, grid, transform
from vibetrend.recording import FloatArray

REACH = 0.09  # how far from the tag the search goes, share of the tag
_BLOCK_TURNS = 20.0
_HOP = 0.4  # from block to block, share of a block
_GRID_STEP = 0.25  # of a block's own resolution, at the highest order
_WALK = 0.004  # expected change of speed from block to block, share of the speed
_SAME_TRACK = 0.0015  # tracks nearer than this share everywhere refine to the same
_APART = 0.006  # two candidate speeds differ at least by this share
_CAPS = (np.inf, 20.0)  # what one line may count, in its noise level
_PATHS = 2
_ENOUGH_SHOWN = 12  # orders below half the sampling rate that find the speed by themselves


@dataclass(frozen=True, eq=False)
class Candidate:
    """A crank frequency through the recording, to be refined and judged."""

    time: FloatArray  # (m,) seconds
    hertz: FloatArray  # (m,) turns per second
    steady: bool  # found as one speed for the whole recording


def candidates(
    signal: Signal, *, tag_hz: float, orders: FloatArray, driven: FloatArray
) -> list[Candidate]:
    """Return the likeliest speed tracks within `REACH` of the tag.

    Each search is made with and without a cap on what one line may count: with it many weak
    lines outvote one strong line that is not the engine's, without it the peak is sharper.

    Parameters
    ----------
    signal : Signal
    tag_hz : float
        Turns per second as tagged.
    orders, driven : arrays
        Orders that the engine shows, and known ratios of driven parts, whose lines help to tell
        the engine's own lines from theirs.
    """
    if orders[0] * tag_hz * (1 + REACH) > signal.nyquist_hz:
        return []
    block = min(_BLOCK_TURNS / tag_hz, signal.duration / 2)
    speeds = _speed_grid(tag_hz, block, orders)
    gridded = grid(
        signal.time,
        signal.samples,
        top=min(speeds[-1] * orders[-1] * 1.05, signal.nyquist_hz),
        even_rate=signal.rate if signal.even else None,
    )
    top = min(float(speeds[-1] * orders[-1]), signal.nyquist_hz)
    rate = 2 * signal.nyquist_hz
    times, step, white = _whitened_blocks(gridded, block, top, tag_hz)
    shown = orders[orders * tag_hz * (1 + REACH) < signal.nyquist_hz]
    # Where sampling shows few orders, those it folds back may be the engine's strongest, or may
    # mislead: try both ways.
    choices = [shown] if len(shown) >= _ENOUGH_SHOWN else [shown, orders]
    found = []
    for sought, cap in product(choices, _CAPS):
        capped = np.minimum(white, cap).sum(axis=1)
        # Overlapping Hann blocks see each sample 1 / _HOP times: count its evidence once.
        energy = _HOP * _comb(capped, step, speeds, sought, driven, rate)
        banned = np.zeros(len(speeds), bool)
        for _ in range(_PATHS):
            path = _best_path(np.where(banned, -1e12, energy), speeds)
            if banned[path].any():
                break
            found.append(Candidate(times, speeds[path], steady=False))
            banned |= np.abs(speeds / speeds[path].mean() - 1) < _APART
    ends = np.array([0.0, signal.duration])
    for sought in choices:
        for hertz in _steady(gridded, signal, tag_hz, sought, driven):
            found.append(Candidate(ends, np.full(2, hertz), steady=True))
    return _distinct(found)


def _distinct(found: list[Candidate]) -> list[Candidate]:
    """Leave out tracks that start the refinement where an earlier one does."""
    kept: list[Candidate] = []
    for new in found:
        tracks = [
            np.interp(new.time, old.time, old.hertz) for old in kept if old.steady == new.steady
        ]
        if all(np.abs(new.hertz / track - 1).max() > _SAME_TRACK for track in tracks):
            kept.append(new)
    return kept


def _speed_grid(tag_hz: float, block: float, orders: FloatArray) -> FloatArray:
    step = _GRID_STEP / block / orders[-1]
    count = int(2 * REACH * tag_hz / step) + 1
    speeds: FloatArray = tag_hz * (1 - REACH) + step * np.arange(count)
    return speeds


def _whitened_blocks(
    gridded: Grid, block: float, top: float, tag_hz: float
) -> tuple[FloatArray, float, FloatArray]:
    """Return block centres, the frequency step, and power over noise, (blocks, axes, bins)."""
    length = int(block * gridded.rate)
    # Half a block of silence at either end, so that the path reaches the ends of the recording.
    values = np.pad(gridded.values, ((0, 0), (length // 2, length // 2)))
    starts = np.arange(0, values.shape[1] - length + 1, max(1, int(_HOP * length)))
    window = np.hanning(length)
    size = fast_length(4 * length)
    step = gridded.rate / size
    bins = min(int(top * 1.02 / step) + 2, size // 2)
    power = np.empty((len(starts), len(gridded.values), bins))
    for row, start in enumerate(starts):
        frames = values[:, start : start + length] * window
        power[row] = np.abs(np.fft.rfft(frames, size)[:, :bins]) ** 2
    noise = _noise_floor(power.mean(axis=0), width=int(1.5 * tag_hz / step))
    return starts / gridded.rate, step, power / noise


def _steady(
    gridded: Grid, signal: Signal, tag_hz: float, orders: FloatArray, driven: FloatArray
) -> list[float]:
    """Return the speeds that explain most, were the speed constant throughout."""
    top = min(tag_hz * (1 + REACH) * orders[-1] * 1.02, signal.nyquist_hz)
    rate = 2 * signal.nyquist_hz
    step, spectrum = transform(gridded, padding=2, top=top)
    power = np.abs(spectrum) ** 2
    noise = _noise_floor(power, width=int(1.5 * tag_hz / step))
    fine = 0.3 / signal.duration / orders[-1]
    speeds = np.arange(tag_hz * (1 - REACH), tag_hz * (1 + REACH), fine)
    found = []
    for cap in _CAPS:
        white = np.minimum(power / noise, cap).sum(axis=0)
        energy = _comb(white[np.newaxis], step, speeds, orders, driven, rate)[0]
        found.append(float(speeds[np.argmax(energy)]))
    return found


def _comb(
    white: FloatArray,
    step: float,
    speeds: FloatArray,
    orders: FloatArray,
    driven: FloatArray,
    rate: float,
) -> FloatArray:
    """Add up the whitened energy at every order of every speed, shape (blocks, speeds).

    An order above half the sampling rate is looked for where sampling folds it to.
    """
    energy = np.zeros((len(white), len(speeds)))
    last = white.shape[1] - 1

    def bins(hertz: FloatArray) -> NDArray[np.intp]:
        nearest: NDArray[np.intp] = np.minimum(
            (fold(hertz, rate) / step + 0.5).astype(np.intp), last
        )
        return nearest

    for order in orders:
        energy += white[:, bins(speeds * order)]
    for ratio in driven:  # belts creep by 1 to 2 %: the best line within 3 % below the ratio
        creep = ratio * np.arange(0.97, 1.0051, 0.0025)
        energy += white[:, bins(np.outer(speeds, creep))].max(axis=-1)
    return energy


def _noise_floor(power: FloatArray, width: int) -> FloatArray:
    """Return a smooth level below the lines, shape (axes, bins): a running lower quantile."""
    stride = max(1, width // 24)
    coarse = power[:, : len(power[0]) // stride * stride]
    coarse = np.median(coarse.reshape(len(power), -1, stride), axis=-1)
    reach = max(1, width // stride // 2)
    padded = np.pad(coarse, ((0, 0), (reach, reach)), mode="reflect")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1, axis=-1)
    level = np.quantile(windows, 0.4, axis=-1)
    centres = (np.arange(level.shape[1]) + 0.5) * stride
    smooth = np.stack([np.interp(np.arange(len(power[0])), centres, row) for row in level])
    floor: FloatArray = smooth + 1e-30 + 1e-12 * power.max(axis=-1, keepdims=True)
    return floor


def _best_path(energy: FloatArray, speeds: FloatArray) -> NDArray[np.intp]:
    """Return the index of the speed in each block on the likeliest path (Viterbi)."""
    step = speeds[1] - speeds[0]
    reach = max(1, int(np.ceil(3 * _WALK * speeds[0] / step)))
    moves = np.arange(-reach, reach + 1)
    cost = 0.5 * (moves * step / (_WALK * speeds[0])) ** 2
    score = energy[0].copy()
    came_from = np.zeros(energy.shape, np.intp)
    index = np.arange(len(speeds))
    for row in range(1, len(energy)):
        padded = np.pad(score, reach, constant_values=-np.inf)
        windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1) - cost
        best = windows.argmax(axis=1)
        came_from[row] = np.clip(index + moves[best], 0, len(speeds) - 1)
        score = windows[index, best] + energy[row]
    path = np.empty(len(energy), np.intp)
    path[-1] = score.argmax()
    for row in range(len(energy) - 1, 0, -1):
        path[row - 1] = came_from[row, path[row]]
    return path
