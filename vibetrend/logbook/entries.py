"""The installation record: readings, checks, photos and notes, each an entry that stays."""

import datetime as dt
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import counting, engines, schema
from vibetrend.logbook.chain import add_row
from vibetrend.logbook.plain_text import as_json, plain_line

LARGEST = 20_000
"""Bytes of an entry's content."""

DAMAGED = "a damaged text"
"""Key of the content of an entry that is none any more."""

_DEEPEST = 8  # levels of lists in lists
_KIND = re.compile("[a-z][a-z-]{0,39}")

# Of these the newest counts, so that saying again what was said before is a change; those
# with the same content by this key are of one subject.
_NEWEST_COUNTS = {"details": None, "finish": None, "check": "item"}


@dataclass(frozen=True)
class Entry:
    """One entry of an installation's record."""

    id: int
    installation_id: int
    kind: str  # "runout", "bolt", "details" and so on
    date: dt.date
    content: dict[str, Any]  # what was entered, with its units
    added_at: str  # UTC, ISO 8601
    duplicate: bool = False  # the same was here already


def add(
    connection: sa.Connection, name: str, kind: str, *, date: dt.date, content: Mapping[str, Any]
) -> Entry:
    """Add an entry to the installation that was on the engine, or find the same one again.

    Raises
    ------
    LogbookError
        If no installation had begun by then, or the content is nothing that can be kept.
    """
    engine_id = engines.number(connection, name)
    rows = engines.installation_rows(connection, engine_id)
    begun = [row.id for row in rows if row.date <= date.isoformat()]
    if not rows:
        raise LogbookError(engines.none_begun(name, f"{date}"))
    if not begun:
        raise LogbookError(
            f"the first installation on {name!r} began on {rows[0].date}, after {date}; correct "
            f"--date"
        )
    return add_to(connection, engine_id, begun[-1], kind, date=date, content=content)


def add_to(
    connection: sa.Connection,
    engine_id: int,
    installation_id: int,
    kind: str,
    *,
    date: dt.date,
    content: Mapping[str, Any],
) -> Entry:
    """Add an entry to an installation, or find the same one again; raises as `add` does."""
    if not _KIND.fullmatch(kind):
        raise LogbookError(f"{kind!r} is no kind of entry; it is a word in small letters")
    text = _as_text(content)
    alike = [
        each
        for each in of_engine(connection, engine_id)
        if (each.installation_id, each.kind) == (installation_id, kind)
    ]
    if kind in _NEWEST_COUNTS:
        key = _NEWEST_COUNTS[kind]
        if key is not None:
            alike = [each for each in alike if each.content.get(key) == content.get(key)]
        alike = sorted(alike, key=lambda each: each.id)[-1:]
    for each in alike:
        if (each.date, as_json(each.content)) == (date, text):
            return replace(each, duplicate=True)
    added = add_row(
        connection,
        schema.entry,
        installation_id=installation_id,
        kind=kind,
        date=date.isoformat(),
        content=text,
        added_at=schema.now(),
    )
    return next(each for each in of_engine(connection, engine_id) if each.id == added)


def of_engine(connection: sa.Connection, engine_id: int) -> list[Entry]:
    """Return the entries of all installations on an engine, by date, then as they were added."""
    rows = engines.installation_rows(connection, engine_id)
    table = counting.entry
    query = sa.select(table).where(table.c.installation_id.in_([row.id for row in rows]))
    return [
        Entry(
            id=row.id,
            installation_id=_installation(rows, row),
            kind=row.kind,
            date=dt.date.fromisoformat(row.date),
            content=kept_content(row.content),
            added_at=row.added_at,
        )
        for row in connection.execute(query.order_by(table.c.date, table.c.id))
    ]


def kept_content(text: str) -> dict[str, Any]:
    """Return what was entered; of a text that is damaged, the text under a key of no entry.

    One damaged entry must not keep all others from their owner; whoever reads it tells.
    """
    try:
        content = json.loads(text)
    except ValueError:
        content = None
    return content if isinstance(content, dict) else {DAMAGED: text}


def _installation(rows: list[sa.Row[Any]], entry: Any) -> int:
    """Return the installation an entry belongs to; one entered late takes over what came since.

    On the very day of the later one, what had been added before it is of the one before: first
    measure, then renew, is the usual sequence.
    """
    own: int = entry.installation_id
    if entry.kind == "details":  # these were said of that very installation
        return own
    begun = [row.id for row in rows if row.id == own or row.date < entry.date]
    return int(begun[-1])


def _as_text(content: Mapping[str, Any]) -> str:
    """Return the text that is kept of a content; refuses what cannot be kept."""
    _check(content, "the entry", 0)
    text = as_json(dict(content))
    if (size := len(text.encode())) > LARGEST:
        raise LogbookError(
            f"the entry has {size} bytes; {LARGEST} are kept at most, so enter it in parts"
        )
    return text


def _check(value: Any, where: str, depth: int) -> None:
    if depth > _DEEPEST:
        raise LogbookError(f"{where} is nested too deeply; write it simpler")
    if value is None or isinstance(value, bool):
        return
    if isinstance(value, str):
        plain_line(value, f"the text of {where}")
    elif isinstance(value, int | float):
        # A whole number beyond 2^53 would come back as another one from other programs.
        if abs(value) >= 2**53 if isinstance(value, int) else not math.isfinite(value):
            raise LogbookError(f"{where} holds a number that cannot be kept; give a finite one")
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            if not isinstance(key, str):
                raise LogbookError(f"{where} has the key {key!r}, which is no text")
            plain_line(key, f"a key of {where}")
            _check(inner, repr(key), depth + 1)
    elif isinstance(value, list | tuple):
        for inner in value:
            _check(inner, where, depth + 1)
    else:
        raise LogbookError(f"{where} holds a {type(value).__name__}, which cannot be kept")
