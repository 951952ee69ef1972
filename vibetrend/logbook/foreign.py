"""A database that came from elsewhere: looked over before the logbook's own code opens it.

What may stand in an SQLite file can run when it is opened (triggers, views, expressions, virtual
tables), so that only what an own version made, letter by letter, is let in.
"""

import sqlite3
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import cells, schema
from vibetrend.logbook.copies import is_digest, one_line
from vibetrend.logbook.database import any_text
from vibetrend.logbook.layouts import EVERYTHING, KNOWN, layout, part

_PHOTOS = (
    "SELECT json_extract(content, '$.sha256') FROM entry "
    "WHERE kind = 'photo' AND json_valid(content)"
)
_LONGEST_LOOK = 5.0  # seconds for a list of some thirty tables and indexes


@dataclass(frozen=True)
class Seen:
    """What a database holds that may be let in."""

    schema: str
    recordings: int
    originals: frozenset[str]  # digests of recordings and photos
    entries: int  # links of its chain
    head: str  # hash of the last one, "" where there is none


def look_over(path: Path, *, where: str) -> Seen:
    """Look at a database without running or writing anything that stands in it.

    `where` names it in errors.

    Raises
    ------
    LogbookError
        If it is no logbook's database, of a newer version, damaged, or holds anything else.
    """
    try:
        # Immutable: nothing lies beside it, nobody changes it, and nothing is written.
        with closing(
            sqlite3.connect(f"{path.resolve().as_uri()}?immutable=1", uri=True)
        ) as connection:
            connection.text_factory = any_text
            connection.execute("PRAGMA trusted_schema=OFF")
            connection.execute("PRAGMA cell_size_check=ON")
            return _looked_over(connection, where)
    except (sqlite3.Error, UnicodeDecodeError) as error:  # its own words may be no text either
        raise LogbookError(
            f"{where}: this is no logbook's database, or a damaged one ({one_line(error)}); use "
            f"another backup"
        ) from error


def _looked_over(connection: sqlite3.Connection, where: str) -> Seen:
    version = _version(connection, where)
    known = layout(version)
    found = {part(*row) for row in connection.execute(EVERYTHING)}
    if odd := sorted(found ^ known.parts):
        what = "holds something else" if odd[0] in found else "lacks a part of its tables"
        raise LogbookError(
            f"{where}: this database {what} ({odd[0][0]} {odd[0][1][:60]!a}) and is not as any "
            f"vibetrend makes it; use another backup"
        )
    if (said := connection.execute("PRAGMA integrity_check(1)").fetchone()[0]) != "ok":
        raise LogbookError(
            f"{where}: this database is damaged ({one_line(said)}); use another backup"
        )
    for table in known.tables:
        _refuse_other_types(connection, table, where)
    names = {table.name for table in known.tables}
    end = None
    if "chain" in names:
        end = connection.execute("SELECT id, hash FROM chain ORDER BY id DESC LIMIT 1").fetchone()
    entries, head = end or (0, "")
    recordings = [sha256 for (sha256,) in connection.execute("SELECT sha256 FROM recording")]
    photos = connection.execute(_PHOTOS).fetchall() if "entry" in names else []
    originals = {
        each for each in [*recordings, *(sha256 for (sha256,) in photos)] if is_digest(each)
    }
    return Seen(version, len(recordings), frozenset(originals), entries, head)


def _version(connection: sqlite3.Connection, where: str) -> str:
    """Return the schema version of a database that has nothing but tables and indexes."""
    end = time.monotonic() + _LONGEST_LOOK
    connection.set_progress_handler(lambda: time.monotonic() > end, 10_000)
    parts = [part(*row) for row in connection.execute(EVERYTHING)]
    connection.set_progress_handler(None, 0)
    tables = {name: sql for type_, name, _, sql in parts if type_ == "table"}
    own = next(sql for type_, name, _, sql in layout(KNOWN[-1]).parts if name == "alembic_version")
    version = ""
    if tables.get("alembic_version") == own:
        rows = connection.execute("SELECT version_num FROM alembic_version LIMIT 1")
        version = str((rows.fetchone() or [""])[0])
    if version.isdecimal() and version > schema.SCHEMA_VERSION:
        raise LogbookError(
            f"{where}: a newer vibetrend wrote this database (schema {version[:20]}, this one "
            f"reads up to {schema.SCHEMA_VERSION}); install the newer vibetrend"
        )
    if version not in KNOWN:
        raise LogbookError(f"{where}: this database is no logbook's; use another backup")
    return version


def _refuse_other_types(connection: sqlite3.Connection, table: sa.Table, where: str) -> None:
    """Refuse a value of another type than its column's.

    Types are no more than a wish in SQLite, and the logbook's code relies on them.
    """
    columns = list(table.columns)
    names = ", ".join(f'"{column.name}"' for column in columns)
    for row in connection.execute(f'SELECT {names} FROM "{table.name}"'):
        for column, value in zip(columns, row, strict=True):
            if fault := cells.wrong(column, value):
                raise LogbookError(
                    f"{where}: {table.name} {row[0]}, column {column.name}: {fault}; use another "
                    f"backup"
                )
