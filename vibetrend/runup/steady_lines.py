"""Lines that are no order of the engine: those of the clock (hum), those at odd ratios (belts).

An order passes a frequency of the clock and is gone, hum stays: what is there in nearly all of many
stretches of a sweep is a line of the clock. Its amplitude is followed from stretch to stretch, over
those in which no order crosses it, and taken out of the samples. That separates crossing lines:
where they cross, the line is known from before and after. Of the crank's angle the same is done to
what the orders leave over: what stays at a ratio there is a belt's or a pump's, and is fitted
along.
"""

from dataclasses import dataclass, replace

import numpy as np

from vibetrend.orders.fit import ComplexArray
from vibetrend.orders.signal import Signal
from vibetrend.orders.spectrum import grid
from vibetrend.recording import FloatArray
from vibetrend.runup.track import Track

_BLOCKS = 12  # stretches at least
_LONGEST_S, _LONGEST_TURNS = 2.0, 64.0
_SHORTEST_TURNS = 24.0
_STAYS = 0.3  # quantile over stretches
_STANDS_OUT = 6.0  # times the same of its neighbourhood
_NEIGHBOURS = 24  # bins to either side
_MOST = 6
_NEAR_ORDER = 0.06  # orders; nearer is that order's own
_CLEAR_BINS = 2.0  # of a Hann window: nearer, two lines overlap
_HALF_ORDERS = np.arange(1, 49) / 2


@dataclass(frozen=True, eq=False)
class ClockLine:
    """A line at a frequency of the clock, its amplitude slowly changing."""

    hertz: float
    time: FloatArray  # (m,) of the stretches
    value: ComplexArray  # (m, axes) 0-to-peak, phase counted from time 0

    def samples(self, time: FloatArray) -> FloatArray:
        """Return the line at any times, shape (n, axes)."""
        turning = np.exp(2j * np.pi * self.hertz * time)
        columns = [(np.interp(time, self.time, each) * turning).real for each in self.value.T]
        return np.stack(columns, axis=1)


def clock_lines(signal: Signal, track: Track) -> list[ClockLine]:
    """Return the lines of the clock that stay throughout a sweep, strongest first."""
    seconds = min(_LONGEST_S, signal.duration / _BLOCKS)
    if seconds * track.mean_hz() < _SHORTEST_TURNS / 4:
        return []
    top = min(float(track.hertz.max()) * 12, 0.95 * signal.nyquist_hz)
    step, staying = _staying(
        signal.time, signal.samples, seconds, top, signal.rate if signal.even else None
    )
    lines = []
    for place in _peaks(staying)[:_MOST]:
        if place * step * seconds > 2 * _CLEAR_BINS:
            lines.append(_followed(signal, track, place * step, seconds))
    return [line for line in lines if line is not None]


def followed_again(signal: Signal, track: Track, lines: list[ClockLine]) -> list[ClockLine]:
    """Return lines followed once more, in samples that the orders were taken out of."""
    seconds = min(_LONGEST_S, signal.duration / _BLOCKS)
    again = [_followed(signal, track, line.hertz, seconds) for line in lines]
    return [line for line in again if line is not None]


def without(signal: Signal, lines: list[ClockLine]) -> Signal:
    """Return a signal with lines taken out."""
    samples = signal.samples.copy()
    for line in lines:
        samples -= line.samples(signal.time)
    return replace(signal, samples=samples)


def odd_ratios(theta: FloatArray, residual: FloatArray) -> list[float]:
    """Return the ratios to the crank, no half orders, of lines that stay throughout a sweep."""
    turns = min(_LONGEST_TURNS, (theta[-1] - theta[0]) / _BLOCKS)
    if turns < _SHORTEST_TURNS:
        return []
    step, staying = _staying(theta - theta[0], residual, turns, 12.5, None)
    near = max(_NEAR_ORDER, _CLEAR_BINS / turns)
    places = [place * step for place in _peaks(staying)]
    return [place for place in places if place > 0.3 and np.abs(_HALF_ORDERS - place).min() > near][
        :_MOST
    ]


def _staying(
    position: FloatArray, samples: FloatArray, length: float, top: float, even: float | None
) -> tuple[float, FloatArray]:
    """Return the step between bins, and what nearly every stretch has of each, over the noise."""
    gridded = grid(position, samples, top=top, even_rate=even)
    count = int(length * gridded.rate)
    starts = np.arange(0, gridded.values.shape[1] - count + 1, max(1, count // 2))
    window = np.hanning(count)
    bins = min(int(top * 2 * length) + 1, count)
    power = np.stack(
        [
            (np.abs(np.fft.rfft(gridded.values[:, s : s + count] * window, 2 * count)) ** 2)[
                :, :bins
            ]
            for s in starts
        ]
    )
    quiet = np.quantile(power, _STAYS, axis=0)  # (axes, bins)
    reach = min(2 * _NEIGHBOURS, quiet.shape[1] - 1)
    padded = np.pad(quiet, ((0, 0), (reach, reach)), mode="reflect")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1, axis=-1)
    level = np.median(windows, axis=-1)
    return gridded.rate / (2 * count), (quiet / np.maximum(level, 1e-300)).max(axis=0)


def _peaks(height: FloatArray) -> list[float]:
    """Return the places, in bins, of what stands out, the highest first."""
    inner = height[1:-1]
    tops = (inner > height[:-2]) & (inner >= height[2:]) & (inner > _STANDS_OUT)
    found = np.flatnonzero(tops) + 1
    places: list[float] = []
    for top in found[np.argsort(-height[found])].tolist():
        left, middle, right = np.log(height[top - 1 : top + 2])
        place = top + 0.5 * (left - right) / min(left - 2 * middle + right, -1e-9)
        if all(abs(place - other) > 2 * _CLEAR_BINS for other in places):
            places.append(float(place))
    return places


def _followed(signal: Signal, track: Track, hertz: float, seconds: float) -> ClockLine | None:
    """Return a line's amplitude over stretches that no order crosses."""
    centres = np.arange(seconds / 2, signal.duration - seconds / 2, seconds / 2)
    far = _CLEAR_BINS / seconds
    value = np.zeros((len(centres), signal.samples.shape[1]), complex)
    apart = np.empty(len(centres))
    for row, centre in enumerate(centres.tolist()):
        first, last = np.searchsorted(signal.time, [centre - seconds / 2, centre + seconds / 2])
        at = signal.time[first:last]
        window = np.cos(np.pi * (at - centre) / seconds) ** 2
        turned = window * np.exp(-2j * np.pi * hertz * at)
        value[row] = 2 * turned @ signal.samples[first:last] / max(window.sum(), 1e-9)
        orders = hertz / track.hertz_at(np.linspace(centre - seconds / 2, centre + seconds / 2, 9))
        halves = np.maximum(np.rint(2 * orders) / 2, 0.5)
        # how far the nearest half order stays away, in Hz
        apart[row] = float(np.min(np.abs(halves - orders) * hertz / orders))
    free = apart > far
    if free.sum() < 4:  # slow sweeps always have an order near: take what is furthest away
        free = apart >= np.quantile(apart, 0.6)
    size = np.linalg.norm(value, axis=1)
    free &= np.abs(size - np.median(size[free])) < 0.5 * np.median(size[free])
    if free.sum() < 4:
        return None
    # by how much the frequency is off, from how the phase goes on between stretches next to
    # each other
    pairs = free[1:] & free[:-1]
    turn = np.sum(value[1:][pairs] * value[:-1][pairs].conj()) if pairs.any() else 1.0
    off = float(np.angle(turn) / (2 * np.pi * seconds / 2))
    straight = value * np.exp(-2j * np.pi * off * centres)[:, np.newaxis]
    return ClockLine(hertz + off, centres[free], straight[free])
