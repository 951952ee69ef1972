"""Where the crank's speed runs in a sweep: a comb of orders over short stretches of changing speed.

Within a stretch the speed f is taken to change evenly, f (1 + c tau). In the time u = tau + c
tau^2 / 2 every order is then steady, so that one transform for each c shows all of them at once.
Levels over the noise are added up at all half orders of each speed, and the best path through the
stretches (:mod:`vibetrend.runup.best_path`) is sought three times: near what was stated of both
ends and only the way that was stated; near that path in its middle, where its ends are free; and
without regard to what was stated. What is found are only starts for
:mod:`vibetrend.runup.tracking_fine`, and :mod:`vibetrend.runup.evidence` decides between them.
"""

from dataclasses import dataclass, replace

import numpy as np
import scipy.fft
import scipy.special
from numpy.typing import NDArray

from vibetrend.orders.signal import Signal
from vibetrend.orders.spectrum import Grid, fast_length, grid
from vibetrend.recording import FloatArray
from vibetrend.runup.best_path import IntArray, best_path
from vibetrend.runup.track import Track, track_through

SingleArray = NDArray[np.float32]

REACH = 0.12  # how far beyond the stated ends the speed may lie, share
WIDER = 1.4  # times, where a speed runs along such a limit
_AT_LIMIT = 0.015
ORDERS = np.arange(1, 25) / 2  # half orders that the comb has
_BLOCK_TURNS = 10.0
_FEWEST_BLOCKS = 3  # not overlapping ones
_HOP = 0.5  # from stretch to stretch, share of the shortest
_BAND = 0.4  # of log speed, that stretches of one length are used for
_STEP = 0.003  # of the speed, from one tried to the next
_CHIRP_STEP = 0.03  # of the speed over a block: a quarter cycle of order 6 at its ends
_MOST_CHIRPS = 6  # either way
_FASTER = 2.5  # times the mean slope: sweeps by hand are uneven
_TAG = 0.05  # standard deviation of what is stated of an end
_FIRING = 1.5  # what the firing order and its multiples count
_MISREAD = 50.0  # log likelihood against an end that is quite another
_TRUST = 2.0  # stretches, that a stated end counts for as much as
_BACK = 1  # steps of the change of speed that a sweep may go the other way
_MIDDLE, _NEAR = 0.6, 0.04  # part of a path that is kept, and how near to it
_NEVER = 1e6
_APART = 7  # steps of speed, 2 %
_QUIET_SHARE = 0.35  # of the blocks, that show the noise at a frequency
_LOBE_BINS = 2  # of a Hann window, from its middle to its first zero
_CAP = 10.0  # what one line may count from stretch to stretch, in its noise level


@dataclass(frozen=True)
class Ends:
    """What is known of a sweep beforehand, turns per second."""

    low: float  # no slower
    high: float  # no faster
    start: float | None  # as stated
    end: float | None
    firing: float | None = None  # order
    rises: bool | None = None  # as stated

    def reached(self, track: Track) -> bool:
        """Say whether a track runs along a limit, beyond which it may belong."""
        low, high = float(track.hertz.min()), float(track.hertz.max())
        return low < self.low * (1 + _AT_LIMIT) or high > self.high * (1 - _AT_LIMIT)

    def wider(self) -> "Ends":
        """Return the same with limits further out."""
        return replace(self, low=self.low / WIDER, high=self.high * WIDER)


@dataclass(frozen=True, eq=False)
class Coarse:
    """First tracks, and the noise that the comb found."""

    tracks: list[Track]  # the one nearest to what was stated first
    hertz: FloatArray  # (bins,)
    density: FloatArray  # (axes, bins) one-sided, unit squared per Hz


def coarse_track(signal: Signal, ends: Ends) -> Coarse:
    """Return the likeliest ways of the speed through a sweep."""
    top = min(float(ORDERS[-1]) * ends.high, 0.95 * signal.nyquist_hz)
    gridded = grid(
        signal.time, signal.samples, top=top, even_rate=signal.rate if signal.even else None
    )
    speeds = ends.low * np.exp(np.arange(0, np.log(ends.high / ends.low), _STEP))
    hop = _HOP * _block(speeds, signal)
    times = np.arange(0, signal.duration + hop / 2, hop)
    # Each line should stand in few bins and pass for one order only: stretches of as many turns,
    # whatever the speed.
    count = int(np.ceil(np.log(ends.high / ends.low) / _BAND))
    bands = np.array_split(speeds, count)
    slope = _FASTER * float(np.log(ends.high / ends.low)) / signal.duration
    chirps = _chirps(slope, _block(bands[0], signal))
    energy, floors = [], []
    for band in bands:
        block = _block(band, signal)
        comb = _Comb(gridded, block, chirps, top, ends.firing)
        found, floor = comb.energy(times, band, cap=_CAP * block / hop)
        energy.append(found * hop / block)  # overlapping stretches see a sample so many times
        floors.append(floor)
    joined = np.concatenate(energy, axis=2).astype(np.float32)
    paths = _paths(joined, speeds, chirps * hop, ends)
    hertz, density = floors[len(floors) // 2]
    tracks = [track_through(*_reaching(times, speeds[path], signal)) for path in paths]
    return Coarse(tracks, hertz, density)


def _paths(
    energy: SingleArray, speeds: FloatArray, changes: FloatArray, ends: Ends
) -> list[IntArray]:
    """Return the likeliest paths, each once: as stated but for its ends, as stated, anywhere."""
    one_way = np.ones(len(changes), bool)
    if ends.rises is not None:
        least = -_BACK * (changes[1] - changes[0]) * 1.01
        one_way = (changes if ends.rises else -changes) >= least
    # Speeds at simple ratios explain much the same in every stretch, so that what was stated has
    # to count for as much as they do together.
    began = energy[:, one_way].copy()
    prior = _prior(speeds, ends)
    began[[0, -1]] += max(1.0, len(energy) / _TRUST) * prior
    stated = best_path(began, _STEP, changes[one_way])[0]
    freed = energy[:, one_way].copy()
    freed[[0, -1]] += prior
    kept = slice(round((1 - _MIDDLE) / 2 * len(energy)), round((1 + _MIDDLE) / 2 * len(energy)))
    far = np.abs(np.log(speeds / speeds[stated[kept], np.newaxis])) > _NEAR
    freed[kept] -= (_NEVER * far[:, np.newaxis]).astype(np.float32)
    paths = [best_path(freed, _STEP, changes[one_way])[0], stated]
    paths.append(best_path(energy, _STEP, changes)[0])
    return [
        path
        for row, path in enumerate(paths)
        if all(np.abs(path - other).max() > _APART for other in paths[:row])
    ]


def _prior(speeds: FloatArray, ends: Ends) -> FloatArray:
    """Return the log likelihood of each speed at the start and at the end, shape (2, 1, speeds)."""
    prior = np.zeros((2, 1, len(speeds)))
    for row, stated in enumerate((ends.start, ends.end)):
        if stated is not None:
            off = (np.log(speeds / stated) / _TAG) ** 2 / 2
            prior[row] -= np.minimum(off, _MISREAD)
    return prior


def _block(speeds: FloatArray, signal: Signal) -> float:
    """Return the seconds of a stretch fit for speeds."""
    middle = float(np.sqrt(speeds[0] * speeds[-1]))
    return min(_BLOCK_TURNS / middle, signal.duration / _FEWEST_BLOCKS)


def _chirps(most: float, block: float) -> FloatArray:
    """Return changes of speed a second to be tried, share of the speed."""
    step = max(_CHIRP_STEP / block, most / _MOST_CHIRPS)
    count = int(np.ceil(most / step))
    chirps: FloatArray = step * np.arange(-count, count + 1.0)
    return chirps


@dataclass(frozen=True, eq=False)
class _Comb:
    """Stretches of one length, of all changes of speed, over which combs are laid."""

    gridded: Grid
    block: float  # seconds
    chirps: FloatArray  # changes of speed a second, share
    top: float  # Hz
    firing: float | None

    def energy(
        self, times: FloatArray, speeds: FloatArray, *, cap: float
    ) -> tuple[SingleArray, tuple[FloatArray, FloatArray]]:
        """Return the likelihood (times, chirps, speeds), and the noise.

        The noise as frequencies, Hz, and density (axes, bins).
        """
        rate = self.gridded.rate
        length = max(16, int(self.block * rate))
        values = np.pad(self.gridded.values, ((0, 0), (length // 2, length))).astype(np.float32)
        frames = np.lib.stride_tricks.sliding_window_view(values, length, axis=1)
        frames = frames[:, np.minimum((times * rate).astype(np.intp), frames.shape[1] - 1)]
        tau = np.arange(length, dtype=float) - (length - 1) / 2
        tau /= rate
        window = np.hanning(length).astype(np.float32)
        size = fast_length(2 * length)
        step = rate / size
        bins = min(int(self.top / step) + 2, size // 2)
        power = [
            np.abs(scipy.fft.rfft(_warped(frames, tau, chirp) * window, size)[..., :bins]) ** 2
            for chirp in self.chirps.tolist()
        ]
        floor = _floor(power[int(np.argmin(np.abs(self.chirps)))], int(1.5 * speeds[0] / step))
        teeth = np.concatenate([ORDERS, ORDERS - 0.25])  # the latter lie between orders
        sign = np.where(np.arange(len(teeth)) < len(ORDERS), 1.0, -1.0)
        if self.firing is not None:
            sign[: len(ORDERS)][ORDERS % self.firing == 0] = _FIRING
        place = speeds[:, np.newaxis] * teeth
        at = np.minimum((place / step + 0.5).astype(np.intp), bins - 1)
        sign = np.where(place < (bins - 1) * step, sign, 0.0).astype(np.float32)
        energy = np.zeros((len(times), len(power), len(speeds)), np.float32)
        # Mean over median of noise; a mean of its own would fall with every line that stands out.
        usual = np.float32(len(floor) / scipy.special.gammaincinv(len(floor), 0.5))
        # A line far above the noise counts no more than `cap`, but keeps its shape: cut off at a
        # level it would be so wide that the comb of any speed has a tooth in it.
        highest = _highest_near(np.max(power, axis=0))
        level = np.maximum(floor[:, np.newaxis], highest / cap).astype(np.float32)
        for row, each in enumerate(power):
            white = (each / level).sum(axis=0)
            white -= np.median(white, axis=1, keepdims=True) * usual
            for column in range(len(teeth)):
                energy[:, row] += white[:, at[:, column]] * sign[:, column]
        used = float((window**2).sum()) * rate  # of noise of density 1
        share = rate / self.gridded.samples_per_unit if self.gridded.shared else 1.0
        density = 2 * floor * share**2 / used / -np.log(1 - _QUIET_SHARE)
        hertz = np.arange(bins, dtype=float) * float(step)
        return energy, (hertz, density)


def _warped(frames: SingleArray, tau: FloatArray, chirp: float) -> SingleArray:
    """Return frames over u = tau + chirp tau^2 / 2, by straight lines between samples."""
    if chirp == 0:
        return frames
    # the inverse of u, free of cancellation: tau = 2 u / (1 + sqrt(1 + 2 c u))
    wanted = np.asarray(2 * tau / (1 + np.sqrt(np.maximum(1 + 2 * chirp * tau, 0.05))))
    place = np.clip((wanted - tau[0]) / (tau[1] - tau[0]), 0, len(tau) - 1.001)
    left = place.astype(np.intp)
    share = (place - left).astype(np.float32)
    return np.asarray(frames[..., left] * (1 - share) + frames[..., left + 1] * share)


def _highest_near(power: SingleArray) -> SingleArray:
    """Return the highest within a Hann window's main lobe of each bin."""
    reach = 2 * _LOBE_BINS  # of transforms twice as long as the window
    padded = np.pad(power, ((0, 0), (0, 0), (reach, reach)))
    highest = power.copy()
    for shift in range(2 * reach + 1):
        np.maximum(highest, padded[..., shift : shift + power.shape[-1]], out=highest)
    return highest


def _floor(power: SingleArray, width: int) -> FloatArray:
    """Return the noise at each frequency, shape (axes, bins).

    What is there in the quieter third of the blocks: orders pass, hum stays and counts as noise.
    Not less than the median of its neighbourhood.
    """
    quiet = np.quantile(power, _QUIET_SHARE, axis=1).astype(float)
    stride = max(1, width // 16)
    coarse = quiet[:, : quiet.shape[1] // stride * stride].reshape(len(quiet), -1, stride)
    coarse = np.median(coarse, axis=-1)
    reach = min(max(1, width // stride // 2), coarse.shape[1] - 1)
    padded = np.pad(coarse, ((0, 0), (reach, reach)), mode="reflect")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1, axis=-1)
    level = np.median(windows, axis=-1)
    centres = (np.arange(level.shape[1]) + 0.5) * stride
    smooth = np.stack([np.interp(np.arange(quiet.shape[1]), centres, row) for row in level])
    floor: FloatArray = np.maximum(quiet, smooth) + 1e-30 + 1e-9 * power.max(axis=(1, 2))[:, None]
    return floor


def _reaching(
    times: FloatArray, speeds: FloatArray, signal: Signal
) -> tuple[FloatArray, FloatArray]:
    """Return a track from the first sample to the last."""
    last = float(signal.time[-1])
    inside = (times > 0) & (times < last)
    ends = np.interp([0.0, last], times, speeds)
    time = np.concatenate([[0.0], times[inside], [last]])
    return time, np.concatenate([ends[:1], speeds[inside], ends[1:]])
