"""Engines, their files, and the installations on them."""

import datetime as dt
from dataclasses import dataclass, field
from difflib import get_close_matches
from itertools import pairwise
from typing import Any, Literal

import sqlalchemy as sa

from vibetrend.engine import Engine
from vibetrend.errors import LogbookError
from vibetrend.logbook import counting, schema
from vibetrend.logbook import hours as engine_hours
from vibetrend.logbook.chain import add_row
from vibetrend.quoting import named, quoted
from vibetrend.shell import typed

_MOST = 20  # names in an error


@dataclass(frozen=True)
class Installation:
    """One damper's time on an engine; every baseline belongs to one."""

    id: int
    date: dt.date
    hours: float  # true engine hours
    as_found: bool  # begun on a damper that was already there
    engine: Engine  # as its file was at that time
    meter_hours: float  # what the meter showed
    # The beginning of the next, which is no part of what it is:
    until: dt.date | None = field(default=None, compare=False)
    until_hours: float | None = field(default=None, compare=False)
    added_at: str = field(default="", compare=False)  # UTC, ISO 8601


@dataclass(frozen=True)
class EngineFile:
    """One version of an engine's file."""

    toml: str  # as it was given
    added_at: str  # UTC, ISO 8601


def put(
    connection: sa.Connection, text: str, engine: Engine
) -> Literal["added", "updated", "unchanged"]:
    """Add an engine's file; older ones stay."""
    table = schema.engine
    number: int | None = connection.scalar(sa.select(table.c.id).where(table.c.name == engine.name))
    done: Literal["added", "updated"] = "updated"
    if number is None:
        done = "added"
        number = add_row(connection, table, name=engine.name)
    elif text == _newest_file(connection, number):
        return "unchanged"
    add_row(connection, schema.engine_file, engine_id=number, toml=text, added_at=schema.now())
    return done


def names(connection: sa.Connection) -> list[str]:
    """Return the names of all engines, in the order they were added."""
    return list(connection.scalars(sa.select(schema.engine.c.name).order_by(schema.engine.c.id)))


def number(connection: sa.Connection, name: str) -> int:
    """Return the key of an engine.

    Raises
    ------
    LogbookError
        If no engine has this name; says which names there are.
    """
    table = schema.engine
    found: int | None = connection.scalar(sa.select(table.c.id).where(table.c.name == name))
    if found is not None:
        return found
    known = names(connection)
    if not known:
        raise LogbookError(
            f"engine {quoted(name)} is not in the logbook, which holds no engine yet; add it with "
            f"'vibetrend engine add FILE'"
        )
    near = get_close_matches(name, known, n=1)
    hint = f"; did you mean {quoted(near[0])}?" if near else "."
    raise LogbookError(
        f"engine {quoted(name)} is not in the logbook{hint} Known are {_listed(known)}; add "
        f"another with 'vibetrend engine add FILE'"
    )


def _listed(names: list[str]) -> str:
    """Return names for a sentence, so many as can be read."""
    more = f" and {len(names) - _MOST} more" if len(names) > _MOST else ""
    return ", ".join(map(named, names[:_MOST])) + more


def file_text(connection: sa.Connection, name: str) -> str:
    """Return an engine's current file."""
    return _newest_file(connection, number(connection, name))


def files(connection: sa.Connection, name: str) -> list[EngineFile]:
    """Return every version of an engine's file, oldest first; the last is the current one."""
    table = schema.engine_file.c
    query = sa.select(table.toml, table.added_at).where(table.engine_id == number(connection, name))
    return [
        EngineFile(row.toml, row.added_at) for row in connection.execute(query.order_by(table.id))
    ]


def parse(text: str, name: str) -> Engine:
    """Return the engine that a file kept in the logbook describes."""
    return Engine.parse(text, where=f"engine file of {name!r} in the logbook", kept=True)


def start_installation(
    connection: sa.Connection, name: str, *, date: dt.date, shown: float, as_found: bool
) -> sa.Row[Any]:
    """Add an installation with a copy of the current engine file, or find the same one again.

    Raises
    ------
    LogbookError
        If it lies before the previous one, or its hours are no hours or contradict what is known
        of the engine.
    """
    engine_id = number(connection, name)
    hours = engine_hours.true_hours(connection, engine_id, date, shown)
    earlier = installation_rows(connection, engine_id)
    for row in earlier:
        if (row.date, row.shown, row.as_found) == (date.isoformat(), shown, as_found):
            return row
    if earlier:
        last = earlier[-1]
        if date.isoformat() < last.date or hours < last.hours:
            raise LogbookError(
                f"an installation on {name!r} at {date} and "
                f"{engine_hours.in_words(hours, shown)} lies before the previous one, {last.date} "
                f"at {engine_hours.in_words(last.hours, last.shown)}; correct the date or the hours"
            )
    engine_hours.refuse_impossible(connection, engine_id, date, hours, shown)
    add_row(
        connection,
        schema.installation,
        engine_id=engine_id,
        date=date.isoformat(),
        hours=hours,
        meter_hours=shown,
        as_found=as_found,
        engine_toml=_newest_file(connection, engine_id),
        added_at=schema.now(),
    )
    return installation_rows(connection, engine_id)[-1]


def installation_rows(connection: sa.Connection, engine_id: int) -> list[sa.Row[Any]]:
    """Return the rows of an engine's installations, earliest first, with what the meter `shown`."""
    table = counting.installation
    query = sa.select(table, engine_hours.shown_then(table).label("shown"))
    query = query.where(table.c.engine_id == engine_id)
    return list(connection.execute(query.order_by(table.c.date, table.c.hours, table.c.id)))


def installation_at(rows: list[sa.Row[Any]], date: str, hours: float) -> int | None:
    """Return the key of the latest installation that had begun by this date and these hours."""
    begun = [row.id for row in rows if row.date <= date and row.hours <= hours]
    return begun[-1] if begun else None


def installations(connection: sa.Connection, name: str) -> list[Installation]:
    """Return an engine's installations, earliest first."""
    rows = installation_rows(connection, number(connection, name))
    return [
        Installation(
            id=row.id,
            date=dt.date.fromisoformat(row.date),
            hours=row.hours,
            as_found=row.as_found,
            engine=parse(row.engine_toml, name),
            meter_hours=row.shown,
            until=None if following is None else dt.date.fromisoformat(following.date),
            until_hours=None if following is None else following.hours,
            added_at=row.added_at,
        )
        for row, following in pairwise([*rows, None])
        if row is not None
    ]


def none_begun(name: str, when: str) -> str:
    """Return the words for something that needs an installation where none had begun."""
    return (
        f"no installation on {name!r} had begun by {when}; start it: vibetrend installation start "
        f"--engine {typed(name)} --date D --hours H (--as-found if the damper was fitted long ago)"
    )


def _newest_file(connection: sa.Connection, engine_id: int) -> str:
    table = schema.engine_file
    query = sa.select(table.c.toml).where(table.c.engine_id == engine_id)
    return str(connection.scalars(query.order_by(table.c.id.desc()).limit(1)).one())
