"""Who counts more when several places state a tag."""

import dataclasses
import datetime as dt
import gzip
import hashlib
import zipfile
from pathlib import Path

import pytest

from vibetrend.errors import ReadError
from vibetrend.ingest import read
from vibetrend.ingest.tags import Stated, beside, in_name

ROWS = "".join(f"2026-04-30T10:00:{i / 50:06.3f},{i % 9}.5,1100,4000\n" for i in range(200))
TABLE = "time,ax (m/s^2),rpm,hours\n" + ROWS
NAME = "idle_1200rpm_5000h_2026-05-02.csv"


def clip(tmp_path: Path, name: str = NAME, text: str = TABLE, side: str | None = None) -> Path:
    path = tmp_path / name
    path.write_text(text)
    if side is not None:
        (tmp_path / "idle_1200rpm_5000h_2026-05-02.toml").write_text(side)
    return path


def test_options_count_most(tmp_path: Path) -> None:
    path = clip(tmp_path, side="rpm = 1000\nhours = 3000\ndate = 2026-05-01\nposition = 'side'")
    recording = read(path, rpm=900, hours=2000, date="2026-01-01", position="block")
    assert (recording.rpm, recording.hours) == (900, 2000)
    assert (recording.date, recording.position) == (dt.date(2026, 1, 1), "block")


def test_the_side_file_counts_more_than_columns_and_name(tmp_path: Path) -> None:
    side = (
        "rpm = 1000\nhours = 3000\ndate = '2026-05-01'\nposition = 'block, port'\n"
        "device = 'old phone'\ncondition = 'warm'\nmanner = 'run-up'\nunit = 'g'\n"
    )
    recording = read(clip(tmp_path, side=side))
    assert (recording.rpm, recording.hours) == (1000, 3000)
    assert recording.date == dt.date(2026, 5, 1)
    assert (recording.position, recording.device) == ("block, port", "old phone")
    assert (recording.condition, recording.manner) == ("warm", "run-up")
    assert recording.samples is not None
    assert recording.samples[1, 0] == pytest.approx(1.5 * 9.80665)  # exact, NIST SP 811


def test_columns_count_more_than_the_name(tmp_path: Path) -> None:
    recording = read(clip(tmp_path))
    assert (recording.rpm, recording.hours) == (1100, 4000)
    assert recording.axes == ("x",)
    assert [note.message for note in recording.notes if note.code == "tag-assumed"] == [
        "taken from the table's own columns: rpm 1100, hours 4000",
        "taken from the file name: date 2026-05-02",
    ]


def test_the_name_counts_more_than_the_stamps(tmp_path: Path) -> None:
    text = "time,ax (m/s^2)\n" + "".join(",".join(r.split(",")[:2]) + "\n" for r in ROWS.split())
    assert read(clip(tmp_path, text=text)).date == dt.date(2026, 5, 2)
    recording = read(clip(tmp_path, text=text, name="clip.csv"))
    assert recording.date == dt.date(2026, 4, 30)
    assert (recording.rpm, recording.hours) == (None, None)
    assert (recording.position, recording.device, recording.condition) == ("", "", "")


@pytest.mark.parametrize(
    ("other", "range_said"), [("1101", "1100 to 1101"), ("900", "900 to 1100")]
)
def test_of_a_speed_that_varies_the_median_is_taken(
    other: str, range_said: str, tmp_path: Path
) -> None:
    path = clip(tmp_path, text=TABLE.replace("1100", other, 50), name="clip.csv")
    recording = read(path)
    assert (recording.rpm, recording.hours) == (1100, 4000)
    assert [note.message for note in recording.notes if note.code == "tag-assumed"] == [
        f"column 'rpm' varies from {range_said}; its median 1100 was taken as rpm",
        "taken from the table's own columns: rpm 1100, hours 4000",
    ]


def test_other_columns_that_vary_are_no_tags(tmp_path: Path) -> None:
    recording = read(clip(tmp_path, text=TABLE.replace("4000", "4001", 50), name="clip.csv"))
    assert (recording.rpm, recording.hours) == (1100, None)


@pytest.mark.parametrize("side", ["clip.toml", "clip.csv.toml", "clip.csv.zip.toml"])
def test_finds_the_side_file_of_a_packed_recording(side: str, tmp_path: Path) -> None:
    path = tmp_path / "clip.csv.zip"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("__MACOSX/._clip.csv", b"\0\5")
        packed.writestr("clip.csv", TABLE)
    (tmp_path / side).write_text("position = 'block'")
    assert read(path).position == "block"


def test_the_name_inside_an_archive_counts_too(tmp_path: Path) -> None:
    path = tmp_path / "clip.zip"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("block_2026-05-03.csv", TABLE)
    assert read(path).date == dt.date(2026, 5, 3)


def test_gz_reads_the_same_and_the_hash_is_of_the_file_itself(tmp_path: Path) -> None:
    plain = read(clip(tmp_path))
    packed = tmp_path / (NAME + ".gz")
    packed.write_bytes(gzip.compress(TABLE.encode()))
    recording = read(packed)
    assert recording.samples is not None
    assert plain.samples is not None
    assert (recording.samples == plain.samples).all()
    assert recording.source is not None
    assert recording.source.path == str(packed)
    assert recording.source.sha256 == hashlib.sha256(packed.read_bytes()).hexdigest()


@pytest.mark.parametrize(
    ("side", "message"),
    [
        ("rmp = 1000", r"\.toml: rmp is not a known key; did you mean rpm\?"),
        ("weather = 'dry'", "weather is not a known key; known are rpm, end_rpm"),
        ("rpm = 'fast'", r"\.toml: rpm is 'fast'; a number is needed"),
        ("rpm = true", "rpm is True; a number is needed"),
        ("hours = -1", "hours is -1; it cannot be below 0"),
        ("position = 3", "position is 3; text in quotes is needed"),
        ("rpm = ", "not valid TOML"),
        ("rpm = " + "[" * 5000, "not valid TOML: it is nested too deeply"),
        ("rpm = " + "9" * 5000, "not valid TOML: a number has too many digits"),
        ("rate = 1e-308", "rate is 1e-308; it must be above 0"),
        ("pulley_ratio = 5e-324", "pulley_ratio is 5e-324; it must be above 0"),
        ("unit = '" + " " * 90_000 + "'", "unit is '.*it has 90000 characters; shorten it to 500"),
        ("kind = [2]", r"kind is \[2\]; write one of acceleration"),
        ("tacho_column = 1.5", "tacho_column is 1.5; a list of column names or numbers"),
        ("columns = {a = 1}", "columns is {'a': 1}; a list of column names or numbers"),
        ("kind = '" + "x" * 5000 + "'", r"kind is 'x{50,60}\.\.\.; write one of"),
        ('"\\u202e" = 1', r"'\\u202e' is not a known key"),
    ],
)
def test_a_faulty_side_file_is_named(side: str, message: str, tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=message):
        read(clip(tmp_path, side=side))


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("motor_1721rpm.csv.zip", Stated(rpm=1721)),
        ("idle 1000 RPM 3120 h.csv", Stated(rpm=1000, hours=3120)),
        ("rpm_850.wav", Stated(rpm=850)),
        ("clip_20260501_101500.csv", Stated(date=dt.date(2026, 5, 1))),
        ("2026-05-01-1800rpm.csv", Stated(rpm=1800, date=dt.date(2026, 5, 1))),
        ("3120.5h_2026_05_01.csv", Stated(hours=3120.5, date=dt.date(2026, 5, 1))),
        ("runup_600-1800rpm.csv", Stated()),
        ("20269999.csv", Stated()),
        ("clip_00rpm.csv", Stated()),
        ("10h30_block.csv", Stated()),
        ("phone_v6_idle_start.csv", Stated()),
    ],
)
def test_file_names(name: str, expected: Stated) -> None:
    assert dataclasses.asdict(in_name(name)) == dataclasses.asdict(expected)


def test_an_engine_file_of_the_same_name_is_said_to_be_one(tmp_path: Path) -> None:
    path = tmp_path / "gs.csv"
    path.with_suffix(".toml").write_text('name = "gs"\ncylinders = 3\n', encoding="utf-8")
    with pytest.raises(ReadError, match=r"gs\.toml: looks like an engine file.* rename one"):
        beside(path)
