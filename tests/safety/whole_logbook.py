"""What must hold of a logbook whatever happened, and what one holds, to be compared."""

import hashlib
import json
import sqlite3
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from vibetrend.errors import VibetrendError
from vibetrend.logbook import Logbook
from vibetrend.whole_file import ENDING

JUDGED = {"verdict", "chain"}
"""Tables that a verdict adds to."""

_OF_THE_MOMENT = ("_at", "hash")  # ends of the names of columns that no two runs have alike
_RECORDINGS = """
    SELECT recording.sha256, count(DISTINCT filing.id), count(DISTINCT measurement.id),
        count(DISTINCT place), min(result)
    FROM recording LEFT JOIN filing ON filing.recording_id = recording.id
    LEFT JOIN measurement ON measurement.recording_id = recording.id
    LEFT JOIN amplitude ON measurement_id = measurement.id GROUP BY recording.id
"""

Row = tuple[object, ...]


def faults(folder: Path) -> Iterator[str]:
    """Give a line for everything that is wrong in a logbook, nothing if all is right."""
    try:
        with Logbook.open(folder) as book:
            book.engine_names()
            if hasattr(book, "check"):
                yield from (f"check: {each}" for each in book.check().faults)
    except VibetrendError as error:
        yield f"it does not open: {error}"
        return
    path = folder / "logbook.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        for pragma, right in (("integrity_check", [("ok",)]), ("foreign_key_check", [])):
            if (found := connection.execute(f"PRAGMA {pragma}").fetchall()) != right:
                yield f"{pragma}: {found[:3]}"
        recordings = connection.execute(_RECORDINGS).fetchall()
        texts = connection.execute("SELECT content FROM entry WHERE kind = 'photo'").fetchall()
    for sha256, filings, measurements, places, result in recordings:
        yield from _original(folder, sha256)
        if not filings or not measurements or places != _features(result):
            yield (
                f"recording {sha256[:10]} is half there: {filings} filings, {measurements} "
                f"measurements, {places} amplitudes"
            )
    for (text,) in texts:
        yield from _original(folder, json.loads(text)["sha256"])
    if len({row[0] for row in recordings}) < len(recordings):
        yield "a recording is there twice"


def _features(result: str | None) -> int:
    found = json.loads(result) if result else {}
    return sum(len(found.get(name, [])) for name in ("orders", "driven", "overall"))


def _original(folder: Path, sha256: str) -> Iterator[str]:
    path = folder / "originals" / sha256[:2] / sha256[2:]
    if not path.is_file():
        yield f"original {sha256[:10]} is missing"
    elif hashlib.sha256(path.read_bytes()).hexdigest() != sha256:
        yield f"original {sha256[:10]} is damaged"


def held(folder: Path) -> Counter[Row]:
    """Return every row of the database, without what no two runs have alike."""
    rows: Counter[Row] = Counter()
    path = folder / "logbook.sqlite"
    if not path.exists():
        return rows
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        names = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
        for (table,) in connection.execute(names).fetchall():
            for row in connection.execute(f"SELECT * FROM {table}"):
                kept = [each for each in row.keys() if not each.endswith(_OF_THE_MOMENT)]  # noqa: SIM118
                rows[(table, *(row[each] for each in kept))] += 1
    return rows


def exactly(folder: Path) -> list[str]:
    """Return all of the database as text, for "nothing was changed"."""
    with closing(sqlite3.connect(folder / "logbook.sqlite")) as connection:
        return list(connection.iterdump())


def originals(folder: Path) -> set[str]:
    """Return the digests under which something is kept."""
    return {path.parent.name + path.name for path in (folder / "originals").glob("??/*")}


def left_over(folder: Path) -> list[str]:
    """Return the names of unfinished files anywhere in a folder."""
    return sorted(
        str(path.relative_to(folder))
        for path in folder.rglob("*")
        if path.name.endswith((ENDING, "-journal"))
        or ("-schema-" in path.name and path.name.endswith(("-wal", "-shm")))
    )
