"""The chain over all rows: each link is a hash of its row and of the link before.

Whoever changes a row, takes one out or slips one in breaks it, unless they make anew every link
from there on: then it ends in another hash. So it proves nothing by itself; it proves that
nothing was changed since its last hash was written down elsewhere, as on a printed report.

The idea is that of Haber and Stornetta, "How to time-stamp a digital document", Journal of
Cryptology 3 (1991), without their publisher of hashes: here that is the paper.
"""

import datetime as dt
import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import schema

_BEGINNING = "0" * 64
_CLOCKS_DIFFER = dt.timedelta(days=1)

SEALED = [each for each in schema.metadata.sorted_tables if each.name != "chain"]
"""The tables whose rows are sealed; the amplitudes of a measurement are one link."""


@dataclass(frozen=True)
class Head:
    """The end of the chain."""

    links: int
    hash: str  # 64 hex digits
    made_at: str  # UTC, ISO 8601; "" of an empty chain


def add_row(connection: sa.Connection, table: sa.Table, **values: Any) -> int:
    """Add one row, seal it and return its key."""
    key = int(connection.execute(table.insert().values(values)).lastrowid)
    seal(connection, table, key)
    return key


def seal(connection: sa.Connection, table: sa.Table, key: int) -> None:
    """Put a link for what was added behind the others.

    Raises
    ------
    LogbookError
        If this computer's clock is behind the last link's time.
    """
    last, now = head(connection), schema.now()
    if _behind(now, last):
        raise LogbookError(
            f"this computer's clock says {now[:10]}, but the newest entry of the logbook is of "
            f"{last.made_at[:10]}; set the clock and try again. If the clock is right now and was "
            f"wrong then: vibetrend logbook check --clock-is-right"
        )
    _link(connection, last.hash, table.name, key, now, why="")


def accept_clock(connection: sa.Connection) -> bool:
    """Put a link without a row behind the others, whose time is this computer's.

    Only where the clock is behind the last link; says whether it was.
    """
    last, now = head(connection), schema.now()
    if not _behind(now, last):
        return False
    _link(connection, last.hash, "", 0, now, why="the clock is right")
    return True


def _behind(now: str, last: Head) -> bool:
    return bool(last.made_at) and _moment(now) < _moment(last.made_at) - _CLOCKS_DIFFER


def seal_all(connection: sa.Connection, *, why: str) -> None:
    """Seal every row there is, table by table, as when a logbook from before the chain is read."""
    before, now = head(connection).hash, schema.now()
    present = sa.inspect(connection).get_table_names()
    for table in SEALED:
        if table.name not in present:  # a later version's
            continue
        for key in _keys(connection, table):
            before = _link(connection, before, table.name, key, now, why=why)


def head(connection: sa.Connection) -> Head:
    """Return the end of the chain."""
    row = connection.exec_driver_sql(
        "SELECT id, hash, made_at FROM chain ORDER BY id DESC LIMIT 1"
    ).one_or_none()
    # Text in any case: a damaged link may hold anything, which `faults` tells.
    return Head(0, _BEGINNING, "") if row is None else Head(row[0], str(row[1]), str(row[2]))


def faults(connection: sa.Connection) -> Iterator[str]:
    """Give a plain line for everything that is not as the chain says, nothing if all is."""
    before, links, sealed = _BEGINNING, 0, set()
    for number, name, key, made_at, why, found in connection.exec_driver_sql(
        "SELECT id, table_name, row_id, made_at, why, hash FROM chain ORDER BY id"
    ).all():
        links += 1
        if number != links:
            yield f"chain: link {links} is missing"
            links = number
        content = _content(connection, name, key)
        if name and content is None:
            yield f"{name} {key}: it was taken out after it was entered"
        elif found != _hash(before, name, key, made_at, why, content):
            yield f"{name or 'chain'} {key}: it is not as it was entered on {str(made_at)[:10]}"
        sealed.add((name, key))
        before = str(found)
    for table in SEALED:
        for key in _keys(connection, table):
            if (table.name, key) not in sealed:
                yield f"{table.name} {key}: it was not entered by this program"


def holds(connection: sa.Connection, hash_: str) -> Head | None:
    """Return the link whose hash begins so, None where there is none."""
    query = sa.select(schema.chain.c.id, schema.chain.c.hash, schema.chain.c.made_at)
    query = query.where(schema.chain.c.hash.startswith(hash_, autoescape=True))
    row = connection.execute(query.limit(1)).one_or_none()
    return None if row is None else Head(*row)


def _link(
    connection: sa.Connection, before: str, name: str, key: int, made_at: str, *, why: str
) -> str:
    found = _hash(before, name, key, made_at, why, _content(connection, name, key))
    connection.exec_driver_sql(
        "INSERT INTO chain (table_name, row_id, made_at, why, hash) VALUES (?, ?, ?, ?, ?)",
        (name, key, made_at, why, found),
    )
    return found


def _hash(
    before: str, name: str, key: int, made_at: str, why: str, content: list[dict[str, Any]] | None
) -> str:
    text = json.dumps([before, name, key, made_at, why, content], sort_keys=True, default=repr)
    return hashlib.sha256(text.encode()).hexdigest()


def _content(connection: sa.Connection, name: str, key: int) -> list[dict[str, Any]] | None:
    """Return what a link seals: its rows by column, without what is empty; None for nothing.

    An empty value is left out, so that a column which a later version adds changes no hash.
    """
    statement = _STATEMENTS.get(name)
    if statement is None:
        return None
    # Straight from the driver: a check asks for every row of a logbook, one by one.
    found = connection.connection.cursor()
    found.execute(statement, (key,))
    names = [each[0] for each in found.description or ()]
    rows = [
        {column: value for column, value in zip(names, row, strict=True) if value is not None}
        for row in found.fetchall()
    ]
    return rows or None


def _statement(table: sa.Table) -> str:
    primary = [column.name for column in table.primary_key]
    return f"SELECT * FROM {table.name} WHERE {primary[0]} = ? ORDER BY {primary[-1]}"


_STATEMENTS = {table.name: _statement(table) for table in SEALED}


def _keys(connection: sa.Connection, table: sa.Table) -> list[int]:
    key = next(iter(table.primary_key)).name
    query = f"SELECT DISTINCT {key} FROM {table.name} ORDER BY {key}"
    return list(connection.exec_driver_sql(query).scalars())


def _moment(text: str) -> dt.datetime:
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:  # of a damaged link, which `faults` tells
        return dt.datetime.min.replace(tzinfo=dt.UTC)
    return moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)
