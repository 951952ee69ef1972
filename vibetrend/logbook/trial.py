"""A copy of a logbook's entries to try something on, which is gone afterwards."""

import contextlib
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path

from vibetrend.errors import LogbookError
from vibetrend.logbook.book import Logbook
from vibetrend.logbook.database import Database, reason


@contextlib.contextmanager
def trial(book: Logbook) -> Iterator[Logbook]:
    """Give a copy of a logbook's entries as they are now; its originals are the logbook's own.

    Raises
    ------
    LogbookError
        If there is no room for the copy.
    """
    try:
        folder = tempfile.TemporaryDirectory(prefix="vibetrend-")
    except OSError as error:
        raise _no_room(reason(error)) from error
    with folder as name:
        path = Path(name) / book.database.path.name
        try:
            book.database.copy_to(path)
        except sqlite3.Error as error:
            raise _no_room(str(error)) from error
        copied = Logbook(path.parent, Database(path))
        copied.originals = book.originals
        with copied:
            yield copied


def _no_room(why: str) -> LogbookError:
    return LogbookError(
        f"temporary folder: a copy of the logbook to try it on cannot be made here ({why}); "
        f"free some space, then try again"
    )
