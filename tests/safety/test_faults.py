"""Disks that are full, fail or may only be read; rights; network drives: one plain line each.

Every command that writes is tried; after each fault the logbook is as it was, and the command
works once the fault is gone.
"""

import errno
import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, nullcontext
from pathlib import Path
from unittest.mock import patch

import pytest
from every_command import LOGBOOK, VERSIONS, commands
from failing import (
    failing,
    filled,
    mounted,
    no_file_beyond,
    read_only,
    rights,
)
from trial import State, Trials, told
from whole_logbook import JUDGED, held

from vibetrend.errors import LogbookError
from vibetrend.logbook import Logbook
from vibetrend.whole_file import ENDING

pytestmark = pytest.mark.skipif(os.name != "posix", reason="rights and limits are POSIX")

EVERY = [each.name for each in commands()]
# What a report does beside is tried where it matters; three files only tell it three times.
QUICK = [name for name in EVERY if name not in ("report", "add three", "correct speed")]
COPIES = [name for name in EVERY if name in ("backup", "export", "restore", "import")]
READ_FROM = [name for name in COPIES if name in ("backup", "export")]
IN_THE_LOGBOOK = [name for name in QUICK if name not in COPIES]
# Where all of them meet the fault in the same place, the opening of the logbook.
FEW = ["add one", "bolt", "status", f"migration of {VERSIONS[0]}", *READ_FROM]
FULL, NONE = 40_000, 0  # bytes left on a disk: SQLite's own lock fits, nothing else; nothing at all


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """Give a disk of 96 MB."""
    with mounted(tmp_path / "disk", size="96m") as possible:
        if not possible:
            pytest.skip("to mount a small disk needs root")
        yield tmp_path / "disk"


@pytest.fixture
def everyones() -> Iterator[Path]:
    """Give a folder that anyone may look into."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


# Full


@pytest.mark.parametrize("name", [each for each in EVERY if each != "status"])
def test_a_full_disk(trials: Trials, disk: Path, name: str) -> None:
    command = trials.prepared[name]
    at = trials.prepared.copy(disk / "at", command)
    # A report says too that what it concludes is not kept.
    lines = command.files + (name == "report")
    said = trials.refused(command, at, filled(disk, leave=FULL), lines=lines)
    assert "full" in said or "space" in said
    if name in QUICK:
        trials.works(command, at)


@pytest.mark.parametrize("version", VERSIONS[:-1])
def test_a_disk_that_fills_up_during_an_upgrade(trials: Trials, disk: Path, version: str) -> None:
    """Before the copy, within it, after it, within the transaction: a bit later each time."""
    command = trials.prepared[f"migration of {version}"]
    at = trials.prepared.copy(disk / "at", command)
    before = State.of(at)
    reasons = set()
    for leave in range(FULL, 4_000_000, 130_000):
        ran = trials.ran(command, at, filled(disk, leave=leave))
        if ran.accepted:
            break
        told(ran)
        reasons.add("copy" if "no copy" in ran.err else "change")
        trials.unchanged(command, at, before)
    assert reasons == {"copy", "change"}
    trials.works(command, at)


def test_a_disk_without_a_byte_left_is_called_full(trials: Trials, disk: Path) -> None:
    command = trials.prepared["bolt"]
    at = trials.prepared.copy(disk / "at", command)
    said = trials.refused(command, at, filled(disk, leave=NONE))
    assert "full" in said or "space" in said


def test_a_full_disk_does_not_hide_where_an_engine_stands(trials: Trials, disk: Path) -> None:
    command = trials.prepared["status"]
    at = trials.prepared.copy(disk / "at", command)
    ran = trials.ran(command, at, filled(disk, leave=FULL))
    assert ran.accepted
    assert "full" in ran.err


def test_what_was_added_is_not_called_refused(trials: Trials, tmp_path: Path) -> None:
    """The disk had room for a recording, and has none for the verdict on it."""
    command = trials.prepared["add one"]
    at = trials.prepared.copy(tmp_path, command)
    full = LogbookError("logbook.sqlite: the disk is full; free some space, then try again")
    ran = trials.ran(command, at, patch.object(Logbook, "keep_verdict", side_effect=full))
    missing = trials.usual(command) - held(at / LOGBOOK)
    assert {row[0] for row in missing} <= JUDGED
    assert ran.accepted
    told(ran)


def test_a_full_disk_for_temporary_files_costs_a_picture(
    trials: Trials, disk: Path, tmp_path: Path
) -> None:
    command = trials.prepared["report"]
    at = trials.prepared.copy(tmp_path / "at", command)
    with patch.object(tempfile, "tempdir", str(disk)):
        ran = trials.ran(command, at, filled(disk, leave=NONE))
    assert ran.accepted
    assert "no picture of the latest recording" in ran.err


# Failing


@pytest.mark.parametrize("name", QUICK)
def test_a_disk_that_takes_nothing(trials: Trials, tmp_path: Path, name: str) -> None:
    """Every write fails, SQLite's too, as on a stick that was pulled."""
    command = trials.prepared[name]
    at = trials.prepared.copy(tmp_path, command)
    trials.refused(command, at, no_file_beyond(0))


@pytest.mark.parametrize("name", ["work add, late", "photo", "installation start"])
def test_a_disk_that_fails_half_way(trials: Trials, tmp_path: Path, name: str) -> None:
    """A bit later each time, until all of it can be written."""
    command = trials.prepared[name]
    for size in range(32_768, 400_000, 8192):
        at = trials.prepared.copy(tmp_path / f"{size}", command)
        before = State.of(at)
        ran = trials.ran(command, at, no_file_beyond(size))
        if ran.accepted:
            break
        told(ran)
        trials.unchanged(command, at, before)
    assert ran.accepted
    assert held(at / LOGBOOK) == trials.usual(command)


FINISHED = [
    *(("photo", call) for call in ("fsync", "replace")),
    *((f"migration of {VERSIONS[0]}", call) for call in ("fsync", "replace")),
    *zip(COPIES, ("fsync", "rename", "fsync", "rename"), strict=False),
]


@pytest.mark.parametrize(("name", "call"), FINISHED)
def test_a_disk_that_fails_when_files_are_finished(
    trials: Trials, tmp_path: Path, name: str, call: str
) -> None:
    """At the first such call, at the second, and so on."""
    command = trials.prepared[name]
    for after in (0, 1, 2, 5, 13, 34, 89, 233):
        at = trials.prepared.copy(tmp_path / f"{after}", command)
        before = State.of(at)
        ran = trials.ran(command, at, failing(call, errno.EIO, after=after))
        if ran.accepted:
            break
        told(ran)
        trials.unchanged(command, at, before)
    assert ran.accepted
    assert after > 0
    assert held(at / LOGBOOK) == trials.usual(command)


# Not allowed


def test_a_stick_that_is_pulled_while_a_page_is_written(trials: Trials, tmp_path: Path) -> None:
    command = trials.prepared["report"]
    at = trials.prepared.copy(tmp_path, command)
    with failing("fsync", errno.EIO), failing("unlink", errno.EIO, ending=ENDING):
        ran = trials.ran(command, at, nullcontext())
    told(ran)
    assert "cannot be written" in ran.err


@pytest.mark.parametrize("name", IN_THE_LOGBOOK)
def test_a_disk_that_may_only_be_read(trials: Trials, disk: Path, name: str) -> None:
    command = trials.prepared[name]
    at = trials.prepared.copy(disk / "at", command)
    if name == "status":
        assert trials.ran(command, at, read_only(disk)).accepted
    else:
        trials.refused(command, at, read_only(disk))


@pytest.mark.parametrize("name", [each for each in FEW if each in IN_THE_LOGBOOK])
def test_files_that_may_only_be_read(trials: Trials, everyones: Path, name: str) -> None:
    command = trials.prepared[name]
    at = trials.prepared.copy(everyones / "at", command)
    only_read = rights(at, folders=0o555, files=0o444)
    if name == "status":
        assert trials.ran(command, at, only_read).accepted
    else:
        trials.refused(command, at, only_read)
    trials.works(command, at)


@pytest.mark.parametrize("name", FEW)
def test_a_logbook_of_somebody_else(trials: Trials, everyones: Path, name: str) -> None:
    command = trials.prepared[name]
    at = trials.prepared.copy(everyones / "at", command)
    said = trials.refused(command, at, rights(at / LOGBOOK, folders=0, files=0))
    assert "permission denied" in said
    trials.works(command, at)


@pytest.mark.parametrize("name", COPIES)
def test_a_folder_that_may_not_be_written_to(trials: Trials, everyones: Path, name: str) -> None:
    command = trials.prepared[name]
    at = trials.prepared.copy(everyones / "at", command)
    not_here = rights(at, folders=0o777, files=0o666, itself=0o555)
    said = trials.refused(command, at, not_here)
    assert "permission denied" in said
    trials.works(command, at)


# Not a place for it


@pytest.mark.parametrize(
    "answer",
    [
        pytest.param(("vibetrend.logbook.opening.on_network", True), id="as the system says"),
        pytest.param(("vibetrend.logbook.database._write_ahead", "delete"), id="as SQLite says"),
    ],
)
@pytest.mark.parametrize("name", FEW)
def test_a_network_drive(
    trials: Trials, tmp_path: Path, name: str, answer: tuple[str, object]
) -> None:
    command = trials.prepared[name]
    at = trials.prepared.copy(tmp_path, command)
    function, says = answer
    said = trials.refused(command, at, patch(function, lambda _: says))
    assert "network drive; choose a folder on a disk of this computer" in said


@pytest.mark.parametrize("name", IN_THE_LOGBOOK)
def test_a_program_that_does_not_let_go(trials: Trials, tmp_path: Path, name: str) -> None:
    command = trials.prepared[name]
    at = trials.prepared.copy(tmp_path, command)
    patience = patch("vibetrend.logbook.database.BUSY_SECONDS", 0.02)
    with closing(sqlite3.connect(at / LOGBOOK / "logbook.sqlite")) as other:
        other.execute("BEGIN IMMEDIATE")
        ran = trials.ran(command, at, patience)
        other.rollback()
    told(ran)
    assert "another program has kept it locked" in ran.err
