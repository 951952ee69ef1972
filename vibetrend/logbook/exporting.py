"""Everything in open formats: tables as CSV or Parquet, a description in JSON, the originals."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.hashing import digest
from vibetrend.logbook import cells, chain, schema, table_files
from vibetrend.logbook.book import Logbook
from vibetrend.logbook.checking import check
from vibetrend.logbook.copies import (
    ORIGINALS,
    PRIVATE_FOLDER,
    UnreadableError,
    lying,
    name_of,
    put,
    read_through,
    real,
    refuse_faults,
)
from vibetrend.logbook.described import Column, Contents, TableFile
from vibetrend.logbook.table_files import FileKind
from vibetrend.logbook.whole_folder import refuse_used, whole_folder
from vibetrend.whole_file import finish, unfinished

DESCRIPTION = "logbook.json"
WHAT = {
    "engine": "The engines, by the name the person gave them.",
    "engine_file": "Every version of each engine's file; the newest is current.",
    "installation": "Each damper's time on an engine, with the engine file of that time.",
    "work": "Work on an engine that may have moved its levels for good.",
    "entry": "The record of each installation: readings, checks, photos, notes.",
    "meter": "What the hour meter showed, and when it was replaced or rolled over.",
    "series": "The series: recordings in one of them may be compared with each other.",
    "recording": "Each recording, with what was stated of it; its content is in originals.",
    "filing": "Which series each recording belongs to; the newest counts.",
    "measurement": "What was measured in each recording; the newest counts.",
    "amplitude": "The amplitudes of each measurement, one row for each order or other feature.",
    "verdict": "What was concluded of each series, and when.",
    "correction": "Values that count instead of those entered, who said so and why.",
    "chain": "A hash for each row and the hash before it: shows whether a row was changed.",
}
"""What each table's file is."""


@dataclass(frozen=True)
class Exported:
    """An export that was written."""

    folder: Path
    rows: dict[str, int]  # of each table
    recordings: int
    originals: int
    entries: int
    head: str
    faults: tuple[str, ...]


def export(
    book: Logbook, folder: Path, *, parquet: bool = False, damaged: bool = False
) -> Exported:
    """Write every table, a description and every original into a new folder, all or none.

    Parameters
    ----------
    parquet : bool
        Whether tables are written as Parquet instead of CSV.
    damaged : bool
        Whether to export a damaged logbook too; what is not right is noted in the description.

    Raises
    ------
    LogbookError
        If the folder holds something, lies in the logbook or cannot be written, the logbook is
        damaged, or the library for Parquet is missing.
    """
    instead = "name another, empty folder"
    kind: FileKind = "parquet" if parquet else "csv"
    if parquet:
        table_files.library()
    refuse_used(real(folder), instead=instead)
    if not real(folder).parent.is_dir():
        raise LogbookError(
            f"{folder}: the folder it is to lie in does not exist; is the disk connected? Make it, "
            f"or {instead}"
        )
    if real(folder).is_relative_to(real(book.folder)):
        raise LogbookError(f"{folder}: this lies within the logbook; {instead} on another disk")
    faults = list(check(book).faults)
    refuse_faults(
        faults,
        damaged=damaged,
        where=book.folder,
        undone="nothing was exported",
        instead="See all of it with vibetrend logbook check and put back what a backup has, or "
        "export what is there",
    )
    with whole_folder(folder, instead=instead) as place:
        # One state of the database for all tables, whoever is adding to it.
        with book.database.reading() as connection:
            tables = {
                table.name: _write(connection, table, place, kind)
                for table in schema.metadata.sorted_tables
            }
            end = chain.head(connection)
        originals = _copy_originals(book, place, faults, damaged=damaged)
        contents = Contents(
            schema_version=schema.SCHEMA_VERSION,
            recordings=tables["recording"].rows,
            entries=end.links,
            head=end.hash if end.links else "",
            faults=faults,
            how_to_read=cells.HOW_TO_READ,
            tables_in=kind,
            tables=tables,
            originals=originals,
        )
        with unfinished(place) as (stream, path):
            stream.write(contents.as_text())
            finish(stream)
            path.rename(place / DESCRIPTION)
    return Exported(
        folder=folder,
        rows={name: each.rows for name, each in tables.items()},
        recordings=contents.recordings,
        originals=len(originals),
        entries=end.links,
        head=contents.head,
        faults=tuple(faults),
    )


def file_name(table: str, kind: FileKind) -> str:
    """Return the name of a table's file."""
    return f"{table}.{kind}"


def columns_of(table: sa.Table) -> list[Column]:
    """Return how an export describes a table's columns."""
    return [
        Column(
            name=column.name,
            kind=cells.kind_of(column),
            may_be_empty=bool(column.nullable),
            what=str(column.comment),
        )
        for column in table.columns
    ]


def _write(connection: sa.Connection, table: sa.Table, place: Path, kind: FileKind) -> TableFile:
    """Write a table's file in the order of its key and return what it is."""
    names = ", ".join(f'"{column.name}"' for column in table.columns)
    order = ", ".join(f'"{column.name}"' for column in table.primary_key)
    # As text: what is kept is written as it is, with no type of the library in between.
    result = connection.exec_driver_sql(f'SELECT {names} FROM "{table.name}" ORDER BY {order}')
    counted = 0

    def rows() -> Iterator[Any]:
        nonlocal counted
        for row in result:
            for column, value in zip(table.columns, row, strict=True):
                if fault := cells.wrong(column, value):
                    raise LogbookError(
                        f"{table.name} {row[0]}, column {column.name}: {fault}, so nothing was "
                        f"exported; see vibetrend logbook check"
                    )
            counted += 1
            yield row

    with unfinished(place) as (stream, path):
        table_files.write(kind, table, rows(), stream)
        stream.flush()
        sha256 = digest(stream)
        finish(stream)
        path.rename(place / file_name(table.name, kind))
    return TableFile(
        file=file_name(table.name, kind),
        what=WHAT[table.name],
        rows=counted,
        sha256=sha256,
        columns=columns_of(table),
    )


def _copy_originals(book: Logbook, place: Path, faults: list[str], *, damaged: bool) -> list[str]:
    """Copy all originals and return their digests."""
    (place / ORIGINALS).mkdir(mode=PRIVATE_FOLDER)
    copied = []
    for sha256, original in lying(book.originals.folder):
        try:
            content, _ = read_through(original)
        except UnreadableError as error:
            if not original.exists():  # of an entry that was refused: taken away
                continue
            if not damaged:
                raise
            faults.append(str(error))
            continue
        with content:
            put(content, place / name_of(sha256))
        copied.append(sha256)
    return copied
