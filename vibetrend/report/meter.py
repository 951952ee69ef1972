"""The log of engine hours as the page shows it."""

import datetime as dt
from dataclasses import dataclass
from itertools import groupby

from vibetrend.checkup.records import EngineRecord
from vibetrend.report.due import per_year
from vibetrend.report.words import date, fixed, hours, with_dates

_WHAT = {
    "recording": "recording",
    "work": "work",
    "installation": "damper fitted or found",
    "reading": "hour meter read",
    "change": "hour meter changed",
}


@dataclass(frozen=True, kw_only=True)
class Known:
    """What was known of the hours at one time."""

    date: dt.date
    hours: str
    meter_hours: str
    what: str


@dataclass(frozen=True, kw_only=True)
class HoursLog:
    """All that is known of an engine's hours, newest first."""

    rows: list[Known]
    texts: list[str]  # how much it is used, and what became of the meter
    meter_differs: bool  # somewhere the meter showed other than true hours


def hours_log(record: EngineRecord) -> HoursLog | None:
    """Return the log; None where nothing is known."""
    if not record.hours_log:
        return None
    rows = []
    for (day, true, meter), same in groupby(
        record.hours_log, key=lambda each: (each.date, each.hours, each.meter_hours)
    ):
        kinds = dict.fromkeys(_WHAT.get(each.what, each.what) for each in same)
        rows.append(
            Known(date=day, hours=_told(true), meter_hours=_told(meter), what=", ".join(kinds))
        )
    texts = [
        f"On {date(each.date)} the hour meter was changed: it showed {hours(each.meter_hours)} "
        f"when the engine had run {hours(each.hours)}."
        for each in record.hours_log
        if each.what == "change"
    ]
    use = record.renewal.use
    if use is not None:
        texts.insert(0, f"{per_year(use)}, told {with_dates(use.told)}.")
    return HoursLog(
        rows=rows[::-1],
        texts=texts,
        meter_differs=any(each.hours != each.meter_hours for each in record.hours_log),
    )


def _told(value: float) -> str:
    """Return whole hours, or tenths where they were read."""
    return fixed(value, 0 if value == round(value) else 1)
