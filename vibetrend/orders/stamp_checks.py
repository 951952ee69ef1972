"""Doubts about the clock: stretches without samples, stamps uneven, repeated or rounded."""

import math

import numpy as np

from vibetrend.orders.scan import Scan
from vibetrend.recording import FloatArray, Note, Recording, Severity

_GAP_LEAST = 2.0  # missing samples in a row
_GAP_WARNING_S, _GAP_WARNING_SHARE, _GAP_UNUSABLE_SHARE = 0.1, 0.01, 0.2


def gaps(recording: Recording, seen: Scan) -> Note | None:
    """Find stretches without samples, or in which the same value was stored over and over."""
    stretches_s = seen.still_s
    if recording.times is not None:
        stretches_s = np.concatenate([stretches_s, missing(recording.times)[1]])
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
        f"{longest_s:.2g} s.",
    )


def missing(times: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the last time before each missing stretch, and its length, seconds.

    Stamps that repeat stand for as many samples: a logger that stamps in batches loses nothing.
    """
    first = np.flatnonzero(np.diff(times, prepend=-math.inf) > 0)
    steps = np.diff(times[first])
    counts = np.diff(first)
    period = float(np.median(steps / counts))
    lost_s = steps - counts * period
    some = lost_s > _GAP_LEAST * period
    return times[first][:-1][some], lost_s[some]


def clock(recording: Recording) -> Note | None:
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
        "clock",
        "warning" if harmful else "note",
        f"{rate:.4g} Hz on average; {'; '.join(remarks)}.",
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
    rates = np.array([np.mean(part[part <= 3 * np.median(part)]) for part in parts])
    if not np.isfinite(rates).all() or rates.min() <= 0:
        return 0.0
    change = float(rates.max() / rates.min() - 1)
    return change if change > 0.1 else 0.0
