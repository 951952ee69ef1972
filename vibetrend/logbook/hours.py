"""Engine hours: what the meter showed, what that is in all, and hours that cannot be."""

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

import sqlalchemy as sa

from vibetrend import hour_meter
from vibetrend.errors import LogbookError
from vibetrend.hour_meter import DAY_HOURS, MeterChange
from vibetrend.logbook import counting

ROUNDING = 1e-6
"""Hours that a sum may be off by."""

_NAMES = {
    "work": "the work",
    "installation": "the installation",
    "reading": "the meter reading",
    "change": "the meter change",
}


@dataclass(frozen=True)
class KnownHours:
    """Hours that the logbook knows of an engine, wherever from."""

    date: dt.date
    hours: float  # true engine hours
    meter_hours: float  # what the meter showed; of a change, the new one
    what: Literal["recording", "work", "installation", "reading", "change"]
    label: str = ""  # of a recording, its short id
    key: int = 0  # of the row it is from

    def __str__(self) -> str:
        name = f"recording {self.label}" if self.what == "recording" else _NAMES[self.what]
        shown = self.hours if self.what == "change" else self.meter_hours
        return f"{name} of {self.date} at {in_words(self.hours, shown)}"


def in_words(hours: float, shown: float) -> str:
    """Return hours as the person reads them, and in all where that differs."""
    if abs(hours - shown) <= ROUNDING:
        return f"{hours:g} h"
    return f"{shown:g} h on the meter ({hours:g} h in all)"


def check_hours(hours: float) -> None:
    """Refuse what cannot be engine hours."""
    if not 0 <= hours < math.inf:
        raise LogbookError(f"{hours:g} cannot be engine hours; give a number from 0 up")


def shown_then(table: sa.FromClause) -> sa.ColumnElement[float]:
    """Return what the meter showed, for queries; rows from before it was kept have hours alone."""
    return sa.func.coalesce(table.c.meter_hours, table.c.hours)


def changes(connection: sa.Connection, engine_id: int) -> list[MeterChange]:
    """Return the changes of an engine's hour meter, by date."""
    return [
        MeterChange(dt.date.fromisoformat(row.date), row.shown, row.after, row.what)
        for row in meter_rows(connection, engine_id)
        if row.what in hour_meter.CHANGES
    ]


def meter_rows(connection: sa.Connection, engine_id: int) -> list[sa.Row[Any]]:
    """Return the rows of an engine's hour meter, by date."""
    table = counting.meter
    query = sa.select(table).where(table.c.engine_id == engine_id)
    return list(connection.execute(query.order_by(table.c.date, table.c.id)))


def true_hours(connection: sa.Connection, engine_id: int, date: dt.date, shown: float) -> float:
    """Return the true engine hours when the meter showed this.

    Raises
    ------
    LogbookError
        If it is no number of hours.
    """
    check_hours(shown)
    return hour_meter.true_hours(changes(connection, engine_id), date, shown)


def known(connection: sa.Connection, engine_id: int) -> list[KnownHours]:
    """Return all that is known of an engine's hours, by date, then hours."""
    queries = [
        sa.select(
            sa.literal(what).label("what"),
            label.label("label"),
            table.c.id,
            table.c.date,
            table.c.hours,
            shown_then(table).label("shown"),
        ).where(table.c.engine_id == engine_id)
        for what, table, label in (
            ("recording", counting.recording, counting.recording.c.label),
            ("work", counting.work, sa.literal("")),
            ("installation", counting.installation, sa.literal("")),
        )
    ]
    found = [
        KnownHours(
            dt.date.fromisoformat(row.date), row.hours, row.shown, row.what, row.label, row.id
        )
        for row in connection.execute(sa.union_all(*queries))
    ]
    changed = changes(connection, engine_id)
    found += [
        KnownHours(each.date, then, each.after, "change")
        for each, then in zip(changed, hour_meter.change_hours(changed), strict=True)
    ]
    for row in meter_rows(connection, engine_id):
        if row.what == "reading":
            date = dt.date.fromisoformat(row.date)
            then = hour_meter.true_hours(changed, date, row.shown)
            found.append(KnownHours(date, then, row.shown, "reading"))
    return sorted(found, key=lambda each: (each.date, each.hours))


def contradiction(past: Iterable[KnownHours], date: dt.date, hours: float) -> KnownHours | None:
    """Return what hours run back against, or ran faster from than a clock: the nearest in date."""

    def cannot_be(other: KnownHours) -> bool:
        days = (date - other.date).days
        run = hours - other.hours
        back = days * run < 0 and abs(run) > ROUNDING
        return back or abs(run) > DAY_HOURS * (abs(days) + 1) + ROUNDING

    return min(filter(cannot_be, past), key=lambda each: abs(date - each.date), default=None)


def refuse_impossible(
    connection: sa.Connection,
    engine_id: int,
    date: dt.date,
    hours: float,
    shown: float,
    *,
    without: tuple[str, int] | None = None,
) -> None:
    """Refuse true hours that run back against the date, or faster than a clock does.

    `without` leaves out what they are of: its kind and its key.
    """
    past = [each for each in known(connection, engine_id) if (each.what, each.key) != without]
    other = contradiction(past, date, hours)
    if other is not None:
        raise LogbookError(
            f"{date} at {in_words(hours, shown)} contradicts {other}: engine hours only grow, and "
            f"by 24 a day at most; correct --hours or --date. If the meter was replaced or rolled "
            f"over, enter that first: vibetrend meter replace"
        )
