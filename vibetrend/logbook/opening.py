"""Opening the database of a logbook's folder, made when there is none."""

import os
from pathlib import Path

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import versions
from vibetrend.logbook.database import Database, make_private_file, make_private_folder, reason
from vibetrend.logbook.drive import on_network

NAME = "logbook.sqlite"


def opened(folder: Path) -> Database:
    """Open, and bring up to date, the database in a folder; one that may only be read is not.

    Raises
    ------
    LogbookError
        If the folder cannot be made or is on a network drive, or what it holds is newer or no
        logbook.
    """
    path = folder / NAME
    if on_network(folder):
        raise LogbookError(
            f"{folder}: a logbook cannot be kept safely here, on a network drive; choose a folder "
            f"on a disk of this computer with --logbook"
        )
    try:
        read_only = path.is_file() and not _may_be_written(path)
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
    except sa.exc.DatabaseError as error:  # the statements are ours: it is the file
        database.close()
        raise LogbookError(
            f"{path}: damaged, or not as this program makes it "
            f"({' '.join(str(error.orig).split())}), and left as it was; restore a backup into an "
            f"empty folder: vibetrend logbook restore"
        ) from error
    except BaseException:
        database.close()
        raise
    return database


def _may_be_written(path: Path) -> bool:
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)
