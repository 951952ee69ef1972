"""Which columns are signals, and in what kind and unit.

Expected values are those that were written.
"""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from written_tables import ROWS, SAMPLES, TIMES, table, written

from vibetrend.errors import ReadError
from vibetrend.ingest import read


def test_prefers_acceleration_without_gravity_and_says_so(tmp_path: Path) -> None:
    header = "time (s)," + ",".join(
        f"{name} {axis} (m/s^2)"
        for name in ("Acceleration with gravity", "Linear acceleration")
        for axis in "xyz"
    )
    rows = "\n".join(
        ",".join(f"{v:.4f}" for v in (TIMES[i], *SAMPLES[i], *(SAMPLES[i] - [0, 0, 9.81])))
        for i in range(ROWS)
    )
    recording = read(written(tmp_path, f"{header}\n{rows}\n"))
    assert recording.samples is not None
    assert_allclose(recording.samples, SAMPLES - [0, 0, 9.81], atol=1e-9)
    assert recording.axes == ("x", "y", "z")
    assert "columns" in [note.code for note in recording.notes]


def test_unnamed_columns_of_unknown_unit_stay_as_they_are(tmp_path: Path) -> None:
    text = "\n".join(f"{TIMES[i]:.4f}\t{i % 7}.5\t{i % 5}.25" for i in range(ROWS))
    recording = read(written(tmp_path, text))
    assert (recording.kind, recording.unit) == ("other", "1")
    assert recording.axes == ("column 2", "column 3")
    assert "unit-assumed" in [note.code for note in recording.notes]


def test_columns_are_chosen_by_name_or_number(tmp_path: Path) -> None:
    path = written(tmp_path, table())
    choices: list[list[str | int]] = [["az (m/s^2)", "ax (m/s^2)"], [4, 2], ["az", 2]]
    for columns in choices:
        recording = read(path, columns=columns)
        assert recording.samples is not None
        assert recording.axes == ("z", "x")
        assert_allclose(recording.samples, SAMPLES[:, [2, 0]], atol=1e-9)


def test_a_table_without_times_takes_the_rate(tmp_path: Path) -> None:
    text = "\n".join(f"{v:.4f}" for v in SAMPLES[:, 0])
    recording = read(written(tmp_path, text), rate=200, unit="g", kind="acceleration")
    assert recording.sample_rate == 200
    assert recording.samples is not None
    assert_allclose(recording.samples[:, 0], SAMPLES[:, 0] * 9.80665, atol=1e-12)


def test_a_table_without_times_takes_the_rate_of_its_preamble(tmp_path: Path) -> None:
    text = "Sampling rate: 1.6 kHz\nacc_z (g)\n" + "\n".join(f"{v:.4f}" for v in SAMPLES[:, 2])
    assert read(written(tmp_path, text)).sample_rate == 1600


def test_one_column_of_decimal_commas_is_one_column(tmp_path: Path) -> None:
    text = "\n".join(f"{v:.4f}".replace(".", ",") for v in SAMPLES[:, 0])
    recording = read(written(tmp_path, text), rate=200)
    assert recording.samples is not None
    assert_allclose(recording.samples[:, 0], SAMPLES[:, 0], atol=1e-9)


@pytest.mark.parametrize(
    ("header", "kind", "unit", "factor"),
    [
        ("time (s),velocity_mm_s", "velocity", "m/s", 1e-3),
        ("time (s),gyro z (deg/s)", "rotation", "rad/s", np.pi / 180),
        ("time (s),pressure [bar]", "pressure", "Pa", 1e5),
        ("time (s),signal_V", "other", "V", 1.0),
        ("time (s),sound", "sound", "1", 1.0),
        ("time (s),channel 1 (mg)", "acceleration", "m/s^2", 9.80665e-3),
        ("time (s),acceleration (counts)", "other", "1", 1.0),
    ],
)
def test_kind_and_unit_follow_the_heading(
    header: str, kind: str, unit: str, factor: float, tmp_path: Path
) -> None:
    """Factors: NIST SP 811, appendix B (exact)."""
    rows = "\n".join(f"{TIMES[i]:.4f},{SAMPLES[i, 0]:.4f}" for i in range(ROWS))
    recording = read(written(tmp_path, f"{header}\n{rows}\n"))
    assert (recording.kind, recording.unit) == (kind, unit)
    assert recording.samples is not None
    assert_allclose(recording.samples[:, 0], SAMPLES[:, 0] * factor, rtol=1e-12)


def test_a_clock_in_no_known_unit_asks_for_the_rate(tmp_path: Path) -> None:
    text = table(header="time,ax,ay,az", stamp=lambda i: f"{1e13 * i:.0f}")
    with pytest.raises(ReadError, match=r"clip\.csv: column 'time' steps by 1e\+13, .* give rate"):
        read(written(tmp_path, text))
