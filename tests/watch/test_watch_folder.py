"""What a look at the folder finds, and what it passes over."""

import os
from pathlib import Path

import pytest

from vibetrend.errors import ReadError
from vibetrend.ingest.tags import beside
from vibetrend.watch.defaults import read_defaults
from vibetrend.watch.folder import DEEPEST, look_into, passed_over


def _write(path: Path, text: str = "x") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "name",
    [
        "clip.csv.part", "clip.csv.PARTIAL", "clip.tmp", "clip.csv.crdownload", "clip.csv~",
        ".clip.csv", "._clip.csv", "~clip.csv", ".clip.csv.Xy12ab", "Thumbs.db", "desktop.ini",
    ],
)  # fmt: skip
def test_unfinished_and_hidden_files_are_passed_over(tmp_path: Path, name: str) -> None:
    _write(tmp_path / name)
    assert passed_over(name)
    assert look_into(tmp_path).arrivals == {}


@pytest.mark.parametrize("name", ["clip.csv", "clip", "#1.wav", "partial.csv", "1 (2).csv.gz"])
def test_recordings_are_not_passed_over(tmp_path: Path, name: str) -> None:
    _write(tmp_path / name)
    assert list(look_into(tmp_path).arrivals) == [name]


@pytest.mark.parametrize("side", ["clip.toml", "clip.csv.toml", "clip.csv.gz.toml"])
def test_every_name_a_side_file_may_have_belongs_to_its_recording(
    tmp_path: Path, side: str
) -> None:
    """Held against what reads side files: a name it takes must be seen here too."""
    recording = _write(tmp_path / "clip.csv.gz")
    _write(tmp_path / side, "rpm = 1080")
    _write(tmp_path / "other.toml", "rpm = 900")
    assert beside(recording)[1] == tmp_path / side
    (arrival,) = look_into(tmp_path).arrivals.values()
    assert [name for name, *_ in arrival.sides] == [side]


def test_folders_are_looked_into_down_to_a_depth(tmp_path: Path) -> None:
    inner = tmp_path
    for depth in range(DEEPEST + 1):
        _write(inner / "clip.csv")
        inner = inner / str(depth)
    _write(inner / "too deep.csv")
    _write(tmp_path / ".versions" / "clip.csv")
    found = look_into(tmp_path)
    assert list(found.arrivals) == ["clip.csv", "0/clip.csv", "0/1/clip.csv", "0/1/2/clip.csv",
                                    "0/1/2/3/clip.csv"]  # fmt: skip
    (reason,) = found.left_out.values()
    assert "more than 4 folders deep" in reason


@pytest.mark.skipif(os.name != "posix", reason="links need rights elsewhere")
def test_links_are_not_followed(tmp_path: Path) -> None:
    outside = _write(tmp_path / "outside" / "secret.csv")
    folder = tmp_path / "phone"
    folder.mkdir()
    (folder / "a.csv").symlink_to(outside)
    (folder / "b").symlink_to(outside.parent)
    (folder / "loop").symlink_to(folder)
    (folder / "nowhere").symlink_to(tmp_path / "missing")
    os.mkfifo(folder / "pipe")
    found = look_into(folder)
    assert found.arrivals == {}
    assert set(found.left_out) == {"a.csv", "b", "loop", "nowhere"}
    assert all("links are not followed" in reason for reason in found.left_out.values())
    linked = tmp_path / "linked"
    linked.symlink_to(outside.parent)
    assert list(look_into(linked).arrivals) == ["secret.csv"]  # the folder named may be a link


def test_a_missing_folder_is_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        look_into(tmp_path / "gone")


def test_the_nearest_folder_file_counts_most(tmp_path: Path) -> None:
    _write(tmp_path / "folder.toml", 'engine = "main"\nrpm = 1080\ndevice = "my phone"')
    _write(tmp_path / "charger" / "folder.toml", 'engine = "charger"\nrpm = 1500')
    _write(tmp_path / "charger" / "clip.csv")
    _write(tmp_path / "clip.csv")
    arrivals = look_into(tmp_path).arrivals
    inner, outer = (
        read_defaults([Path(name) for name, *_ in arrivals[each].defaults])
        for each in ("charger/clip.csv", "clip.csv")
    )
    assert (inner.engine, inner.stated.rpm, inner.stated.device) == ("charger", 1500, "my phone")
    assert (outer.engine, outer.stated.rpm) == ("main", 1080)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("engine = 3", "engine is 3; write the engine's name in quotes"),
        ("engine = ''", "write the engine's name"),
        ("rmp = 1080", "did you mean rpm"),
        ("rpm = 'fast'", "a number is needed"),
        ("rpm = ", "not valid TOML"),
        ("x" * 200_000, "too large"),
    ],
)
def test_a_wrong_folder_file_says_what_is_wrong(tmp_path: Path, text: str, said: str) -> None:
    file = _write(tmp_path / "folder.toml", text)
    with pytest.raises(ReadError, match=said) as caught:
        read_defaults([file])
    assert str(caught.value).startswith(str(file))
