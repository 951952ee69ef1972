"""Dates as people and loggers write them, in several orders and languages."""

import datetime as dt
import re
import unicodedata
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.ingest.fields import LONGEST
from vibetrend.recording import FloatArray, Note

_HALF_DAY_S = 43_200
_DATES = ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%d.%m.%Y", "%d.%m.%y", "%Y%m%d")
_UNCLEAR_DATES = (("%d/%m/%Y", "%m/%d/%Y"), ("%d-%m-%Y", "%m-%d-%Y"), ("%d/%m/%y", "%m/%d/%y"))
# By their first three letters without accents: English, German, French, Spanish, Italian,
# Portuguese, Dutch, Danish, Norwegian and Swedish.
_MONTHS = {
    name: number
    for number, names in enumerate(
        ("jan ene gen", "feb fev", "mar mrz mrt maa", "apr avr abr", "may mai mei maj mag",
         "jun juin giu", "jul juil lug", "aug aou ago", "sep set", "oct okt out ott", "nov",
         "dec dez dic des"),
        start=1,
    )
    for name in names.split()
}  # fmt: skip
_MONTH, _DAY = r"(?P<month>[^\W\d_]{3,12})\.?", r"(?<!\d)(?P<day>\d{1,2})"
_SPELLED = (
    re.compile(rf"{_DAY}\.?[-./ ]+(?:de +)?{_MONTH}[-,./ ]+(?:de +)?(?P<year>\d\d|\d{{4}})$"),
    re.compile(rf"(?P<year>\d{{4}})[-./ ]+{_MONTH}[-./ ]+{_DAY}$"),
    re.compile(rf"{_MONTH} +{_DAY},? +(?P<year>\d{{4}})$"),
)  # fmt: skip


def date_of(text: str) -> dt.date | None:
    """Return the date at the beginning of one stamp; None if there is none or it is unclear."""
    day, unclear = _dates([re.split(r"(?:[T,\s]+)\d{1,2}:", text.strip()[:LONGEST], maxsplit=1)[0]])
    return None if unclear else day[0]


def days_of(
    written: Sequence[str], places: NDArray[np.int32], of_day: FloatArray
) -> tuple[FloatArray, dt.date | None, tuple[Note, ...]]:
    """Return the day of each stamp, counted from the first, and the date of that one.

    Parameters
    ----------
    written : sequence of str
        All dates there are; only "" where there are none.
    places : array of int, shape (n,)
        Of each stamp the place of its date in `written`.
    of_day : array, shape (n,)
        Time of day, seconds; NaN where a stamp cannot be read.
    """
    present = np.isfinite(of_day)
    if set(written) <= {""}:
        # A step back by half a day or more is midnight.
        steps = np.diff(np.where(present, of_day, 0.0), prepend=0.0)
        steps[0] = 0.0
        return np.cumsum(steps < -_HALF_DAY_S, dtype=float), None, ()
    order = [int(place) for place in pd.unique(places[present])]
    texts = [written[place] for place in order]
    parsed, unclear = _dates(texts)
    first = parsed[0]
    days = np.zeros(len(written))
    for count, (place, text, day) in enumerate(zip(order, texts, parsed, strict=True)):
        if match := re.fullmatch(r"(\d+) days?", text):
            days[place] = int(match[1])
        else:
            days[place] = count if day is None or first is None else (day - first).days
    if unclear:
        note = Note(
            "date-unclear",
            "note",
            f"the date {texts[0]} can be read in two ways and was left out; state the date",
        )
        return days[places], None, (note,)
    return days[places], first, ()


def _dates(texts: list[str]) -> tuple[list[dt.date | None], bool]:
    """Return each date, and whether day and month could be the other way round."""
    if None not in (spelled := [_spelled(text) for text in texts]):
        return spelled, False
    for pattern in _DATES:
        if None not in (read := [_date(text, pattern) for text in texts]):
            return read, False
    for patterns in _UNCLEAR_DATES:
        ways = [[_date(text, pattern) for text in texts] for pattern in patterns]
        full = [way for way in ways if None not in way]
        if full:
            return full[0], len(full) == 2 and full[0] != full[1]
    return [None] * len(texts), False


def _spelled(text: str) -> dt.date | None:
    """Return a date whose month is a word; a weekday before it does not matter."""
    for pattern in _SPELLED:
        if match := pattern.search(text):
            letters = unicodedata.normalize("NFKD", match["month"].lower())
            name = letters.encode("ascii", "ignore").decode()
            month = _MONTHS.get(name[: 4 if name.startswith("jui") else 3])
            year = int(match["year"]) + (2000 if len(match["year"]) == 2 else 0)
            try:
                return dt.date(year, month, int(match["day"])) if month else None
            except ValueError:
                return None
    return None


def _date(text: str, pattern: str) -> dt.date | None:
    try:
        return dt.datetime.strptime(re.sub(r"\s+", " ", text), pattern).date()
    except ValueError:
        return None
