"""Other people's machines, read unchanged and measured; skipped where the files are absent.

What is expected was noted by those who made the recordings, or read from their files by other
means (an encoder's teeth, lines of a long Fourier transform).
"""

import functools
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import vibetrend as vt
from vibetrend.units import STANDARD_GRAVITY

REAL = Path(__file__).parents[1].parent / "shared" / "data" / "real"
pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason="the real recordings are not here")


@functools.cache
def generator_set(name: str, *columns: int) -> vt.Recording:
    return vt.read(REAL / f"genset_{name}.txt.zip", columns=columns, unit="V", rpm=3150)


@functools.cache
def motor() -> vt.Measurement:
    return vt.measure(vt.read(REAL / "motor_1721rpm.csv.zip"))


def peaks(measured: vt.Measurement, unit: float = 1.0) -> dict[float, float]:
    """Return 0-to-peak amplitudes by order."""
    table = measured.orders
    return dict(zip(table["order"], math.sqrt(2) * table["amplitude"] / unit, strict=True))


def rows(measured: vt.Measurement) -> dict[float, dict[str, Any]]:
    return {row["order"]: row for row in measured.to_dict()["orders"]}


def codes(measured: vt.Measurement) -> dict[str, str]:
    return {note.code: note.severity for note in measured.quality if note.severity != "note"}


def test_motor_speed() -> None:
    measured = motor()
    assert measured.speed.rpm == pytest.approx(1720.4, abs=0.5)  # noted: 1721, to 1 rpm
    assert measured.speed.standard_error_rpm < 0.1
    # It has no half orders: a four-stroke diesel would not show these lines.
    assert codes(measured) == {"speed-ambiguous": "warning"}
    assert measured.speed.candidates_rpm == [pytest.approx(2 * 1720.4, abs=1)]


@pytest.mark.parametrize(
    ("order", "mg", "digits"),
    [(1.0, 0.3, 0.05), (2.0, 1.41, 0.0), (3.0, 0.45, 0.0), (4.0, 0.72, 0.0)],
)
def test_motor_amplitudes(order: float, mg: float, digits: float) -> None:
    """0-to-peak, mg: within 5 %, or half the last digit where only one is given."""
    found = peaks(motor(), STANDARD_GRAVITY / 1000)[order]
    assert found == pytest.approx(mg, abs=max(0.05 * mg, digits))


def test_motor_once_per_turn_stands_100_times_above_its_floor() -> None:
    row = rows(motor())[1.0]
    assert row["visible"]
    assert row["amplitude"] > 30 * row["floor"]


def test_hard_motor_is_not_misled_by_mains() -> None:
    """60.01 and 89.99 Hz are mains and 3/2 of it; taken for 2x and 3x they say 1800 rpm."""
    recording = vt.read(
        REAL / "motor_1796rpm_hard.wav", rpm=1796, kind="acceleration", full_scale="1 g"
    )
    measured = vt.measure(recording)
    assert measured.speed.rpm == pytest.approx(1795.9, abs=0.5)
    row = rows(measured)[4.0]
    assert row["frequency_hz"] == pytest.approx(119.70, abs=0.05)
    assert row["visible"]


@pytest.mark.parametrize(
    ("order", "volts"), [(0.5, 0.139), (1.0, 0.099), (1.5, 0.060), (2.0, 0.037)]
)
def test_generator_set_pressure(order: float, volts: float) -> None:
    """The pressure of a four-stroke repeats every two turns. The encoder says 3172.2 rpm."""
    measured = vt.measure(generator_set("noload", 3))
    # 26 turns in half a second; the speed of one cylinder swings within each.
    assert measured.speed.rpm == pytest.approx(3172.2, abs=2.0)
    assert codes(measured) == {"too-short": "unusable"}
    assert peaks(measured)[order] == pytest.approx(volts, rel=0.02)


RUNNING_DOWN = [
    (columns, rpm)
    for columns in ([2, 3], [3])
    for rpm in (*range(2100, 3201, 100), 2160, 2873, 2650)
]


@pytest.mark.parametrize(("columns", "rpm"), RUNNING_DOWN)
def test_generator_set_that_runs_down_is_unusable(columns: list[int], rpm: int) -> None:
    """Its encoder falls from 47.9 to 36.0 turns per second within the recording."""
    recording = replace(generator_set("coastdown", *columns), rpm=rpm)
    assert vt.measure(recording).unusable


def test_phone_on_a_dashboard_at_cold_start() -> None:
    """1049 +- 15 rpm at 6 to 10 s by its own lines; the idle falls as it warms up."""
    recording = vt.read(REAL / "phone_v6_idle_start.csv", rpm=1049)
    assert recording.samples is not None
    assert recording.times is not None
    measured = vt.measure(recording)
    assert codes(measured) == {"speed-not-steady": "unusable"}
    since = recording.times - recording.times[0]
    settled = (since > 6) & (since < 10)
    short = vt.Recording(
        recording.samples[settled], times=recording.times[settled], rpm=1030, axes=recording.axes
    )
    part = vt.measure(short)
    assert part.speed.rpm == pytest.approx(1049, abs=15)
    table = rows(part)
    assert table[1.5]["visible"]
    assert table[3.0]["visible"]
    assert max(table, key=lambda order: table[order]["amplitude"]) == 3.0  # firing order of a six
    assert np.isfinite(part.speed.track["rpm"]).all()


@pytest.mark.parametrize("tag", [870, 900])
def test_piston_four_at_idle(tag: int) -> None:
    """A comb of 29.85 Hz: 895 rpm, its firing order being 2."""
    measured = vt.measure(vt.read(REAL / "piston_four_idle.wav", rpm=tag))
    assert measured.speed.rpm == pytest.approx(895, abs=3)
    assert not measured.unusable
    assert all(rows(measured)[order]["visible"] for order in (2.0, 4.0, 6.0))
