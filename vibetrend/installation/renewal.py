"""When a damper is due for renewal: by engine hours or by years, whichever comes first."""

import calendar
import datetime as dt
import math
from dataclasses import dataclass
from typing import Any, Literal

from vibetrend.engine import Damper
from vibetrend.installation.use import READ_IT, HoursThen, Reached, Use
from vibetrend.installation.use import use as told_by

SOON_HOURS = 250.0  # common practice, no source: time to order a damper and find a yard
SOON_DAYS = 90
SHELF_DAYS = 365  # on the shelf before it is said that rubber ages there; common practice
CLOCK = "This computer's clock says "
"""Begins the remark that tells a day entered which has not come yet."""


@dataclass(frozen=True, kw_only=True)
class Renewal:
    """What the maker's interval says, whatever the trend says."""

    state: Literal["unknown", "ok", "due-soon", "overdue"]
    due_date: dt.date | None
    due_hours: float | None
    first: Literal["hours", "date"] | None  # which of the two comes first, as far as can be told
    first_certain: bool = False  # in nine of ten cases or more; else `first` is only likely
    expected_hours: float | None = None  # engine hours then: `due_hours`, or those of `due_date`
    # at the use so far where they are fewer; None where neither can be told
    made_on: dt.date | None = None
    years_from: dt.date | None = None  # the day the years count from: made, or fitted
    use: Use | None = None  # None where nothing can be told of it
    hours_reached: Reached | None = None  # when `due_hours` are; None without hours or use
    remarks: tuple[str, ...] = ()  # what is in doubt, plain sentences

    @property
    def expected_date(self) -> dt.date | None:
        """When it is likely due: by date, or by hours at the use so far if that is before."""
        by_hours = self.hours_reached.middle if self.hours_reached else None
        return min((date for date in (self.due_date, by_hours) if date), default=None)

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        reached = self.hours_reached or Reached(middle=None, early=None, late=None)
        return {
            "state": self.state,
            "due_date": _text(self.due_date),
            "due_hours": self.due_hours,
            "first": self.first,
            "first_certain": self.first_certain,
            "expected_date": _text(self.expected_date),
            "expected_hours": self.expected_hours,
            "due_hours_date": _text(reached.middle),
            "due_hours_date_low": _text(reached.early),
            "due_hours_date_high": _text(reached.late),
            "hours_per_year": self.use and self.use.hours_per_year,
            "hours_per_year_low": self.use and self.use.low,
            "hours_per_year_high": self.use and self.use.high,
            "hours_per_year_told": self.use and self.use.told,
            "hours_per_year_doubt": (self.use and self.use.doubt) or None,
            "made_on": _text(self.made_on),
            "years_from": _text(self.years_from),
            "remarks": list(self.remarks),
        }


def renewal(
    damper: Damper,
    *,
    fitted_date: dt.date,
    fitted_hours: float,
    today: dt.date,
    hours: float,
    hours_date: dt.date,
    as_found: bool = False,
    made_on: dt.date | None = None,
    counts_from: Literal["made", "fitted"] = "fitted",
    use: Use | None = None,
) -> Renewal:
    """Return when a damper is due.

    Parameters
    ----------
    damper : Damper
        With the maker's `renew_hours` and `renew_years`; without either the state is unknown.
    fitted_date, fitted_hours
        When it was fitted, or found on the engine, and at how many true engine hours.
    today
        Now.
    hours, hours_date
        The true engine hours last known, and when they were read.
    as_found
        Whether it was on the engine before: its hours are not known then, and its years only
        if `made_on` is.
    made_on, counts_from
        The day it was made, and whether the maker's years count from it (rubber ages on the
        shelf) or from the fitting. Hours always count from the fitting.
    use : Use, optional
        How much the engine is used; told from the fitting and the hours last known if left out.
    """
    use = use or told_by([(fitted_date, fitted_hours), (hours_date, hours)], today)
    remarks = []
    years_from = made_on if as_found or counts_from == "made" else fitted_date
    due_date = due_hours = None
    if damper.renew_years is not None and years_from is not None:
        due_date = _years_on(years_from, damper.renew_years)
    if damper.renew_hours is not None and not as_found:
        due_hours = fitted_hours + damper.renew_hours

    over = soon = False
    expected = []
    if due_date is not None:
        over |= today >= due_date
        soon |= (due_date - today).days <= SOON_DAYS
        if use is not None:
            expected.append(use.hours_at(due_date).middle)
    if due_hours is not None:
        expected.append(due_hours)
        now = hours if use is None else max(hours, use.hours_at(today).middle)
        over |= hours >= due_hours
        soon |= due_hours - now <= SOON_HOURS
        doubt = use.doubt if use is not None and hours < due_hours else ""
        if doubt:
            remarks.append(doubt)
        if hours < due_hours <= now:
            said = f"By the use so far the {due_hours:.0f} h may have been reached since"
            told = doubt.endswith(READ_IT)  # once is enough
            when = f"{hours_date}." if told else f"the hours were read on {hours_date}: {READ_IT}"
            remarks.append(f"{said} {when}")
    if as_found:
        longer = _longer_than_allowed(damper, fitted_date, fitted_hours, today, hours)
        over |= longer
        remarks += _found(damper, fitted_date, made_on, longer)
    elif made_on is not None and years_from != made_on:
        remarks += _on_the_shelf(made_on, fitted_date)

    first: Literal["hours", "date"] | None = None
    certain = False
    if due_date is not None and due_hours is not None:
        then = _hours_on(due_date, (fitted_date, fitted_hours), (hours_date, hours), use)
        first, certain = _first(then, due_hours)
    elif damper.renew_hours is None or damper.renew_years is None:
        first = "date" if due_date else "hours" if due_hours is not None else None
        certain = first is not None
    told = due_date is not None or due_hours is not None or over
    return Renewal(
        state="overdue" if over else "due-soon" if soon else "ok" if told else "unknown",
        due_date=due_date,
        due_hours=due_hours,
        first=first,
        first_certain=certain,
        expected_hours=min(expected, default=None),
        made_on=made_on,
        years_from=years_from,
        use=use,
        hours_reached=use.when(due_hours) if use and due_hours is not None else None,
        remarks=tuple(remarks),
    )


def clock_doubt(today: dt.date, latest: dt.date) -> list[str]:
    """Return what is to be said where something was entered of a day that has not come yet.

    A day ahead may be no more than another time zone.
    """
    if (latest - today).days <= 1:
        return []
    return [
        f"{CLOCK}{today}, but records reach to {latest}: set the clock, or find the entry whose "
        f"date is wrong; until then the renewal counts from that day."
    ]


def _hours_on(
    date: dt.date, fitted: tuple[dt.date, float], last: tuple[dt.date, float], use: Use | None
) -> HoursThen:
    """Return the hours on a day; without use all that a clock can run is possible."""
    if use is not None:
        return use.hours_at(date)
    if date < last[0]:
        return HoursThen(middle=math.nan, low=fitted[1], high=last[1])
    most = last[1] + 24 * (date - last[0]).days
    return HoursThen(middle=math.nan, low=last[1], high=most)


def _first(
    on_due_date: HoursThen, due_hours: float
) -> tuple[Literal["hours", "date"] | None, bool]:
    """Return which limit comes first, and whether in all nine of ten cases."""
    if on_due_date.low >= due_hours or on_due_date.middle > due_hours:
        return "hours", on_due_date.low >= due_hours
    if on_due_date.high <= due_hours or on_due_date.middle <= due_hours:
        return "date", on_due_date.high <= due_hours
    return None, False


def _longer_than_allowed(
    damper: Damper, found_on: dt.date, found_at: float, today: dt.date, hours: float
) -> bool:
    """Return whether since it was found alone it has been on longer than the maker allows."""
    return (damper.renew_hours is not None and hours - found_at >= damper.renew_hours) or (
        damper.renew_years is not None and today >= _years_on(found_on, damper.renew_years)
    )


def _found(damper: Damper, found_on: dt.date, made_on: dt.date | None, longer: bool) -> list[str]:
    said = []
    if longer:
        said.append(
            f"Since it was found on the engine on {found_on} it has been on longer than its maker "
            f"allows, however old it was then."
        )
    if damper.renew_hours is not None:
        said.append(
            "It was on the engine before the record began, so its own hours are not known: by "
            "hours it may be due earlier."
        )
    if damper.renew_years is not None and made_on is None:
        said.append("Its age is not known either; look for the date it was made and state it.")
    return said


def _on_the_shelf(made_on: dt.date, fitted_date: dt.date) -> list[str]:
    days = (fitted_date - made_on).days
    if days <= SHELF_DAYS:
        return []
    return [
        f"It was made {days / 365.25:.1f} years before it was fitted and its years count from the "
        f"fitting; rubber ages on the shelf, so ask the maker which day counts."
    ]


def _years_on(date: dt.date, years: float) -> dt.date:
    """Return the date some years on; 29 February becomes 28 where there is none."""
    months = date.month - 1 + round(12 * years)
    year, month = date.year + months // 12, months % 12 + 1
    return date.replace(year, month, min(date.day, calendar.monthrange(year, month)[1]))


def _text(date: dt.date | None) -> str | None:
    return date.isoformat() if date else None
