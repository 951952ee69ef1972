"""From a file that arrives to a recording in the logbook, or to a reason why not."""

import contextlib
import gzip
import os
import shutil
import sqlite3
from pathlib import Path

import pytest
from invented_phone import Phone, clip, kept, remarks, set_aside

from vibetrend.errors import LogbookError, ReadError
from vibetrend.watch.events import SetAside, Stands

NAMED = "2024-06-05_3131h_1.csv"


@pytest.fixture(scope="module")
def content(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return clip(tmp_path_factory.mktemp("clip") / "clip.csv").read_bytes()


@pytest.fixture
def phone(tmp_path: Path) -> Phone:
    return Phone(tmp_path)


# Arriving


def test_a_file_is_added_when_it_has_stopped_growing(phone: Phone, content: bytes) -> None:
    file = phone.folder / NAMED
    (phone.folder / "2024-06-05_3131h_1.toml").write_text("")  # so that no side file is waited for
    for end in range(1, 6):
        file.write_bytes(content[: end * len(content) // 5])
        assert kept(phone.poll()) == []  # each poll sees another size
    assert kept(phone.poll()) == [NAMED]  # the same in two polls
    assert len(phone.history()) == 1


def test_the_same_size_with_another_time_is_still_arriving(phone: Phone, content: bytes) -> None:
    file = phone.folder / NAMED
    file.with_suffix(".toml").write_text("")
    file.write_bytes(content)  # as programs do that reserve the space first
    for second in range(5):
        os.utime(file, (1_700_000_000 + second, 1_700_000_000 + second))
        assert kept(phone.poll()) == []
    assert kept(phone.poll()) == [NAMED]


def test_a_side_file_may_come_two_polls_later(phone: Phone, content: bytes) -> None:
    file = phone.folder / "clip.csv"
    file.write_bytes(content)
    phone.restart(device="my phone").poll(3)
    file.with_suffix(".toml").write_text("rpm = 1080\nhours = 3131\ndate = 2024-06-05")
    events = phone.settle()
    assert (kept(events), set_aside(events)) == (["clip.csv"], {})
    (row,) = phone.tags()
    assert (row["hours"], row["rpm"], str(row["date"])) == (3131, 1080, "2024-06-05")


def test_a_recording_with_missing_tags_is_tried_again_when_they_come(
    phone: Phone, content: bytes
) -> None:
    file = phone.folder / "clip.csv"
    file.write_bytes(content)
    phone.restart(device="my phone")
    reason = set_aside(phone.settle())["clip.csv"]
    assert "rpm and hours stated nowhere" in reason
    assert "write rpm = N and hours = N into clip.toml beside it" in reason
    assert phone.poll(10) == []  # told once
    assert set_aside(phone.restart(device="my phone").settle()) == {}  # after a restart too
    side = file.with_suffix(".toml")
    side.write_text("rpm = 1080\nhours = ")
    assert "not valid TOML" in set_aside(phone.settle())["clip.csv"]
    side.write_text("rpm = 1080\nhours = 3131\ndate = 2024-06-05")
    assert kept(phone.settle()) == ["clip.csv"]
    assert phone.memory.set_aside() == {}


def test_a_side_file_that_comes_too_late_is_told_once(phone: Phone, content: bytes) -> None:
    file = phone.folder / NAMED
    file.write_bytes(content)
    phone.settle()
    file.with_suffix(".toml").write_text('device = "another"')
    assert remarks(phone.poll(3)) == ["side-file-late"]
    assert remarks(phone.restart().poll(3)) == []
    assert [row["device"] for row in phone.tags()] == [""]


def test_a_file_that_changes_while_it_is_read_is_waited_for(
    phone: Phone, content: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = phone.folder / NAMED
    file.write_bytes(content[: len(content) // 2])
    phone.poll(3)

    def growing(*_: object, **__: object) -> None:
        file.write_bytes(content)
        raise ReadError(f"{file}: some error or other")

    with monkeypatch.context() as patched:
        patched.setattr("vibetrend.watch.intake.add_file", growing)
        events = phone.poll()
    assert not set_aside(events)
    assert not phone.watcher.idle
    assert kept(phone.settle()) == [NAMED]
    assert len(phone.history()) == 1


# Once only


def test_nothing_is_read_twice_after_a_restart(
    phone: Phone, content: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    (phone.folder / NAMED).write_bytes(content)
    (phone.folder / "notes.txt").write_text("oil changed")
    assert kept(phone.settle()) == [NAMED]

    def never(*_: object, **__: object) -> None:
        raise AssertionError("read again")

    monkeypatch.setattr("vibetrend.watch.intake.add_file", never)
    events = phone.restart().settle()
    assert (kept(events), set_aside(events)) == ([], {})
    assert list(phone.memory.set_aside()) == ["notes.txt"]


@pytest.mark.parametrize("damage", [None, b"", b"{", b'{"form": 1}', b"\xff\x00", b"[" * 100_000])
def test_a_lost_or_damaged_memory_costs_only_time(
    phone: Phone, content: bytes, damage: bytes | None
) -> None:
    (phone.folder / NAMED).write_bytes(content)
    phone.settle()
    if damage is None:
        phone.memory.path.unlink()
    else:
        phone.memory.path.write_bytes(damage)
    phone.restart()
    assert phone.lost == (damage is not None)
    events = phone.settle()
    assert kept(events) == [NAMED]  # looked at again, found by its content
    assert len(phone.history()) == 1
    assert [event for event in events if isinstance(event, Stands) and event.filed] == []


def test_the_same_content_under_two_names_is_one_recording(phone: Phone, content: bytes) -> None:
    (phone.folder / NAMED).write_bytes(content)
    (phone.folder / "copy").mkdir()
    (phone.folder / "copy" / "2024-06-05_3131h copy.csv").write_bytes(content)
    assert len(kept(phone.settle())) == 2
    assert len(phone.history()) == 1


def test_content_that_changes_after_it_was_added_is_another_recording_and_said(
    phone: Phone, content: bytes
) -> None:
    file = phone.folder / NAMED
    file.write_bytes(content)
    phone.settle()
    clip(file, seed=2)
    events = phone.settle()
    assert (kept(events), remarks(events)) == ([NAMED], ["changed-after"])
    assert len(phone.history()) == 2


def test_files_are_never_touched(phone: Phone, content: bytes) -> None:
    (phone.folder / NAMED).write_bytes(content)
    (phone.folder / "notes.txt").write_text("oil changed")
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in
              phone.folder.iterdir()}  # fmt: skip
    phone.settle()
    after = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in
             phone.folder.iterdir()}  # fmt: skip
    assert after == before


# What stands in the way


def test_an_unreadable_file_is_told_once_and_again_when_it_changes(phone: Phone) -> None:
    file = phone.folder / "notes.txt"
    file.write_text("oil changed")
    assert "no table of numbers" in set_aside(phone.settle())["notes.txt"]
    assert phone.poll(20) == []
    phone.clock += 100_000
    assert phone.poll(20) == []
    file.write_bytes(b"")
    assert "empty" in set_aside(phone.settle())["notes.txt"]
    file.unlink()
    assert phone.memory.set_aside() == {}


def test_other_options_are_a_reason_to_try_again(phone: Phone, content: bytes) -> None:
    (phone.folder / "3131h.csv").write_bytes(content)
    phone.restart(device="my phone")
    assert "rpm stated nowhere" in set_aside(phone.settle())["3131h.csv"]
    assert kept(phone.restart(device="my phone").settle()) == []
    assert kept(phone.restart(device="my phone", rpm=1080.0).settle()) == ["3131h.csv"]


def test_the_folder_may_vanish_and_come_back(phone: Phone, content: bytes) -> None:
    (phone.folder / NAMED).write_bytes(content)
    phone.settle()
    away = phone.folder.rename(phone.folder.with_name("away"))
    events = phone.poll(5)
    assert remarks(events) == ["folder-gone"]
    assert phone.watcher.blocked
    phone.restart().watcher.start()  # it was there before: waited for
    assert remarks(phone.poll(2)) == ["folder-gone"]
    phone.folder.mkdir()  # an empty place where the drive was: nothing is forgotten
    assert remarks(phone.poll()) == ["folder-back"]
    phone.folder.rmdir()
    phone.poll()
    away.rename(phone.folder)
    events = phone.settle()
    assert (kept(events), remarks(events)) == ([], ["folder-back"])


def test_what_the_logbook_refuses_is_tried_again_by_itself(phone: Phone, content: bytes) -> None:
    (phone.folder / "2024-05-01_3000h.csv").write_bytes(content)
    phone.restart(baseline=True, rpm=1080.0)
    (event,) = [each for each in phone.settle() if isinstance(each, SetAside)]
    assert "a baseline belongs to an installation" in event.reason
    assert event.again
    assert phone.poll(3) == []
    phone.clock += 61
    assert set_aside(phone.settle()) == {}  # tried, refused again, not told again


def test_a_full_disk_is_told_once_and_waited_for(
    phone: Phone, content: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in (NAMED, "2024-06-05_3131h_2.csv"):
        (phone.folder / name).write_bytes(content)
    phone.poll()

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("vibetrend.logbook.originals.unfinished", full)
        events = phone.poll(5)
        assert set_aside(events) == {}  # no fault of the files
        assert "logbook" in remarks(events)
        phone.clock += 61
        assert "logbook" not in remarks(phone.poll())  # tried again, not told again
        assert phone.watcher.blocked
    phone.clock += 121
    events = phone.settle()
    assert len(kept(events)) == 2
    assert "logbook-back" in remarks(events)


def test_a_locked_logbook_is_told_once_and_waited_for(
    phone: Phone, content: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    (phone.folder / NAMED).write_bytes(content)
    phone.poll()
    monkeypatch.setattr("vibetrend.logbook.database.BUSY_SECONDS", 0.05)
    with contextlib.closing(sqlite3.connect(phone.logbook / "logbook.sqlite")) as other:
        other.execute("BEGIN IMMEDIATE")
        events = phone.poll(5)
        assert (remarks(events), set_aside(events)) == (["logbook"], {})
        other.rollback()
    phone.clock += 61
    events = phone.settle()
    assert (kept(events), remarks(events)) == ([NAMED], ["logbook-back"])


def test_what_the_system_refuses_to_read_is_tried_again_by_itself(
    phone: Phone, content: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    (phone.folder / NAMED).write_bytes(content)

    def no_right(self: Path, *_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", str(self))

    with monkeypatch.context() as patched:
        patched.setattr("vibetrend.ingest.content.Path.open", no_right)
        (event,) = [each for each in phone.settle() if isinstance(each, SetAside)]
    assert event.again
    assert "Permission denied" in event.reason
    assert kept(phone.poll(5)) == []
    phone.clock += 61
    assert kept(phone.settle()) == [NAMED]


def test_a_damaged_packed_file_is_not_tried_again_by_itself(phone: Phone, content: bytes) -> None:
    packed = bytearray(gzip.compress(content))
    packed[len(packed) // 2] ^= 255
    (phone.folder / "2024-06-05_3131h.csv.gz").write_bytes(packed)
    (event,) = [each for each in phone.settle() if isinstance(each, SetAside)]
    assert not event.again


def test_a_memory_that_cannot_be_written_is_told_once(
    phone: Phone, content: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    (phone.folder / NAMED).write_bytes(content)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("vibetrend.whole_file.finish", full)
        events = phone.settle()
        assert kept(events) == [NAMED]
        assert remarks(events + phone.poll(5)) == ["memory"]
    phone.poll()
    assert NAMED in phone.restart().memory.files
    assert list(phone.memory.path.parent.glob("*.part")) == []


@pytest.mark.parametrize(
    ("folder_file", "engine", "said"),
    [
        (None, None, 'no engine is stated; write engine = "NAME" into'),
        (None, "other", "engine 'other' is not in the logbook"),
        ('engine = "other"', None, "engine 'other' is not in the logbook"),
        ("rmp = 1", "main", "did you mean rpm"),
    ],
)
def test_it_does_not_start_where_nothing_could_be_added(
    phone: Phone, folder_file: str | None, engine: str | None, said: str
) -> None:
    if folder_file:
        (phone.folder / "folder.toml").write_text(folder_file)
    with pytest.raises((ReadError, LogbookError), match=said):
        phone.restart(engine=engine).watcher.start()


def test_a_folder_that_never_was_is_an_error(phone: Phone) -> None:
    shutil.rmtree(phone.folder)
    with pytest.raises(ReadError, match="this folder cannot be read"):
        phone.restart().watcher.start()
