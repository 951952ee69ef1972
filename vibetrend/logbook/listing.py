"""Every entry of an engine with the id that a correction names it by."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from vibetrend.logbook import counting, engines, schema
from vibetrend.logbook.book import Logbook
from vibetrend.logbook.entries import Entry, kept_content


@dataclass(frozen=True)
class Listed:
    """One entry as it counts now."""

    id: str  # a recording's short id, or "work-3" and so on
    kind: str  # "recording", "installation", "work", "meter" or "entry"
    date: dt.date
    hours: float | None  # true engine hours; None of an entry of the record and of the meter
    about: str  # file name, kind of work or of entry and so on
    set_aside: bool
    corrected: bool  # another value counts than was entered
    entry: Entry | None = None  # of the record, as it was entered; None of all else


def listed(book: Logbook, engine_name: str) -> list[Listed]:
    """Return every entry of an engine that may be corrected or set aside, by date."""
    with book.database.reading() as connection:
        engine_id = engines.number(connection, engine_name)
        found = [each for name in counting.ANY for each in _of_table(connection, name, engine_id)]
    return sorted(found, key=lambda each: each.date)


def _of_table(connection: sa.Connection, name: str, engine_id: int) -> Iterator[Listed]:
    table, correction = counting.ANY[name], schema.correction.c
    corrected = sa.exists().where(
        correction.table_name == name,
        correction.row_id == table.c.id,
        correction.what != counting.SET_ASIDE,
    )
    query = sa.select(table, corrected.label("corrected"))
    if name == "entry":
        of = schema.installation.c
        query = query.join(schema.installation, of.id == table.c.installation_id)
        query = query.where(of.engine_id == engine_id)
    else:
        query = query.where(table.c.engine_id == engine_id)
    for row in connection.execute(query.order_by(table.c.date, table.c.id)):
        yield Listed(
            id=row.label if name == "recording" else f"{name}-{row.id}",
            kind=name,
            date=dt.date.fromisoformat(row.date),
            hours=getattr(row, "hours", None),
            about=_about(name, row),
            set_aside=row.set_aside,
            corrected=row.corrected,
            entry=_entry(row) if name == "entry" else None,
        )


def _about(name: str, row: Any) -> str:
    if name == "recording":
        mark = "baseline" if row.baseline else "of the damper before" if row.before else ""
        visit = "" if row.visit == row.date else f"check-up {row.visit}"
        return ", ".join(filter(None, (row.name, mark, visit)))
    if name == "installation":
        return "damper as found" if row.as_found else "damper fitted"
    if name == "work":
        return f"{row.what}: {row.note}" if row.note else str(row.what)
    if name == "meter":
        showed = f"{row.what} at {row.shown:g} h"
        return showed if row.after is None else f"{showed}, then {row.after:g} h"
    return str(row.kind)


def _entry(row: Any) -> Entry:
    return Entry(
        id=row.id,
        installation_id=row.installation_id,
        kind=row.kind,
        date=dt.date.fromisoformat(row.date),
        content=kept_content(row.content),
        added_at=row.added_at,
    )
