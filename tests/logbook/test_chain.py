"""The chain over all rows: what it finds, and what it cannot."""

import datetime as dt
import hashlib
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from invented_logbook import FITTED, FITTED_HOURS, add, book_with_engine

from vibetrend.errors import LogbookError
from vibetrend.logbook import Logbook, accept_clock, check, schema


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with book_with_engine(tmp_path / "log") as opened:
        opened.start_installation("main", date=FITTED, hours=FITTED_HOURS, details={"part": "A"})
        add(opened, b"1")
        opened.add_work("main", date=dt.date(2026, 6, 1), hours=3200.0, what="mounts")
        yield opened


def edited(book: Logbook, statement: str, *values: Any) -> tuple[str, ...]:
    """Return the faults found after another program ran a statement on the database."""
    with closing(sqlite3.connect(book.database.path)) as connection, connection:
        connection.execute("PRAGMA foreign_keys=OFF")
        assert connection.execute(statement, values).rowcount >= 1
    return book.check().faults


def test_what_was_only_entered_is_clean(book: Logbook) -> None:
    found = book.check()
    assert (found.faults, found.notes, found.originals) == ((), (), 1)
    with closing(sqlite3.connect(book.database.path)) as connection:
        rows = {
            table.name: connection.execute(f"SELECT count(*) FROM {table.name}").fetchone()[0]
            for table in schema.metadata.sorted_tables
            if table.name not in ("chain", "amplitude")
        }
    assert found.entries == sum(rows.values()) + rows["measurement"]  # its amplitudes: one link


def test_the_hashes_are_those_of_the_recipe(book: Logbook) -> None:
    """A second route, with SHA-256 (FIPS 180-4) of the standard library and no code of ours."""
    before = "0" * 64
    with closing(sqlite3.connect(book.database.path)) as connection:
        connection.row_factory = sqlite3.Row
        for link in connection.execute("SELECT * FROM chain ORDER BY id").fetchall():
            key = "measurement_id" if link["table_name"] == "amplitude" else "id"
            order = "place" if link["table_name"] == "amplitude" else "id"
            rows = connection.execute(
                f"SELECT * FROM {link['table_name']} WHERE {key} = ? ORDER BY {order}",
                (link["row_id"],),
            )
            content = [
                {name: row[name] for name in row.keys() if row[name] is not None}  # noqa: SIM118
                for row in rows
            ]
            sealed = [before, link["table_name"], link["row_id"], link["made_at"], link["why"]]
            text = json.dumps([*sealed, content], sort_keys=True)
            before = hashlib.sha256(text.encode()).hexdigest()
            assert link["hash"] == before
    assert book.check().head == before


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE recording SET hours = 3151", "recording 1: it is not as it was entered on"),
        ("UPDATE amplitude SET amplitude = 9 WHERE place = 2", "amplitude 1: it is not as it was"),
        ("UPDATE installation SET as_found = 1", "installation 1: it is not as it was entered"),
        ("UPDATE engine_file SET toml = toml || ' '", "engine_file 1: it is not as it was entered"),
        ("UPDATE measurement SET result = '{}'", "measurement 1: it is not as it was entered"),
        ("DELETE FROM work", "work 1: it was taken out after it was entered"),
        ("DELETE FROM amplitude WHERE place = 4", "amplitude 1: it is not as it was entered"),
        ("UPDATE chain SET made_at = '2020-01-01T00:00:00.000Z' WHERE id = 3", "not as it was ent"),
        ("DELETE FROM chain WHERE id = 3", "chain: link 3 is missing"),
        (
            "INSERT INTO engine (name) VALUES ('slipped in')",
            "engine 2: it was not entered by this program",
        ),
    ],
)
def test_a_row_that_another_program_changed_is_found(
    book: Logbook, statement: str, said: str
) -> None:
    faults = edited(book, statement)
    assert any(said in fault for fault in faults), faults


def test_one_changed_row_is_one_fault(book: Logbook) -> None:
    (fault,) = edited(book, "UPDATE work SET note = 'all four'")
    assert fault.startswith("work 1: it is not as it was entered on 20")


def test_entries_taken_off_the_end_are_found_with_a_hash_written_down(book: Logbook) -> None:
    before = book.check().head
    book.add_work("main", date=dt.date(2026, 7, 1), hours=3250.0, what="belt")
    printed = book.check().head[:20]
    assert check(book, printed=before[:20]).clean
    found = check(book, printed=printed)
    assert found.clean
    assert any("is that of entry" in note for note in found.notes)
    with closing(sqlite3.connect(book.database.path)) as connection, connection:
        connection.execute("DELETE FROM chain WHERE row_id = 2 AND table_name = 'work'")
        connection.execute("DELETE FROM work WHERE id = 2")
    assert check(book).clean  # the chain by itself cannot know
    (fault,) = check(book, printed=printed).faults
    assert fault.startswith(f"no entry has the hash {printed}")


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE recording SET date = '2026-99-99'", "recording 1: its date is '2026-99-99'"),
        ("UPDATE measurement SET result = '{'", "measurement 1: its result is '{'"),
        ("UPDATE recording SET tags = CAST(x'ff' AS TEXT)", "recording 1: its tags is"),
        ("UPDATE recording SET baseline = 7", "recording 1: its baseline is 7"),
        ("UPDATE work SET hours = 'many'", "work 1: its hours is 'many'"),
        ("UPDATE verdict SET made_at = 'yesterday'", "verdict 1: its made_at is 'yesterday'"),
    ],
)
def test_a_value_that_is_none_is_named(book: Logbook, statement: str, said: str) -> None:
    (series,) = book.series("main")
    book.keep_verdict(series.id, {}, "learning")
    assert any(fault.startswith(said) for fault in edited(book, statement))


def test_damage_that_fails_anywhere_is_told_as_damage(book: Logbook) -> None:
    edited(book, "UPDATE recording SET date = '2026-99-99'")
    with (
        pytest.raises(LogbookError, match=r"damaged, or changed by another program \(recording 1"),
        Logbook.open(book.folder) as again,
    ):
        again.known_hours("main")


def test_a_fault_of_the_program_stays_one(book: Logbook) -> None:
    with pytest.raises(KeyError, match="invented"), Logbook.open(book.folder):
        raise KeyError("invented")


@pytest.mark.parametrize("made", ["CREATE VIEW sight AS SELECT 1", "DROP TABLE filing",
    "CREATE TRIGGER trap AFTER INSERT ON engine BEGIN DELETE FROM engine; END",
    "ALTER TABLE work ADD COLUMN more TEXT"])  # fmt: skip
def test_a_database_of_another_shape_is_refused(book: Logbook, made: str) -> None:
    with closing(sqlite3.connect(book.database.path)) as connection, connection:
        connection.execute("PRAGMA foreign_keys=OFF")
        connection.execute(made)
    with pytest.raises(LogbookError, match=r"no logbook as this program makes it \(\w+\)"):
        Logbook.open(book.folder)


def test_originals_lost_changed_and_left_over(book: Logbook) -> None:
    originals = book.folder / "originals"
    (kept,) = originals.glob("??/*")
    kept.write_bytes(b"2")
    (fault,) = book.check().faults
    assert fault.endswith("is no longer what was kept")
    kept.unlink()
    (fault,) = book.check().faults
    assert "cannot be read (no such file or directory)" in fault
    assert check(book, thorough=False).clean
    kept.write_bytes(b"1")
    (originals / "00").mkdir()
    (originals / "00" / ("0" * 62)).write_bytes(b"of no entry")
    (note,) = book.check().notes
    assert note.startswith("1 kept files belong to no entry")


# The clock


class At(dt.datetime):
    """A clock that stands."""

    moment = dt.datetime(2001, 1, 1, tzinfo=dt.UTC)

    @classmethod
    def now(cls, tz: Any = None) -> dt.datetime:
        return cls.moment.astimezone(tz)


def test_a_clock_behind_the_newest_entry_is_told_and_nothing_kept(
    book: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = book.check()
    with monkeypatch.context() as patch:
        patch.setattr(schema.dt, "datetime", At)
        with pytest.raises(
            LogbookError, match=r"clock says 2001-01-01, but the newest entry .* 20"
        ):
            add(book, b"2")
        assert book.check() == before
        accept_clock(book)
        assert not add(book, b"2").duplicate
    found = book.check()
    assert found.clean
    assert any("on 2001-01-01 this computer's clock was said to be right" in n for n in found.notes)
    assert not add(book, b"3").duplicate  # and forward again
