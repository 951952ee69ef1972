"""The log of everything as the page shows it, and what it tells of the engine's hours."""

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from vibetrend.checkup.records import EngineRecord, Happening
from vibetrend.report.due import per_year
from vibetrend.report.isolating import isolating
from vibetrend.report.words import NOTHING, STATE_WORDS, date, fixed, with_dates
from vibetrend.trend.phrases import capital

_KINDS = {
    "installation": "Damper",
    "reading": "Reading",
    "check": "Checked",
    "details": "Details",
    "photo": "Photo",
    "note": "Note",
    "finish": "Record",
    "work": "Work",
    "meter": "Hour meter",
    "check-up": "Check-up",
    "engine file": "Engine file",
    "correction": "Correction",
    "verdict": "Judged",
}


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of the log."""

    date: dt.date
    hours: str
    meter_hours: str
    what: str
    state: str  # what a verdict came to, else empty
    words: str
    own: str  # a person's own words


@dataclass(frozen=True, kw_only=True)
class Log:
    """All that happened, newest first."""

    rows: list[Row]
    texts: list[str]  # how much the engine is used, and what became of the meter
    meter_differs: bool  # somewhere the meter showed other than true hours


def log(record: EngineRecord) -> Log | None:
    """Return the log; None where nothing happened."""
    if not record.happenings:
        return None
    texts = [
        f"On {date(each.date)} the hour meter began anew at {_told(each.meter_hours)} h, when the "
        f"engine had run {_told(each.hours)} h."
        for each in record.hours_log
        if each.what == "change"
    ]
    use = record.renewal.use
    if use is not None:
        texts.insert(0, f"{per_year(use)}, told {with_dates(use.told)}.")
    apart = isolating(_names(record))
    return Log(
        rows=[_row(each, apart) for each in record.happenings],
        texts=texts,
        meter_differs=any(each.hours != each.meter_hours for each in record.happenings),
    )


def _names(record: EngineRecord) -> Iterator[str]:
    """Give what a person called things, as it stands in the log's lines."""
    for one in (*record.series, *record.earlier_series):
        yield from (str(one.info[key] or "") for key in ("device", "position"))
    past = [each.record for each in record.earlier_installations]
    for its in (*past, record.installation_record):
        yield from (each.name for each in its.readings) if its else ()
    yield from (each.about for each in record.corrections)


def _row(one: Happening, apart: Callable[[str], str]) -> Row:
    words = apart(with_dates(one.words))
    if one.states:
        *before, now = (STATE_WORDS.get(state, state) for state in one.states)
        was = f", before that: {before[0].lower()}" if before else ", judged for the first time"
        words = f"{now}{was}; {words}"
    return Row(
        date=one.date,
        hours=_told(one.hours),
        meter_hours=_told(one.meter_hours),
        what=_KINDS.get(one.what, capital(one.what)),
        state=one.states[-1] if one.states else "",
        words=capital(words),
        own=one.own,
    )


def _told(value: float | None) -> str:
    """Return whole hours, or tenths where they were read."""
    if value is None:
        return NOTHING
    return fixed(value, 0 if value == round(value) else 1)
