"""Engine hours: what the meter showed, what that is in all, and hours that cannot be."""

import datetime as dt
import math
from collections.abc import Collection, Iterable
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

    @property
    def row(self) -> tuple[str, int]:
        """The table and the key of the row it is from."""
        return "meter" if self.what in ("reading", "change") else self.what, self.key

    @property
    def id(self) -> str:
        """What a correction names it by."""
        return self.label or "{}-{}".format(*self.row)

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
    at_changes = zip(changed, hour_meter.change_hours(changed), strict=True)
    for row in meter_rows(connection, engine_id):
        date = dt.date.fromisoformat(row.date)
        if row.what == "reading":
            then = hour_meter.true_hours(changed, date, row.shown)
            found.append(KnownHours(date, then, row.shown, "reading", key=row.id))
        else:
            change, then = next(at_changes)
            found.append(KnownHours(date, then, change.after, "change", key=row.id))
    return sorted(found, key=lambda each: (each.date, each.hours))


def contradiction(past: Iterable[KnownHours], date: dt.date, hours: float) -> KnownHours | None:
    """Return what hours run back against, or ran faster from than a clock: the nearest in date."""

    def cannot_be(other: KnownHours) -> bool:
        days = (date - other.date).days
        run = hours - other.hours
        back = days * run < 0 and abs(run) > ROUNDING
        return back or abs(run) > DAY_HOURS * (abs(days) + 1) + ROUNDING

    return min(filter(cannot_be, past), key=lambda each: abs(date - each.date), default=None)


def refuse_contradictions(
    connection: sa.Connection,
    engine_id: int,
    changed: Collection[tuple[str, int]],
    *,
    because: str,
    instead: str,
) -> None:
    """Refuse what made rows' hours, given by table and key, such that they cannot all be.

    The first of them is told first: it is what the person can correct.
    """
    past = known(connection, engine_id)
    order = {row: place for place, row in enumerate(changed)}
    for each in sorted((each for each in past if each.row in order), key=lambda e: order[e.row]):
        other = contradiction(past, each.date, each.hours)
        if other is not None:
            named = other if other.label else f"{other} ({other.id})"
            raise LogbookError(
                f"{because}, {each} would contradict {named}: engine hours only grow, and by 24 a "
                f"day at most; {instead}"
            )


def refuse_impossible(
    connection: sa.Connection, engine_id: int, date: dt.date, hours: float, shown: float
) -> None:
    """Refuse true hours that run back against the date, or faster than a clock does."""
    other = contradiction(known(connection, engine_id), date, hours)
    if other is not None:
        raise LogbookError(
            f"{date} at {in_words(hours, shown)} contradicts {other}: engine hours only grow, and "
            f"by 24 a day at most; correct --hours or --date. If the meter was replaced or rolled "
            f"over, enter that first: vibetrend meter replace"
        )
