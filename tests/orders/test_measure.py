"""From a recording to its measurement: closed forms, invariances, the JSON form, errors."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from invented_recordings import MILD, Made, World, made, rows
from numpy.testing import assert_allclose

from vibetrend.engine import DrivenPart, Engine
from vibetrend.errors import MeasureError
from vibetrend.orders import Measurement, measure
from vibetrend.recording import FloatArray, Manner, Recording, Tacho

SIX = Engine(
    name="invented",
    cylinders=6,
    fast_idle_rpm=1000,
    driven=(DrivenPart(name="alternator", ratio=2.42), DrivenPart(name="pump", ratio=1.9013)),
)


def amplitudes(measured: Measurement) -> FloatArray:
    return measured.orders["amplitude"].to_numpy(float)


def with_samples(recording: Recording, samples: FloatArray) -> Recording:
    """Return the same stamps and tag with other samples."""
    return Recording(samples, times=recording.times, kind=recording.kind, rpm=recording.rpm)


def test_one_sine_of_3_has_an_rms_of_3_over_root_2() -> None:
    """1000 samples in 1 s, 50 Hz, order 1 of 3000 rpm, without any noise."""
    time = np.arange(1000) / 1000
    wave = 3 * np.sin(2 * np.pi * 50 * time)
    table = rows(measure(Recording(wave, sample_rate=1000, rpm=3000)))
    once = table.pop(1.0)
    assert once["amplitude"] == pytest.approx(2.1213203435596424, rel=1e-6)
    assert once["velocity_mm_s"] == pytest.approx(2121.3203 / (100 * math.pi), rel=1e-6)
    assert max(row["amplitude"] for row in table.values()) < 1e-6


def test_three_cosines_keep_their_amplitudes() -> None:
    """1 @ 25 Hz, 2 @ 50 Hz, 0.5 @ 75 Hz: rms of each is its peak over root 2."""
    time = np.arange(1000) / 1000
    wave = np.cos(2 * np.pi * 25 * time) + 2 * np.cos(2 * np.pi * 50 * time + 0.7)
    wave += 0.5 * np.cos(2 * np.pi * 75 * time + 1.9)
    table = rows(measure(Recording(wave, sample_rate=1000, rpm=3010)))
    found = np.array([table[order]["amplitude"] for order in (0.5, 1.0, 1.5)])
    assert_allclose(found * math.sqrt(2), [1.0, 2.0, 0.5], rtol=1e-4)
    assert math.sqrt(np.sum(found**2)) == pytest.approx(1.6201851746, rel=1e-4)


@pytest.fixture(scope="module")
def truth() -> Made:
    return made(World(running=MILD), 110)


@pytest.fixture(scope="module")
def plain(truth: Made) -> Measurement:
    return measure(truth.recording)


@pytest.fixture(scope="module")
def measured(truth: Made) -> Measurement:
    return measure(truth.recording, engine=SIX)


def test_turning_the_phone_leaves_the_amplitudes(truth: Made, plain: Measurement) -> None:
    rotation, _ = np.linalg.qr(np.random.default_rng(111).standard_normal((3, 3)))
    samples = np.asarray(truth.recording.samples)
    turned = measure(with_samples(truth.recording, samples @ rotation))
    # Only the noise near each line, measured axis by axis, weighs a little differently.
    assert_allclose(amplitudes(turned), amplitudes(plain), atol=0.3 * truth.rms_bound)


def test_gain_scales_everything(truth: Made, plain: Measurement) -> None:
    samples = np.asarray(truth.recording.samples)
    once, thrice = plain, measure(with_samples(truth.recording, 3 * samples))
    assert_allclose(amplitudes(thrice), 3 * amplitudes(once), rtol=1e-6)
    for column in ("standard_error", "floor", "velocity_mm_s"):
        assert_allclose(thrice.orders[column], 3 * once.orders[column], rtol=1e-6)
    assert_allclose(thrice.overall["value"], 3 * once.overall["value"], rtol=1e-9)
    assert thrice.speed.rpm == pytest.approx(once.speed.rpm, rel=1e-9)


def test_a_clock_that_starts_elsewhere_changes_nothing(truth: Made, measured: Measurement) -> None:
    times = np.asarray(truth.recording.times)
    later = measure(
        Recording(truth.recording.samples, times=times + 86_400, rpm=truth.recording.rpm),
        engine=SIX,
    )
    # A day in double precision is good to 1.5e-11 s.
    assert_allclose(amplitudes(later), amplitudes(measured), rtol=1e-4, atol=1e-6)
    assert later.speed.track["time_s"].min() > 86_399
    assert later.speed.rpm == pytest.approx(measured.speed.rpm, rel=1e-8)


def test_where_the_crank_stood_at_the_start_changes_nothing(
    truth: Made, plain: Measurement
) -> None:
    """Leaving out the first 0.1 s turns every phase; the rest of the samples is the same."""
    samples, times = np.asarray(truth.recording.samples), np.asarray(truth.recording.times)
    late = Recording(samples[40:], times=times[40:], rpm=truth.recording.rpm)
    # 40 of 12000 samples' noise: sqrt(40 / 12000) = 0.06 of the bound, times 4
    assert_allclose(amplitudes(measure(late)), amplitudes(plain), atol=0.25 * truth.rms_bound)


def test_axes_add_up_by_squares(truth: Made, measured: Measurement) -> None:
    big = measured.orders[measured.orders["amplitude"] > 0.05]
    squares = [sum(value**2 for value in axes.values()) for axes in big["by_axis"]]
    assert all(list(axes) == ["x", "y", "z"] for axes in big["by_axis"])
    # Each axis is held at 0 where noise would make it negative
    assert_allclose(np.sqrt(squares), big["amplitude"], rtol=0.01)
    for order, axes in zip(big["order"], big["by_axis"], strict=True):
        peak = truth.peak[round(2 * order) - 1]
        assert_allclose(list(axes.values()), peak / math.sqrt(2), atol=6 * truth.rms_bound)


def test_units_come_out_si() -> None:
    """The same file read as g is 9.80665 times as much (exact, NIST SP 811)."""
    truth = made(World(seconds=10), 112)
    samples = np.asarray(truth.recording.samples)
    as_g = Recording(samples, times=truth.recording.times, unit="g", rpm=truth.recording.rpm)
    assert_allclose(
        amplitudes(measure(as_g)), 9.80665 * amplitudes(measure(truth.recording)), rtol=1e-6
    )
    assert set(measure(as_g).orders["unit"]) == {"m/s^2"}


def test_velocity_is_acceleration_over_omega(measured: Measurement) -> None:
    table = measured.orders
    expected = 1000 * table["amplitude"] / (2 * np.pi * table["frequency_hz"])
    assert_allclose(table["velocity_mm_s"], expected, rtol=1e-12)
    assert_allclose(table["frequency_hz"], table["order"] * measured.speed.rpm / 60, rtol=1e-12)


@pytest.mark.parametrize(("kind", "unit"), [("sound", "1"), ("pressure", "V"), ("other", "V")])
def test_what_is_no_motion_has_no_velocity(kind: str, unit: str) -> None:
    truth = made(World(seconds=8, axes=1, jitter=0, kind="sound"), 113)
    recording = Recording(
        truth.recording.samples,
        sample_rate=400,
        kind=kind,  # type: ignore[arg-type]  # a parameter of the test, not a literal
        unit=unit,
        rpm=truth.recording.rpm,
    )
    measured = measure(recording)
    assert measured.orders["velocity_mm_s"].isna().all()
    assert set(measured.orders["unit"]) == {unit}
    assert measured.to_dict()["orders"][0]["velocity_mm_s"] is None


def test_velocity_recordings_stay_velocity() -> None:
    truth = made(World(seconds=8), 114)
    samples = np.asarray(truth.recording.samples)
    recording = Recording(
        samples, times=truth.recording.times, kind="velocity", unit="mm/s", rpm=truth.recording.rpm
    )
    table = measure(recording).orders
    assert_allclose(table["velocity_mm_s"], 1000 * table["amplitude"], rtol=1e-12)


ROW = {
    "order", "frequency_hz", "amplitude", "standard_error", "floor", "unit",
    "variation_percent", "velocity_mm_s", "visible", "reason", "by_axis",
}  # fmt: skip


def test_json_form_has_the_keys_promised(measured: Measurement) -> None:
    found = measured.to_dict()
    assert set(found) == {
        "recording", "speed", "orders", "driven", "others", "phase_reference", "overall", "quality",
        "runup", "resonances", "method_version",
    }  # fmt: skip
    assert set(found["recording"]) == {
        "path", "sha256", "kind", "unit", "manner", "sample_rate_hz", "duration_s", "axes",
    }  # fmt: skip
    assert set(found["speed"]) == {
        "tag_rpm", "rpm", "standard_error_rpm", "spread_percent", "method", "candidates_rpm",
    }  # fmt: skip
    assert all(set(row) >= ROW for row in found["orders"])
    assert all(set(row) >= ROW | {"name"} for row in found["driven"])
    assert {row["name"] for row in found["driven"]} == {"alternator", "pump"}
    assert all(set(row) == {"name", "band_hz", "value", "unit"} for row in found["overall"])
    assert all(set(row) == {"code", "severity", "message"} for row in found["quality"])
    assert found["method_version"] == measured.method_version
    assert [row["order"] for row in found["orders"]] == [k / 2 for k in range(1, 25)]


@pytest.mark.parametrize("seconds", [1.0, 12.0])
def test_json_form_holds_plain_finite_values(seconds: float) -> None:
    """A short recording has no variation: null, not NaN (RFC 8259 knows no NaN)."""
    measured = measure(made(World(seconds=seconds), 115).recording, engine=SIX)
    found = measured.to_dict()
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    for row in found["orders"]:
        assert type(row["amplitude"]) is float
        assert type(row["visible"]) is bool
        assert (row["reason"] is None) == row["visible"]
        assert (row["variation_percent"] is None) == (seconds < 10)


def test_the_same_recording_gives_the_same_numbers(truth: Made, measured: Measurement) -> None:
    again = measure(replace(truth.recording), engine=SIX)
    assert again.to_dict() == measured.to_dict()


def test_an_engine_without_a_tag_is_searched_near_its_fast_idle(truth: Made) -> None:
    measured = measure(replace(truth.recording, rpm=None), engine=SIX)
    assert measured.speed.rpm == pytest.approx(truth.rpm, rel=2e-5)
    assert measured.speed.tag_rpm is None
    assert [note.severity for note in measured.quality if note.code == "speed-assumed"] == ["note"]


def test_a_firing_order_above_12_is_added() -> None:
    truth = made(World(seconds=8), 116)
    sixteen = Engine(name="invented", cylinders=16, strokes=2)
    orders = measure(truth.recording, engine=sixteen).orders["order"]
    assert orders.tolist() == [*(k / 2 for k in range(1, 25)), 16.0]


@pytest.mark.parametrize("engine", [None, Engine(name="invented", cylinders=6)])
def test_no_speed_is_refused_in_words(engine: Engine | None) -> None:
    recording = Recording(np.zeros(4000), sample_rate=400)
    with pytest.raises(MeasureError, match=r"no speed is stated; .* --rpm N, good to 5 %"):
        measure(recording, engine=engine)


def test_a_recording_of_a_few_turns_is_refused_with_its_numbers() -> None:
    recording = Recording(np.zeros(120), sample_rate=400, rpm=1000)
    with pytest.raises(MeasureError, match=r"too short: 0\.3 s at 1000 rpm are 5\.0 turns, 8 are"):
        measure(recording)


def test_one_pulse_a_turn_alone_is_too_coarse_for_orders() -> None:
    tacho = Tacho(edge_times=np.arange(100) / 60, teeth_per_turn=1)
    with pytest.raises(MeasureError, match="too coarse for orders of the crank's speed"):
        measure(Recording(tacho=tacho, rpm=3600))


@pytest.mark.parametrize("manner", ["run-up", "coast-down"])
def test_a_sweep_is_no_steady_recording(manner: Manner) -> None:
    recording = Recording(np.zeros(4000), sample_rate=400, rpm=1000, manner=manner)
    with pytest.raises(MeasureError, match=f"a {manner} has no steady speed; measure it"):
        measure(recording)


def test_a_sensor_too_slow_for_any_order_is_refused() -> None:
    noise = np.random.default_rng(117).standard_normal(600)
    with pytest.raises(MeasureError, match="15 samples per second cannot show any order"):
        measure(Recording(noise, sample_rate=15, rpm=1000))
