"""An invented logbook with something in every table, and what is in it to the last digit."""

import datetime as dt
import hashlib
import io
import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
from invented_logbook import FITTED, FITTED_HOURS, add, book_with_engine, measured

from vibetrend.checkup.standing import standing
from vibetrend.logbook import Logbook
from vibetrend.logbook.corrections import correct, set_aside

TODAY = dt.date(2026, 10, 1)
PHOTO = b"no picture, and kept like one"
MESSY = 'two "words", a comma; öl – \\N'


def lived_in(folder: Path) -> Logbook:
    """Open a logbook of a baseline of three days, two check-ups, and all else that is kept."""
    rng = np.random.default_rng(8)
    book = book_with_engine(folder)
    book.start_installation("main", date=FITTED, hours=FITTED_HOURS, details={"part": "A"})
    book.add_entry("main", "note", date=FITTED, content={"text": MESSY})
    photo = {"sha256": hashlib.sha256(PHOTO).hexdigest(), "name": "damper.jpg"}
    book.add_entry("main", "photo", date=FITTED, content=photo, file=io.BytesIO(PHOTO))
    book.add_meter_reading("main", date=FITTED, shown=FITTED_HOURS)
    days = [dt.date(2026, 5, 4), dt.date(2026, 5, 5), dt.date(2026, 5, 6)]
    later = [dt.date(2026, 7, 1), dt.date(2026, 9, 1)]
    for day in days + later:
        for placement in range(3):
            content = f"{day} {placement}".encode()
            found = measured(content, rpm=1000 + rng.normal())
            found.orders["amplitude"] *= np.exp(0.05 * rng.standard_normal(3))
            hours = FITTED_HOURS + (day - FITTED).days / 7 * 10
            kept = add(book, content, found, date=day, hours=hours, baseline=day in days)
    judged(book)
    correct(book, [kept.id], {"hours": 3301.5}, reason="mistyped", person="A. Example")
    set_aside(book, [kept.id], reason="the phone slid")
    book.add_work("main", date=TODAY, hours=3400, what="mounts", note=MESSY)
    judged(book)  # what a look at it keeps is kept already
    return book


def judged(book: Logbook) -> list[dict[str, Any]]:
    """Return the verdict of every series."""
    records = standing(book, today=TODAY)
    return [each.verdict.to_dict() for record in records for each in record.series]


def rows(folder: Path) -> dict[str, list[str]]:
    """Return every row of every table, written so that no digit and no type is lost."""
    with closing(sqlite3.connect(folder / "logbook.sqlite")) as connection:
        names = [
            name
            for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        ]
        return {
            name: sorted(map(repr, connection.execute(f"SELECT * FROM {name}"))) for name in names
        }


def originals(folder: Path) -> dict[str, bytes]:
    """Return every original by its name in the logbook."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in (folder / "originals").rglob("*")
        if path.is_file()
    }


def everything_below(folder: Path) -> dict[str, bytes | None]:
    """Return all files and folders below one, hidden ones too."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else None
        for path in folder.rglob("*")
    }


def as_json(value: Any) -> bytes:
    return json.dumps(value).encode()
