"""Files that go or change while they are read: one plain line, nothing kept of them."""

import errno
import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from every_command import LOGBOOK, Command, run
from every_format import FORMATS
from failing import GONE, pulled
from trial import Trials, told
from whole_logbook import faults, held

from vibetrend.checkup import adding
from vibetrend.ingest import archive


@pytest.fixture(scope="module", autouse=True)
def of_every_format(trials: Trials) -> Iterator[None]:
    """Put a file of every format among those that commands are given."""
    files = trials.prepared.folder / "files"
    for name, write in FORMATS.items():
        write(files / "0.csv", files / name)
    yield
    for name in FORMATS:
        (files / name).unlink()


def adding_of(trials: Trials, name: str) -> Command:
    """Return the command that adds one file."""
    add = trials.prepared["add one"]
    return replace(add, name=f"add {name}", arguments=(*add.arguments[:-1], f"files/{name}"))


# A stick that is pulled


@pytest.mark.parametrize("number", GONE, ids=errno.errorcode.get)
def test_a_stick_that_is_gone(trials: Trials, tmp_path: Path, number: int) -> None:
    command = adding_of(trials, "idle.csv")
    at = trials.prepared.copy(tmp_path, command)
    said = trials.refused(command, at, pulled(at / "files/idle.csv", good=0, number=number))
    assert "files/idle.csv: cannot be read (" in said


@pytest.mark.parametrize("name", FORMATS)
def test_a_stick_that_is_pulled_half_way(trials: Trials, tmp_path: Path, name: str) -> None:
    command = adding_of(trials, name)
    at = trials.prepared.copy(tmp_path, command)
    path = at / "files" / name
    good = path.stat().st_size // 2
    said = trials.refused(command, at, pulled(path, good=good, number=errno.EIO))
    assert f"files/{name}: cannot be read (" in said
    if name == "idle.csv":
        trials.works(command, at)


@pytest.mark.parametrize("name", ["idle.csv", "idle.wav"])
def test_a_stick_that_is_pulled_before_it_is_copied(
    trials: Trials, tmp_path: Path, name: str
) -> None:
    """It was read and hashed; what is kept comes from a third opening."""
    command = adding_of(trials, name)
    at = trials.prepared.copy(tmp_path, command)
    fault = pulled(at / "files" / name, good=5000, number=errno.EIO, opening=3)
    said = trials.refused(command, at, fault)
    assert f"files/{name}: cannot be read (" in said
    trials.works(command, at)


@pytest.mark.parametrize(("name", "file"), [("photo", "rim.jpg"), ("engine add, new", "new.toml")])
def test_a_stick_with_other_files(trials: Trials, tmp_path: Path, name: str, file: str) -> None:
    command = trials.prepared[name]
    at = trials.prepared.copy(tmp_path, command)
    said = trials.refused(command, at, pulled(at / "files" / file, good=10, number=errno.EIO))
    assert f"files/{file}: " in said
    assert "cannot be read (" in said
    trials.works(command, at)


def test_what_to_do_about_a_pulled_stick_is_said(trials: Trials, tmp_path: Path) -> None:
    command = adding_of(trials, "idle.csv")
    at = trials.prepared.copy(tmp_path, command)
    said = trials.refused(command, at, pulled(at / "files/idle.csv", good=9, number=errno.EIO))
    assert "check path and rights" not in said


# A file that does not hold still


def _grows(path: Path) -> None:
    with path.open("a") as file:
        file.write("9.00000,0.0,0.0,0.0\n")


def _shrinks(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 2)


def _changes(path: Path) -> None:
    """Change a digit; size and time stay as they were."""
    was = path.stat()
    content = bytearray(path.read_bytes())
    content[-3] ^= 1
    path.write_bytes(content)
    os.utime(path, ns=(was.st_atime_ns, was.st_mtime_ns))


def _is_replaced(path: Path) -> None:
    other = path.with_suffix(".other")
    other.write_bytes(path.read_bytes()[:-20])
    other.replace(path)


def _goes(path: Path) -> None:
    path.unlink()


@pytest.mark.parametrize("when", ["read", "measure"])
@pytest.mark.parametrize("happens", [_grows, _shrinks, _changes, _is_replaced, _goes])
def test_a_file_that_does_not_hold_still(
    trials: Trials, tmp_path: Path, when: str, happens: Callable[[Path], None]
) -> None:
    """Right after it was read, and while it is measured."""
    command = adding_of(trials, "idle.csv")
    at = trials.prepared.copy(tmp_path, command)
    path = at / "files" / "idle.csv"
    real = getattr(adding, when)

    def and_then(*given: Any, **named: Any) -> Any:
        done = real(*given, **named)
        happens(path)
        return done

    with patch.object(adding, when, and_then):
        ran = run(at, command.arguments)
    if ran.accepted:  # the program holds it open: what it read is what it keeps
        assert when == "measure"
        assert happens in (_is_replaced, _goes)
        assert held(at / LOGBOOK) == trials.usual(command)
        return
    told(ran)
    assert "files/idle.csv: " in ran.err
    assert list(faults(at / LOGBOOK)) == []


@pytest.mark.parametrize("happens", [_grows, _shrinks])
def test_a_file_that_changes_while_it_is_hashed(
    trials: Trials, tmp_path: Path, happens: Callable[[Path], None]
) -> None:
    command = adding_of(trials, "idle.csv")
    at = trials.prepared.copy(tmp_path, command)
    path = at / "files" / "idle.csv"
    content = path.read_bytes()
    real = archive.unpack

    def and_then(*given: Any, **named: Any) -> Any:
        happens(path)
        return real(*given, **named)

    said = trials.refused(command, at, patch.object(archive, "unpack", and_then))
    assert "files/idle.csv: " in said
    path.write_bytes(content)
    trials.works(command, at)
