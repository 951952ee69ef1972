"""Marks that can mean two things: between thousands, in a clock, between columns; other scripts.

Expected values are those that were written.
"""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from written_tables import ROWS, SAMPLES, TIMES, assert_same, table, written

from vibetrend.errors import ReadError
from vibetrend.ingest import read
from vibetrend.ingest.headings import heading


def grouped(first: int, mark: str, decimal: str) -> str:
    def stamp(i: int) -> str:
        return f"{first + 5 * i:,}".replace(",", mark)

    def value(v: float) -> str:
        return f"{v:.4f}".replace(".", decimal)

    return table(separator=";", header="t (ms),x,y,z", stamp=stamp, value=value)


@pytest.mark.parametrize(("mark", "decimal"), [(".", ","), (",", "."), ("'", "."), ("\u202f", ",")])
def test_thousands_where_a_million_proves_them(mark: str, decimal: str, tmp_path: Path) -> None:
    """Whole numbers from 999,900 on pass a million on the way."""
    assert_same(read(written(tmp_path, grouped(999_900, mark, decimal))))


@pytest.mark.parametrize(("mark", "decimal"), [(".", ","), (",", ".")])
def test_thousands_that_may_be_decimals_are_refused(
    mark: str, decimal: str, tmp_path: Path
) -> None:
    """Is 10.005 ms ten seconds or ten milliseconds? Nothing in the file tells."""
    with pytest.raises(ReadError, match="no column holds times"):
        read(written(tmp_path, grouped(10_000, mark, decimal)))


def test_a_thousand_far_below_the_head_is_never_read_as_one(tmp_path: Path) -> None:
    """Below 1000 no mark shows; 1.000 after 999 must not be read as one."""
    rows = [f"{i:,}".replace(",", ".") + f";0,{i % 97:02d}" for i in range(1, 1100)]
    path = written(tmp_path, "\n".join(["t (ms);x (g)", *rows, ""]))
    with pytest.raises(ReadError, match=r"line 1001, column 't \(ms\)' holds '1.000'"):
        read(path)


@pytest.mark.parametrize("mark", [",", "."])
@pytest.mark.parametrize("date", ["", "1.5.2026 "])
def test_a_clock_with_dots(date: str, mark: str, tmp_path: Path) -> None:
    start = dt.datetime(2026, 5, 1, 9, 59, 59, 900_000)

    def stamp(i: int) -> str:
        moment = start + dt.timedelta(milliseconds=5 * i)
        return f"{date}{moment.hour}.{moment:%M.%S}{mark}{moment.microsecond // 1000:03d}"

    recording = read(written(tmp_path, table(separator=";", stamp=stamp)))
    assert_same(recording)
    assert recording.date == (dt.date(2026, 5, 1) if date else None)


@pytest.mark.parametrize("ruler", ["|---|---|---|---|", "|:--|--:|:-:|---|", "+---+---+---+---+"])
def test_pipes_at_both_ends_and_a_ruler(ruler: str, tmp_path: Path) -> None:
    text = table(separator=" | ").replace("\n", " |\n| ")
    head, *rest = ("| " + text + " |").splitlines()
    assert_same(read(written(tmp_path, "\n".join([head, ruler, *rest, ruler, ""]))))


def split(first: dt.datetime, ms: list[int], *, unit: str = "ms") -> str:
    """Return a table whose second column is a written time and third a count of ms."""
    lines = [f"Date,Time,{unit},x (m/s^2)"]
    for i, each in enumerate(ms):
        moment = first + dt.timedelta(milliseconds=5 * i)
        lines.append(f"{moment:%Y-%m-%d,%H:%M:%S},{each},{SAMPLES[i % ROWS, 0]:.4f}")
    return "\n".join([*lines, ""])


def test_milliseconds_beside_the_seconds_they_belong_to(tmp_path: Path) -> None:
    first = dt.datetime(2026, 5, 1, 23, 59, 59, 600_000)
    for unit, factor in (("ms", 1), ("Millis (ms)", 1), ("us", 1000)):
        ms = [(600 + 5 * i) % 1000 * factor for i in range(400)]
        recording = read(written(tmp_path, split(first, ms, unit=unit)))
        assert_allclose(recording.time_s(), 0.005 * np.arange(400), atol=1e-9)
        assert recording.date == dt.date(2026, 5, 1)


def test_milliseconds_of_another_clock_are_not_put_to_the_seconds(tmp_path: Path) -> None:
    """They begin anew in the midst of a second: put together the clock would run wrong."""
    first = dt.datetime(2026, 5, 1, 23, 59, 59, 600_000)
    ms = [(250 + 5 * i) % 1000 for i in range(520)]
    recording = read(written(tmp_path, split(first, ms)))
    assert recording.times is None
    assert recording.sample_rate == 200  # by the count of samples in each second


def test_a_count_of_rows_that_turns_over_is_no_clock(tmp_path: Path) -> None:
    for size in (10, 16, 256):
        rows = [
            ",".join([str((7 + i) % size), *(f"{v:.4f}" for v in SAMPLES[i])]) for i in range(ROWS)
        ]
        path = written(tmp_path, "\n".join([*rows, ""]))
        with pytest.raises(ReadError, match="no column holds times"):
            read(path)
        recording = read(path, rate=200)
        assert recording.samples is not None
        assert_allclose(recording.samples, SAMPLES, atol=1e-9)


@pytest.mark.parametrize(
    ("name", "role", "axis", "kind", "unit"),
    [
        ("時間[s]", "time", "", None, "s"),
        ("时间 (ms)", "time", "", None, "ms"),
        ("시간", "time", "", None, ""),
        ("Время, мс", "time", "", None, "ms"),
        ("Χρόνος (s)", "time", "", None, "s"),
        ("X軸加速度[G]", "signal", "x", "acceleration", "G"),
        ("Ｙ軸［ｇ］", "signal", "y", "acceleration", "g"),
        ("加速度Z【m/s²】", "signal", "z", "acceleration", "m/s²"),
        ("가속도 X", "signal", "x", "acceleration", ""),
        ("Ускорение Z, м/с²", "signal", "z", "acceleration", "m/s^2"),
        ("Επιτάχυνση Y (g)", "signal", "y", "acceleration", "g"),
        ("角速度X [°/s]", "signal", "x", "rotation", "°/s"),
        ("T [°C]", "other", "", None, "°C"),
        ("ms", "time", "", None, "ms"),
    ],
)
def test_headings_of_other_scripts(name: str, role: str, axis: str, kind: str, unit: str) -> None:
    head = heading(name, "")
    assert (head.role, head.axis, head.kind, head.unit) == (role, axis, kind, unit)


def test_times_in_full_width_headings(tmp_path: Path) -> None:
    text = table(header="時間［ｍｓ］,Ｘ,Ｙ,Ｚ", stamp=lambda i: f"{1000 * TIMES[i]:.1f}")
    assert_same(read(written(tmp_path, text)))
