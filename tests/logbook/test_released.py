"""Logbooks of every released schema open, whole, and go on (`released/README.md`)."""

import datetime as dt
import hashlib
import json
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from invented_logbook import add

from vibetrend.checkup.standing import standing, to_json
from vibetrend.logbook import Logbook
from vibetrend.logbook.schema import SCHEMA_VERSION

RELEASED = Path(__file__).parent / "released"
EVERY = sorted(path.stem for path in RELEASED.glob("*.zip"))
OLDER = [version for version in EVERY if version != SCHEMA_VERSION]
LATER = dt.date(2026, 11, 1)
KEPT = (
    "engine", "engine_file", "installation", "work", "entry", "meter", "series", "recording",
    "filing", "measurement", "amplitude", "verdict", "correction",
)  # fmt: skip
"""Tables with what people entered and what came of it."""


def unpacked(version: str, folder: Path) -> Path:
    """Unpack a logbook of a schema; return its folder."""
    with zipfile.ZipFile(RELEASED / f"{version}.zip") as packed:
        packed.extractall(folder / version)
    return folder / version


def dump(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as connection:
        return list(connection.iterdump())


def rows(path: Path) -> dict[str, list[dict[str, Any]]]:
    """Return what each table holds, without the columns that hold nothing."""
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master")}
        return {
            table: [
                {name: row[name] for name in row.keys() if row[name] is not None}  # noqa: SIM118
                for row in connection.execute(f"SELECT * FROM {table}")
            ]
            for table in KEPT
            if table in there
        }


def states(book: Logbook) -> dict[str, Any]:
    """Return what stands in the JSON file beside the packed logbook."""
    return {
        engine["name"]: {
            "state": engine["state"],
            "hours": engine["hours"],
            "series": [
                {"device": each["device"], "state": each["verdict"]["state"]}
                | {"recordings": len(each["verdict"]["recordings"])}
                for each in engine["series"]
            ],
        }
        for engine in to_json(standing(book, today=LATER))["engines"]
    }


def test_every_schema_has_its_logbook() -> None:
    assert [f"{number:04}" for number in range(1, int(SCHEMA_VERSION) + 1)] == EVERY


@pytest.mark.parametrize("version", EVERY)
def test_it_opens_with_all_it_holds(version: str, tmp_path: Path) -> None:
    folder = unpacked(version, tmp_path)
    before = rows(folder / "logbook.sqlite")
    with Logbook.open(folder) as book:
        assert book.engine_names() == ["main", "generator"]
        after = rows(folder / "logbook.sqlite")
        for table, held in before.items():
            # An upgrade adds columns; what was in the others stays as it was.
            assert [
                {name: row[name] for name in old if name in row}
                for old, row in zip(held, after[table], strict=True)
            ] == held
        digests = [row["sha256"] for row in before["recording"]]
        digests += [
            json.loads(row["content"])["sha256"]
            for row in before.get("entry", [])
            if row["kind"] == "photo"
        ]
        assert len(digests) == len(list((folder / "originals").glob("??/*")))
        assert book.check().faults == ()
        for sha256 in digests:
            assert hashlib.sha256(book.original(sha256)).hexdigest() == sha256


@pytest.mark.parametrize("version", EVERY)
def test_its_states_are_those_of_its_day(version: str, tmp_path: Path) -> None:
    said = json.loads((RELEASED / f"{version}.json").read_text(encoding="utf-8"))
    with Logbook.open(unpacked(version, tmp_path)) as book:
        assert states(book) == said


@pytest.mark.parametrize("version", OLDER)
def test_a_copy_of_what_was_stands_beside_it(version: str, tmp_path: Path) -> None:
    folder = unpacked(version, tmp_path)
    before = dump(folder / "logbook.sqlite")
    for _ in range(2):  # once is enough
        Logbook.open(folder).close()
    assert dump(folder / f"logbook-schema-{version}.sqlite") == before
    assert {path.name for path in folder.iterdir()} <= {
        "logbook.sqlite", "logbook.sqlite-wal", "logbook.sqlite-shm", "originals",
        f"logbook-schema-{version}.sqlite",
    }  # fmt: skip


@pytest.mark.parametrize("version", EVERY)
def test_adding_goes_on(version: str, tmp_path: Path) -> None:
    date = dt.date(2025, 1, 10)
    with Logbook.open(unpacked(version, tmp_path)) as book:
        length = {each.id: len(book.recordings(each.id)) for each in book.series("main")}
        new = add(book, b"new", hours=3600 if version < "0003" else 25, date=date)
        assert not new.duplicate
        assert len(book.recordings(new.series_id)) == length.get(new.series_id, 0) + 1
        assert add(book, b"new", hours=3600, date=date).duplicate
        # What was added then is the same content still.
        (old,) = [each for each in book.series("generator") if not each.epoch]
        known = book.recordings(old.id)
        for sha256, label in zip(known["sha256"], known["recording"], strict=True):
            kept = book.find_recording("generator", sha256)
            assert kept is not None
            assert kept.id == label
        work = book.add_work("generator", date=dt.date(2025, 2, 1), hours=1000.0, what="belt")
        assert not work.duplicate
        assert book.check().faults == ()


@pytest.mark.parametrize("version", OLDER)
def test_its_tables_are_those_of_a_new_logbook(version: str, tmp_path: Path) -> None:
    def made(folder: Path) -> list[str]:
        Logbook.open(folder).close()
        return sorted(line for line in dump(folder / "logbook.sqlite") if line.startswith("CREATE"))

    assert made(unpacked(version, tmp_path)) == made(tmp_path / "new")
