"""Nothing lost, nothing half there, nobody let in."""

import datetime as dt
import errno
import hashlib
import os
import sqlite3
import stat
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from invented_logbook import FITTED, add, book_with_engine, measured

from vibetrend.errors import LogbookError
from vibetrend.logbook import Logbook, database, entries, filing, meter

HERE = Path(__file__).parent
posix = pytest.mark.skipif(os.name != "posix", reason="modes, fork and SIGKILL are POSIX")


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@posix
def test_the_folder_and_all_in_it_are_private(tmp_path: Path) -> None:
    umask = os.umask(0)  # the most careless setting
    try:
        with book_with_engine(tmp_path / "a" / "log") as book:
            add(book, b"1")
            inside = list(book.folder.rglob("*"))
            modes = {mode(path) for path in inside if path.is_file()}
            folders = {mode(path) for path in [book.folder, *inside] if path.is_dir()}
    finally:
        os.umask(umask)
    assert len(inside) >= 4
    assert modes == {0o600}
    assert folders == {0o700}


@posix
def test_an_empty_folder_becomes_private_and_a_used_one_keeps_its_mode(tmp_path: Path) -> None:
    for name, used, expected in (("empty", False, 0o700), ("used", True, 0o755)):
        folder = tmp_path / name
        folder.mkdir(mode=0o755)
        folder.chmod(0o755)
        if used:
            (folder / "letter.txt").write_text("hello")
        Logbook.open(folder).close()
        assert mode(folder) == expected
        assert mode(folder / "logbook.sqlite") == 0o600


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    for folder in (tmp_path / "file", tmp_path / "file" / "log"):
        with pytest.raises(
            LogbookError, match=r"file.*cannot be made or opened here \(.+--logbook"
        ):
            Logbook.open(folder)


def test_a_folder_may_have_any_name(tmp_path: Path) -> None:
    with book_with_engine(tmp_path / "50% öl #1 & 'x'") as book:
        add(book, b"1")
    with Logbook.open(str(book.folder)) as again:
        assert again.engine_names() == ["main"]


def test_a_place_without_write_ahead_mode_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "_write_ahead", lambda _: "delete")  # as a network drive answers
    with pytest.raises(LogbookError, match="perhaps because it is a network drive; choose"):
        Logbook.open(tmp_path)


def test_waiting_for_another_program_ends_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "BUSY_SECONDS", 0.05)
    with (
        book_with_engine(tmp_path) as book,
        closing(sqlite3.connect(tmp_path / "logbook.sqlite")) as other,
    ):
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(LogbookError, match=r"another program has kept it locked .*try again"):
            add(book, b"1")
        other.rollback()
        assert not add(book, b"1").duplicate


@posix
@pytest.mark.skipif(os.name == "posix" and os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(LogbookError, match=r"permission denied.*you may write to"):
            Logbook.open(tmp_path / "log")
    finally:
        tmp_path.chmod(0o700)


def test_a_full_disk_adds_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with book_with_engine(tmp_path / "log") as book:
        with monkeypatch.context() as patch:
            patch.setattr(os, "fsync", full)
            with pytest.raises(
                LogbookError, match=r"no space left on device\), so nothing was add"
            ):
                add(book, b"1")
        assert [path for path in book.folder.rglob("originals/**/*") if path.is_file()] == []
        assert book.series("main") == []
        assert not add(book, b"1").duplicate


def test_a_full_database_adds_nothing(tmp_path: Path) -> None:
    with book_with_engine(tmp_path / "log") as book:
        add(book, b"1")
        with book.database.writing() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
            connection.exec_driver_sql(f"PRAGMA max_page_count={pages}")
        with pytest.raises(LogbookError, match="the disk is full and nothing was added; free some"):
            add(book, b"2", measured(b"2", orders=2000))
        (series,) = book.series("main")
        assert len(book.recordings(series.id)) == 1


def test_an_entry_that_fails_half_way_leaves_no_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("invented fault")

    with book_with_engine(tmp_path / "log") as book:
        with monkeypatch.context() as patch:
            patch.setattr(filing, "file", fail)
            with pytest.raises(RuntimeError, match="invented fault"):
                add(book, b"1")
        assert_whole(book.folder)
        assert book.find_recording("main", hashlib.sha256(b"1").hexdigest()) is None
        assert not add(book, b"1").duplicate
        assert_whole(book.folder)


def test_a_record_that_fails_half_way_leaves_no_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **_named: object) -> None:
        raise RuntimeError("invented fault")

    def rows() -> list[int]:
        with closing(sqlite3.connect(tmp_path / "logbook.sqlite")) as connection:
            tables = ("installation", "entry", "meter", "filing")
            return [
                connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
                for table in tables
            ]

    with book_with_engine(tmp_path) as book:
        add(book, b"1")
        with monkeypatch.context() as patch:
            patch.setattr(filing, "file_again", fail)  # after the row and its details
            with pytest.raises(RuntimeError, match="invented fault"):
                book.start_installation("main", date=FITTED, hours=3120.0, details={"part": "A"})
        assert rows() == [0, 0, 0, 1]
        book.start_installation("main", date=FITTED, hours=3120.0)
        with monkeypatch.context() as patch:
            patch.setattr(entries, "Entry", fail)  # when the row is read back
            with pytest.raises(RuntimeError, match="invented fault"):
                book.add_entry("main", "note", date=FITTED, content={"text": "dry"})
            patch.setattr(meter.hours, "refuse_contradictions", fail)
            with pytest.raises(RuntimeError, match="invented fault"):
                book.change_meter(
                    "main", date=dt.date(2026, 6, 1), before=3200.0, after=0.0, what="replaced"
                )
        assert rows() == [1, 0, 0, 2]
        assert not book.add_entry("main", "note", date=FITTED, content={"text": "dry"}).duplicate


def test_an_entry_that_finds_the_database_full_is_not_there(tmp_path: Path) -> None:
    accepted = []

    def fill(book: Logbook) -> None:
        for number in range(99):  # until the pages that the upgrade left free are full
            content = {"number": number, "texts": ["x" * 500] * 30}
            accepted.append(book.add_entry("main", "note", date=FITTED, content=content))

    with book_with_engine(tmp_path / "log") as book:
        book.start_installation("main", date=FITTED, hours=3120.0)
        with book.database.writing() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
            connection.exec_driver_sql(f"PRAGMA max_page_count={pages}")
        with pytest.raises(LogbookError, match="the disk is full and nothing was added; free some"):
            fill(book)
        assert book.entries("main") == accepted


def test_two_processes_add_at_once(tmp_path: Path) -> None:
    """Both begin with a folder that does not exist; half of what they add is the same."""
    code = (
        "import sys; from pathlib import Path; from invented_logbook import *\n"
        "with book_with_engine(Path(sys.argv[1])) as book:\n"
        "    book.start_installation('main', date=FITTED, hours=FITTED_HOURS)\n"
        "    for n in range(20):\n"
        "        text = f'{sys.argv[2] if n % 2 else 0} {n}'\n"
        "        add(book, text.encode())\n"
        "        book.add_entry('main', 'note', date=FITTED, content={'text': text})\n"
    )
    running = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(tmp_path / "log"), who],
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": os.pathsep.join([str(HERE), *sys.path])},
        )
        for who in ("1", "2")
    ]
    assert [process.communicate()[1] for process in running] == ["", ""]
    assert len(assert_whole(tmp_path / "log")) == 10 + 10 + 10
    with Logbook.open(tmp_path / "log") as book:
        assert len(book.series("main")) == 1
        assert len(book.installations("main")) == 1
        assert len({each.content["text"] for each in book.entries("main")}) == 30
        assert len(book.entries("main")) == 30


def assert_whole(folder: Path) -> set[str]:
    """Check the database and every original; return the digests of the recordings kept."""
    with closing(sqlite3.connect(folder / "logbook.sqlite")) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        rows = connection.execute("""
            SELECT sha256, count(DISTINCT filing.id), count(DISTINCT measurement.id), count(place)
            FROM recording LEFT JOIN filing ON filing.recording_id = recording.id
            LEFT JOIN measurement ON measurement.recording_id = recording.id
            LEFT JOIN amplitude ON measurement_id = measurement.id GROUP BY recording.id
        """).fetchall()
    for sha256, filings, measurements, amplitudes in rows:
        content = (folder / "originals" / sha256[:2] / sha256[2:]).read_bytes()
        assert hashlib.sha256(content).hexdigest() == sha256
        assert (filings, measurements, amplitudes) == (1, 1, 5)
    kept = {row[0] for row in rows}
    assert len(kept) == len(rows)
    return kept


def test_what_a_killed_process_left_half_written_is_cleared_away(tmp_path: Path) -> None:
    with book_with_engine(tmp_path) as book:
        add(book, b"1")
        originals = book.folder / "originals"
        (originals / "tmpkilled.part").write_bytes(b"hal")
        add(book, b"1")  # even what is there already
        assert not list(originals.glob("*.part"))
        assert book.original(hashlib.sha256(b"1").hexdigest()) == b"1"
