"""Records -> a calendar file (iCalendar, RFC 5545) that ordinary calendar programs open.

Each engine has up to three entries: the damper due by date, about when it is due by hours, and
about when to record again. Importing a newer file moves the entries of an older one: they keep
their UID, and SEQUENCE grows with the time the file was made.
"""

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from icalendar import Alarm, Calendar, Event

from vibetrend.checkup.records import EngineRecord
from vibetrend.errors import VibetrendError
from vibetrend.installation.renewal import SOON_DAYS, Renewal
from vibetrend.installation.use import Reached
from vibetrend.report import words
from vibetrend.report.due import clock, counted_to
from vibetrend.report.isolating import isolated
from vibetrend.trend.advice import CAUTIONS

RENEWAL_ALARMS = (SOON_DAYS, 14)  # days before: time to order a damper, and to find a day
CHECKUP_ALARMS = (7,)
_MORNING = 9  # o'clock
MAKERS_WORD = "The maker's interval stands above any trend."

_SPACE = uuid.UUID("6e0d9d0c-3f0a-5a53-9c43-2b8d9a2f7d11")  # of the names that UIDs are made from


@dataclass(frozen=True, kw_only=True)
class _Entry:
    key: str  # what it is about, the same in every file
    date: dt.date
    title: str
    lines: list[str]
    alarms: tuple[int, ...]  # days before

    def rings(self, made_at: dt.datetime) -> list[dt.timedelta]:
        """Return when its alarms ring, after midnight of its day: those that still lie ahead.

        Where none does, one rings in the morning of the day itself, or within the hour if that
        morning is over.
        """
        today = made_at.date()
        ahead = [dt.timedelta(days=-each) for each in self.alarms]
        ahead = [each for each in ahead if self.date + each > today]
        over = made_at.hour + 1 if self.date == today else 0
        return ahead or [dt.timedelta(hours=max(_MORNING, over))]


def calendar(records: Sequence[EngineRecord], *, made_at: dt.datetime) -> str:
    """Return a calendar as text with the line ends that RFC 5545 asks for.

    Write it with ``newline=""`` or as bytes, so that these stay. What has no date is not in it:
    `left_out` says what and why.

    Parameters
    ----------
    made_at : datetime
        The clock; what is past due stands on its day. Local time where it has no zone.

    Raises
    ------
    VibetrendError
        If nothing has a date: a calendar file without an entry is none (RFC 5545, 3.6).
    """
    today = made_at.date()
    entries = [(record, entry) for record in records for entry in _planned(record, today)[0]]
    if not entries:
        why = " ".join(left_out(records, made_at=made_at)) or "There is no engine."
        raise VibetrendError(f"there is nothing to put into a calendar. {why}")
    found = Calendar()
    found.add("prodid", "-//vibetrend//vibetrend//EN")
    found.add("version", "2.0")
    for record, entry in entries:
        found.add_component(_event(record, entry, made_at))
    return bytes(found.to_ical()).decode("utf-8")


def left_out(records: Sequence[EngineRecord], *, made_at: dt.datetime) -> list[str]:
    """Return what has no date and is not in the calendar, and why, one sentence each."""
    today = made_at.date()
    return [
        f"{isolated(record.engine.name)}: {why}"
        for record in records
        for why in _planned(record, today)[1]
    ]


def _event(record: EngineRecord, entry: _Entry, made_at: dt.datetime) -> Event:
    name = record.engine.name
    fitted = f"{record.installation_date} {record.installation_hours}"
    stamp = made_at.astimezone(dt.UTC).replace(microsecond=0)
    event = Event()
    # 3.8.4.7: the same in every file as long as the damper is; another damper has its own.
    event.add("uid", str(uuid.uuid5(_SPACE, "\n".join([name, fitted, entry.key]))))
    event.add("dtstamp", stamp)  # 3.8.7.2: UTC
    event.add("last-modified", stamp)
    event.add("sequence", int(stamp.timestamp()) // 60)  # 3.8.7.4: of a newer file it is greater
    event.add("dtstart", entry.date)  # a date alone lasts that day, 3.6.1
    event.add("transp", "TRANSPARENT")  # it takes no time of the day
    event.add("summary", f"{isolated(name)}: {entry.title}")
    event.add("description", "\n".join([*dict.fromkeys(entry.lines), "", *CAUTIONS]))
    for rings in entry.rings(made_at):
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", f"{isolated(name)}: {entry.title}")
        alarm.add("trigger", rings)
        event.add_component(alarm)
    return event


def _planned(record: EngineRecord, today: dt.date) -> tuple[list[_Entry], list[str]]:
    """Return an engine's entries, and why others have none."""
    today = counted_to(record, today)
    entries: list[_Entry] = []
    missing: list[str] = []
    for each in (_by_date, _by_hours, _checkup):
        found = each(record, today)
        if isinstance(found, str):
            missing.append(found)
        else:
            entries.append(found)
    return entries, missing


def _by_date(record: EngineRecord, today: dt.date) -> _Entry | str:
    due = record.renewal
    if due is not None and _on_too_long(due, today):
        return _Entry(
            key="renewal by date",
            date=today,
            title="renew the crankshaft damper, overdue",
            lines=_about_damper(record, due),
            alarms=RENEWAL_ALARMS,
        )
    if due is None or due.due_date is None:
        return (
            "no renewal by date, because the damper's age or its maker's years are not known; "
            "state them in the installation record and the engine file."
        )
    on = words.date(due.due_date)
    late = due.due_date <= today
    return _Entry(
        key="renewal by date",
        date=max(due.due_date, today),
        title=f"renew the crankshaft damper, {'overdue since' if late else 'due on'} {on}",
        lines=[
            f"By its maker's years the damper {'was' if late else 'is'} due on {on}.",
            *_which_first(due),
            *_about_damper(record, due),
        ],
        alarms=RENEWAL_ALARMS,
    )


def _on_too_long(due: Renewal, today: dt.date) -> bool:
    """Say whether it is overdue by neither day nor hours of its own: found long enough ago."""
    by_date = due.due_date is not None and due.due_date <= today
    return due.state == "overdue" and not by_date and due.due_hours is None


def _by_hours(record: EngineRecord, today: dt.date) -> _Entry | str:
    due = record.renewal
    if due is None or due.due_hours is None:
        return (
            "no renewal by hours, because the damper's own hours or its maker's hours are not "
            "known; state them in the installation record and the engine file."
        )
    at = _hours(record, due.due_hours)
    known = record.status["hours"]
    if known is not None and known >= due.due_hours:
        title, date = f"renew the crankshaft damper, overdue since {at}", today
        said = f"By its maker's hours the damper was due at {at}; the engine has run longer."
    elif due.hours_reached is None:
        return (
            f"no date for the renewal at {at}, because nothing is known of the hours a year; enter "
            f"what the hour meter shows, twice at least and some months apart."
        )
    elif due.hours_reached.middle is None:
        return f"no date for the renewal at {at}: not within 30 years by the use so far."
    elif due.hours_reached.middle <= today:
        title, date = f"read the hour meter: the damper is due at {at}", today
        said = f"By the use so far the {at} may have been reached by now. Read the hour meter."
    else:
        date = due.hours_reached.middle
        title = f"about due: renew the crankshaft damper, {_expected(at, date)}"
        said = f"The damper is due at {at}. {_range(due.hours_reached)}"
    return _Entry(
        key="renewal by hours",
        date=date,
        title=title,
        lines=[said, *_use(due), *_which_first(due), *_about_damper(record, due)],
        alarms=RENEWAL_ALARMS,
    )


def _checkup(record: EngineRecord, today: dt.date) -> _Entry | str:
    hours = record.status["next_recording_hours"]
    reached = record.next_recording
    if hours is None:
        return "no next check-up, because its hours are not known; enter what the hour meter shows."
    at = _hours(record, hours)
    if reached is None or reached.middle is None:
        return (
            f"no date for the next check-up at {at}, because nothing is known of the hours a "
            f"year; record again then."
        )
    if hours <= (record.status["hours"] or 0.0):
        title, said = "record the engine again now", [f"The next check-up is due now, at {at}."]
    else:
        title = f"about due: record the engine again, {_expected(at, reached.middle)}"
        said = [f"The next check-up is due at {at}. {_range(reached)}", *_use(record.renewal)]
    return _Entry(
        key="check-up",
        date=max(reached.middle, today),
        title=title,
        lines=[*said, *clock(record), "Same spot, same speed, warm, out of gear."],
        alarms=CHECKUP_ALARMS,
    )


def _expected(at: str, date: dt.date) -> str:
    return f"{at} expected around {words.date(date)}"


def _range(reached: Reached) -> str:
    late = "a day beyond 30 years" if reached.late is None else words.date(reached.late)
    early = words.date(reached.early)
    return (
        f"The day is told from the use so far: in nine of ten cases it lies between {early} and "
        f"{late}. The hour meter decides."
    )


def _use(due: Renewal | None) -> list[str]:
    use = due.use if due else None
    if use is None:
        return []
    year = (
        f"Use: about {_rough(use.hours_per_year)} hours a year (nine years in ten "
        f"{_rough(use.low)} to {_rough(use.high)}), {use.told}."
    )
    return [year, words.with_dates(use.doubt)] if use.doubt else [year]


def _which_first(due: Renewal) -> list[str]:
    if due.due_date is None or due.due_hours is None or due.first is None:
        return []
    first = "the hours come" if due.first == "hours" else "the date comes"
    likely = "" if due.first_certain else "probably "
    return [f"Whichever comes first, date or hours: {likely}{first} first."]


def _about_damper(record: EngineRecord, due: Renewal) -> list[str]:
    fitted = "found on the engine" if record.as_found else "fitted"
    said = []
    if record.installation_date is not None and record.installation_hours is not None:
        said.append(
            f"The damper was {fitted} on {words.date(record.installation_date)} at "
            f"{_hours(record, record.installation_hours)}."
        )
    if due.made_on is not None:
        counted = " and its years count from then" if due.years_from == due.made_on else ""
        said.append(f"It was made on {words.date(due.made_on)}{counted}.")
    return [*said, *(words.with_dates(remark) for remark in due.remarks), MAKERS_WORD]


def _hours(record: EngineRecord, hours: float) -> str:
    """Return true engine hours, and of those to come what the meter shows then if it differs."""
    if round(record.meter_offset) == 0 or hours < (record.status["hours"] or 0.0):
        return words.hours(hours)
    return f"{words.hours(hours)} ({words.hours(hours - record.meter_offset)} on the meter)"


def _rough(value: float) -> str:
    """Return a number with two digits."""
    return f"{float(f'{value:.2g}'):.0f}" if value >= 10 else f"{value:.1f}"
