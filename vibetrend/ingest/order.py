"""The rows of a table in the order of their stamps, and whether these are a clock at all."""

import numpy as np

from vibetrend.errors import ReadError
from vibetrend.recording import FloatArray, Note

_LOOKED_AT = 10_000  # stamps that tell the usual step
_STANDSTILL = 4  # samples on one stamp, on average: no clock but a count
_UNEVEN = 0.25  # of the time one stamp stands


def usual_step(stamps: FloatArray) -> float:
    """Return the median of the steps that go forward; 0 if none does."""
    for part in (stamps[:_LOOKED_AT], stamps):
        steps = np.diff(part)
        if (forward := steps[steps > 0]).size:
            return float(np.median(forward))
    return 0.0


def in_order(
    samples: FloatArray, seconds: FloatArray
) -> tuple[FloatArray, FloatArray, tuple[Note, ...]]:
    """Return the samples in the order of their stamps.

    Late arrivals are sorted in. Where the clock was set back, sorting would mix two stretches,
    so the longer one is kept.
    """
    if (seconds[1:] >= seconds[:-1]).all():
        return samples, seconds, ()
    late = seconds < np.maximum.accumulate(seconds)
    count = int(late.sum())
    order = np.argsort(seconds, kind="stable")
    ordered = seconds[order]
    steps = np.diff(ordered)
    usual = float(np.median(steps))
    near = np.minimum(np.append(steps, np.inf), np.insert(steps, 0, np.inf))
    if (near[late[order]] > 0.25 * usual).all():
        message = f"{count} samples came late and were sorted in by their times"
        return samples[order], ordered, (Note("clock", "note", message),)
    if count <= 0.01 * len(seconds):
        message = f"the clock ran backwards; {count} samples recorded twice in time left out"
        return samples[~late], seconds[~late], (Note("clock", "note", message),)
    ends = np.flatnonzero(np.diff(seconds) < 0) + 1
    stretches = np.split(np.arange(len(seconds)), ends)
    longest = max(stretches, key=len)
    message = (
        f"the clock starts anew {len(ends)} times; only the longest stretch, "
        f"{len(longest)} of {len(seconds)} samples, is used"
    )
    return samples[longest], seconds[longest], (Note("clock", "warning", message),)


def by_count(seconds: FloatArray, name: str) -> tuple[float, Note] | None:
    """Return the sample rate where many samples share each stamp; None where few do.

    Such stamps say when a second began, or a packet arrived, not when each sample was taken. As
    many samples on every stamp, to within one, tell of an even rate; else nothing does.

    Raises
    ------
    ReadError
        If the stamps stand still for many samples, but not evenly.
    """
    forward = seconds[1:] > seconds[:-1]
    if len(seconds) < _STANDSTILL * (np.count_nonzero(forward) + 1):
        return None
    starts = np.flatnonzero(forward) + 1  # of all stamps but the first
    counts, steps = np.diff(starts), np.diff(seconds[np.insert(starts, 0, 0)])
    cut = max(starts[0], len(seconds) - starts[-1]) if len(starts) else 0  # at either end
    even = (
        len(counts) >= 2
        and np.ptp(counts) <= 1
        and cut <= counts.max()
        and np.ptp(steps) <= _UNEVEN * np.median(steps)
    )
    if not even:
        raise ReadError(
            f"{name} stands still for {len(seconds) / (len(starts) + 1):.0f} samples at a time, "
            f"not evenly enough to tell when each was taken; give the sample rate in Hz with rate"
        )
    rate = float(counts.sum() / steps[1:].sum())
    message = (
        f"{name} has {counts.min()} to {counts.max()} samples on each of its stamps; they were "
        f"taken as evenly sampled, {rate:.6g} Hz by that count"
    )
    return rate, Note("clock", "note", message)


def against_stated(stated: float | None, seconds: FloatArray) -> tuple[Note, ...]:
    """Return a warning where the stamps differ by more than 1 % from the rate the file states."""
    if stated is None:
        return ()
    mean = (len(seconds) - 1) / (seconds[-1] - seconds[0]) if seconds[-1] > seconds[0] else 0.0
    step = usual_step(seconds)
    # With gaps the mean is too low, with stamps of few digits the usual step is off.
    if any(abs(rate / stated - 1) <= 0.01 for rate in (mean, 1 / step if step else 0.0)):
        return ()
    message = (
        f"the file states a rate of {stated:g} Hz, its stamps say {mean:.6g} Hz; "
        f"the stamps were used"
    )
    return (Note("clock", "warning", message),)
