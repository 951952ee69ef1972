"""When a damper is due for renewal: by engine hours or by years, whichever comes first."""

import calendar
import datetime as dt
from dataclasses import dataclass
from typing import Any, Literal

from vibetrend.engine import Damper

SOON_HOURS = 250.0  # common practice, no source: time to order a damper and find a yard
SOON_DAYS = 90
_FEWEST_DAYS = 30  # of running before hours per day can be told


@dataclass(frozen=True, kw_only=True)
class Renewal:
    """What the maker's interval says, whatever the trend says."""

    state: Literal["unknown", "ok", "due-soon", "overdue"]
    due_date: dt.date | None
    due_hours: float | None
    first: Literal["hours", "date"] | None  # which of the two comes first, as far as can be told
    expected_hours: float | None = None  # engine hours then: `due_hours`, or those of `due_date`
    # at the use so far where they are fewer; None where neither can be told

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "state": self.state,
            "due_date": self.due_date.isoformat() if self.due_date else None,
            "due_hours": self.due_hours,
            "first": self.first,
        }


def renewal(
    damper: Damper,
    *,
    fitted_date: dt.date,
    fitted_hours: float,
    today: dt.date,
    hours: float,
    hours_date: dt.date,
) -> Renewal:
    """Return when a damper is due.

    Parameters
    ----------
    damper : Damper
        With the maker's `renew_hours` and `renew_years`; without either the state is unknown.
    fitted_date, fitted_hours
        When it was fitted, and at how many engine hours.
    today
        Now.
    hours, hours_date
        The engine hours last known, and when they were read; use is told from these.
    """
    due_hours = None if damper.renew_hours is None else fitted_hours + damper.renew_hours
    due_date = None if damper.renew_years is None else _years_on(fitted_date, damper.renew_years)
    left: dict[Literal["hours", "date"], float] = {}  # days until each limit
    days = (hours_date - fitted_date).days
    per_day = (hours - fitted_hours) / days if days >= _FEWEST_DAYS else 0.0
    soon = over = False
    expected = [] if due_hours is None else [due_hours]
    if due_date is not None:
        left["date"] = (due_date - today).days
        over |= today >= due_date
        soon |= left["date"] <= SOON_DAYS
        if per_day > 0:
            expected.append(fitted_hours + per_day * (due_date - fitted_date).days)
    if due_hours is not None:
        over |= hours >= due_hours
        soon |= due_hours - hours <= SOON_HOURS
        if hours >= due_hours:
            left["hours"] = 0.0
        elif per_day > 0:
            left["hours"] = (due_hours - hours) / per_day - (today - hours_date).days
        elif due_date is None:
            left["hours"] = float("inf")
    comparable = due_hours is None or "hours" in left
    return Renewal(
        state="unknown"
        if due_date is None and due_hours is None
        else ("overdue" if over else "due-soon" if soon else "ok"),
        due_date=due_date,
        due_hours=due_hours,
        first=min(left.items(), key=lambda item: item[1])[0] if left and comparable else None,
        expected_hours=min(expected, default=None),
    )


def _years_on(date: dt.date, years: float) -> dt.date:
    """Return the date some years on; 29 February becomes 28 where there is none."""
    months = date.month - 1 + round(12 * years)
    year, month = date.year + months // 12, months % 12 + 1
    return date.replace(year, month, min(date.day, calendar.monthrange(year, month)[1]))
