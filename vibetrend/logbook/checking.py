"""Whether a logbook is as it was entered: every row, every hash, every original."""

import datetime as dt
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, BinaryIO

import sqlalchemy as sa

from vibetrend.errors import LogbookError, VibetrendError
from vibetrend.logbook import chain, schema
from vibetrend.quoting import printable
from vibetrend.whole_file import ENDING

if TYPE_CHECKING:
    from vibetrend.logbook.book import Logbook

_LONGEST = 200  # characters of a fault within a sentence
_MOST = 20  # faults of one kind that are told
_NOT_OF_DATA = (VibetrendError, OSError, MemoryError)


@dataclass(frozen=True)
class Checked:
    """What a check of a logbook found."""

    faults: tuple[str, ...]  # plain lines; none where all is as it was entered
    notes: tuple[str, ...]  # what is no fault and worth knowing
    entries: int  # links of the chain
    head: str  # hash of the last, 64 hex digits
    originals: int  # files that belong to entries; 0 where these were not looked at

    @property
    def clean(self) -> bool:
        """Whether no fault was found."""
        return not self.faults


def check(book: "Logbook", *, printed: str = "", thorough: bool = True) -> Checked:
    """Check the database, the chain over all rows, every value and every original.

    Parameters
    ----------
    printed : str
        The beginning of a hash that was the last one once: that it is missing is a fault.
    thorough : bool
        Else only the rows are held against the chain, which takes least.

    Raises
    ------
    LogbookError
        If the database cannot be read at all.
    """
    with book.database.reading() as connection:
        faults = list(_of_rows(connection) if thorough else chain.faults(connection))
        notes = list(_notes(connection))
        end = chain.head(connection)
        if printed:
            then = chain.holds(connection, printed)
            if then is None:
                faults.append(
                    f"no entry has the hash {printed}: entries were changed since it was written "
                    f"down, or this is another logbook, or a copy from before that page"
                )
            else:
                notes.append(
                    f"the hash {printed} is that of entry {then.links}, made on {then.made_at[:10]}"
                )
        if not thorough:
            return Checked(tuple(faults), tuple(notes), end.links, end.hash, 0)
        belonging = _digests(connection, book.originals.digests())
        names = _named(connection)
    broken = {sha256: book.originals.fault(sha256) for sha256 in sorted(belonging)}
    faults += [
        f"original {sha256[:12]}{names.get(sha256, '')} {fault}"
        for sha256, fault in broken.items()
        if fault
    ]
    spare = book.originals.digests() - belonging
    if spare:
        notes.append(
            f"{len(spare)} kept files belong to no entry, as one that was refused leaves behind; "
            f"they do no harm"
        )
    if any(book.folder.rglob(f"*{ENDING}")):
        notes.append("a file was left half-written by a program that was stopped; it does no harm")
    return Checked(tuple(faults), tuple(notes), end.links, end.hash, len(belonging))


def accept_clock(book: "Logbook") -> bool:
    """Keep that this computer's clock is right, if it is behind the newest entry; say whether."""
    with book.database.writing() as connection:
        return chain.accept_clock(connection)


def mend_original(book: "Logbook", sha256: str, content: BinaryIO) -> bool:
    """Put an original back that is missing or damaged; say whether it was."""
    if not book.originals.fault(sha256):
        return False
    with book.database.writing(), book.originals.kept(sha256, content):
        return True


def explain(book: "Logbook", error: BaseException) -> None:
    """Raise in plain words what damage in the logbook made of an error, if there is any.

    Damaged rows can fail anywhere; where none is found, the fault is the program's own.

    Raises
    ------
    LogbookError
        If rows are not as they were entered.
    """
    if not isinstance(error, Exception) or isinstance(error, _NOT_OF_DATA):
        return
    with book.database.reading() as connection:
        found = list(_of_rows(connection))
    if found:
        raise LogbookError(
            f"{book.database.path}: damaged, or changed by another program "
            f"({printable(found[0])[:_LONGEST]}); see all "
            f"with 'vibetrend logbook check', then restore a backup: vibetrend logbook restore"
        ) from error


def _of_rows(connection: sa.Connection) -> Iterator[str]:
    for (said,) in connection.exec_driver_sql(f"PRAGMA integrity_check({_MOST})"):
        if said != "ok":
            yield f"database: {' '.join(said.split())}"
    for name, row, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check").all()[
        :_MOST
    ]:
        yield f"{name} {row}: it points at a {parent} that is missing"
    yield from chain.faults(connection)
    for table in schema.metadata.sorted_tables:
        yield from _of_values(connection, table)


def _of_values(connection: sa.Connection, table: sa.Table) -> Iterator[str]:
    """Give the values of a table that are not what its columns say they hold."""
    key = next(iter(table.primary_key)).name
    for row in connection.exec_driver_sql(f"SELECT * FROM {table.name}").mappings():
        for column in table.columns:
            if (value := row[column.name]) is None:
                continue  # where one must not be empty, the database says so
            try:
                _read(column, value)
            except (ValueError, TypeError, IndexError, RecursionError):
                yield f"{table.name} {row[key]}: its {column.name} is {ascii(value)[:40]}"


def _read(column: sa.Column[Any], value: Any) -> None:
    """Read a value as its column says; raises ValueError or TypeError where it is none."""
    unit = (column.comment or "").rpartition("[")[2].rstrip("]")
    if not isinstance(value, _TYPES[type(column.type)]):
        raise TypeError
    _READ.get(unit, str)(value)
    if column.name == "sha256" and not re.fullmatch("[0-9a-f]{64}", str(value)):
        raise ValueError


def _yes_no(value: int) -> bool:
    return (False, True)[value]  # anything else is no place in it


_READ: dict[str, Callable[[Any], Any]] = {
    "date": dt.date.fromisoformat,
    "UTC": dt.datetime.fromisoformat,
    "JSON": json.loads,
    "yes/no": _yes_no,
}
_TYPES = {sa.Integer: int, sa.Float: int | float, sa.Boolean: int, sa.Text: str}


def _digests(connection: sa.Connection, there: set[str]) -> set[str]:
    """Return the digests of all originals that entries speak of.

    Recordings and photos have the whole digest; the recording of a plucked belt is known by the
    first digits in its entry's note, and only if it is `there`.
    """
    entry = schema.entry
    of_photos = sa.select(sa.func.json_extract(entry.c.content, "$.sha256")).where(
        entry.c.kind == "photo", sa.func.json_valid(entry.c.content)
    )
    of_belts = " ".join(
        connection.scalars(sa.select(entry.c.content).where(entry.c.kind == "belt"))
    )
    found = {
        *connection.scalars(sa.select(schema.recording.c.sha256)),
        *connection.scalars(of_photos),
    }
    whole = {each for each in found if isinstance(each, str) and re.fullmatch("[0-9a-f]{64}", each)}
    return whole | {each for each in there if each[:12] in of_belts}


def _named(connection: sa.Connection) -> dict[str, str]:
    """Return by digest which recording an original is of, for use in a sentence."""
    table = schema.recording.c
    rows = connection.execute(sa.select(table.sha256, table.label, table.name))
    return {sha256: f" (recording {label}, {name})" for sha256, label, name in rows}


def _notes(connection: sa.Connection) -> Iterator[str]:
    table = schema.chain.c
    query = sa.select(table.why, sa.func.count(), sa.func.min(table.made_at))
    for why, count, when in connection.execute(
        query.where(table.why != "", table.table_name != "").group_by(table.why)
    ):
        yield (
            f"{count} entries were sealed on {when[:10]}, when the logbook was {why}: whether they "
            f"had been changed before then cannot be told"
        )
    for (when,) in connection.execute(sa.select(table.made_at).where(table.table_name == "")):
        yield f"on {when[:10]} this computer's clock was said to be right although it had gone back"
