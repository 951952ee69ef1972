"""A recording made ready for the order fit: one clock, no faster than needed."""

import math
from dataclasses import dataclass, replace
from typing import overload

import numpy as np

from vibetrend.errors import MeasureError
from vibetrend.orders.clock import read_clock
from vibetrend.recording import FloatArray, Recording

HEARD_HZ = 3200.0
"""Checks of sound and overall levels look no higher, and orders hardly ever."""

LEAST_GAIN = 0.5
"""Of an amplitude left by rounded stamps; with less it is not to be had."""

# Of the new rate, up to where the low-pass filter is flat to 1e-5; from 0.6 on it leaves 1e-5.
_PASSBAND = 0.4
_HALF = 16  # new samples that half the filter's length covers
_KAISER = 10.06  # shape of its window for 100 dB (Kaiser 1974: 0.1102 (100 - 8.7))
_BLOCK = 2**16  # samples filtered at a time; fits the cache
_RUN_IN = _HALF + 1  # new samples at both ends that silence reaches into


@dataclass(frozen=True, eq=False)
class Signal:
    """Samples on their own clock, the mean of each axis removed."""

    time: FloatArray  # (n,) seconds from the first sample
    samples: FloatArray  # (n, axes)
    rate: float  # samples per second, the mean where uneven
    even: bool
    nyquist_hz: float  # half the rate the recording was taken at: nothing above was sampled
    start_s: float  # time of the first sample
    stamp_step: float  # seconds that each time is uncertain over, 0 for an even clock
    rate_error: float = 0.0  # standard error of the rate, share: all speeds are off by it

    @property
    def duration(self) -> float:
        """Seconds covered, the last sample's own interval included."""
        return len(self.time) / self.rate

    @overload
    def rounding_gain(self, hertz: float) -> float: ...
    @overload
    def rounding_gain(self, hertz: FloatArray) -> FloatArray: ...
    def rounding_gain(self, hertz: float | FloatArray) -> float | FloatArray:
        """Return what the uncertainty of the times leaves of an amplitude: sinc(f step).

        The mean of exp(2 pi i f e) over errors e spread evenly over one step.
        """
        found: float | FloatArray = np.sinc(hertz * self.stamp_step)
        return found


@overload
def fold(hertz: float, rate: float) -> float: ...
@overload
def fold(hertz: FloatArray, rate: float) -> FloatArray: ...
def fold(hertz: float | FloatArray, rate: float) -> float | FloatArray:
    """Return the frequency at which sampling at `rate` shows a line, Hz."""
    return abs(hertz - rate * np.round(hertz / rate))


def prepare(recording: Recording, *, top_hz: float) -> Signal:
    """Return the samples of a recording, decimated if evenly and much faster sampled.

    Uneven samples are not put on a grid: interpolating costs up to 28 % of an order's amplitude.
    Where stamps are rounded their times are those of :func:`vibetrend.orders.clock.read_clock`,
    because rounding to 1 ms alone loses 1.3 dB at 300 Hz (:meth:`Signal.rounding_gain`).

    Parameters
    ----------
    recording : Recording
        With samples.
    top_hz : float
        Highest frequency wanted, Hz.
    """
    samples = recording.samples
    assert samples is not None
    start, rate, time, error, drift = 0.0, recording.mean_rate_hz, None, 0.0, 0.0
    nyquist = rate / 2
    if recording.times is not None:
        clock = read_clock(recording.times)
        start, error, nyquist = float(clock.time[0]), clock.error, clock.rate / 2
        drift = clock.rate_error
        if clock.even:
            rate = clock.rate
        else:
            time = clock.time - start
    every = _every(rate, top_hz) if time is None else 1
    if every > 1:
        samples = _decimated(samples, every)[_RUN_IN:-_RUN_IN]
        rate /= every
        start += _RUN_IN / rate
    else:
        samples = samples - samples.mean(axis=0)
    even = time is None
    if time is None:
        time = np.arange(len(samples)) / rate
    step = error * math.sqrt(12)
    return Signal(time, samples, rate, even, nyquist, start, stamp_step=step, rate_error=drift)


def slowed(recording: Recording, *, top_hz: float) -> Recording:
    """Return an even recording no faster than `top_hz` needs, without its mean.

    One that is uneven or less than twice as fast is returned as it is.
    """
    samples, rate = recording.samples, recording.sample_rate
    every = 1 if rate is None else _every(rate, top_hz)
    if samples is None or rate is None or every < 2 or len(samples) <= every:
        return recording
    slow = _decimated(samples, every)
    slow.setflags(write=False)  # so that it is not copied
    return replace(recording, samples=slow, sample_rate=rate / every)


def _every(rate: float, top_hz: float) -> int:
    return int(rate * _PASSBAND / top_hz * (1 + 1e-9))  # a quotient may be rounded down


def _decimated(samples: FloatArray, every: int) -> FloatArray:
    """Return each `every`-th sample, low-passed, the mean of each axis removed.

    A filter of linear phase, its output at the time of its middle, that runs in from silence and
    out to it at the ends. Blocks as long as the filter: the outputs of one rest on it and the
    next, which makes two products of matrices. In single precision, 2e-7 of the largest value.
    """
    half = _HALF * every
    width = 2 * half
    taps = np.sinc(np.arange(-half, half + 1) / every) * np.kaiser(width + 1, _KAISER)
    weights = np.zeros((2 * width, 2 * _HALF), np.float32)
    for column in range(2 * _HALF):
        weights[column * every :][: width + 1, column] = taps / taps.sum()
    count = -(-len(samples) // every)
    slow = np.empty((samples.shape[1], -(-count // (2 * _HALF)), 2 * _HALF))
    rows = max(1, _BLOCK // width)
    room = np.empty((rows + 1, width), np.float32)
    for axis, values in zip(slow, samples.T, strict=True):
        usual = np.float32(np.median(values[:: 1 + len(values) // 1000]))  # the mean takes longer
        for row in range(0, len(axis), rows):
            outputs = axis[row : row + rows]
            blocks = room[: len(outputs) + 1]
            begin = row * width - half
            first = max(0, begin)
            piece = values[first : begin + blocks.size]
            blocks.fill(0)
            filled = blocks.ravel()[first - begin :][: len(piece)]
            filled[:] = piece
            filled -= usual
            outputs[:] = blocks[:-1] @ weights[:width] + blocks[1:] @ weights[width:]
    slow = slow.reshape(len(slow), -1)[:, :count]
    slow -= slow.mean(axis=1, keepdims=True)
    return slow.T


def middle(recording: Recording, *, seconds: float) -> tuple[Recording, float]:
    """Return what lies within half of `seconds` of the middle, as :func:`between` does."""
    if recording.duration_s <= seconds:
        return recording, 0.0
    time, half = recording.time_s(), seconds / 2
    centre = float(time[recording.count // 2])
    return between(recording, centre - half, centre + half)


def covered(recording: Recording, first: float, last: float) -> tuple[Recording, float]:
    """Return the part of a recording that its tacho covers, as `between` does.

    Parameters
    ----------
    first, last : float
        When the tacho has its first and last edge, seconds.

    Raises
    ------
    MeasureError
        If the two have no time in common.
    """
    times = recording.time_s()
    if min(last, times[-1]) - max(first, times[0]) <= 2 / recording.mean_rate_hz:
        raise MeasureError(
            f"the tacho has its edges from {first:.4g} to {last:.4g} s, the samples lie from "
            f"{times[0]:.4g} to {times[-1]:.4g} s; give both the same clock"
        )
    return between(recording, first, last)


def between(recording: Recording, start: float, end: float) -> tuple[Recording, float]:
    """Return what was recorded from `start` to `end`, seconds, and when its time 0 was.

    Even samples begin at 0 s again; stamps are kept.
    """
    assert recording.samples is not None
    first, last = np.searchsorted(recording.time_s(), [start, end]).tolist()
    samples = recording.samples[first:last]
    if recording.times is not None:
        return replace(recording, samples=samples, times=recording.times[first:last]), 0.0
    return replace(recording, samples=samples), first / recording.mean_rate_hz
