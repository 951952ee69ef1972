"""When the damper is due and when to record next, with the honest range of what is only likely."""

import datetime as dt

from vibetrend.checkup.records import EngineRecord
from vibetrend.installation import Renewal
from vibetrend.installation.use import Reached, Use
from vibetrend.report.statement import Statement
from vibetrend.report.words import RENEWAL_WORDS, date, hours, with_dates
from vibetrend.trend import phrases
from vibetrend.trend.guidance import NEEDED

_START = "Start the installation record, so that the damper's age is known: "
_NEAR_DAYS = 500  # a range that begins nearer is told in months, others in thirds of years


def renewal(record: EngineRecord) -> Statement:
    """Return when the damper is to be renewed, the earlier of hours and date named first."""
    found = record.renewal
    text = _due(found, record)
    more = [] if record.installation_date is None else [
        *_first(found),
        *_counts(found, record),
        *(with_dates(remark) for remark in found.remarks),
    ]  # fmt: skip
    return Statement(
        label="Damper renewal",
        state=f"renewal-{found.state}",
        words=RENEWAL_WORDS.get(found.state, found.state),
        text=text,
        more=tuple(more),
    )


def _due(found: Renewal, record: EngineRecord) -> str:
    if record.installation_date is None:
        return f"{_START}vibetrend installation start."
    due = []
    if found.due_hours is not None:
        due.append(f"at {_on_meter(found.due_hours, record)}")
    if found.due_date is not None:
        due.append(f"on {date(found.due_date)}")
    if found.first == "date":
        due.reverse()
    if not due:
        if record.as_found and _doubts(found):
            return "How much of the maker's interval is used up is not known."
        return (
            "The interval is not in the engine file: write the maker's hours and years into it "
            "(renew_hours and renew_years)."
        )
    when = ", or ".join(due) + (", whichever comes first" if len(due) == 2 else "")
    if found.state == "overdue":
        return f"The damper was to be renewed {when}. No trend extends that interval."
    return f"The damper is to be renewed {when}, whatever the trend says."


def _on_meter(value: float, record: EngineRecord) -> str:
    """Return engine hours, and what the meter shows then where that differs."""
    if not record.meter_offset:
        return hours(value)
    return f"{hours(value)} ({hours(value - record.meter_offset)} on the meter)"


def _first(found: Renewal) -> list[str]:
    """Return which comes first, how surely, and when the hours are reached."""
    both = found.due_date is not None and found.due_hours is not None
    said = []
    if both and found.state != "overdue":
        name = {"date": "The date {} first", "hours": "The hours {} first"}.get(found.first or "")
        verb = "come" if found.first == "hours" else "comes"
        surely = verb if found.first_certain else f"probably {verb}"
        said.append(name.format(surely) if name else "Which comes first cannot be told yet")
    reached, use = found.hours_reached, found.use
    if found.due_hours is not None and reached and use and found.due_hours > use.hours:
        said.append(f"{per_year(use)}, {hours(found.due_hours)} come {between(reached, use.date)}")
    return [": ".join(said[:1] + [_small(each) for each in said[1:]]) + "."] if said else []


def per_year(use: Use) -> str:
    """Return e.g. ``At the use so far, about 180 h a year (90 to 260)``."""
    rate, low, high = (_two_digits(value) for value in (use.hours_per_year, use.low, use.high))
    return f"At the use so far, about {rate}\N{NO-BREAK SPACE}h a year ({low} to {high})"


def between(reached: Reached, known_on: dt.date) -> str:
    """Return a range of dates as rough as it is known."""
    if reached.early is None:
        return "not within the next 30 years"
    near = (reached.early - known_on).days < _NEAR_DAYS
    early = _about(reached.early, near)
    if reached.late is None:
        return f"in {early} at the earliest"
    late = _about(reached.late, near)
    return f"in {early}" if late == early else f"between {early} and {late}"


def _about(day: dt.date, near: bool) -> str:
    """Return a month, or which third of a year; seasons differ around the world."""
    if near:
        return f"{day:%B %Y}"
    return f"{('early', 'mid', 'late')[(day.month - 1) // 4]} {day.year}"


def _counts(found: Renewal, record: EngineRecord) -> list[str]:
    """Return from when hours and years count."""
    said = []
    if found.due_date is not None and found.years_from is not None:
        made = found.years_from == found.made_on and found.years_from != record.installation_date
        what = "the day it was made," if made else "the fitting on"
        said.append(f"years count from {what} {date(found.years_from)}")
    if found.due_hours is not None and record.installation_hours is not None:
        verb = "" if said else " count"
        said.append(f"hours{verb} from {hours(record.installation_hours)}, when it was fitted")
    return [f"{phrases.capital(', '.join(said))}."] if said else []


def _doubts(found: Renewal) -> list[str]:
    """Return the remarks on the damper itself, without those on how much it is used."""
    of_use = found.use.doubt if found.use else ""
    return [remark for remark in found.remarks if remark != of_use]


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


def _two_digits(value: float) -> str:
    return f"{float(f'{value:.2g}'):.0f}"


# The next check-up


def next_recording(record: EngineRecord, made_on: dt.date) -> Statement | None:
    """Return when to record again, in hours and as a date guessed from past use."""
    due = record.status.get("next_recording_hours")
    now = record.status.get("hours")
    if due is None:
        return None
    if now is None or due <= now:
        words, text = _now(record)
        return Statement(label="Next check-up", state="next", words=words, text=text)
    text = f"That is {hours(due - now)} from the hours last known"
    reached = record.next_recording
    if reached is not None and reached.middle is not None and reached.middle > made_on:
        text += f", around {date(reached.middle)} if the engine runs as much as until now"
    more = []
    if reached is not None and reached.late is not None and reached.late <= made_on:
        more.append("By the use so far these hours may have been reached: read the meter.")
    if record.meter_offset:
        more.append(f"The meter will show {hours(due - record.meter_offset)} then.")
    return Statement(
        label="Next check-up",
        state="next",
        words=f"At {hours(due)}",
        text=f"{text}.",
        more=tuple(more),
    )


_FIRST = {
    "no-baseline": "Take the baseline: three placements on each of three days.",
    "record-again": "Take the latest recording again.",
    "all-moved": "Look at the phone, its spot and the mounts first.",
    "past-limit": "Have the parts and the damper looked at first.",
}
_RUN_IN = "Read the belt after its run-in first and tension it anew where needed."
_ANOTHER_DAY = "On another day"


def _now(record: EngineRecord) -> tuple[str, str]:
    """Return when to record where a question is open, and what."""
    state = str(record.status.get("state"))
    if state == "another-day":
        return _ANOTHER_DAY, "Within a week."
    if state == "learning":
        # The judge's guidance knows what the baseline lacks.
        said = [text for one in record.series if not one.ended for text in one.verdict.advice]
        lacks = [text for text in said if text.startswith(NEEDED)]
        text = lacks[0].removeprefix(NEEDED) if lacks else "complete the baseline."
        text = phrases.capital(text)
        return "Now" if "today" in text else _ANOTHER_DAY, text
    found = record.installation_record
    if state == "no-baseline" and found is not None and found.belts_settled is False:
        return "After the run-in", f"{_RUN_IN} {_FIRST[state]}"
    return "Now", _FIRST.get(state, "The limit may be near.")
