"""Other people's machines by a second route; skipped where the files are absent.

What the recordings say of themselves (an encoder's teeth, a long Fourier transform), and tags as
wrong as a gauge may be. What their makers noted is checked in `test_real_measurements`.
"""

import functools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented_recordings import rows

import vibetrend as vt
from vibetrend.recording import FloatArray

REAL = Path(__file__).parents[2].parent / "shared" / "data" / "real"
pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason="the real recordings are not here")


@functools.cache
def motor() -> vt.Recording:
    return vt.read(REAL / "motor_1721rpm.csv.zip")


@functools.cache
def hard_motor() -> vt.Recording:
    return vt.read(REAL / "motor_1796rpm_hard.wav", kind="acceleration", full_scale="1 g")


def line(recording: vt.Recording, hertz: float) -> float:
    """Return the rms of a line by a direct Fourier sum with a Hann window, first axis."""
    samples = np.asarray(recording.samples)[:, 0]
    window = np.hanning(samples.size)
    turned = np.exp(-2j * np.pi * hertz * recording.time_s())
    total = np.sum(window * (samples - samples.mean()) * turned)
    return float(math.sqrt(2) * abs(total) / window.sum())


def test_motor_reads_as_its_fourier_sum() -> None:
    measured = vt.measure(motor())
    table = rows(measured)
    for order in (1.0, 2.0, 3.0, 4.0):
        row = table[order]
        # A Hann window makes 1.5 times the noise in power; three sd of the difference of both
        noise = 3 * row["floor"] / math.sqrt(2)
        assert row["amplitude"] == pytest.approx(line(motor(), row["frequency_hz"]), abs=noise)


def test_motor_is_found_from_a_tag_5_percent_off() -> None:
    measured = vt.measure(replace(motor(), rpm=1640))
    assert measured.speed.rpm == pytest.approx(1720.4, abs=0.5)
    assert not measured.unusable


@pytest.mark.parametrize("tag", [1725, 1870])
def test_mains_beside_its_orders_do_not_mislead_the_hard_motor(tag: int) -> None:
    """60.01 and 89.99 Hz are mains and 3/2 of it; 2x and 3x lie 0.15 and 0.20 Hz below."""
    measured = vt.measure(replace(hard_motor(), rpm=tag))
    assert measured.speed.rpm == pytest.approx(1795.9, abs=0.5)
    table = rows(measured)
    assert table[4.0]["frequency_hz"] == pytest.approx(119.70, abs=0.05)
    assert table[4.0]["visible"]
    for order, mains in ((2.0, 60.01), (3.0, 89.99)):
        assert table[order]["frequency_hz"] < mains - 0.1
        assert table[order]["amplitude"] < 0.7 * line(hard_motor(), mains)  # taken for it: 1


def marks(edges: FloatArray, times: FloatArray) -> FloatArray:
    """Return the times of the first tooth after the encoder's gap, once in each turn."""
    middle = (edges.min() + edges.max()) / 2
    rises = times[1:][(edges[1:] > middle) & (edges[:-1] <= middle)]
    steps = np.diff(rises)
    first: FloatArray = rises[1:][steps > 2 * np.median(steps)]
    return first


@functools.cache
def generator_set(name: str, column: int) -> vt.Recording:
    return vt.read(REAL / f"genset_{name}.txt.zip", columns=[column], unit="V", rpm=3150)


def turn_by_turn(name: str) -> FloatArray:
    """Return the crank speed over each turn by the encoder's teeth, rpm."""
    encoder = generator_set(name, 2)
    once = marks(np.asarray(encoder.samples)[:, 0], encoder.time_s())
    return np.asarray(60 / np.diff(once), float)


@pytest.mark.parametrize("tag", [3020, 3150, 3300])
def test_pressure_alone_gives_the_speed_that_the_encoder_gives(tag: int) -> None:
    turns = turn_by_turn("noload")
    encoder = turns.size / np.sum(1 / turns)
    assert turns.size == 25
    # Whole turns of half a second: the first and the last half turn are in one, not in the other
    speed = vt.measure(replace(generator_set("noload", 3), rpm=tag)).speed
    assert speed.rpm == pytest.approx(encoder, abs=0.5 / 26 * np.ptp(turns) + 2)


def test_running_down_by_the_encoder_is_no_steady_recording() -> None:
    turns = turn_by_turn("coastdown")
    assert turns[0] / 60 == pytest.approx(47.9, abs=0.3)  # turns per second, falling
    assert turns[-1] / 60 == pytest.approx(36.0, abs=0.3)
    measured = vt.measure(replace(generator_set("coastdown", 3), rpm=float(np.mean(turns))))
    assert measured.unusable


@pytest.mark.parametrize("tag", [1010, 1090])
def test_phone_that_has_settled_is_found_from_a_tag_4_percent_off(tag: int) -> None:
    """1049 +- 15 rpm at 6 to 10 s; 32.9 and 92 Hz are steady and not the engine's.

    Four seconds of a cold engine: where the speed is another, it must be called unusable and name
    the true one.
    """
    whole = vt.read(REAL / "phone_v6_idle_start.csv", rpm=tag)
    since = whole.time_s() - whole.time_s()[0]
    settled = (since > 6) & (since < 10)
    samples, times = np.asarray(whole.samples), whole.time_s()
    part = vt.Recording(samples[settled], times=times[settled], rpm=tag, axes=whole.axes)
    assert part.mean_rate_hz == pytest.approx(250.0, abs=0.1)
    measured = vt.measure(part)
    if measured.unusable and measured.speed.candidates_rpm:
        assert any(abs(rpm - 1049) < 15 for rpm in measured.speed.candidates_rpm)
    else:
        assert measured.speed.rpm == pytest.approx(1049, abs=15)
    table = rows(measured)
    assert table[3.0]["visible"]
    assert table[3.0]["amplitude"] == max(row["amplitude"] for row in table.values())
    distances = [abs(row["frequency_hz"] - other) for row in table.values() for other in (32.9, 92)]
    assert min(distances) > 1.0
