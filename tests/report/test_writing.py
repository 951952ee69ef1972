"""Files that are written: all of them or none, ours replaced, what is not ours left alone."""

import errno
import os
import re
from dataclasses import replace
from pathlib import Path

import pytest

from vibetrend.errors import VibetrendError
from vibetrend.report.writing import File, Kind, file_name, write_all

KIND = Kind(name="page", signature=b"ours", option="--output")
OLD, NEW = b"ours, old", b"ours, new"


def files(*paths: Path) -> list[File]:
    return [File(path=path, content=NEW, kind=KIND) for path in paths]


def within(folder: Path) -> dict[str, bytes]:
    return {
        str(each.relative_to(folder)): each.read_bytes()
        for each in folder.rglob("*")
        if each.is_file()
    }


def test_folders_are_made_and_ours_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(OLD)
    (tmp_path / "empty").touch()
    names = ["a", "b/c/é.html", "empty", "é" * 80]
    write_all(files(*(tmp_path / name for name in names)))
    assert within(tmp_path) == dict.fromkeys(names, NEW)


def test_a_foreign_file_stops_them_all(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(OLD)
    (tmp_path / "b").write_bytes(b"theirs")
    with pytest.raises(VibetrendError, match=r"b: a file that is no page of vibetrend .* --output"):
        write_all(files(tmp_path / "a", tmp_path / "b"))
    assert within(tmp_path) == {"a": OLD, "b": b"theirs"}


def test_a_full_disk_leaves_all_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a").write_bytes(OLD)
    calls = []

    def fsync(handle: int) -> None:
        calls.append(handle)
        if len(calls) == 2:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(VibetrendError, match=r"b: the page cannot be written .No space left"):
        write_all(files(tmp_path / "a", tmp_path / "b"))
    assert within(tmp_path) == {"a": OLD}


def test_interrupted_it_leaves_all_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_all(files(tmp_path / "a"))
    assert within(tmp_path) == {}


def test_two_files_cannot_have_one_name(tmp_path: Path) -> None:
    with pytest.raises(VibetrendError, match="two files cannot have one name"):
        write_all(files(tmp_path / "a", tmp_path / "b" / ".." / "a"))
    assert within(tmp_path) == {}


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(VibetrendError, match="a device, no file; choose another --output"):
        write_all(files(tmp_path))


def test_a_name_too_long_is_told(tmp_path: Path) -> None:
    with pytest.raises(VibetrendError, match="cannot be written"):
        write_all(files(tmp_path / ("é" * 300)))
    assert within(tmp_path) == {}


@pytest.mark.skipif(os.name != "posix", reason="devices and links as POSIX has them")
def test_no_device_is_replaced_and_a_link_stays_one(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    (tmp_path / "to the pipe").symlink_to(pipe)
    for path in (pipe, tmp_path / "to the pipe"):
        with pytest.raises(VibetrendError, match="a folder or a device"):
            write_all(files(path))
    assert pipe.is_fifo()
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere" / "page.html")
    write_all(files(tmp_path / "link"))
    assert (tmp_path / "link").is_symlink()
    assert within(tmp_path) == {"link": NEW, "elsewhere/page.html": NEW}


def test_another_kind_is_left_alone_and_an_earlier_version_s_own_is_replaced(
    tmp_path: Path,
) -> None:
    kind = replace(KIND, signature=b"ours, new", others=b"ours", earlier=b"ours, old")
    (file,) = (replace(each, kind=kind) for each in files(tmp_path / "a"))
    file.path.write_bytes(b"ours, a card")
    with pytest.raises(
        VibetrendError, match=r"a: a page of another kind has this name and is left"
    ):
        write_all([file])
    assert within(tmp_path) == {"a": b"ours, a card"}
    file.path.write_bytes(OLD)
    write_all([file])
    write_all([file])
    assert within(tmp_path) == {"a": NEW}


# Names


@pytest.mark.parametrize("name", ["main", "Port-2", "a__b", "_x", "主機", "é", "x" * 80, "console"])
def test_an_ordinary_name_stays(name: str) -> None:
    assert file_name(name) == name


@pytest.mark.parametrize(
    ("name", "begins"),
    [
        ("a/b", "a_b"),
        ("a b", "a_b"),
        ("a_/ _b", "a_b"),
        ("../../etc", "etc"),
        ("-rf", "rf"),
        ("-", ""),
        (".", ""),
        ("", ""),
        (".hidden", "hidden"),
        ("x" * 81, "x" * 71),
        ("主" * 100, "主" * 23),
        ("e\u0301", "é"),  # the same as é to the eye and to some file systems
        ("\udcff", ""),  # a byte that is no text
        ("CON", "CON"),
        ("nul", "nul"),
        ("Com1", "Com1"),
        ("LPT²", "LPT²"),
        ("engines", "engines"),
        ("Demo", "Demo"),
    ],
)
def test_an_altered_name_tells_by_a_hash_that_it_is_another(name: str, begins: str) -> None:
    """Names that Windows reserves: Microsoft Learn, "Naming Files, Paths, and Namespaces"."""
    assert re.fullmatch(f"{begins}-[0-9a-f]{{8}}".removeprefix("-"), file_name(name))


def test_no_two_names_become_one() -> None:
    long = "x" * 90
    names = ["a/b", "a b", "a_b", "a//b", f"{long}1", f"{long}2", ".", "..", "é", "e\u0301"]
    assert len({file_name(name) for name in names}) == len(names)
    assert all(len(file_name(name, longest=60).encode()) <= 60 for name in names)
