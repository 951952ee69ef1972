"""What the lines above a table state of it, and what in them states nothing.

Expected values are those that were written; all of them are invented.
"""

from pathlib import Path

import pytest
from numpy.testing import assert_allclose
from written_tables import SAMPLES, written

from vibetrend.errors import ReadError
from vibetrend.ingest import preamble, read
from vibetrend.ingest.layout import Columns
from vibetrend.recording import FloatArray, Recording


def above(*lines: str, decimal: str = ".") -> Columns:
    return Columns(types=(), names=(), units=(), preamble=lines, decimal=decimal)


@pytest.mark.parametrize(
    ("line", "hz"),
    [
        ("Sample rate: 400 Hz", 400),
        ('"Sampling frequency","400"', 400),
        ("Sampling Rate (Hz);400", 400),
        ("# sample_rate = 1.6 kHz", 1600),
        ("Abtastrate: 400,0 Hz", 400),
        ("Fréquence d'échantillonnage : 400 Hz", 400),
        ("Output data rate 400 Hz", 400),
        ("Sample rate: 25,600 Hz", 25_600),  # the table's decimal mark is a point
        ("Interval:\t2.5 ms", 400),
        ("Sample interval: 2500 us", 400),
        ("Sampling interval [ms] = 2.5", 400),
        ("sample period 0.0025 s", 400),
        ("dt = 2.5e-3 s", 400),
        ("Δt: 2.5 ms", 400),
        ("Abtastintervall: 2,5 ms", 400),
        ("Time step;0.0025;s", 400),
    ],
)
def test_a_rate_or_the_time_between_samples(line: str, hz: float) -> None:
    assert preamble.rate(above("Logger 7", line)) == pytest.approx(hz, rel=1e-12)


@pytest.mark.parametrize(
    "lines",
    [
        ("Samples: 200",),  # their number
        ("Data: 200",),
        ("Low-pass filter: 400 Hz",),
        ("Interval: 2.5",),  # of what?
        ("Interval: 2.5 g",),
        ("Recording interval: 30 min",),
        ("Interval: 10 s",),  # between recordings
        ("GPS interval: 100 ms",),
        ("Sample rate: 0 Hz",),
        ("Sample rate: 400 Hz", "Sample rate of the gyroscope: 100 Hz"),
        ("Sample rate: 400 Hz", "Interval: 10 ms"),
    ],
)
def test_what_states_no_rate(lines: tuple[str, ...]) -> None:
    assert preamble.rate(above(*lines)) is None


def test_marks_in_a_rate_are_those_of_the_table() -> None:
    """A fraction of three digits and a group of thousands look alike."""
    assert preamble.rate(above("Sample rate: 25.600 Hz", decimal=",")) == 25_600
    assert preamble.rate(above("Sample rate: 25,600 Hz", decimal=",")) == 25.6
    assert preamble.rate(above("Sample rate: 400 Hz", "Interval: 2.5 ms")) == 400


@pytest.mark.parametrize(
    ("lines", "unit"),
    [
        (("Unit: g",), "g"),
        (('"Vertical Units","V"', '"Horizontal Units","s"'), "V"),
        (("# units = [m/s^2]",), "m/s^2"),
        (("Einheit;m/s²",), "m/s²"),
        (("Unit:\t°/s",), "°/s"),
        (("Time unit: s", "Acceleration unit: mg"), "mg"),
        (("Unit: 14",), ""),  # the logger's number
        (("Unit: 1",), ""),
        (("Unit: port engine",), ""),
        (("Unit: g", "Units: m/s^2"), ""),  # one of the two may be the gyroscope's
        (("Temperature unit: V",), ""),
    ],
)
def test_a_unit_of_the_values(lines: tuple[str, ...], unit: str) -> None:
    assert preamble.unit(above(*lines)) == unit


def rows(header: str = "", factor: float = 1.0) -> str:
    lines = [",".join(f"{factor * v:.6f}" for v in row) for row in SAMPLES]
    return "\n".join([*([header] if header else []), *lines]) + "\n"


def samples(recording: Recording) -> FloatArray:
    assert recording.samples is not None
    return recording.samples


def test_interval_unit_and_names_make_a_bare_table_a_recording(tmp_path: Path) -> None:
    text = "Logger 7\nChannels: Z, Y, X\nUnit: g\nInterval: 5 ms\nPoints:,60\n\n" + rows()
    recording = read(written(tmp_path, text))
    assert recording.axes == ("z", "y", "x")
    assert recording.sample_rate == 200
    assert_allclose(samples(recording), SAMPLES * 9.80665, rtol=1e-12)  # exact, NIST SP 811
    assert [note.message for note in recording.notes if note.code == "unit-assumed"] == [
        "taken in g, the unit stated above the table"
    ]


def test_a_heading_counts_more_than_the_lines_above_it(tmp_path: Path) -> None:
    text = "Unit: m/s^2\nSample rate: 200 Hz\n" + rows("ax (g),ay (g),az (g)")
    assert_allclose(samples(read(written(tmp_path, text))), SAMPLES * 9.80665, rtol=1e-12)


def test_a_unit_above_that_contradicts_the_headings_is_not_used(tmp_path: Path) -> None:
    text = "Unit: g\nSample rate: 200 Hz\n" + rows("gyro x,gyro y,gyro z")
    recording = read(written(tmp_path, text))
    assert (recording.kind, recording.unit) == ("rotation", "rad/s")
    assert_allclose(samples(recording), SAMPLES, rtol=1e-12)


def test_names_that_are_not_as_many_as_the_columns_are_not_used(tmp_path: Path) -> None:
    text = "Channels: X, Y\nSample rate: 200 Hz\n" + rows()
    assert read(written(tmp_path, text)).axes == ("x", "y", "z")  # gravity lies on the third


def test_locations_named_above_a_table_are_found(tmp_path: Path) -> None:
    header = "Channels: x, y, lat\nSample rate: 200 Hz\nUnit: g\n"
    path = written(tmp_path, header + rows())
    recording = read(path)
    assert recording.axes == ("x", "y")
    assert recording.source is not None
    content = path.read_bytes()
    assert [content[a:b].decode() for a, b in recording.source.location] == [
        f"{v:.6f}" for v in SAMPLES[:, 2]
    ]


def test_an_interval_without_a_unit_leaves_the_rate_to_the_person(tmp_path: Path) -> None:
    path = written(tmp_path, "Interval: 5\n" + rows("x,y,z"))
    with pytest.raises(ReadError, match="give the sample rate in Hz with rate"):
        read(path)
    assert read(path, rate=200).sample_rate == 200
