"""When the damper is due and when to record next, with the honest range of what is only likely."""

import datetime as dt

from vibetrend.checkup.records import EngineRecord
from vibetrend.installation import Renewal
from vibetrend.installation.renewal import CLOCK
from vibetrend.installation.use import Reached, Use
from vibetrend.report.statement import Statement
from vibetrend.report.words import RENEWAL_WORDS, date, hours, with_dates
from vibetrend.trend import phrases
from vibetrend.trend.guidance import NEEDED

_START = "Start the installation record, so that the damper's age is known: "
_NEAR_DAYS = 500  # a day nearer than this is told by its month, another by the third of its year


def renewal(record: EngineRecord, today: dt.date) -> Statement:
    """Return when the damper is to be renewed, the earlier of hours and date named first."""
    found = record.renewal
    text = _due(found, record)
    fitted = record.installation_date is not None
    told = [*_first(found, counted_to(record, today)), *_counts(found, record)] if fitted else []
    return Statement(
        label="Damper renewal",
        state=f"renewal-{found.state}",
        words=RENEWAL_WORDS.get(found.state, found.state),
        text=text,
        more=(*told, *(with_dates(remark) for remark in found.remarks)),
    )


def counted_to(record: EngineRecord, today: dt.date) -> dt.date:
    """Return the day that counts as now: today, unless something was entered of a later one."""
    return max(today, record.latest_day or today)


def clock(record: EngineRecord) -> list[str]:
    """Return the remark that tells a day entered which has not come yet, where there is one."""
    return [with_dates(each) for each in record.renewal.remarks if each.startswith(CLOCK)]


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


def _first(found: Renewal, today: dt.date) -> list[str]:
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
        said.append(f"{per_year(use)}, {hours(found.due_hours)} {_come(reached, today)}")
    return [": ".join(said[:1] + [_small(each) for each in said[1:]]) + "."] if said else []


def per_year(use: Use) -> str:
    """Return e.g. ``At the use so far, about 180 h a year (90 to 260)``."""
    rate, low, high = (_two_digits(value) for value in (use.hours_per_year, use.low, use.high))
    return f"At the use so far, about {rate}\N{NO-BREAK SPACE}h a year ({low} to {high})"


def _come(reached: Reached, today: dt.date) -> str:
    """Return when hours come; no day that has passed is told as one to come."""
    if reached.early is None or reached.early > today:
        return f"come {between(reached, today)}"
    if reached.late is None:
        return "may have come already"
    if reached.late > today:
        return f"may have come already, and come by {_about(reached.late, today)} at the latest"
    return "have most likely come by now"


def between(reached: Reached, today: dt.date) -> str:
    """Return a range of dates as rough as it is known."""
    if reached.early is None:
        return "not within the next 30 years"
    early = _about(reached.early, today)
    if reached.late is None:
        return f"in {early} at the earliest"
    late = _about(reached.late, today)
    return f"in {early}" if late == early else f"between {early} and {late}"


def _about(day: dt.date, today: dt.date) -> str:
    """Return a month, or which third of a year; seasons differ around the world."""
    if (day - today).days < _NEAR_DAYS:
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
    """Return the remarks on the damper itself: not those on how much it is used, on the clock."""
    of_use = found.use.doubt if found.use else ""
    return [each for each in found.remarks if each != of_use and not each.startswith(CLOCK)]


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


def _two_digits(value: float) -> str:
    return f"{float(f'{value:.2g}'):.0f}"


# The next check-up


def next_recording(record: EngineRecord, made_on: dt.date) -> Statement | None:
    """Return when to record again, in hours and as a date guessed from past use."""
    due = record.status.get("next_recording_hours")
    now = record.status.get("hours")
    today = counted_to(record, made_on)
    if due is None:
        return None
    if now is None or due <= now:
        words, text = _now(record)
        return Statement(label="Next check-up", state="next", words=words, text=text)
    text = f"That is {hours(due - now)} from the hours last known"
    reached = record.next_recording
    if reached is not None and reached.middle is not None and reached.middle > today:
        text += f", around {date(reached.middle)} if the engine runs as much as until now"
    more = []
    if reached is not None and reached.late is not None and reached.late <= today:
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
