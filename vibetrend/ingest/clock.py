"""A table's time column as seconds from its first stamp.

Whole numbers stay whole until the first stamp is subtracted: a float64 near an epoch time in
nanoseconds has steps of 256 ns. Stamps are taken as they are, never interpolated.
"""

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.errors import ReadError
from vibetrend.ingest import stamps
from vibetrend.ingest.dates import days_of
from vibetrend.ingest.layout import TIME_UNITS
from vibetrend.ingest.order import usual_step
from vibetrend.ingest.stamps import Stamps
from vibetrend.recording import FloatArray, Note

_EPOCH_S = (9e8, 4.2e9)  # 1998 to 2103
_DAY_S = 86_400.0
# Days since the beginning of 1900 (spreadsheets, less 2) or of the year 0 (less 1): 1998 to 2103.
_DAY_COUNTS = ((35_796, 74_500, dt.date(1899, 12, 30)), (729_755, 768_460, dt.date(1, 1, 1)))
_YEAR_ZERO_DAYS = 367  # what the second of them counts on 0001-01-01
_PLAUSIBLE_HZ = (4.0, 1e6)
# Hours ahead of UTC; only their differences within a recording matter.
_ZONES = {
    "Z": 0, "UTC": 0, "GMT": 0, "WET": 0, "BST": 1, "WEST": 1, "CET": 1, "MEZ": 1, "CEST": 2,
    "MESZ": 2, "EET": 2, "EEST": 3, "EST": -5, "EDT": -4, "CST": -6, "CDT": -5, "MST": -7,
    "MDT": -6, "PST": -8, "PDT": -7, "AKST": -9, "AKDT": -8, "AEST": 10, "AEDT": 11, "NZST": 12,
    "NZDT": 13,
}  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Clock:
    """What a time column says."""

    seconds: FloatArray  # (n,) from the first stamp; NaN where there is no stamp
    date: dt.date | None = None  # of the first stamp
    notes: tuple[Note, ...] = ()


def from_numbers(
    counts: NDArray[np.int64] | FloatArray, unit: str, name: str, *, wall_clock: bool = False
) -> Clock:
    """Read numbers in `unit` ("" if not stated): seconds to nanoseconds, epoch or not.

    The date is this computer's local one of an epoch stamp: UTC may be a day ahead or behind.
    With `wall_clock` the stamps count the local time as it was written, without a zone.

    Raises
    ------
    ReadError
        If no unit makes them a sampling clock.
    """
    elapsed = (counts - counts[0]).astype(np.float64, copy=False)
    step = usual_step(elapsed)
    first = float(counts[0])
    notes: tuple[Note, ...] = ()
    factor = TIME_UNITS.get(unit) or _guess_unit(first, step)
    if factor is None:
        raise no_clock(name, step)
    date = _date(first, factor, wall_clock=wall_clock)
    if unit not in TIME_UNITS and factor != 1 and date is None:
        spelled = {1e-3: "ms", 1e-6: "us", 1e-9: "ns"}[factor]
        message = f"{name} has no unit; its steps were taken as {spelled}"
        notes = (Note("unit-assumed", "note", message),)
    return Clock(seconds=elapsed if factor == 1 else elapsed * factor, date=date, notes=notes)


def no_clock(name: str, step: float) -> ReadError:
    """Return the error for a column that steps as no clock of samples does."""
    return ReadError(
        f"{name} steps by {step:g}, which is no sampling clock in s, ms, us or ns; "
        f"give rate in Hz, or name the unit in the header, e.g. 'time (ms)'"
    )


def _guess_unit(first: float, step: float) -> float | None:
    """Return the unit, in seconds, in which both stamp and step make sense."""
    factors = (1.0, 1e-3, 1e-6, 1e-9)
    for factor in factors:
        if _EPOCH_S[0] < first * factor < _EPOCH_S[1] and 0 < step * factor <= 1 / _PLAUSIBLE_HZ[0]:
            return factor
    days = any(low < first < high for low, high, _ in _DAY_COUNTS)
    if days and step > 0 and _PLAUSIBLE_HZ[0] <= 1 / (step * _DAY_S) <= 1000:
        return _DAY_S
    plausible = [
        factor
        for factor in factors
        if step > 0 and _PLAUSIBLE_HZ[0] <= 1 / (step * factor) <= _PLAUSIBLE_HZ[1]
    ]
    # The slowest clock of those: phones and cheap sensors sample at tens to thousands of Hz.
    return plausible[0] if plausible else None


def _date(first: float, factor: float, *, wall_clock: bool) -> dt.date | None:
    if factor == _DAY_S:
        for low, high, origin in _DAY_COUNTS:
            if low < first < high:
                before = 0 if origin.year > 1 else _YEAR_ZERO_DAYS
                return origin + dt.timedelta(days=int(first) - before)
    if _EPOCH_S[0] < first * factor < _EPOCH_S[1]:
        moment = dt.datetime.fromtimestamp(first * factor, tz=dt.UTC)
        return (moment if wall_clock else moment.astimezone()).date()
    return None


def from_text(columns: Sequence[Stamps], name: str) -> Clock:
    """Read dates with time of day, or times of day alone, in local or ISO form.

    Where they stand in two columns, these are joined. Zones only count where they change within
    the recording.

    Raises
    ------
    ReadError
        If fewer than two of them can be read.
    """
    parts = stamps.taken_apart(columns)
    of_day, fraction = parts.of_day, parts.fraction
    present = np.isfinite(of_day)
    if present.sum() < 2:
        raise ReadError(
            f"{name} cannot be read as times; use seconds or e.g. 2026-05-01 14:40:03.041"
        )
    origin = int(np.argmax(present))
    begin = float(of_day[origin] + fraction[origin])
    seconds, date, notes = days_of(parts.dates, parts.date, of_day)
    # In place, for there may be millions. Whole seconds first: near noon a float64 of the sum
    # would be coarser than near the start.
    seconds *= _DAY_S
    seconds += of_day
    if (ahead := _zones(parts)).any():
        seconds -= ahead[parts.zone]
    seconds -= seconds[origin]
    fraction -= fraction[origin]
    seconds += fraction
    if not any(parts.zones):
        seconds, remark = _through_summer_time(seconds, begin)
        notes += remark
    return Clock(seconds=seconds, date=date, notes=notes)


def _zones(parts: stamps.Parts) -> FloatArray:
    """Return what each zone is ahead of UTC, seconds; 0 where all are one zone."""
    ahead = [_ahead(zone) for zone in parts.zones]
    known = [each for each in ahead if each is not None]
    return np.array(known if 1 < len(known) == len(ahead) else [0.0] * len(ahead))


def _ahead(zone: str) -> float | None:
    if match := re.fullmatch(r"([+-])(\d\d):?(\d\d)?", zone):
        seconds = int(match[2]) * 3600 + int(match[3] or 0) * 60
        return float(-seconds if match[1] == "-" else seconds)
    return _ZONES[zone] * 3600.0 if zone in _ZONES else None


def _through_summer_time(seconds: FloatArray, of_day: float) -> tuple[FloatArray, tuple[Note, ...]]:
    """Take out a step of one hour at a full hour of the local clock, which moved; nothing else."""
    steps = np.diff(seconds)
    if np.fmax.reduce(steps) < 3540 and np.fmin.reduce(steps) > -3540:
        return seconds, ()
    far = np.flatnonzero(np.abs(np.abs(steps) - 3600) < 60)
    if not far.size:
        return seconds, ()
    near = max(1.0, 3 * usual_step(seconds))
    for step in far:
        hours = round(steps[step] / 3600)
        to_full_hour = (of_day + seconds[step] + 1800) % 3600 - 1800
        if abs(to_full_hour) < near and abs(steps[step] - 3600 * hours) < near:
            moved = seconds.copy()
            moved[step + 1 :] -= 3600 * hours
            message = "the clock was set by one hour for summer time; that hour was taken out"
            return moved, (Note("clock", "note", message),)
    return seconds, ()
