"""The same recording written in many ways must come back with the same rows and values.

Expected values are those that were written; tolerances are the digits printed.
"""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from written_tables import EPOCH_S, ROWS, SAMPLES, TIMES, assert_same, table, written

from vibetrend.errors import ReadError
from vibetrend.ingest import read


def clock(i: int) -> str:
    moment = dt.datetime(2026, 5, 1, 10, 20, 3) + dt.timedelta(milliseconds=5 * i)
    return moment.isoformat(sep=" ", timespec="milliseconds")


def day_first(i: int) -> str:
    return f"01.05.2026 {clock(i)[11:]}"


def spelled_month(i: int) -> str:
    return f"'01-May-2026 {clock(i)[11:]}'"


def twelve_hours(i: int) -> str:
    return f"{clock(i)[:10]} {clock(i)[11:]} AM"


GERMAN = "Zeit (s),Beschleunigung x (m/s²),Beschleunigung y (m/s²),Beschleunigung z (m/s²)"
LAYOUTS: dict[str, str | bytes] = {
    "comma": table(),
    "semicolon": table(separator=";"),
    "tab": table(separator="\t"),
    "bar": table(separator="|"),
    "spaces": table(separator="   ", header="time_s,ax_mps2,ay_mps2,az_mps2"),
    "comma and space": table(separator=", "),
    "semicolon, decimal comma": table(separator=";", decimal_comma=True),
    "tab, decimal comma": table(separator="\t", decimal_comma=True),
    "quoted decimal comma": table(
        stamp=lambda i: f'"{TIMES[i]:.4f}"', value=lambda v: f'"{v:.4f}"'
    ).replace(".", ","),
    "all quoted": table(stamp=lambda i: f'"{TIMES[i]:.4f}"', value=lambda v: f'"{v:.4f}"'),
    "windows line ends": table(end="\r\n"),
    "old mac line ends": table(end="\r"),
    "blank line after each": table(end="\n\n"),
    "UTF-8 with mark": b"\xef\xbb\xbf" + table(header=GERMAN).encode(),
    "UTF-16": table(header=GERMAN).encode("utf-16"),
    "UTF-16 without mark": table(header=GERMAN).encode("utf-16-le"),
    "UTF-16 big-endian": b"\xfe\xff" + table(header=GERMAN).encode("utf-16-be"),
    "cp1252": table(separator=";", header=GERMAN, decimal_comma=True).encode("cp1252"),
    "units row": table(header="time,x,y,z\ns,m/s2,m/s2,m/s2"),
    "bracketed units row": table(header="time,x,y,z\n[s],[m/s^2],[m/s^2],[m/s^2]"),
    "preamble": table(before="Logger 7\nMounted on: block, port side\nGain: 1\n\n"),
    "preamble like a row": table(before="range,2,4,8\nfile,1\n"),
    "commented header": table(
        header="# time_s,ax,ay,az", before="# made at the quay\n# gain 1\n"
    ),
    "separator hint": table(before="sep=;\n", separator=";"),
    "no header": table(header=None),
    "trailing separators": table(end=",\n"),
    "exponents": table(value=lambda v: f"{v:.6E}"),
    "plus signs": table(value=lambda v: f"{v:+.4f}"),
    "row numbers": "\n".join(
        [",time (s),x,y,z"] + [f"{i},{line}" for i, line in enumerate(table(header=None).split())]
    ),
    "row numbers without a name": "\n".join(
        ["time (s),x,y,z"] + [f"{i},{line}" for i, line in enumerate(table(header=None).split())]
    ),
    "milliseconds": table(header="time_ms,ax,ay,az", stamp=lambda i: f"{1000 * TIMES[i]:.1f}"),
    "microseconds": table(header="t [us],ax,ay,az", stamp=lambda i: f"{1e6 * TIMES[i]:.0f}"),
    "nanoseconds of uptime": table(
        header="timestamp,accel_x,accel_y,accel_z",
        stamp=lambda i: str(81_234_567_890_123 + 5_000_000 * i),
    ),
    "epoch s": table(stamp=lambda i: f"{EPOCH_S + TIMES[i]:.4f}"),
    "epoch ms": table(header="timestamp,ax,ay,az", stamp=lambda i: str(1000 * EPOCH_S + 5 * i)),
    "epoch us": table(header="time,ax,ay,az", stamp=lambda i: str(10**6 * EPOCH_S + 5000 * i)),
    "epoch ns": table(
        header="time,Acc X [m/s2],Acc Y [m/s2],Acc Z [m/s2]",
        stamp=lambda i: str(10**9 * EPOCH_S + 5_000_000 * i),
    ),
    "epoch ns beside seconds": table(
        header="time,seconds_elapsed,x,y,z",
        stamp=lambda i: f"{10**9 * EPOCH_S + 5_000_000 * i},{TIMES[i]:.4f}",
    ),
    "ISO": table(stamp=lambda i: clock(i).replace(" ", "T") + "Z"),
    "ISO with zone": table(stamp=lambda i: clock(i) + "+02:00"),
    "day first": table(separator=";", stamp=day_first, decimal_comma=False),
    "day first, decimal comma": table(separator=";", stamp=day_first).replace(".", ",").replace(
        "01,05,2026", "01.05.2026"
    ),
    "month as a word": table(separator="\t", header=None, stamp=spelled_month),
    "AM and PM": table(stamp=twelve_hours),
    "colon before the fraction": table(stamp=lambda i: f"{clock(i)[:19]}:{clock(i)[20:]}"),
    "time of day": table(stamp=lambda i: clock(i)[11:]),
    "date and time of day": table(
        header="date,time,x,y,z", stamp=lambda i: clock(i).replace(" ", ",")
    ),
    "repeated header": table(
        stamp=lambda i: ("time (s),ax (m/s^2),ay (m/s^2),az (m/s^2)\n" if i == 40 else "")
        + f"{TIMES[i]:.4f}"
    ),
    "trailing remark": table(after="\nRecording stopped, 60 rows\nGood bye\n"),
    "tail of zero bytes": table().encode() + b"\0" * 4096,
    "extra text column": table(
        header="time (s),ax,ay,az,status", value=lambda v: f"{v:.4f}", end=",ok\n"
    ),
    "other sensors beside": table(
        header="time (s),gyro_x (rad/s),temp_c,acc_x (m/s^2),acc_y (m/s^2),acc_z (m/s^2)",
        stamp=lambda i: f"{TIMES[i]:.4f},{0.01 * i:.2f},31.5",
    ),
    "in g": table(
        header="time (s),ax (g),ay (g),az (g)", value=lambda v: f"{v / 9.80665:.9f}"
    ),
    "in g, unstated": table(header=None, value=lambda v: f"{v / 9.80665:.9f}"),
    "z-Achse": table(separator=";", header="Zeit [s],x-Achse,y-Achse,z-Achse", decimal_comma=True),
    "camel case": table(header="time,accelerationX,accelerationY,accelerationZ"),
    "magnitude beside": table(
        header="time (s),x,y,z,Absolute acceleration (m/s^2)", end=",9.8\n"
    ).replace("(m/s^2),9.8", "(m/s^2)"),
}  # fmt: skip


@pytest.mark.parametrize("layout", LAYOUTS)
def test_reads_the_same_recording_from_every_layout(layout: str, tmp_path: Path) -> None:
    recording = read(written(tmp_path, LAYOUTS[layout]))
    assert_same(recording)
    assert all(note.severity == "note" for note in recording.notes)


@pytest.mark.parametrize("layout", ["ISO", "day first", "month as a word", "date and time of day"])
def test_takes_the_date_of_the_first_stamp(layout: str, tmp_path: Path) -> None:
    assert read(written(tmp_path, LAYOUTS[layout])).date == dt.date(2026, 5, 1)


@pytest.mark.parametrize(
    "text",
    [
        table(before="Logger 7\nDate: 2026-05-01 10:20\nCalibrated: 2024-01-31\n"),
        table(header="elapsed_s,ax,ay,az,stored", end=",01.05.2026 10:20:03\n"),
        table(header="elapsed_s,ax,ay,az,stored", end=",01-May-2026\n"),
    ],
)
def test_takes_the_date_stated_beside_the_clock(text: str, tmp_path: Path) -> None:
    recording = read(written(tmp_path, text))
    assert_same(recording)
    assert recording.date == dt.date(2026, 5, 1)


def test_a_date_that_reads_two_ways_is_left_out_with_a_note(tmp_path: Path) -> None:
    text = table(stamp=lambda i: f"05/01/2026 {clock(i)[11:]}")
    recording = read(written(tmp_path, text))
    assert_same(recording)
    assert recording.date is None
    assert "date-unclear" in [note.code for note in recording.notes]


def test_time_of_day_runs_on_over_midnight(tmp_path: Path) -> None:
    start = dt.datetime(2026, 5, 1, 23, 59, 59, 900_000)
    text = table(
        stamp=lambda i: (start + dt.timedelta(milliseconds=5 * i)).time().isoformat("milliseconds")
    )
    assert_same(read(written(tmp_path, text)))


def test_epoch_nanoseconds_keep_every_nanosecond(tmp_path: Path) -> None:
    """Around 1.78e18 a float64 has steps of 256 (IEEE 754: 53 bits of mantissa)."""
    offsets = np.arange(ROWS) * 2_500_001
    text = table(header="time,x,y,z", stamp=lambda i: str(10**9 * EPOCH_S + int(offsets[i])))
    recording = read(written(tmp_path, text))
    assert recording.times is not None
    assert_allclose(recording.times, offsets * 1e-9, rtol=1e-15, atol=0)  # rounding of the product


def test_epoch_nanoseconds_survive_a_row_without_a_time(tmp_path: Path) -> None:
    lines = table(
        header="time,x,y,z", stamp=lambda i: str(10**9 * EPOCH_S + 2_500_001 * i)
    ).splitlines()
    lines[31] = lines[31][lines[31].index(",") :]
    recording = read(written(tmp_path, "\n".join(lines)))
    assert recording.times is not None
    assert_allclose(recording.times[-1], (ROWS - 1) * 2_500_001e-9, rtol=1e-15)


def test_a_stated_rate_overrules_the_stamps(tmp_path: Path) -> None:
    recording = read(written(tmp_path, table()), rate=100)
    assert recording.sample_rate == 100
    assert [note.code for note in recording.notes] == ["columns"]


def test_a_slowly_rising_temperature_is_no_clock(tmp_path: Path) -> None:
    rows = "\n".join(f"{20 + i // 10},{v:.4f}" for i, v in enumerate(SAMPLES[:, 0]))
    with pytest.raises(ReadError, match="no column holds times"):
        read(written(tmp_path, f"block_temperature,ax (g)\n{rows}\n"))
    with pytest.raises(ReadError, match="no column holds times"):
        read(written(tmp_path, rows))


def test_rounded_even_stamps_stay_as_they_are(tmp_path: Path) -> None:
    stamps = [f"{i / 12_000:.7f}" for i in range(ROWS)]
    recording = read(written(tmp_path, table(stamp=lambda i: stamps[i])))
    assert recording.sample_rate is None
    assert recording.times is not None
    assert recording.times.tolist() == [float(stamp) for stamp in stamps]


def test_a_cut_last_line_is_left_out_with_a_note(tmp_path: Path) -> None:
    for cut in (3, 9, 20, 28):  # within a number, and at a whole field
        recording = read(written(tmp_path, table()[:-cut]))
        assert_same(recording, slice(0, ROWS - 1))
        assert "truncated" in [note.code for note in recording.notes]


def test_rows_with_missing_values_are_left_out_with_a_note(tmp_path: Path) -> None:
    lines = table().split("\n")
    for row, gap in ((11, ""), (21, "NaN"), (31, "n/a"), (41, "-")):
        fields = lines[row].split(",")
        fields[2] = gap
        lines[row] = ",".join(fields)
    recording = read(written(tmp_path, "\n".join(lines)))
    kept = np.setdiff1d(np.arange(ROWS), [10, 20, 30, 40])
    assert recording.samples is not None
    assert_allclose(recording.samples, SAMPLES[kept], atol=1e-9)
    assert [note.message for note in recording.notes if note.code == "rows-dropped"] == [
        "4 lines with a missing value left out"
    ]


def test_lines_of_another_width_are_counted(tmp_path: Path) -> None:
    lines = table().split("\n")
    lines[30] += "," + lines[31]  # two lines run together
    del lines[31]
    recording = read(written(tmp_path, "\n".join(lines)))
    assert recording.count == ROWS - 2
    assert "1 line without samples left out" in [note.message for note in recording.notes]


def test_late_samples_are_sorted_in(tmp_path: Path) -> None:
    order = [*range(20), 21, 20, *range(22, ROWS)]
    lines = table().splitlines()
    recording = read(written(tmp_path, "\n".join([lines[0]] + [lines[i + 1] for i in order])))
    assert_same(recording)
    assert [note.code for note in recording.notes] == ["clock"]


def test_a_clock_that_starts_anew_leaves_the_longest_stretch(tmp_path: Path) -> None:
    lines = table().splitlines()
    recording = read(written(tmp_path, "\n".join(lines[:21] + lines[1:])))
    assert_same(recording)
    assert [(note.code, note.severity) for note in recording.notes] == [("clock", "warning")]


def test_repeated_stamps_are_kept(tmp_path: Path) -> None:
    recording = read(written(tmp_path, table(stamp=lambda i: f"{TIMES[i - i % 2]:.4f}")))
    assert recording.count == ROWS
