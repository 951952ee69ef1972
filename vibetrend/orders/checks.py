"""Doubts that the samples, stamps and circumstances of a recording raise by themselves.

The limits are the project's own, chosen so that good recordings of phones and cheap sensors pass
without a warning: their clocks jitter, now and then they miss a sample, and their zero is off by
a few per cent of gravity.
"""

from itertools import combinations

import numpy as np

from vibetrend import units
from vibetrend.orders.level_checks import clipped, offset, rounded, wandering
from vibetrend.orders.scan import Scan, scan
from vibetrend.orders.signal import HEARD_HZ, middle, slowed
from vibetrend.orders.sound_checks import LONGEST_S, sound_notes
from vibetrend.orders.stamp_checks import clock, gaps
from vibetrend.recording import FloatArray, Note, Recording, Severity

_GRAVITY_WITHIN = 0.05
_GRAVITY_REMOVED = 0.5  # m/s^2
_SILENT = 1e-4  # of full scale: three steps of 16 bit
_QUIET = 3e-4  # of full scale, rms: ten steps of 16 bit
_SAME = 1e-3  # of the signal: two channels nearer than this are one; two sensors' noise is not
_COMPARED = 20_000  # samples


def check(recording: Recording, *, slow: Recording | None = None) -> list[Note]:
    """Return what is doubtful about a recording before its speed is known; a good one no warning.

    `slow` is the recording as :func:`vibetrend.orders.signal.slowed` leaves it for `HEARD_HZ`,
    its middle if it is long, for those who have it already.

    Sound is only suspected of more where the engine ran at one speed.

    Codes: ``other-engine``, ``mains``, ``processed-sound`` as stated; ``silent``, ``quiet``,
    ``dead-axis``, ``same-axes``, ``clipped``, ``saturated``, ``moved``, ``drift``, ``offset``,
    ``gaps``, ``clock``, ``gravity``; for steady sound also those of
    :func:`vibetrend.orders.sound_checks.sound_notes`.

    Examples
    --------
    >>> t = np.arange(0, 5, 1 / 400)
    >>> rail = np.clip(12 * np.sin(2 * np.pi * 30 * t), -9, 9)
    >>> [(note.code, note.severity) for note in check(Recording(rail, sample_rate=400))]
    [('clipped', 'unusable')]
    """
    stated = _stated(recording)
    samples = recording.samples
    if samples is None:
        return stated
    seen = scan(samples, recording.mean_rate_hz)
    if silent := _silent(recording, seen):
        return [*stated, silent]
    cut = clipped(recording, samples, seen)
    found = [
        _quiet(recording, seen),
        _dead_axes(recording, seen),
        _same_axes(recording, samples, seen),
        cut or rounded(recording, samples),
        offset(recording, seen),
        wandering(recording, seen),
        gaps(recording, seen),
        clock(recording),
        _gravity(recording.kind, samples),
    ]
    notes = [*stated, *(note for note in found if note is not None)]
    # a sweep's own orders come and go like gusts, voices and gains do
    steady = recording.manner == "steady"
    if steady and recording.kind == "sound" and (cut is None or cut.severity != "unusable"):
        if slow is None:
            slow = slowed(middle(recording, seconds=LONGEST_S)[0], top_hz=HEARD_HZ)
        assert slow.samples is not None
        notes += sound_notes(slow.samples, slow.mean_rate_hz)
    return notes


def _stated(recording: Recording) -> list[Note]:
    """Return what the person said of the day that may spoil a comparison."""
    stated, notes = recording.circumstances, []
    if stated.other_engine == "running":
        notes.append(
            Note(
                "other-engine",
                "warning",
                "Another engine or generator set was running, as stated: its lines may pass for "
                "this engine's; stop it and record again.",
            )
        )
    if stated.shore_power == "on":
        notes.append(
            Note(
                "mains",
                "note",
                "Shore power was on, as stated: lines at multiples of 50 or 60 Hz may be mains.",
            )
        )
    if recording.kind == "sound" and stated.automatic_gain == "on":
        notes.append(
            Note(
                "processed-sound",
                "warning",
                "Automatic gain or noise suppression was on, as stated: levels cannot be compared; "
                "switch it off in the recorder, or take another one.",
            )
        )
    return notes


def _silent(recording: Recording, seen: Scan) -> Note | None:
    still = _SILENT if recording.kind == "sound" and recording.unit == "1" else 0.0
    if (seen.high - seen.low).max() > still:
        return None
    return Note(
        "silent", "unusable", "Nothing was recorded: the values never change. Record again."
    )


def _quiet(recording: Recording, seen: Scan) -> Note | None:
    level = float(seen.rms.max())
    if recording.kind != "sound" or recording.unit != "1" or level > _QUIET:
        return None
    return Note(
        "quiet",
        "warning",
        f"The sound is very quiet, {20 * np.log10(max(level, 1e-9)):.0f} dB of full scale: record "
        f"with more gain or nearer to the engine.",
    )


def _dead_axes(recording: Recording, seen: Scan) -> Note | None:
    still = seen.low == seen.high
    dead = [axis for axis, is_still in zip(recording.axes, still, strict=True) if is_still]
    if not dead:
        return None
    # Recorders often store one microphone as two channels, one of them empty.
    severity: Severity = "note" if recording.kind == "sound" else "warning"
    return Note("dead-axis", severity, f"{', '.join(dead)} never changes; look at the sensor.")


def _same_axes(recording: Recording, samples: FloatArray, seen: Scan) -> Note | None:
    """Find two axes that hold one signal, or one the negative of the other."""
    if len(recording.axes) < 2:
        return None
    drawn = samples[:: max(1, len(samples) // _COMPARED)]
    drawn = drawn - drawn.mean(axis=0)
    size = np.sqrt((drawn**2).mean(axis=0))
    alive = np.flatnonzero((size > 0) & (seen.low < seen.high))
    pairs = [
        f"{recording.axes[one]} and {recording.axes[two]}"
        for one, two in combinations(alive.tolist(), 2)
        if min(
            np.sqrt(((drawn[:, one] - sign * drawn[:, two]) ** 2).mean()) for sign in (1.0, -1.0)
        )
        < _SAME * size[one]
    ]
    if not pairs:
        return None
    if recording.kind == "sound":
        return Note(
            "same-axes",
            "note",
            f"{'; '.join(pairs)} hold the same sound: one microphone stored twice, 3 dB louder "
            f"together than one of them.",
        )
    return Note(
        "same-axes",
        "warning",
        f"{'; '.join(pairs)} hold the same signal, perhaps with the sign turned: look at the "
        f"wiring and at which columns were read.",
    )


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
        f"The mean of the three axes is {length:.3g} m/s^2, gravity is 9.81; check the unit, "
        f"and that the sensor lay still on its spot.",
    )
