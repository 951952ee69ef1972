"""Several sensors in one table, a speed beside them, and what volts and counts stand for.

Expected values are those that were written.
"""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from written_layouts import long_table
from written_tables import ROWS, SAMPLES, TIMES, table, written

from vibetrend.errors import ReadError
from vibetrend.ingest import read


def test_sensors_are_chosen_by_kind_or_name(tmp_path: Path) -> None:
    path = written(tmp_path, long_table(codes=("accelerometer", "gyroscope", "magnetometer")))
    noise = np.random.default_rng(3).normal(size=(ROWS, 6)).round(4)
    for rotation in (read(path, kind="rotation"), read(path, columns=["gyroscope"])):
        assert (rotation.kind, rotation.unit, rotation.axes) == (
            "rotation",
            "rad/s",
            ("x", "y", "z"),
        )
        assert rotation.samples is not None
        assert_allclose(rotation.samples, noise[:, :3], atol=1e-9)
        assert_allclose(rotation.time_s(), TIMES, atol=1e-9)


def test_acceleration_without_gravity_is_preferred_among_the_rows(tmp_path: Path) -> None:
    path = written(
        tmp_path, long_table(codes=("linear_acceleration", "accelerometer", "magnetometer"))
    )
    recording = read(path)
    assert recording.samples is not None
    assert_allclose(recording.samples, SAMPLES, atol=1e-9)
    assert recording.notes[0].message == (
        "column 'sensor' names several sensors; the rows of linear_acceleration were used, not "
        "those of accelerometer, magnetometer"
    )


def test_a_speed_column_that_varies_gives_its_median_with_a_note(tmp_path: Path) -> None:
    for name in ("rpm", "Drehzahl [1/min]", "engine speed (rpm)"):
        text = table(
            header=f"time (s),{name},ax,ay,az", stamp=lambda i: f"{TIMES[i]:.4f},{980 + i}"
        )
        recording = read(written(tmp_path, text))
        assert recording.rpm == pytest.approx(1009.5)
        assert any(
            "varies from 980 to 1039; its median 1009.5 was taken" in note.message
            for note in recording.notes
        )


@pytest.mark.parametrize(
    ("hints", "kind", "unit", "factor"),
    [
        ({"sensitivity": "100 mV/g"}, "acceleration", "m/s^2", 9.80665 / 0.1),
        ({"sensitivity": "10.2 mV/(m/s^2)"}, "acceleration", "m/s^2", 1 / 0.0102),
        ({"sensitivity": "4 mV/(mm/s)"}, "velocity", "m/s", 1e-3 / 0.004),
        ({"sensitivity": "50 mV/Pa", "kind": "sound"}, "sound", "Pa", 1 / 0.05),
        ({"sensitivity": "100 mV/g", "unit": "mV"}, "acceleration", "m/s^2", 9.80665e-3 / 0.1),
        ({"unit": "0.0039 g"}, "acceleration", "m/s^2", 0.0039 * 9.80665),
        ({}, "other", "V", 1.0),
    ],
)
def test_volts_and_counts_become_what_is_stated(
    hints: dict[str, str], kind: str, unit: str, factor: float, tmp_path: Path
) -> None:
    """A sensitivity is volts per unit, a factor the unit per count; g by NIST SP 811."""
    rows = "".join(f"{TIMES[i]:.4f},{SAMPLES[i, 0]:.4f}\n" for i in range(ROWS))
    recording = read(written(tmp_path, f"time (s),channel 1 (V)\n{rows}"), **hints)  # type: ignore[arg-type]  # by their keys
    assert (recording.kind, recording.unit) == (kind, unit)
    assert recording.samples is not None
    assert_allclose(recording.samples[:, 0], SAMPLES[:, 0] * factor, rtol=1e-12)
    told = ["sensitivity" in note.message for note in recording.notes]
    assert any(told) is not bool(hints)


def test_a_sensitivity_does_not_go_with_another_unit(tmp_path: Path) -> None:
    path = written(tmp_path, table())
    with pytest.raises(ReadError, match=r"values are in m/s\^2; leave it out"):
        read(path, sensitivity="100 mV/g")
    with pytest.raises(ReadError, match="turns volts into no quantity"):
        read(path, unit="V", sensitivity="100 mV/V")
