"""Doubts that the samples and stamps of a recording raise by themselves.

The limits are the project's own, chosen so that good recordings of phones and cheap sensors pass
without a warning: their clocks jitter, now and then they miss a sample, and their zero is off by
a few per cent of gravity.
"""

import math

import numpy as np

from vibetrend import units
from vibetrend.recording import FloatArray, Note, Recording, Severity

_CLIPPED_UNUSABLE = 1e-3  # share of samples at a rail
_CLIPPED_LEAST = 5  # samples; fewer pile up by chance
_CLIPPED_PILE = 4  # times the samples just below it; a coarse sine reaches 2.4
_BLOCK_S = 0.1
_BLOCK_SAMPLES = 20  # at least, so that a slow sensor's repeated value is no standstill
_GAP_LEAST = 2.0  # missing samples in a row
_GAP_WARNING_S, _GAP_WARNING_SHARE, _GAP_UNUSABLE_SHARE = 0.1, 0.01, 0.2
_GRAVITY_WITHIN = 0.05
_GRAVITY_REMOVED = 0.5  # m/s^2
_QUIET = 1e-4  # of full scale: three steps of 16 bit


def check(recording: Recording) -> list[Note]:
    """Return what is doubtful about a recording's samples and stamps; a good one has no warning.

    Codes: ``silent``, ``dead-axis``, ``clipped``, ``gaps``, ``clock``, ``gravity``.

    Examples
    --------
    >>> t = np.arange(0, 5, 1 / 400)
    >>> rail = np.clip(12 * np.sin(2 * np.pi * 30 * t), -9, 9)
    >>> [(note.code, note.severity) for note in check(Recording(rail, sample_rate=400))]
    [('clipped', 'unusable')]
    """
    samples = recording.samples
    if samples is None:
        return []
    low, high, still_s = _extremes(samples, recording.mean_rate_hz)
    if silent := _silent(recording, low, high):
        return [silent]
    notes = [
        _dead_axes(recording, low, high),
        _clipped(recording, samples, low, high),
        _gaps(recording, still_s),
        _clock(recording),
        _gravity(recording.kind, samples),
    ]
    return [note for note in notes if note is not None]


def _extremes(samples: FloatArray, rate: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the least and largest value of each axis, and how long values stood still, s."""
    block = max(_BLOCK_SAMPLES, round(_BLOCK_S * rate))
    if len(samples) < 2 * block:
        return samples.min(axis=0), samples.max(axis=0), np.zeros(0)
    starts = np.arange(0, len(samples) - block + 1, block)
    low = np.minimum.reduceat(samples, starts, axis=0)
    high = np.maximum.reduceat(samples, starts, axis=0)
    stands = np.concatenate([[False], (low == high).all(axis=1), [False]])
    begins, ends = np.flatnonzero(np.diff(stands)).reshape(-1, 2).T
    return low.min(axis=0), high.max(axis=0), (ends - begins) * block / rate


def _silent(recording: Recording, low: FloatArray, high: FloatArray) -> Note | None:
    quiet = _QUIET if recording.kind == "sound" and recording.unit == "1" else 0.0
    if (high - low).max() > quiet:
        return None
    return Note("silent", "unusable", "nothing was recorded: the values never change; record again")


def _dead_axes(recording: Recording, low: FloatArray, high: FloatArray) -> Note | None:
    dead = [axis for axis, still in zip(recording.axes, low == high, strict=True) if still]
    if not dead:
        return None
    # Recorders often store one microphone as two channels, one of them empty.
    severity: Severity = "note" if recording.kind == "sound" else "warning"
    return Note("dead-axis", severity, f"{', '.join(dead)} never changes; look at the sensor")


def _clipped(
    recording: Recording, samples: FloatArray, low: FloatArray, high: FloatArray
) -> Note | None:
    """Find samples piled up at an extreme: many there, few just short of it.

    Natural signals thin out towards their extremes; a pure sine piles up the most, and rounded
    to coarse steps has 1 / (sqrt(2) - 1) = 2.4 times as many at its top step as on the next.
    """
    worst, place = 0.0, ""
    for index, axis in enumerate(recording.axes):
        column, spread = samples[:, index], high[index] - low[index]
        for rail, sign in ((high[index], 1.0), (low[index], -1.0)):
            near = column[sign * column > sign * rail - 2e-3 * spread]
            at_rail = int((near == rail).sum())
            below = len(near) - at_rail
            if at_rail < _CLIPPED_LEAST:
                continue
            if not below:  # coarse steps: the next one below
                others = column[column != rail]
                following = (sign * others).max() if others.size else rail
                below = int((sign * others == following).sum())
            if at_rail > _CLIPPED_PILE * below and not _is_switch(column, low[index], high[index]):
                share = at_rail / len(column)
                if share > worst:
                    worst, place = share, f"{axis} at {rail:.3g} {recording.unit}"
    if not worst:
        return None
    return Note(
        "clipped",
        "unusable" if worst > _CLIPPED_UNUSABLE else "warning",
        f"{100 * worst:.2g} % of the samples are cut off ({place}); "
        f"record again with less gain, a wider range or further away",
    )


def _is_switch(column: FloatArray, low: float, high: float) -> bool:
    # Edges of a pulse sensor are at two levels by nature.
    return bool(((column == low) | (column == high)).mean() > 0.9)


def _gaps(recording: Recording, still_s: FloatArray) -> Note | None:
    """Find stretches without samples, or in which the same value was stored over and over."""
    stretches_s = still_s
    if recording.times is not None:
        stretches_s = np.concatenate([still_s, _missing_s(recording.times)])
    if not stretches_s.size:
        return None
    lost_s, longest_s = float(stretches_s.sum()), float(stretches_s.max())
    share = lost_s / recording.duration_s
    severity: Severity = (
        "unusable"
        if share > _GAP_UNUSABLE_SHARE
        else "warning"
        if share > _GAP_WARNING_SHARE or longest_s > _GAP_WARNING_S
        else "note"
    )
    return Note(
        "gaps",
        severity,
        f"{lost_s:.2g} s of {recording.duration_s:.3g} s are missing, the longest stretch "
        f"{longest_s:.2g} s",
    )


def _missing_s(times: FloatArray) -> FloatArray:
    """Return the length of each missing stretch, seconds.

    Stamps that repeat stand for as many samples: a logger that stamps in batches loses nothing.
    """
    first = np.flatnonzero(np.diff(times, prepend=-math.inf) > 0)
    steps = np.diff(times[first])
    counts = np.diff(first)
    period = float(np.median(steps / counts))
    missing = steps - counts * period
    return missing[missing > _GAP_LEAST * period]


def _clock(recording: Recording) -> Note | None:
    """Describe uneven, repeated or rounded stamps; the measurement copes with all but the worst."""
    times = recording.times
    if times is None:
        return None
    steps = np.diff(times)
    step = float(np.median(steps))
    repeated = float((steps == 0).mean())
    remarks, harmful = [], False
    if repeated:
        harmful = repeated > 0.5
        remarks.append(f"{100 * repeated:.2g} % of the stamps repeat the one before")
    if step > 0:
        kept = steps[steps < 3 * step]
        jitter = float(kept.std() / kept.mean())
        grain = _grain(times)
        if grain > 0.02 * step and jitter > 0.005:
            remarks.append(f"stamps are rounded to {1000 * grain:g} ms")
        if jitter > 0.02:
            remarks.append(f"steps vary by {100 * jitter:.0f} %")
        if change := _rate_change(times):
            harmful = True
            remarks.append(f"the sample rate changes by {100 * change:.0f} % on the way")
    if not remarks:
        return None
    rate = recording.mean_rate_hz
    return Note(
        "clock", "warning" if harmful else "note", f"{rate:.4g} Hz on average; {'; '.join(remarks)}"
    )


def _grain(times: FloatArray) -> float:
    """Return the decimal step that all stamps are whole multiples of, seconds; 0 if none."""
    elapsed = times - times[0]
    for grain in (1.0, 0.1, 0.01, 1e-3, 1e-4):
        ticks = elapsed[:2000] / grain
        if np.abs(ticks - np.rint(ticks)).max() < 1e-3:
            return grain
    return 0.0


def _rate_change(times: FloatArray) -> float:
    """Return by what share the rate differs between parts of the recording; 0 if it holds.

    Medians of ten parts, so that gaps do not count.
    """
    if len(times) < 1000:
        return 0.0
    parts = np.array_split(np.diff(times), 10)
    rates = np.array([np.mean(part[part < 3 * np.median(part)]) for part in parts])
    if not np.isfinite(rates).all() or rates.min() <= 0:
        return 0.0
    change = float(rates.max() / rates.min() - 1)
    return change if change > 0.1 else 0.0


def _gravity(kind: str, samples: FloatArray) -> Note | None:
    if kind != "acceleration" or samples.shape[1] != 3:
        return None
    length = float(np.linalg.norm(samples.mean(axis=0)))
    off = length / units.STANDARD_GRAVITY - 1
    if length < _GRAVITY_REMOVED or abs(off) <= _GRAVITY_WITHIN:
        return None
    return Note(
        "gravity",
        "warning",
        f"the mean of the three axes is {length:.3g} m/s^2, gravity is 9.81; check the unit, "
        f"and that the sensor lay still on its spot",
    )
