"""The database file: how it is opened, locked and written, and its errors in plain words."""

import contextlib
import os
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from vibetrend.errors import LogbookError

BUSY_SECONDS = 30

NO_RIGHT = "it may be read but not written; allow writing to the folder and the files in it"
FULL = "the disk is full and nothing was added; free some space, then try again"

_WORDS = {
    sqlite3.SQLITE_BUSY: "another program has kept it locked for more than "
    f"{BUSY_SECONDS} seconds; close that program or try again",
    sqlite3.SQLITE_READONLY: NO_RIGHT,
    sqlite3.SQLITE_IOERR: "the disk is full or failed; free some space or check it, then try again",
    sqlite3.SQLITE_CORRUPT: "the file is damaged; put a backup in its place",
    sqlite3.SQLITE_FULL: FULL,
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened; check that the folder exists and may be "
    "written to",
    sqlite3.SQLITE_NOTADB: "the file is not a logbook; choose another folder, or put a backup "
    "in its place",
}


def reason(error: OSError) -> str:
    """Return the system's own words for an error, in lower case, for use in a sentence."""
    return (error.strerror or str(error)).lower()


def make_private_file(path: Path) -> None:
    """Make an empty file that only its owner may read, unless it exists."""
    os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))


def make_private_folder(folder: Path) -> None:
    """Make a folder that only its owner may look into; one that holds something stays as it is."""
    try:
        folder.mkdir(mode=0o700, parents=True)
    except FileExistsError:
        if not folder.is_dir():
            raise
        if not any(folder.iterdir()):
            # Not possible on every disk; what is put inside is private in any case.
            with contextlib.suppress(OSError):
                folder.chmod(0o700)


def _write_ahead(connection: sqlite3.Connection) -> str:
    """Switch write-ahead mode on and return the mode that resulted."""
    give_up = time.monotonic() + BUSY_SECONDS
    while True:
        try:
            return str(connection.execute("PRAGMA journal_mode=WAL").fetchone()[0])
        except sqlite3.OperationalError as error:
            # SQLite does not wait here by itself when another process is making the database.
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > give_up:
                raise
        time.sleep(0.01)


def any_text(stored: bytes) -> str:
    """Return stored text, whatever bytes it is: what is damaged must come to those who tell it."""
    return stored.decode(errors="surrogateescape")


class Database:
    """One SQLite file in write-ahead mode; several processes may use it at once."""

    def __init__(self, path: Path, *, foreign_keys: bool = True, read_only: str = "") -> None:
        """Prepare to use the file at `path`; foreign keys are off only while tables change.

        `read_only` says why nothing can be written there, "" where it can.
        """
        self.path = path
        self.read_only = read_only
        self._reader = sa.create_engine(
            "sqlite://", creator=self._connect, poolclass=sa.pool.QueuePool
        )
        self._writer = self._reader.execution_options(writes=True)

        @sa.event.listens_for(self._reader, "connect")
        def set_up(connection: sqlite3.Connection, _: Any) -> None:
            connection.isolation_level = None  # `begin` below decides, not the driver
            try:
                connection.execute(f"PRAGMA foreign_keys={foreign_keys:d}")
                connection.execute("PRAGMA trusted_schema=OFF")  # it may be from elsewhere
                connection.text_factory = any_text
                # Boats lose power: FULL costs some ms for each entry and loses none.
                connection.execute("PRAGMA synchronous=FULL")
                if not read_only and _write_ahead(connection) != "wal":
                    raise LogbookError(
                        f"{path}: a logbook cannot be kept safely here, perhaps because it is a "
                        f"network drive; choose a folder on a disk of this computer"
                    )
            except BaseException:
                connection.close()  # nobody else knows of it yet
                raise

        @sa.event.listens_for(self._reader, "begin")
        def begin(connection: sa.Connection) -> None:
            # A lock taken only at the first write could fail half-way, after others wrote.
            writes = connection.get_execution_options().get("writes", False)
            connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    def _connect(self) -> sqlite3.Connection:
        if not self.read_only:
            return sqlite3.connect(self.path, timeout=BUSY_SECONDS, check_same_thread=False)
        # Where nothing may be written, SQLite reads a file without its own lock beside it only if
        # told that it does not change; a journal beside it holds what that would leave out.
        journal = self.path.with_name(f"{self.path.name}-wal")
        fixed = "" if journal.exists() and journal.stat().st_size else "&immutable=1"
        uri = f"{self.path.absolute().as_uri()}?mode=ro{fixed}"
        return sqlite3.connect(uri, uri=True, timeout=BUSY_SECONDS, check_same_thread=False)

    @contextlib.contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """Give a connection that sees one state of the database throughout."""
        with self._plain_errors(), self._reader.connect() as connection:
            yield connection

    @contextlib.contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """Give a connection whose entries are all kept at the end, or none after an error."""
        if self.read_only:
            raise LogbookError(f"{self.path}: {self.read_only}")
        with self._plain_errors(), self._writer.begin() as connection:
            yield connection

    def copy_to(self, path: Path) -> None:
        """Copy the database as it is at one moment, whoever is adding to it.

        Raises
        ------
        sqlite3.Error
            If the copy cannot be written.
        """
        with self.reading() as connection, contextlib.closing(sqlite3.connect(path)) as copy:
            copy.execute("PRAGMA journal_mode=OFF")  # no file beside it; a kill ends the copy
            live: Any = connection.connection.driver_connection
            live.backup(copy)

    def close(self) -> None:
        """Let go of the file."""
        self._reader.dispose()

    @contextlib.contextmanager
    def _plain_errors(self) -> Iterator[None]:
        try:
            yield
        except sa.exc.DatabaseError as error:
            # The low byte is the kind of error, the rest details of it. What has no words here
            # is a fault of the program and keeps its traceback.
            words = _WORDS.get(getattr(error.orig, "sqlite_errorcode", 0) & 0xFF)
            if words is None:
                raise
            raise LogbookError(f"{self.path}: {words}") from error
