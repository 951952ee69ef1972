"""Corrections one by one: the row an id stands for, and the value that counts instead."""

import datetime as dt
import re
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa

from vibetrend import hour_meter
from vibetrend.errors import LogbookError
from vibetrend.logbook import counting, schema
from vibetrend.logbook import hours as engine_hours
from vibetrend.logbook.chain import add_row
from vibetrend.logbook.plain_text import as_json

WITH_HOURS = ("recording", "installation", "work")
"""Tables whose rows are kept with true hours."""


@dataclass(frozen=True)
class Why:
    """Why something is corrected, who says so, and when."""

    reason: str
    person: str = ""  # "" if not stated
    made_at: str = field(default_factory=schema.now)  # UTC, ISO 8601


@dataclass(frozen=True)
class Kept:
    """The row an id stands for, as it counts now."""

    id: str  # a recording's short id, or "work-3" and so on
    table: str
    row: Any


def find(connection: sa.Connection, entry: str) -> Kept:
    """Return what an id stands for; raises LogbookError where it is of nothing."""
    numbered = re.fullmatch(r"(installation|work|meter|entry)-([1-9][0-9]{0,9})", entry)
    if numbered:
        return by_key(connection, numbered[1], int(numbered[2]))
    table = counting.any_recording
    row = connection.execute(sa.select(table).where(table.c.label == entry)).one_or_none()
    return _found(entry, "recording", row)


def by_key(connection: sa.Connection, name: str, key: int) -> Kept:
    """Return the row of a table with a key; raises LogbookError where there is none."""
    table = counting.ANY[name]
    row = connection.execute(sa.select(table).where(table.c.id == key)).one_or_none()
    return _found(row.label if row and name == "recording" else f"{name}-{key}", name, row)


def _found(entry: str, name: str, row: Any) -> Kept:
    if row is None:
        raise LogbookError(
            f"{entry!r} is not in the logbook; 'vibetrend logbook list' shows every entry with its "
            f"id"
        )
    return Kept(entry, name, row)


def shown(row: Any) -> float:
    """Return what the meter showed at a row; those from before it was kept have hours alone."""
    return float(row.hours if row.meter_hours is None else row.meter_hours)


def amend(connection: sa.Connection, kept: Kept, what: str, now: Any, why: Why) -> Any:
    """Let another value count of a column, and return the row of that correction."""
    was = getattr(kept.row, what)
    key = add_row(
        connection,
        schema.correction,
        table_name=kept.table,
        row_id=kept.row.id,
        what=what,
        was=was if what == "tags" else as_json(was),
        now=as_json(now),
        reason=why.reason,
        person=why.person,
        made_at=why.made_at,
    )
    table = schema.correction
    return connection.execute(sa.select(table).where(table.c.id == key)).one()


def count_hours_anew(connection: sa.Connection, engine_id: int, why: Why) -> list[tuple[str, int]]:
    """Correct all true hours that the hour meter's log now gives otherwise; return their rows."""
    changed = engine_hours.changes(connection, engine_id)
    found: list[tuple[str, int]] = []
    for name in WITH_HOURS:
        table = counting.ANY[name]
        for row in connection.execute(sa.select(table).where(table.c.engine_id == engine_id)).all():
            date = dt.date.fromisoformat(row.date)
            true = hour_meter.true_hours(changed, date, shown(row))
            if abs(true - row.hours) > engine_hours.ROUNDING:
                amend(connection, by_key(connection, name, row.id), "hours", true, why)
                found.append((name, row.id))
    return found
