"""A recording made ready for the order fit: one clock, no faster than needed."""

from dataclasses import dataclass, replace

import numpy as np
import soxr

from vibetrend.recording import FloatArray, Recording

# Passband edge of the resampler as a share of the new rate: flat to 1e-6 there.
_PASSBAND = 0.4
_WORTH_IT = 1.2  # of the new rate; less saves nothing
_BLOCK = 2**16  # samples resampled at a time
# The resampler's filter runs in from silence over this many output samples.
_RUN_IN = 24
# Rounded stamps deviate from a straight clock by 0.29 steps rms, by 0.35 in the worst pattern;
# jitter comes on top.
_ROUNDED_RMS = 0.36


@dataclass(frozen=True, eq=False)
class Signal:
    """Samples on their own clock, the mean of each axis removed."""

    time: FloatArray  # (n,) seconds from the first sample
    samples: FloatArray  # (n, axes)
    rate: float  # samples per second, the mean where uneven
    even: bool
    nyquist_hz: float  # half the rate the recording was taken at: nothing above was sampled
    start_s: float  # recording time of the first sample
    stamp_step: float  # seconds to which uneven stamps are rounded, 0 for even ones

    @property
    def duration(self) -> float:
        """Seconds covered, the last sample's own interval included."""
        return len(self.time) / self.rate

    def rounding_gain(self, hertz: float) -> float:
        """Return what rounding of the stamps leaves of an amplitude: sinc(f step).

        The mean of exp(2 pi i f e) over errors e spread evenly over one step.
        """
        return float(np.sinc(hertz * self.stamp_step))


def prepare(recording: Recording, *, top_hz: float) -> Signal:
    """Return the samples of a recording, decimated if evenly and much faster sampled.

    Uneven stamps are kept as they are: interpolating to a grid costs up to 28 % of an order's
    amplitude. Stamps that are merely a rounded even clock are replaced by that clock, because
    their rounding alone loses 1.1 dB at 300 Hz for stamps of 1 ms (:meth:`Signal.rounding_gain`).

    Parameters
    ----------
    recording : Recording
        With samples.
    top_hz : float
        Highest frequency wanted, Hz.
    """
    samples = recording.samples
    assert samples is not None
    start, rate = 0.0, recording.mean_rate_hz
    time = recording.times
    if time is not None:
        start = float(time[0])
        if (straight := _straight_clock(time)) is not None:
            start, rate = straight
            time = None
    nyquist = rate / 2
    target = top_hz / _PASSBAND
    if time is None and rate > _WORTH_IT * target:
        samples = resampled(samples, rate, target)[_RUN_IN:-_RUN_IN]
        start += _RUN_IN / target
        rate = target
    else:
        samples = samples - samples.mean(axis=0)
    if time is None:
        time, even, step = np.arange(len(samples)) / rate, True, 0.0
    else:
        time, even = time - start, False
        step = _resolution(time)
    return Signal(time, samples, rate, even, nyquist, start, step)


def slowed(recording: Recording, *, top_hz: float) -> tuple[FloatArray, float | None]:
    """Return samples without their mean and their rate, no faster than `top_hz` needs.

    The rate is None, and no sample is changed, where the stamps are uneven.
    """
    samples, rate = recording.samples, recording.sample_rate
    assert samples is not None
    target = top_hz / _PASSBAND
    if rate is None or rate <= _WORTH_IT * target:
        return samples - samples.mean(axis=0), rate
    return resampled(samples, rate, target), target


def resampled(samples: FloatArray, rate: float, to_rate: float) -> FloatArray:
    """Return samples of shape (n, axes) at a lower rate, the mean of each axis removed.

    Block by block, so that nothing else as large as the samples is held. The filter runs in from
    silence and out to it at the ends.
    """
    mean = samples.mean(axis=0)
    stream = soxr.ResampleStream(rate, to_rate, samples.shape[1], dtype="float64", quality="HQ")
    done = [
        stream.resample_chunk(
            samples[start : start + _BLOCK] - mean, last=start + _BLOCK >= len(samples)
        )
        for start in range(0, len(samples), _BLOCK)
    ]
    return np.concatenate(done)


def middle(recording: Recording, *, seconds: float) -> Recording:
    """Return the samples within half of `seconds` of the middle one; a short one as it is."""
    assert recording.samples is not None
    if recording.duration_s <= seconds:
        return recording
    if recording.sample_rate is not None:
        count = int(seconds * recording.sample_rate)
        first = (recording.count - count) // 2
        return replace(recording, samples=recording.samples[first : first + count])
    time = recording.time_s()
    near = np.abs(time - time[recording.count // 2]) <= seconds / 2
    return replace(recording, samples=recording.samples[near], times=time[near])


def _straight_clock(time: FloatArray) -> tuple[float, float] | None:
    """Return start and rate of the even clock behind rounded stamps, or None."""
    index = np.arange(len(time))
    step, start = np.polyfit(index, time, 1)
    deviation = time - (start + step * index)
    resolution = _resolution(time)
    if np.sqrt(np.mean(deviation**2)) < _ROUNDED_RMS * resolution:
        return float(start), float(1 / step)
    return None


def _resolution(time: FloatArray) -> float:
    """Return the decimal step that all stamps are multiples of, 1e-9 s at the finest."""
    for digits in range(1, 9):
        scaled = (time - time[0]) * 10.0**digits
        if np.abs(scaled - np.round(scaled)).max() < 1e-3:
            return float(10.0**-digits)
    return 1e-9
