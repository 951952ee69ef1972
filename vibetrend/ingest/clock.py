"""A table's time column as seconds from its first stamp.

Whole numbers stay whole until the first stamp is subtracted: a float64 near an epoch time in
nanoseconds has steps of 256 ns.
"""

import datetime as dt
import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.errors import ReadError
from vibetrend.ingest.layout import TIME_UNITS
from vibetrend.recording import FloatArray, Note

_EPOCH_S = (9e8, 4.2e9)  # 1998 to 2103
_PLAUSIBLE_HZ = (4.0, 1e6)
_DAY_S = 86_400
_TEXT = (
    r"^(?P<date>.*?)(?:[T\s]+|^)(?P<h>\d{1,2}):(?P<m>\d\d)(?::(?P<s>\d\d)(?:[.,:](?P<f>\d{1,9}))?)?"
    r"\s*(?P<half>[AaPp][Mm])?\s*(?:Z|UTC|[+-]\d\d:?\d\d)?$"
)
# The usual case, read ten times faster by pandas itself.
_ISO = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(?:\.\d+)?(?:Z|[+-]\d\d:\d\d)?")
_DATES = ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%d.%m.%Y", "%d-%b-%Y", "%d %b %Y", "%d.%m.%y")
_UNCLEAR_DATES = (("%d/%m/%Y", "%m/%d/%Y"), ("%d-%m-%Y", "%m-%d-%Y"), ("%d/%m/%y", "%m/%d/%y"))


@dataclass(frozen=True, kw_only=True, eq=False)
class Clock:
    """What a time column says."""

    seconds: FloatArray  # (n,) from the first stamp; NaN where there is no stamp
    date: dt.date | None = None  # of the first stamp
    notes: tuple[Note, ...] = ()


def from_numbers(stamps: NDArray[np.int64] | FloatArray, unit: str, name: str) -> Clock:
    """Read numbers in `unit` ("" if not stated): seconds to nanoseconds, epoch or not.

    Raises
    ------
    ReadError
        If no unit makes them a sampling clock.
    """
    elapsed = (stamps - stamps[0]).astype(float)
    steps = np.diff(elapsed)
    step = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    first = float(stamps[0])
    notes: tuple[Note, ...] = ()
    factor = TIME_UNITS.get(unit) or _guess_unit(first, step)
    if factor is None:
        raise ReadError(
            f"{name} steps by {step:g}, which is no sampling clock in s, ms, us or ns; "
            f"give rate in Hz, or name the unit in the header, e.g. 'time (ms)'"
        )
    epoch = _EPOCH_S[0] < first * factor < _EPOCH_S[1]
    if unit not in TIME_UNITS and factor != 1 and not epoch:
        spelled = {1e-3: "ms", 1e-6: "us", 1e-9: "ns"}[factor]
        message = f"{name} has no unit; its steps were taken as {spelled}"
        notes = (Note("unit-assumed", "note", message),)
    date = None
    if epoch:
        date = dt.datetime.fromtimestamp(first * factor, tz=dt.UTC).date()
    return Clock(seconds=elapsed * factor, date=date, notes=notes)


def from_text(stamps: "pd.Series[str]", name: str) -> Clock:
    """Read dates with time of day, or times of day alone, in local or ISO form.

    The zone is not used: a recording does not move through zones.

    Raises
    ------
    ReadError
        If fewer than two of them can be read.
    """
    if _ISO.fullmatch(str(stamps.iloc[0])):
        return _from_iso(stamps)
    parts = stamps.astype("string").str.strip().str.extract(_TEXT)
    part = {key: pd.to_numeric(parts[key], errors="coerce").to_numpy(float) for key in "hms"}
    fraction = pd.to_numeric("0." + parts["f"].fillna("0"), errors="coerce").to_numpy(float)
    hour = part["h"]
    if parts["half"].notna().any():  # 12 am is midnight
        hour = hour % 12 + 12 * parts["half"].str.lower().eq("pm").fillna(False).to_numpy(float)
    of_day = 3600 * hour + 60 * part["m"] + np.nan_to_num(part["s"])
    present = np.isfinite(of_day)
    if present.sum() < 2:
        raise ReadError(
            f"{name} cannot be read as times; use seconds or e.g. 2026-05-01 14:40:03.041"
        )
    days, date, notes = _days(parts["date"].fillna("").str.strip().str.strip(","), of_day, present)
    # Whole seconds first: near noon a float64 of the sum would be coarser than near the start.
    whole = of_day + _DAY_S * days
    origin = int(np.argmax(present))
    seconds = (whole - whole[origin]) + (fraction - fraction[origin])
    return Clock(seconds=seconds, date=date, notes=notes)


def date_of(text: str) -> dt.date | None:
    """Return the date at the beginning of one stamp; None if there is none or it is unclear."""
    day, unclear = _dates([re.split(r"(?:[T,\s]+)\d{1,2}:", text.strip(), maxsplit=1)[0]])
    return None if unclear else day[0]


def _from_iso(stamps: "pd.Series[str]") -> Clock:
    moments = pd.to_datetime(stamps, format="ISO8601", errors="coerce", utc=True)
    elapsed = (moments - moments.iloc[0]) / pd.Timedelta(1, "ns")
    return Clock(
        seconds=elapsed.to_numpy(dtype=np.float64) * np.float64(1e-9),
        date=_date(str(stamps.iloc[0])[:10], "%Y-%m-%d"),
    )


def _guess_unit(first: float, step: float) -> float | None:
    """Return the unit, in seconds, in which both stamp and step make sense."""
    plausible = [
        factor
        for factor in (1.0, 1e-3, 1e-6, 1e-9)
        if step > 0 and _PLAUSIBLE_HZ[0] <= 1 / (step * factor) <= _PLAUSIBLE_HZ[1]
    ]
    for factor in plausible:
        if _EPOCH_S[0] < first * factor < _EPOCH_S[1]:
            return factor
    # The slowest clock of those: phones and cheap sensors sample at tens to thousands of Hz.
    return plausible[0] if plausible else None


def _days(
    dates: "pd.Series[str]", of_day: FloatArray, present: NDArray[np.bool_]
) -> tuple[FloatArray, dt.date | None, tuple[Note, ...]]:
    """Return the day of each stamp, counted from the first, and the date of that one."""
    texts = [str(text) for text in dates[present].unique()]
    if texts == [""]:
        # A step back by half a day or more is midnight.
        steps = np.diff(np.where(present, of_day, 0.0), prepend=0.0)
        steps[0] = 0.0
        return np.cumsum(np.where(steps < -_DAY_S / 2, 1.0, 0.0)), None, ()
    parsed, unclear = _dates(texts)
    first = parsed[0]
    number = {
        text: float(i if day is None or first is None else (day - first).days)
        for i, (text, day) in enumerate(zip(texts, parsed, strict=True))
    }
    days = np.array([number.get(text, np.nan) for text in dates])
    if unclear:
        note = Note(
            "date-unclear",
            "note",
            f"the date {texts[0]} can be read in two ways and was left out; state the date",
        )
        return days, None, (note,)
    return days, first, ()


def _dates(texts: list[str]) -> tuple[list[dt.date | None], bool]:
    """Return each date, and whether day and month could be the other way round."""
    for pattern in _DATES:
        if None not in (read := [_date(text, pattern) for text in texts]):
            return read, False
    for patterns in _UNCLEAR_DATES:
        ways = [[_date(text, pattern) for text in texts] for pattern in patterns]
        full = [way for way in ways if None not in way]
        if full:
            return full[0], len(full) == 2 and full[0] != full[1]
    return [None] * len(texts), False


def _date(text: str, pattern: str) -> dt.date | None:
    try:
        return dt.datetime.strptime(re.sub(r"\s+", " ", text), pattern).date()
    except ValueError:
        return None
