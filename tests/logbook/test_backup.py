"""Backup and restore: nothing is lost on the way, and nothing that is not ours gets in."""

import errno
import hashlib
import io
import json
import os
import re
import shutil
import signal
import sqlite3
import stat
import subprocess
import sys
import warnings
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from invented_logbook import add, book_with_engine
from lived_in import TODAY, as_json, everything_below, judged, lived_in, originals, rows

from vibetrend.errors import LogbookError
from vibetrend.logbook import Logbook, backup, schema, unpacking, versions
from vibetrend.logbook.backup import back_up, restore
from vibetrend.logbook.database import Database
from vibetrend.whole_file import ENDING

Contents = dict[str, bytes]
posix = pytest.mark.skipif(os.name != "posix", reason="modes and SIGKILL are POSIX")


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a closed logbook, and its backup beside it; copied, never changed."""
    folder = tmp_path_factory.mktemp("kept") / "log"
    with lived_in(folder) as book:
        back_up(book, folder.with_name("kept.zip"))
    return folder


@pytest.fixture
def book(kept: Path, tmp_path: Path) -> Iterator[Logbook]:
    shutil.copytree(kept, tmp_path / "log")
    with Logbook.open(tmp_path / "log") as opened:
        yield opened


@pytest.fixture
def file(kept: Path) -> Path:
    return kept.with_name("kept.zip")


def contents(file: Path) -> Contents:
    with zipfile.ZipFile(file) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(target: Path, files: Contents, **stated: Any) -> Path:
    """Write a backup whose manifest fits its members, but for what is `stated`."""
    manifest = json.loads(files["manifest.json"]) | {
        "members": {
            name: {"size": len(content), "sha256": hashlib.sha256(content).hexdigest()}
            for name, content in files.items()
            if name != "manifest.json"
        }
    }
    return zipped(target, files | {"manifest.json": as_json(manifest | stated)})


def zipped(target: Path, files: Contents) -> Path:
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo()
            entry.filename = name  # given to it, a name would be mended
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, content)
    return target


def changed(file: Path, target: Path, change: Callable[[sqlite3.Connection], object]) -> Path:
    """Write a backup like another, with something done to the database in it."""
    members = contents(file)
    path = target.with_suffix(".sqlite")
    path.write_bytes(members["logbook.sqlite"])
    with closing(sqlite3.connect(path)) as connection, connection:
        change(connection)
    return packed(target, members | {"logbook.sqlite": path.read_bytes()})


def refused(file: Path, folder: Path, match: str, **options: bool) -> None:
    """See that a backup is refused in words, and that nothing is left of the attempt."""
    before = everything_below(folder.parent)
    with pytest.raises(LogbookError, match=match) as caught:
        restore(file, folder, **options)
    assert "\n" not in str(caught.value)
    assert everything_below(folder.parent) == before


# There and back


def test_what_is_restored_is_what_was_kept(book: Logbook, tmp_path: Path) -> None:
    done = back_up(book, tmp_path / "boat.zip")
    verdicts = judged(book)
    made = restore(tmp_path / "boat.zip", tmp_path / "new")
    assert rows(tmp_path / "new") == rows(book.folder)
    assert originals(tmp_path / "new") == originals(book.folder)
    with Logbook.open(tmp_path / "new") as again:
        assert judged(again) == verdicts  # to the last digit: no tolerance
        assert again.check().clean
    assert (done.recordings, done.originals) == (15, 16)
    assert (made.recordings, made.originals, made.head) == (15, 16, done.head)
    assert done.head == book.check().head
    assert done.size == (tmp_path / "boat.zip").stat().st_size
    assert sorted(path.name for path in tmp_path.iterdir()) == ["boat.zip", "log", "new"]


def test_any_zip_program_finds_the_originals_in_it(file: Path, kept: Path) -> None:
    members = contents(file)
    assert {name: each for name, each in members.items() if "/" in name} == originals(kept)
    manifest = json.loads(members["manifest.json"])
    assert manifest["schema"] == schema.SCHEMA_VERSION
    assert manifest["faults"] == []
    for name, stated in manifest["members"].items():
        assert stated["size"] == len(members[name])
        assert stated["sha256"] == hashlib.sha256(members[name]).hexdigest()
    with zipfile.ZipFile(file) as archive:
        assert archive.testzip() is None


@posix
def test_a_backup_and_what_is_made_of_it_are_private(file: Path, tmp_path: Path) -> None:
    umask = os.umask(0)  # the most careless setting
    try:
        restore(file, tmp_path / "deep" / "new")
    finally:
        os.umask(umask)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    made = [tmp_path / "deep", *(tmp_path / "deep").rglob("*")]
    modes = {(path.is_dir(), stat.S_IMODE(path.stat().st_mode)) for path in made}
    assert modes == {(True, 0o700), (False, 0o600)}


def test_an_empty_folder_and_a_link_to_one_are_filled(file: Path, tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    restore(file, tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real" / "logbook.sqlite").is_file()


def test_an_empty_logbook_may_be_backed_up(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "log") as empty:
        done = back_up(empty, tmp_path / "boat.zip")
    assert (done.recordings, done.entries, done.head) == (0, 0, "")
    assert restore(tmp_path / "boat.zip", tmp_path / "new").faults == ()


def test_others_may_add_meanwhile(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def and_then(*arguments: Any) -> None:
        snapshot(*arguments)
        with Logbook.open(book.folder) as other:
            add(other, b"added meanwhile", date=TODAY, hours=3400.0)

    snapshot = backup._snapshot
    monkeypatch.setattr(backup, "_snapshot", and_then)
    done = back_up(book, tmp_path / "boat.zip")
    assert (done.recordings, done.originals) == (15, 17)  # its original came along
    assert restore(tmp_path / "boat.zip", tmp_path / "new").recordings == 15
    assert book.find_recording("main", hashlib.sha256(b"added meanwhile").hexdigest())


def test_an_older_version_is_brought_up_to_date(tmp_path: Path, file: Path) -> None:
    path = tmp_path / "old.sqlite"
    with closing(Database(path)) as database:
        versions.bring_up_to_date(database, target="0001")
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("INSERT INTO engine VALUES (1, 'main')")
    members = {name: each for name, each in contents(file).items() if "/" not in name}
    old = {"schema": "0001", "entries": 0, "head": ""}
    packed(tmp_path / "old.zip", members | {"logbook.sqlite": path.read_bytes()}, **old)
    made = restore(tmp_path / "old.zip", tmp_path / "new")
    assert made.entries == 1  # sealed on the way
    with Logbook.open(tmp_path / "new") as again:
        assert again.engine_names() == ["main"]


# What a backup refuses


def test_a_file_that_exists_is_left_alone(book: Logbook, tmp_path: Path) -> None:
    (tmp_path / "boat.zip").write_text("a letter")
    (tmp_path / "dangling.zip").symlink_to("nowhere")
    for name in ("boat.zip", "dangling.zip"):
        with pytest.raises(LogbookError, match="exists and is left alone; choose another name"):
            back_up(book, tmp_path / name)
    assert (tmp_path / "boat.zip").read_text() == "a letter"
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize(
    ("name", "match"),
    [
        ("log/boat.zip", "within the logbook would be lost with it"),
        ("log/originals/boat.zip", "within the logbook would be lost with it"),
        ("unplugged/boat.zip", "its folder does not exist; is the disk connected"),
        ("log", "this is a folder; name a file"),
    ],
)
def test_a_place_that_makes_no_sense_is_refused(
    book: Logbook, tmp_path: Path, name: str, match: str
) -> None:
    before = everything_below(tmp_path)
    with pytest.raises(LogbookError, match=match):
        back_up(book, tmp_path / name)
    assert everything_below(tmp_path) == before


def test_a_full_disk_leaves_no_part_of_a_backup(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    before = sorted(tmp_path.iterdir())
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(LogbookError, match=r"no space left on device\), so none was made"):
        back_up(book, tmp_path / "boat.zip")
    assert sorted(tmp_path.iterdir()) == before


def test_a_backup_that_cannot_be_read_again_gets_no_name(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def finish(stream: Any) -> None:
        stream.seek(200)
        stream.write(b"a bit of the disk is bad")
        stream.close()

    monkeypatch.setattr(backup, "finish", finish)
    with pytest.raises(LogbookError, match=r"logbook\.sqlite in it is damaged"):
        back_up(book, tmp_path / "boat.zip")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["log"]


def one_original(folder: Path) -> Path:
    return folder / min(originals(folder))


@pytest.mark.parametrize("damage", [Path.unlink, lambda path: path.write_bytes(b"bit rot")])
def test_a_damaged_logbook_is_backed_up_only_when_that_is_wanted(
    book: Logbook, tmp_path: Path, damage: Callable[[Path], object]
) -> None:
    damage(one_original(book.folder))
    with pytest.raises(
        LogbookError, match=r"original [0-9a-f]{12} .*no backup.*logbook check.*--dam"
    ):
        back_up(book, tmp_path / "boat.zip")
    assert not (tmp_path / "boat.zip").exists()
    done = back_up(book, tmp_path / "boat.zip", damaged=True)
    assert len(done.faults) == 1
    assert json.loads(contents(done.path)["manifest.json"])["faults"] == list(done.faults)
    refused(done.path, tmp_path / "new", "original .*nothing was restored.*with --damaged")
    assert restore(done.path, tmp_path / "new", damaged=True).faults == done.faults
    assert rows(tmp_path / "new") == rows(book.folder)
    assert originals(tmp_path / "new") == originals(book.folder)


def test_an_edited_row_is_told_in_backup_and_restore(book: Logbook, tmp_path: Path) -> None:
    with closing(sqlite3.connect(book.folder / "logbook.sqlite")) as connection, connection:
        connection.execute("UPDATE recording SET hours = 9999 WHERE id = 3")
    with pytest.raises(LogbookError, match="recording 3: it is not as it was entered"):
        back_up(book, tmp_path / "boat.zip")
    back_up(book, tmp_path / "boat.zip", damaged=True)
    refused(tmp_path / "boat.zip", tmp_path / "new", "recording 3: it is not as it was entered")
    assert restore(tmp_path / "boat.zip", tmp_path / "new", damaged=True).faults


def test_even_a_broken_database_is_saved_with_the_originals(book: Logbook, tmp_path: Path) -> None:
    with closing(sqlite3.connect(book.folder / "logbook.sqlite")) as connection, connection:
        connection.execute("UPDATE recording SET rpm = x'00' WHERE id = 3")
    done = back_up(book, tmp_path / "boat.zip", damaged=True)
    assert done.originals == 16
    refused(
        done.path, tmp_path / "new", "recording 3, column rpm: it holds .*is needed", damaged=True
    )


# What a restore refuses


def test_a_folder_in_use_is_left_alone(file: Path, tmp_path: Path) -> None:
    (tmp_path / "used").mkdir()
    (tmp_path / "used" / "letter.txt").write_text("hello")
    refused(
        file, tmp_path / "used", "holds something already.*another, empty folder with --logbook"
    )
    refused(file, tmp_path / "used" / "letter.txt", "this is no folder")
    refused(file, tmp_path / "used" / "letter.txt" / "log", "cannot be")
    refused(file, tmp_path / ("x" * 300), "cannot be")
    (tmp_path / "circle").symlink_to("circle")
    refused(file, tmp_path / "circle", "this is no folder")


def test_a_file_that_is_no_backup_is_refused(tmp_path: Path) -> None:
    for name, content in {"text": b"hello", "empty": b"", "end": b"PK\x05\x06" + bytes(18)}.items():
        (tmp_path / name).write_bytes(content)
        refused(tmp_path / name, tmp_path / "new", "no backup")
    refused(tmp_path, tmp_path / "new", "this is no file; name")
    refused(tmp_path / "nothing", tmp_path / "new", "does not exist; name")


@pytest.mark.parametrize("kept_bytes", [-1, -30, 5000, 100])
def test_a_backup_cut_short_is_refused(file: Path, tmp_path: Path, kept_bytes: int) -> None:
    (tmp_path / "short.zip").write_bytes(file.read_bytes()[:kept_bytes])
    refused(
        tmp_path / "short.zip", tmp_path / "new", "no backup, or only part of one; copy it again"
    )


def test_a_bit_that_turned_is_found_wherever_it_is(file: Path, tmp_path: Path) -> None:
    whole = file.read_bytes()
    accepted = 0
    for place in range(0, len(whole), max(1, len(whole) // 60)):
        content = bytearray(whole)
        content[place] ^= 0x10
        (tmp_path / "bad.zip").write_bytes(content)
        try:
            restore(file=tmp_path / "bad.zip", folder=tmp_path / "new")
        except LogbookError:
            assert sorted(path.name for path in tmp_path.iterdir()) == ["bad.zip"]
        else:  # a time or a mode that nobody reads
            accepted += 1
            assert rows(tmp_path / "new")["chain"]
            shutil.rmtree(tmp_path / "new")
    assert accepted < 10


def an_original(file: Path) -> str:
    return min(name for name in contents(file) if "/" in name)


@pytest.mark.parametrize(
    "name",
    [
        "../outside", "/outside", "originals/../../outside", "C:\\outside", "originals\\ab\\cd",
        "originals/ab/", "originals/", "letter.txt", "logbook.sqlite-wal", "Manifest.json",
        f"originals/AB/{'c' * 62}", f"originals/ab/{'c' * 63}", f"originals/ab/{'c' * 62}\x00.txt",
        f"originals/ab/{'c' * 62}\n", "", "\u202eoriginals",
    ],
)  # fmt: skip
def test_a_name_that_has_no_place_is_refused(file: Path, tmp_path: Path, name: str) -> None:
    """As the classic path traversals: CWE-22 and CWE-59 of the Common Weakness Enumeration."""
    (tmp_path / "in").mkdir()
    packed(tmp_path / "bad.zip", contents(file) | {name: b"x"})
    refused(tmp_path / "bad.zip", tmp_path / "in" / "new", "has no place in a backup")


def test_a_member_twice_is_refused(file: Path, tmp_path: Path) -> None:
    shutil.copy(file, tmp_path / "bad.zip")
    with warnings.catch_warnings(), zipfile.ZipFile(tmp_path / "bad.zip", "a") as archive:
        warnings.simplefilter("ignore")  # Python's own, of the duplicate
        archive.writestr("logbook.sqlite", b"another")
    refused(tmp_path / "bad.zip", tmp_path / "new", "'logbook.sqlite' is in it twice")


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"external_attr": (stat.S_IFLNK | 0o777) << 16}, "is no plain file"),
        ({"external_attr": (stat.S_IFIFO | 0o600) << 16}, "is no plain file"),
        ({"compress_type": zipfile.ZIP_BZIP2}, "is packed in an unusual way"),
        ({"compress_type": zipfile.ZIP_LZMA}, "is packed in an unusual way"),
    ],
)
def test_members_of_another_kind_are_refused(
    file: Path, tmp_path: Path, change: dict[str, int], match: str
) -> None:
    original = an_original(file)
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as archive:
        for name, content in contents(file).items():
            entry = zipfile.ZipInfo(name)
            for key, value in change.items() if name == original else ():
                setattr(entry, key, value)
            archive.writestr(entry, content)
    refused(tmp_path / "bad.zip", tmp_path / "new", match)


def test_a_locked_member_is_refused(file: Path, tmp_path: Path) -> None:
    content = bytearray(file.read_bytes())
    at = content.index(b"PK\x01\x02")  # the list at the end, its first member
    content[at + 8] |= 0x1
    (tmp_path / "bad.zip").write_bytes(content)
    refused(tmp_path / "bad.zip", tmp_path / "new", "is locked with a password")


def test_a_member_that_does_not_fit_the_manifest_is_refused(file: Path, tmp_path: Path) -> None:
    members, original = contents(file), an_original(file)
    stated = json.loads(members["manifest.json"])["members"]
    bad = tmp_path / "bad.zip"
    for change, match in [
        ({original: members[original][::-1]}, "is damaged .its content is not what was put in"),
        ({original: members[original] + b"x"}, "is damaged .its size is not what was put in"),
        ({f"originals/ab/{'c' * 62}": b"x"}, "is not in its manifest"),
    ]:
        packed(bad, members | change, members=stated)
        refused(bad, tmp_path / "new", match)
    missing = {name: each for name, each in members.items() if name != original}
    refused(packed(bad, missing, members=stated), tmp_path / "new", "is missing in it")
    refused(packed(bad, missing), tmp_path / "new", "cannot be read .*nothing was restored")
    assert len(restore(bad, tmp_path / "new", damaged=True).faults) == 1


def test_an_original_that_is_damaged_may_be_left_out(file: Path, tmp_path: Path) -> None:
    members, original = contents(file), an_original(file)
    stated = json.loads(members["manifest.json"])["members"]
    packed(tmp_path / "bad.zip", members | {original: members[original][::-1]}, members=stated)
    made = restore(tmp_path / "bad.zip", tmp_path / "new", damaged=True)
    assert [("left out" in fault, "cannot be read" in fault) for fault in made.faults] == [
        (True, False), (False, True)
    ]  # fmt: skip
    assert set(originals(tmp_path / "new")) == {n for n in members if "/" in n} - {original}


@pytest.mark.parametrize(
    ("stated", "match"),
    [
        ({"format": 2}, r"a newer vibetrend made this backup \(format 2, .*install the newer"),
        ({"schema": "9999"}, r"a newer vibetrend made this backup \(schema 9999, this one"),
        ({"format": 0}, "there is no such version"),
        ({"format": "1"}, "format: "),
        ({"members": []}, "members: "),
        ({"members": {"logbook.sqlite": {"size": -1, "sha256": "0" * 64}}}, "members.logbook.sq"),
        ({"members": {"logbook.sqlite": {"size": 1, "sha256": "../x"}}}, "members.logbook.sqlite"),
        ({"surprise": 1}, "surprise: "),
        ({"head": None}, "head: "),
    ],
)
def test_a_manifest_of_another_kind_is_refused(
    file: Path, tmp_path: Path, stated: dict[str, Any], match: str
) -> None:
    packed(tmp_path / "bad.zip", contents(file), **stated)
    refused(tmp_path / "bad.zip", tmp_path / "new", match)


@pytest.mark.parametrize("text", [b"", b"[]", b"{}", b"{" * 99, b"[" * 99_999, b"\xff", b"null"])
def test_a_manifest_that_is_none_is_refused(file: Path, tmp_path: Path, text: bytes) -> None:
    zipped(tmp_path / "bad.zip", contents(file) | {"manifest.json": text})
    refused(tmp_path / "bad.zip", tmp_path / "new", "no description of a vibetrend backup")


def test_a_backup_without_its_database_is_refused(file: Path, tmp_path: Path) -> None:
    for name in ("logbook.sqlite", "manifest.json"):
        members = {each: content for each, content in contents(file).items() if each != name}
        zipped(tmp_path / "bad.zip", members)
        refused(tmp_path / "bad.zip", tmp_path / "new", f"{name} is missing in it")


def test_a_bomb_ends_at_once(file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Zeros pack a thousandfold; more than a backup may unpack to is not even begun."""
    zeros = bytes(20_000_000)
    name = hashlib.sha256(zeros).hexdigest()
    bomb = {f"originals/{name[:2]}/{name[2:]}": zeros}
    packed(tmp_path / "bad.zip", contents(file) | bomb)
    refused(tmp_path / "bad.zip", tmp_path / "new", "unpacks to 20 MB, which no backup of its size")
    stated = json.loads(contents(file)["manifest.json"])["members"]
    stated["logbook.sqlite"]["size"] = 2**50
    packed(tmp_path / "bad.zip", contents(file), members=stated)
    refused(tmp_path / "bad.zip", tmp_path / "new", "its size is not what was put in")
    monkeypatch.setattr(unpacking, "LARGEST_RATIO", 10**9)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(9, 8, 1_000_000))
    packed(tmp_path / "bad.zip", contents(file) | bomb)
    refused(
        tmp_path / "bad.zip", tmp_path / "new", r"needs 7\d MB and the disk has 1 MB left; free"
    )


def test_a_member_that_lies_about_its_size_is_cut_off(file: Path, tmp_path: Path) -> None:
    """The list at the end says 10 bytes, the data go on: they are counted as they come."""
    members = {name: each for name, each in contents(file).items() if "/" not in name}
    name = f"originals/00/{'0' * 62}"
    packed(tmp_path / "bad.zip", members | {name: bytes(4_000_000)})
    content = bytearray((tmp_path / "bad.zip").read_bytes())
    at = content.index(name.encode(), content.index(b"PK\x01\x02")) - 46
    content[at + 24 : at + 28] = (10).to_bytes(4, "little")
    (tmp_path / "bad.zip").write_bytes(content)
    refused(tmp_path / "bad.zip", tmp_path / "new", "its size is not what was put in")
    with zipfile.ZipFile(tmp_path / "bad.zip") as archive:
        manifest = json.loads(archive.read("manifest.json"))
    manifest["members"][name]["size"] = 10
    lying = packed(tmp_path / "more.zip", members | {name: bytes(4_000_000)}, **manifest)
    content = bytearray(lying.read_bytes())
    at = content.index(name.encode(), content.index(b"PK\x01\x02")) - 46
    content[at + 24 : at + 28] = (10).to_bytes(4, "little")
    lying.write_bytes(content)
    refused(lying, tmp_path / "new", "is damaged")


# A database is let in only as we make it


@pytest.mark.parametrize(
    ("sql", "match"),
    [
        ("CREATE TRIGGER t AFTER INSERT ON chain BEGIN DELETE FROM recording; END", "trigger 't'"),
        ("CREATE VIEW v AS SELECT load_extension('x')", "view 'v'"),
        ("CREATE TABLE letters (id INTEGER)", "something else .table 'letters'"),
        ("CREATE INDEX i ON recording (hours)", "index 'i'"),
        ("CREATE INDEX i ON recording (abs(hours))", "index 'i'"),
        ("CREATE VIRTUAL TABLE f USING fts5(x)", "table 'f'"),
        ("ALTER TABLE engine ADD COLUMN x AS (1)", "table 'engine'"),
        ("DROP INDEX filing_in_series", "lacks a part of its tables .index 'filing_in_series'"),
        ("ANALYZE", "table 'sqlite_stat"),
        ("UPDATE alembic_version SET version_num = '9999'", "newer vibetrend.*schema 9999"),
        ("UPDATE alembic_version SET version_num = '0000'", "is no logbook's"),
        ("UPDATE alembic_version SET version_num = '0003'", "something else"),
        ("DELETE FROM alembic_version", "is no logbook's"),
        ("UPDATE recording SET hours = 'many'", "column hours: it holds 'many', a number is"),
        ("UPDATE recording SET hours = 9e999", "column hours: inf is no number"),
        ("UPDATE recording SET baseline = 7", "column baseline: it holds 7, true or false is"),
        ("UPDATE recording SET tags = 7.5 WHERE id = 2", "not all is right: recording 2"),
        ("UPDATE recording SET tags = x'ff00'", "column tags: it holds b'.xff.x00', a text is"),
        ("UPDATE recording SET name = CAST(x'ff' AS TEXT)", "name: it holds bytes that are no"),
        ("UPDATE recording SET sha256 = '../../x' WHERE id = 1", "not all is right"),
        ("UPDATE entry SET date = 'someday'", "not all is right"),
        ("UPDATE filing SET series_id = 99", "not all is right"),
        ("DELETE FROM chain", "ends in another entry than the backup says"),
    ],
)  # fmt: skip
def test_a_database_that_is_not_as_we_make_it_is_refused(
    file: Path, tmp_path: Path, sql: str, match: str
) -> None:
    changed(file, tmp_path / "bad.zip", lambda connection: connection.execute(sql))
    refused(tmp_path / "bad.zip", tmp_path / "new", match)


def test_tables_disguised_as_ours_are_refused(file: Path, tmp_path: Path) -> None:
    def disguise(connection: sqlite3.Connection) -> None:
        connection.execute("PRAGMA writable_schema=ON")
        connection.execute(
            "UPDATE sqlite_master SET sql = replace(sql, 'hours FLOAT NOT NULL', "
            "'hours FLOAT NOT NULL CHECK (hours < 1)') WHERE name = 'work'"
        )

    changed(file, tmp_path / "bad.zip", disguise)
    refused(tmp_path / "bad.zip", tmp_path / "new", "something else .table 'work'")


def test_a_file_that_is_no_database_is_refused(file: Path, tmp_path: Path) -> None:
    whole = contents(file)["logbook.sqlite"]
    page = whole[:4096] + os.urandom(4096) + whole[8192:]
    for content in (b"", b"hello", whole[:4096], b"SQLite format 3\0" * 999, page):
        packed(tmp_path / "bad.zip", contents(file) | {"logbook.sqlite": content})
        refused(tmp_path / "bad.zip", tmp_path / "new", r"logbook\.sqlite: this ")


def test_bad_pages_anywhere_end_in_words(file: Path, tmp_path: Path) -> None:
    whole = contents(file)["logbook.sqlite"]
    pages = range(0, len(whole) // 4096, 5)
    refusals = 0
    for page in pages:
        content = bytearray(whole)
        content[page * 4096 : page * 4096 + 2000] = bytes(range(250)) * 8
        packed(tmp_path / "bad.zip", contents(file) | {"logbook.sqlite": bytes(content)})
        try:
            restore(tmp_path / "bad.zip", tmp_path / "new")
        except LogbookError:
            refusals += 1
        else:  # where nothing is kept
            shutil.rmtree(tmp_path / "new")
    assert refusals > len(pages) // 2


# An interruption


DIES = """
import os, signal, sys
from pathlib import Path
from vibetrend.logbook import Logbook, backup, whole_folder
def die(*_, **__):
    os.kill(os.getpid(), signal.SIGKILL)
source, target = map(Path, sys.argv[1:3])
module, name = sys.argv[3].split(".")
setattr({"backup": backup, "whole_folder": whole_folder}[module], name, die)
"""
RESTORES = f"{DIES}backup.restore(source, target)"
BACKS_UP = f"{DIES}with Logbook.open(source) as book: backup.back_up(book, target)"


def dies(code: str, source: Path, target: Path, at: str) -> None:
    """Run code that is killed where it comes to a function, and see that it was."""
    command = [sys.executable, "-c", code, str(source), str(target), at]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (-signal.SIGKILL, "")


@posix
@pytest.mark.parametrize(
    "at", ["backup.finish", "backup.look_over", "backup.check", "whole_folder.sync_folder"]
)
def test_a_kill_leaves_the_folder_untouched_and_the_next_clears_up(
    file: Path, tmp_path: Path, at: str
) -> None:
    dies(RESTORES, file, tmp_path / "new", at)
    (left,) = tmp_path.iterdir()
    assert re.fullmatch(rf"\.new\.[0-9a-f]{{16}}{re.escape(ENDING)}", left.name)
    restore(file, tmp_path / "new")
    assert [path.name for path in tmp_path.iterdir()] == ["new"]


@posix
@pytest.mark.parametrize("at", ["backup.finish", "backup._verify", "backup.sync_folder"])
def test_a_kill_leaves_a_whole_backup_or_none(kept: Path, tmp_path: Path, at: str) -> None:
    shutil.copytree(kept, tmp_path / "log")
    target = tmp_path / "boat.zip"
    dies(BACKS_UP, tmp_path / "log", target, at)
    assert target.exists() == (at == "backup.sync_folder")
    if not target.exists():
        with Logbook.open(tmp_path / "log") as again:
            back_up(again, target)
        assert sorted(path.name for path in tmp_path.iterdir()) == ["boat.zip", "log"]
    restore(target, tmp_path / "new")


def test_of_two_at_once_one_is_first(
    file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def meanwhile(*arguments: Any, **options: Any) -> Any:
        monkeypatch.undo()
        restore(file, tmp_path / "new")  # as another program would; it leaves this one's alone
        return look_over(*arguments, **options)

    look_over = backup.look_over
    monkeypatch.setattr(backup, "look_over", meanwhile)
    with pytest.raises(LogbookError, match="holds something already"):
        restore(file, tmp_path / "new")
    assert [path.name for path in tmp_path.iterdir()] == ["new"]
    with Logbook.open(tmp_path / "new") as made:
        assert made.check().clean


def test_what_was_put_there_meanwhile_is_left_alone(
    file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def meanwhile(*arguments: Any, **options: Any) -> Any:
        (tmp_path / "new").mkdir()
        (tmp_path / "new" / "letter.txt").write_text("hello")
        return look_over(*arguments, **options)

    look_over = backup.look_over
    monkeypatch.setattr(backup, "look_over", meanwhile)
    with pytest.raises(LogbookError, match="holds something already"):
        restore(file, tmp_path / "new")
    assert everything_below(tmp_path) == {"new": None, "new/letter.txt": b"hello"}


def test_a_full_disk_restores_nothing(
    file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(backup, "finish", full)
    refused(file, tmp_path / "new", r"new: the folder cannot be written \(no space left on device")


def test_a_logbook_that_may_only_be_read_can_be_backed_up(kept: Path, tmp_path: Path) -> None:
    shutil.copytree(kept, tmp_path / "log")
    with closing(Database(tmp_path / "log" / "logbook.sqlite", read_only=True)) as database:
        done = back_up(Logbook(tmp_path / "log", database), tmp_path / "boat.zip")
    assert done.recordings == 15
    assert restore(tmp_path / "boat.zip", tmp_path / "new").faults == ()


def test_what_a_person_wrote_is_no_trouble(tmp_path: Path) -> None:
    with book_with_engine(tmp_path / "50% öl #1 & 'x'") as odd:
        add(odd, b"1")
        done = back_up(odd, tmp_path / "böat #2?.zip")
    assert restore(done.path, tmp_path / "n%41w").recordings == 1
    assert io.BytesIO(b"1").read() in originals(tmp_path / "n%41w").values()
