"""Opening the database of a logbook's folder, made when there is none."""

import os
import shutil
from pathlib import Path

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import versions
from vibetrend.logbook.database import (
    FULL,
    NO_RIGHT,
    Database,
    make_private_file,
    make_private_folder,
    reason,
)
from vibetrend.logbook.drive import on_network
from vibetrend.quoting import printable

NAME = "logbook.sqlite"
ORIGINALS = "originals"
_LONGEST = 200  # characters of what the database says itself
_ROOM = 2**17  # bytes for an index of 32 kB and a first page or two


def opened(folder: Path, *, make: bool) -> Database:
    """Open the database in a folder, and bring it up to date; `make` it where there is none.

    One that may only be read is read; so is one on a full disk, which leaves no room for the
    files that SQLite keeps beside it.

    Raises
    ------
    LogbookError
        If there is none and none can or shall be made, the folder is on a network drive, or what
        it holds is newer or no logbook.
    """
    path = folder / NAME
    if on_network(folder):
        raise LogbookError(
            f"{folder}: a logbook cannot be kept safely here, on a network drive; choose a folder "
            f"on a disk of this computer with --logbook"
        )
    try:
        if not path.is_file() or not path.stat().st_size:
            _refuse_to_begin(folder, make=make)
        read_only = _why_read_only(path) if path.is_file() else ""
        if not read_only:
            make_private_folder(folder)
            make_private_file(path)
    except OSError as error:
        raise LogbookError(
            f"{folder}: the logbook cannot be made or opened here ({reason(error)}); choose a "
            f"folder you may write to with --logbook"
        ) from error
    database = Database(path, read_only=read_only)
    try:
        versions.bring_up_to_date(database)
    except (sa.exc.DatabaseError, UnicodeDecodeError) as error:  # the statements are ours
        database.close()
        said = " ".join(printable(str(getattr(error, "orig", error))).split())
        raise LogbookError(
            f"{path}: damaged, or not as this program makes it ({said[:_LONGEST]}), and left as it "
            f"was; restore a backup into an empty folder: vibetrend logbook restore"
        ) from error
    except BaseException:
        database.close()
        raise
    return database


def _refuse_to_begin(folder: Path, *, make: bool) -> None:
    """Refuse to begin a new logbook where there should be one."""
    if any((folder / ORIGINALS).glob("??/*")):
        raise LogbookError(
            f"{folder}: originals are here, but the logbook's database is missing or empty; leave "
            f"this folder as it is, and restore a backup into an empty one: vibetrend logbook "
            f"restore"
        )
    if not make:
        raise LogbookError(
            f"{folder}: there is no logbook here; is it the right folder (--logbook or "
            f"VIBETREND_LOGBOOK), and is its disk connected?"
        )


def _why_read_only(path: Path) -> str:
    if not (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)):
        return NO_RIGHT
    return FULL if shutil.disk_usage(path.parent).free < _ROOM else ""
