"""When samples were taken, as nearly as stamps tell that are rounded to a decimal step.

A sample was taken within half a step of its stamp, and most clocks tick nearly evenly: the mean of
the times that agree with both is nearer to the truth than either. Where the clock is even that is
the line through its stamps; where it is much less even than the stamps are coarse, the stamps.
"""

from dataclasses import dataclass

import numpy as np

from vibetrend.recording import FloatArray

_COARSE = 1e-2  # of a tick; finer stamps need no help
_LESS = 0.9  # of the deviation from a line without lost samples: so much less shows some
_IN_PHASE = 0.2  # of a tick, deviation from the nearest one; without any clock it is 0.29
_STRETCHES = (16, 128, 1024)  # samples, ever longer
_EVEN_REACH = 0.6  # of a step from the line; rounding reaches 0.5, and the line is only fitted
_EVEN_SHARE = 1e-3  # of the stamps may lie beyond it: a jitter of 0.06 steps makes that 2e-3
_EVEN_JITTER = 0.05  # of a step
_MOST_JITTER = 1.0  # of a step; with more the line tells next to nothing
_PLACES = (np.arange(16) + 0.5) / 16 - 0.5  # within one step


@dataclass(frozen=True, eq=False)
class Clock:
    """The times of samples."""

    time: FloatArray  # (n,) seconds
    rate: float  # ticks per second, those of lost samples counted
    even: bool  # whether every tick, and nothing else, is a sample
    error: float  # standard deviation of what is not known of a time, seconds
    rate_error: float = 0.0  # standard error of the rate, share, where times lie on a line


@dataclass(frozen=True, eq=False)
class _Line:
    """An even clock through stamps."""

    time: FloatArray  # (n,)
    off: FloatArray  # (n,) of the stamps from it
    rate: float


def read_clock(stamps: FloatArray) -> Clock:
    """Return when samples were taken.

    Parameters
    ----------
    stamps : array, shape (n,)
        Seconds, never decreasing.
    """
    step = _resolution(stamps)
    whole = line = _line(stamps, np.arange(len(stamps), dtype=float))
    typical = float(np.median(np.diff(stamps)))
    if step > _COARSE * typical > 0:
        counted = _line(stamps, _ticks(stamps, typical))
        if counted.off.std() < min(_LESS * whole.off.std(), _IN_PHASE / counted.rate):
            line = counted
    rounding = step / np.sqrt(12)
    jitter = float(np.sqrt(max(0.0, line.off.var() - rounding**2)))
    beyond = (np.abs(line.off) > _EVEN_REACH * step).mean()
    if jitter < _EVEN_JITTER * step or beyond < _EVEN_SHARE:
        # of the slope of a straight line through stamps that are off by so much
        slope = line.off.std() * np.sqrt(12 / len(stamps)) / (stamps[-1] - stamps[0])
        return Clock(line.time, line.rate, line is whole, 0.0, float(slope))
    if jitter > _MOST_JITTER * step:
        return Clock(stamps, line.rate, False, rounding)
    # Each place within the step weighs as much as a Gaussian jitter makes it likely.
    unlikely = ((line.off[:, np.newaxis] + step * _PLACES) / jitter) ** 2 / 2
    weights = np.exp(unlikely.min(axis=1, keepdims=True) - unlikely)
    weights /= weights.sum(axis=1, keepdims=True)
    place = weights @ _PLACES
    error = np.sqrt(np.mean(weights @ _PLACES**2 - place**2))
    return Clock(stamps + step * place, line.rate, False, step * float(error))


def _line(stamps: FloatArray, ticks: FloatArray) -> _Line:
    period, start = np.polyfit(ticks, stamps, 1)
    time = start + period * ticks
    return _Line(time, stamps - time, float(1 / period))


def _ticks(stamps: FloatArray, typical: float) -> FloatArray:
    """Return the tick of an even clock at which each sample was taken, lost ones counted.

    Its rate is that at which stamps keep their phase from one stretch to the next.
    """
    elapsed = stamps - stamps[0]
    steps = np.diff(elapsed)
    period = float(steps[steps < 1.75 * typical].mean())
    for _ in range(2):  # a step over lost samples has several periods
        period = float(elapsed[-1] / np.maximum(1, np.rint(steps / period)).sum())
    rate = 1 / period
    for length in _STRETCHES:
        starts = np.arange(0, len(elapsed), length)
        if len(starts) < 3:
            break
        phase = np.add.reduceat(np.exp(-2j * np.pi * rate * elapsed), starts)
        middle = np.add.reduceat(elapsed, starts) / np.diff(starts, append=len(elapsed))
        turned = np.angle(phase[1:] * phase[:-1].conj()) / (2 * np.pi)
        between = np.diff(middle)
        moves = between > 0  # not where a logger repeats one stamp for a whole stretch
        if not moves.any():
            break
        rate += float(np.median(turned[moves] / between[moves]))
    begin = np.angle(np.exp(-2j * np.pi * rate * elapsed).sum()) / (2 * np.pi)
    ticks: FloatArray = np.rint(rate * elapsed + begin)
    return ticks


def _resolution(time: FloatArray) -> float:
    """Return the decimal step that all stamps are multiples of, 1e-9 s at the finest."""
    for digits in range(1, 9):
        scaled = (time - time[0]) * 10.0**digits
        if np.abs(scaled - np.round(scaled)).max() < 1e-3:
            return float(10.0**-digits)
    return 1e-9
