"""What is looked at of one recording: the part that was measured, on the recording's own clock."""

import numpy as np
import pytest

import vibetrend as vt
from vibetrend.checkup.looking import looked_at
from vibetrend.recording import FloatArray, Tacho

RATE = 400.0


def engine_like(seconds: float) -> FloatArray:
    time = np.arange(int(seconds * RATE)) / RATE
    wave = sum(np.cos(2 * np.pi * 18 * k * time + k) / k for k in (0.5, 1, 1.5, 3))
    return np.asarray(wave + 0.05 * np.random.default_rng(1).standard_normal(time.size))


def test_all_of_a_short_one_was_measured() -> None:
    look = looked_at(vt.measure(vt.Recording(engine_like(20), sample_rate=RATE, rpm=1080)))
    assert look.measured_s == (pytest.approx(0, abs=0.02), pytest.approx(20, abs=0.02))
    assert look.spectrum is not None
    # 48 turns at 18 a second, and a Hann window's 1.5 bins
    assert look.spectrum.resolution_hz == pytest.approx(1.5 * 18 / 48, rel=1e-3)
    assert look.spectrum.hertz[-1] == pytest.approx(RATE / 2, abs=0.1)  # order 12 is above
    peak = look.spectrum.amplitude[np.abs(look.spectrum.hertz - 54) < 0.3].max()
    third = look.measurement.orders.set_index("order").loc[3.0, "amplitude"]
    assert peak == pytest.approx(float(str(third)), rel=0.02)  # a steady speed: both agree


def test_the_middle_of_a_long_one_was_measured() -> None:
    times = 1e5 + np.arange(int(200 * RATE)) / RATE
    one = vt.Recording(engine_like(200), times=times, rpm=1080)
    look = looked_at(vt.measure(one))
    assert look.begins_s == 1e5
    assert look.measured_s == (pytest.approx(40, abs=0.1), pytest.approx(160, abs=0.1))
    assert look.trace is not None
    assert look.trace.edges_s[-1] == pytest.approx(200, abs=0.01)


def test_where_no_speed_was_found_the_whole_is_looked_at() -> None:
    noise = 0.01 * np.random.default_rng(2).standard_normal(4000)
    look = looked_at(vt.measure(vt.Recording(noise, sample_rate=RATE, rpm=1080)))
    assert look.measurement.speed.method == "tag"
    assert look.measured_s == (pytest.approx(0, abs=0.1), pytest.approx(10, abs=0.1))
    assert look.spectrum is not None


def test_one_of_half_a_second_has_no_picture_over_time() -> None:
    look = looked_at(vt.measure(vt.Recording(engine_like(1), sample_rate=RATE, rpm=1080)))
    assert look.spectrogram is None
    assert look.spectrum is not None
    assert look.spectrum.pieces == 1


def test_tooth_times_have_nothing_but_their_speed() -> None:
    edges = 7 + np.arange(36 * 60) / 36 / 18
    look = looked_at(vt.measure(vt.Recording(tacho=Tacho(edges, 36.0))))
    assert (look.trace, look.spectrum, look.spectrogram) == (None, None, None)
    assert look.begins_s == 7
    assert look.measured_s == (pytest.approx(0, abs=0.01), pytest.approx(60 / 18, abs=0.1))
