"""Real files of other people's machines, read unchanged; skipped where they are absent."""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vibetrend.ingest import read

REAL = Path(__file__).parents[2].parent / "shared" / "data" / "real"
pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason="the real recordings are not here")


def test_motor_table_in_a_zip() -> None:
    recording = read(REAL / "motor_1721rpm.csv.zip")
    assert recording.samples is not None
    assert (recording.rpm, recording.kind, recording.unit) == (1721, "acceleration", "m/s^2")
    assert recording.mean_rate_hz == pytest.approx(12_000, rel=1e-6)  # stamps have 7 decimals
    assert recording.duration_s == pytest.approx(10.214, abs=0.001)
    assert recording.samples[0, 0] == pytest.approx(0.22269857 * 9.80665)  # first row of the file


def test_phone_table() -> None:
    recording = read(REAL / "phone_v6_idle_start.csv")
    assert recording.samples is not None
    assert recording.times is not None
    assert recording.axes == ("x", "y", "z")
    assert (recording.unit, recording.date) == ("m/s^2", dt.date(2022, 12, 12))
    assert recording.mean_rate_hz == pytest.approx(250.0, abs=0.05)
    steps_ms = np.rint(1000 * np.diff(recording.times))
    assert set(steps_ms) == {3, 4, 5}
    assert 100 * np.mean(steps_ms != 4) == pytest.approx(1.7, abs=0.05)
    # Gravity on y; a car's dashboard tilts it by some degrees.
    assert np.argmax(np.abs(recording.samples.mean(axis=0))) == 1
    assert recording.samples[0].tolist() == [0.08895, 9.67605, 1.66005]


@pytest.mark.parametrize("name", ["genset_noload.txt.zip", "genset_coastdown.txt.zip"])
def test_generator_set_without_header(name: str) -> None:
    recording = read(REAL / name)
    assert recording.samples is not None
    # The crank encoder's column is recognised as a tacho: no vibration, and its teeth not stated.
    assert recording.samples.shape == (50_000, 1)
    assert recording.mean_rate_hz == pytest.approx(100_000, rel=1e-6)
    assert (recording.kind, recording.unit) == ("other", "1")
    assert recording.axes == ("column 3",)
    assert any("tacho" in note.message for note in recording.notes)
    volts = read(REAL / name, columns=[3], unit="V")
    assert (volts.kind, volts.unit) == ("other", "V")


def test_motor_sound_file_that_holds_acceleration() -> None:
    as_sound = read(REAL / "motor_1796rpm_hard.wav")
    recording = read(REAL / "motor_1796rpm_hard.wav", kind="acceleration", full_scale="1 g")
    assert recording.samples is not None
    assert as_sound.samples is not None
    assert (recording.sample_rate, recording.rpm, recording.unit) == (12_000, 1796, "m/s^2")
    assert_allclose(recording.samples, as_sound.samples * 9.80665, rtol=1e-12)


def test_piston_engine_sound() -> None:
    recording = read(REAL / "piston_four_idle.wav")
    assert (recording.sample_rate, recording.axes) == (44_100, ("sound",))
    assert recording.codec == "WAV PCM_16"
    assert recording.duration_s == pytest.approx(13.445, abs=0.001)
