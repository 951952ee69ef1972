"""A logbook made from an export: everything is checked, and nothing is believed before."""

import os
from collections.abc import Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import described, table_files, versions
from vibetrend.logbook.book import Logbook
from vibetrend.logbook.checking import check
from vibetrend.logbook.copies import (
    DATABASE,
    ORIGINALS,
    PRIVATE_FOLDER,
    MadeAgain,
    UnreadableError,
    is_plain_file,
    make_parent,
    measured,
    name_of,
    one_line,
    put,
    read_through,
    real,
    refuse_faults,
)
from vibetrend.logbook.database import Database, make_private_file, reason
from vibetrend.logbook.described import Contents
from vibetrend.logbook.exporting import DESCRIPTION, columns_of, file_name
from vibetrend.logbook.foreign import look_over
from vibetrend.logbook.layouts import KNOWN, layout
from vibetrend.logbook.whole_folder import refuse_used, whole_folder

_AT_ONCE = 500  # rows


def import_logbook(source: Path, folder: Path, *, damaged: bool = False) -> MadeAgain:
    """Make a logbook from an export, in a folder that is empty or does not exist yet.

    All or nothing; an export of an older version is brought up to date. Every row keeps its
    number. Only files that an export has by its version are read, whatever lies beside them.

    Parameters
    ----------
    damaged : bool
        Whether to import a damaged logbook too: originals that cannot be read are left out.

    Raises
    ------
    LogbookError
        If the folder is no export, of a newer version, damaged or changed, or `folder` is in use.
    """
    instead = "name another, empty folder with --logbook"
    refuse_used(real(folder), instead=instead)
    contents = _contents(source)
    make_parent(folder, instead=instead)
    with whole_folder(folder, instead=instead) as place:
        path = place / DATABASE
        make_private_file(path)
        with closing(Database(path)) as database:
            versions.bring_up_to_date(database, target=contents.schema_version)
        # The rows of a table may point at one another in any order: it is checked at the end.
        with closing(Database(path, foreign_keys=False)) as database, database.writing() as rows:
            for table in layout(contents.schema_version).tables:
                _fill(rows, table, contents, source)
            _refuse_lost(rows, contents, source)
        seen = look_over(path, where=str(source))
        faults = _copy_originals(contents, source, place, damaged=damaged)
        if (seen.head, seen.entries) != (contents.head, contents.entries):
            faults.append("the chain ends in another entry than the export says")
        with Logbook.open(place) as book:
            checked = check(book)
        faults += checked.faults
        refuse_faults(
            faults,
            damaged=damaged,
            where=source,
            undone="nothing was imported",
            instead="Use another export, or import what is there",
        )
    return MadeAgain(
        folder=folder,
        made_at=contents.made_at,
        recordings=seen.recordings,
        originals=checked.originals,
        entries=checked.entries,
        head=checked.head,
        faults=tuple(faults),
    )


def _contents(source: Path) -> Contents:
    """Return what an export says it holds, which is what its version has."""
    path = source / DESCRIPTION
    if not os.path.isdir(source):  # noqa: PTH112  # pathlib's raises where a name is too long
        what = "is no folder" if os.path.lexists(source) else "does not exist"
        raise LogbookError(f"{source}: this {what}; name the folder of an export")
    with _opened(source, DESCRIPTION) as file:
        text = file.read(described.LARGEST + 1)
    if len(text) > described.LARGEST:
        raise LogbookError(f"{path}: this file is too large; use another export")
    contents = described.read(text, Contents, where=str(path), what="export")
    if contents.schema_version not in KNOWN:
        raise LogbookError(f"{path}: there is no such schema version; use another export")
    tables = {table.name: table for table in layout(contents.schema_version).tables}
    if differing := contents.tables.keys() ^ tables.keys():
        name = min(differing)
        words = "is missing" if name in tables else "has no place in a logbook"
        raise LogbookError(f"{path}: the table {name[:60]!a} {words}; use another export")
    for name, stated in contents.tables.items():
        own = [(each.name, each.kind, each.may_be_empty) for each in columns_of(tables[name])]
        if own != [(each.name, each.kind, each.may_be_empty) for each in stated.columns]:
            raise LogbookError(
                f"{path}: the columns of {name} are not those of schema "
                f"{contents.schema_version}; use another export"
            )
    return contents


def _opened(source: Path, name: str) -> BinaryIO:
    """Open a file of the export; `name` is never taken from a file."""
    path = source / name
    try:
        if not is_plain_file(path, within=source):
            what = "is no plain file" if path.exists() or path.is_symlink() else "is missing"
            raise LogbookError(f"{path}: this file {what}, so the export is not whole; use another")
        return path.open("rb")
    except OSError as error:
        raise LogbookError(
            f"{path}: this file cannot be read ({reason(error)}); copy the export to this computer "
            f"and try again"
        ) from error


def _fill(connection: sa.Connection, table: sa.Table, contents: Contents, source: Path) -> None:
    """Add the rows of a table as they are in its file."""
    stated = contents.tables[table.name]
    name = file_name(table.name, contents.tables_in)
    where = source / name
    names = ", ".join(f'"{column.name}"' for column in table.columns)
    marks = ", ".join("?" * len(table.columns))
    counted = 0
    with _opened(source, name) as file:
        try:
            if measured(file).sha256 != stated.sha256:
                raise LogbookError(
                    f"{where}: this file was changed after the export was made, or is damaged; use "
                    f"another export"
                )
            rows = table_files.read(contents.tables_in, table, file, where=str(where))
            with closing(rows):
                for batch in _batches(rows):
                    connection.exec_driver_sql(
                        f'INSERT INTO "{table.name}" ({names}) VALUES ({marks})', batch
                    )
                    counted += len(batch)
        except sa.exc.IntegrityError as error:
            raise LogbookError(
                f"{where}: two rows are one by their key ({one_line(error.orig)}); use another "
                f"export"
            ) from error
        except OSError as error:
            raise LogbookError(
                f"{where}: this file cannot be read ({reason(error)}); copy the export to this "
                f"computer and try again"
            ) from error
    if counted != stated.rows:
        raise LogbookError(
            f"{where}: it has {counted} rows, {stated.rows} are needed; use another export"
        )


def _batches(rows: Iterator[tuple[Any, ...]]) -> Iterator[list[tuple[Any, ...]]]:
    while batch := list(islice(rows, _AT_ONCE)):
        yield batch


def _refuse_lost(connection: sa.Connection, contents: Contents, source: Path) -> None:
    """Refuse rows that point at others which are not there."""
    for table, row, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        which = f"row {row}" if row is not None else "a row"
        raise LogbookError(
            f"{source / file_name(table, contents.tables_in)}: {which} points at one in {parent} "
            f"that is missing; use another export"
        )


def _copy_originals(contents: Contents, source: Path, place: Path, *, damaged: bool) -> list[str]:
    """Copy the originals; return a line for each that was left out."""
    (place / ORIGINALS).mkdir(mode=PRIVATE_FOLDER)
    left_out = []
    for sha256 in contents.originals:
        name = name_of(sha256)
        try:
            if not is_plain_file(source / name, within=source):
                raise UnreadableError(
                    f"{source / name}: this original is missing; copy it from a backup"
                )
            content, _ = read_through(source / name)
        except UnreadableError as error:
            if not damaged:
                raise
            left_out.append(f"{error}; it was left out")
            continue
        with content:
            put(content, place / name)
    return left_out
