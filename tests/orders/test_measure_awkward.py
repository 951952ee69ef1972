"""Recordings that are awkward in ways people bring about, and must not break or mislead."""

from dataclasses import replace

import numpy as np
import pytest
from invented_recordings import MILD, STEADY, WANDER, Running, World, made, rows

from vibetrend.orders import Measurement, measure
from vibetrend.orders.spectrum import grid
from vibetrend.recording import FloatArray, Recording

TIME = np.arange(12_000) / 400.0
GOOD = World(cn0_db=45, running=MILD)


def tone(hertz: float, *, noise: float, seed: int, axes: int = 1) -> FloatArray:
    """Return one line of amplitude 1 in noise, shape (n, axes)."""
    hiss = noise * np.random.default_rng([150, seed]).standard_normal((TIME.size, axes))
    return np.cos(2 * np.pi * hertz * TIME)[:, np.newaxis] + hiss


def severities(measured: Measurement, code: str) -> list[str]:
    return [note.severity for note in measured.quality if note.code == code]


@pytest.mark.parametrize("end", ["first", "last"])
def test_a_track_that_runs_backwards_for_a_moment_can_be_gridded(end: str) -> None:
    """A poor candidate may do so; the order spectrum needs only what sums to the samples."""
    turns = np.linspace(0, 10, 1000)
    if end == "first":
        turns[1:5] = -0.01 * np.arange(1, 5)
    else:
        turns[-5:] = turns[-6] - 0.01 * np.arange(1, 6)
    assert grid(turns, np.ones((1000, 1)), top=20.0, even_rate=None).values.sum() == pytest.approx(
        1000
    )


def test_a_recording_of_150_seconds_is_measured() -> None:
    truth = made(replace(GOOD, seconds=150, axes=1, jitter=0), 151)
    measured = measure(truth.recording)
    assert measured.speed.rpm == pytest.approx(truth.rpm, rel=1e-5)
    assert not measured.unusable


def test_nothing_recorded_is_unusable() -> None:
    measured = measure(Recording(np.zeros((12_000, 3)), sample_rate=400, rpm=1000))
    assert severities(measured, "silent") == ["unusable"]


def test_an_axis_that_never_changes_leaves_the_others() -> None:
    truth = made(replace(GOOD, axes=1, jitter=0), 152)
    samples = np.asarray(truth.recording.samples)
    dead = np.hstack([samples, np.zeros_like(samples)])
    measured = measure(Recording(dead, sample_rate=400, rpm=truth.recording.rpm))
    alone = measure(truth.recording)
    assert severities(measured, "dead-axis") == ["warning"]
    np.testing.assert_allclose(
        measured.orders["amplitude"], alone.orders["amplitude"], atol=0.3 * truth.rms_bound
    )


def test_a_click_is_no_engine() -> None:
    noise = np.random.default_rng(153).standard_normal(12_000)
    noise[6000] += 100
    measured = measure(Recording(noise, sample_rate=400, rpm=1000))
    assert severities(measured, "engine-not-running") == ["unusable"]


def test_a_long_gap_is_unusable() -> None:
    truth = made(replace(GOOD, gaps_s=((5, 15),)), 154)
    measured = measure(truth.recording)
    assert severities(measured, "gaps") == ["unusable"]


@pytest.mark.parametrize("seed", range(3))
def test_mains_hum_beside_a_stopped_engine_is_no_engine(seed: int) -> None:
    recording = Recording(tone(50, noise=0.1, seed=seed, axes=3), sample_rate=400, rpm=1017)
    assert measure(recording).unusable


@pytest.mark.parametrize("rpm", [960, 1014, 1040])
def test_with_the_firing_order_alone_nothing_wrong_is_claimed(rpm: float) -> None:
    """One line at 3x fixes the speed only for who knows that it is 3x: right, or said to doubt."""
    recording = Recording(tone(rpm / 20, noise=0.1, seed=3), sample_rate=400, rpm=1000)
    measured = measure(recording)
    right = measured.speed.rpm == pytest.approx(rpm, rel=1e-3)
    assert right or measured.unusable or severities(measured, "speed-ambiguous")


@pytest.mark.parametrize("seed", [155, 165])
def test_with_one_order_far_above_the_rest_no_wrong_speed_passes(seed: int) -> None:
    """Other orders 40 to 60 dB below the firing order, two belts at 0.95 of half orders."""
    truth = made(World(cn0_db=35, running=MILD, levels_db=(40, 60)), seed)
    measured = measure(truth.recording)
    right = measured.speed.rpm == pytest.approx(truth.rpm, rel=2e-4)
    assert right or measured.unusable or severities(measured, "speed-ambiguous")


@pytest.mark.parametrize("off", [-0.1, 0.2, -0.5])
def test_a_tag_far_off_never_gives_a_wrong_speed_without_a_warning(off: float) -> None:
    """2.5 x 1220 is 3 x 1017, and at half the speed all orders are whole."""
    truth = made(replace(GOOD, tag_rpm=1017 * (1 + off)), 2)
    measured = measure(truth.recording)
    right = measured.speed.rpm == pytest.approx(truth.rpm, rel=2e-4)
    assert right or any(note.severity != "note" for note in measured.quality)


def test_a_note_is_given_once() -> None:
    quality = measure(made(replace(GOOD, tag_rpm=1017 * 0.8), 1).recording).quality
    codes = [note.code for note in quality]
    assert len(set(codes)) == len(codes)


@pytest.mark.parametrize(("running", "seed"), [(MILD, 100_019), (WANDER, 100_024)])
def test_the_ends_of_a_slow_recording_do_not_slip(running: Running, seed: int) -> None:
    """A third of a turn in 508 is 640 ppm of the mean speed; its standard error is 4 ppm."""
    truth = made(World(cn0_db=45, running=running, rate=200.0), seed)
    speed = measure(truth.recording).speed
    assert abs(speed.rpm - truth.rpm) < 6 * speed.standard_error_rpm


def test_fast_engine_with_a_slow_sensor_is_measured_below_half_the_rate() -> None:
    """2417 rpm at 400 Hz: orders 5 to 12 fold back among the lower ones, as jitter tells."""
    truth = made(replace(GOOD, rpm=2417), 1002)
    measured = measure(truth.recording)
    assert measured.speed.rpm == pytest.approx(truth.rpm, rel=2e-5)
    row = rows(measured)[3.0]
    assert abs(20 * np.log10(row["amplitude"] / truth.rms[3.0])) < 0.1


def test_even_samples_at_the_exact_ratio_of_a_fold_are_called_inseparable() -> None:
    """200 Hz are 12 samples a turn of 1000 rpm: order 5 is seen where order 7 folds to."""
    world = World(rpm=1000, rate=200.0, jitter=0.0, cn0_db=45, running=STEADY, tag_rpm=1000)
    row = rows(measure(made(world, 165).recording))[5.0]
    assert (row["visible"], row["reason"]) == (False, "shares its frequency with order 7")
