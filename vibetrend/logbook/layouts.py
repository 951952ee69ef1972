"""The tables as each version of the schema made them, to hold what comes from elsewhere against."""

import functools
import re
import tempfile
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from vibetrend.logbook import schema, versions
from vibetrend.logbook.database import Database

EVERYTHING = "SELECT type, name, tbl_name, sql FROM sqlite_master"
"""All that a database holds beside its rows."""

KNOWN = tuple(f"{number:04d}" for number in range(1, int(schema.SCHEMA_VERSION) + 1))
"""The versions there have been."""

Part = tuple[str, str, str, str]


@dataclass(frozen=True)
class Layout:
    """What a logbook's database consists of in one version."""

    parts: frozenset[Part]  # tables and indexes, as `part` gives them
    tables: tuple[sa.Table, ...]  # those that others point at come first


@functools.cache
def layout(version: str) -> Layout:
    """Return the layout of one of the versions in `KNOWN`, from an empty logbook made for it."""
    with (
        tempfile.TemporaryDirectory() as folder,
        closing(Database(Path(folder) / "empty.sqlite")) as database,
    ):
        versions.bring_up_to_date(database, target=version)
        with database.reading() as connection:
            parts = frozenset(part(*row) for row in connection.exec_driver_sql(EVERYTHING).all())
            metadata = sa.MetaData()
            metadata.reflect(connection, only=lambda name, _: name != "alembic_version")
    for table in metadata.tables.values():
        for column in table.columns:  # SQLite keeps comments, but hands none out
            column.comment = _comment(table.name, column.name)
    return Layout(parts, tuple(metadata.sorted_tables))


def part(type_: object, name: object, table: object, sql: object) -> Part:
    """Return a part of a database, written as every version of SQLite and alembic writes it."""
    text = re.sub(r"\s+", " ", str(sql or "").replace('"', "")).strip()
    return str(type_), str(name), str(table), text


def _comment(table: str, column: str) -> str | None:
    """Return what a column holds today; one that is gone holds anything."""
    today = schema.metadata.tables.get(table)
    return today.columns[column].comment if today is not None and column in today.columns else None
