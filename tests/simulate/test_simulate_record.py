"""Truth against a fit of our own at the true phase, and against statsmodels' least squares."""

import numpy as np
import pytest
import statsmodels.api as sm  # type: ignore[import-untyped]  # it publishes no types
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from vibetrend.engine import Engine
from vibetrend.recording import Recording
from vibetrend.simulate import (
    MICROPHONE,
    PHONE,
    Running,
    Sensor,
    SimulateError,
    Truth,
    record,
)
from vibetrend.simulate.scenario import CHARGER_TOML, MAIN_TOML
from vibetrend.units import STANDARD_GRAVITY

MAIN = Engine.parse(MAIN_TOML)
CHARGER = Engine.parse(CHARGER_TOML)
Array = NDArray[np.float64]

CASES = [
    pytest.param(MAIN, 1080.0, 418.5, PHONE, id="phone"),
    pytest.param(CHARGER, 1300.0, 1500.0, MICROPHONE, id="sound"),
]


def samples_of(recording: Recording) -> Array:
    assert recording.samples is not None
    return recording.samples


def design(truth: Truth) -> Array:
    """Columns 1, cos, sin, cos, sin ... of every order and then of every other line."""
    cycles = [order * truth.turns for order in truth.orders]
    for line in truth.lines:
        if line.ratio is None:
            cycles.append(line.frequency_hz * truth.time_s)
        else:
            cycles.append(line.ratio * truth.turns)
    angle = 2 * np.pi * np.array(cycles)
    waves = np.stack([np.cos(angle), np.sin(angle)], axis=1).reshape(-1, truth.turns.size)
    return np.vstack([np.ones(truth.turns.size), waves]).T


def fit(columns: Array, samples: Array) -> Array:
    """Least squares by the normal equations; the columns are nearly orthogonal."""
    return np.asarray(np.linalg.solve(columns.T @ columns, columns.T @ samples), dtype=np.float64)


def fitted_rms(coefficients: Array) -> Array:
    """Return rms per line and axis of what a fit to `design` gives."""
    cosine, sine = coefficients[1::2], coefficients[2::2]
    return np.asarray(np.sqrt((cosine**2 + sine**2) / 2))


def noise_rms(residual: Array, truth: Truth) -> Array:
    """Return the standard deviation of each order's rms per axis, read where no order is."""
    offsets = np.concatenate([np.arange(-0.24, -0.03, 0.04), np.arange(0.04, 0.25, 0.04)])
    found = []
    for order in truth.orders:
        turn = np.exp(-2j * np.pi * np.outer(order + offsets, truth.turns))
        coefficients = turn @ residual / len(residual)  # of rms / sqrt 2 in size
        # Half of |c|^2 lies along the order's own phase and changes its rms, half across.
        found.append(np.sqrt(np.mean(np.abs(coefficients) ** 2, axis=0)))
    return np.array(found)


@pytest.mark.parametrize(("engine", "rpm", "rate", "sensor"), CASES)
def test_a_fit_at_the_true_phase_finds_the_truth(
    engine: Engine, rpm: float, rate: float, sensor: Sensor
) -> None:
    recording, truth = record(
        engine, rpm=rpm, seconds=20, rate=rate, seed=11, sensor=sensor, specimen=3
    )
    samples = samples_of(recording)
    columns = design(truth)
    coefficients = fit(columns, samples)
    found = fitted_rms(coefficients)[: truth.orders.size]
    noise = noise_rms(samples - columns @ coefficients, truth)

    strong = truth.rms_by_axis > 5 * noise  # where noise does not lift the rms noticeably
    assert strong.sum() > 0.4 * strong.size
    error = (found - truth.rms_by_axis) / noise
    # Normal errors: 4.5 standard deviations, and their mean square is 1 within its own scatter.
    assert np.abs(error[strong]).max() < 4.5
    assert np.mean(error[strong] ** 2) == pytest.approx(1, abs=4 * np.sqrt(2 / strong.sum()))
    assert (found[~strong] < truth.rms_by_axis[~strong] + 4.5 * noise[~strong]).all()


def test_statsmodels_finds_the_truth_too() -> None:
    """Second route: statsmodels OLS, one axis, its own standard errors."""
    still = Running(breathing_percent=0)
    recording, truth = record(MAIN, rpm=1080, seconds=10, rate=418.5, seed=5, running=still)
    samples = samples_of(recording)
    result = sm.OLS(samples[:, 0], design(truth)).fit()
    found = fitted_rms(result.params)
    expected = truth.rms_by_axis[:, 0]
    firing = np.flatnonzero(truth.orders == 3)[0]
    # The standard error of a peak value, sqrt 2 that of an rms; the noise, taken as white, is less
    # than twice as dense here as in the mean, which makes up for it.
    tolerance = 4.5 * result.bse[1 + 2 * firing]
    assert found[firing] == pytest.approx(expected[firing], abs=tolerance)
    assert tolerance < 0.02 * expected[firing]


def test_firing_order_stands_as_far_above_the_noise_as_stated() -> None:
    still = Running(breathing_percent=0)
    recording, truth = record(MAIN, rpm=1080, seconds=60, rate=418.5, seed=2, running=still)
    samples = samples_of(recording)
    columns = design(truth)
    coefficients = fit(columns, samples)
    firing = int(np.flatnonzero(truth.orders == 3)[0])
    noise = noise_rms(samples - columns @ coefficients, truth)[firing]
    density = np.mean(noise**2) * 2 * 60  # one-sided: mean |c|^2 = density / (2 T)
    above = 10 * np.log10(truth.rms_of(3) ** 2 / density)
    # The mean of 12 places on 3 axes, exponentials, scatters by 4.34 / sqrt(36) = 0.72 dB; the
    # sensor's roll-off and own noise take less than 0.3 dB.
    assert above == pytest.approx(PHONE.firing_above_noise_db_hz, abs=3 * 0.72 + 0.3)


def test_driven_lines_follow_the_crank_with_belt_creep() -> None:
    recording, truth = record(MAIN, rpm=1080, seconds=20, rate=418.5, seed=8)
    samples = samples_of(recording)
    coefficients = fit(design(truth), samples)
    found = np.linalg.norm(fitted_rms(coefficients)[truth.orders.size :], axis=1)
    assert [line.name for line in truth.lines] == ["alternator", "coolant pump", "mains"]
    for line, part in zip(truth.lines[:2], MAIN.driven, strict=True):
        assert line.ratio is not None
        assert 0.98 * part.ratio <= line.ratio <= 0.99 * part.ratio
        assert line.frequency_hz == pytest.approx(line.ratio * truth.rpm / 60)
    # Lines of 0.02 to 0.18 m/s^2; noise of about 0.01 (unit / sqrt Hz) gives each 0.002 in 20 s.
    assert_allclose(found, [line.rms for line in truth.lines], atol=4.5 * 0.002)


def test_changes_are_what_was_asked_for() -> None:
    def truth(**options: object) -> Array:
        return record(MAIN, rpm=1080, seconds=4, rate=400, seed=1, **options)[1].rms  # type: ignore[arg-type]  # a test's own shorthand

    plain = truth()
    assert_allclose(truth(common_db=20.0), 10 * plain, rtol=1e-12)
    one = truth(changes_db={1.5: 20.0}) / plain
    assert_allclose(one, np.where(np.arange(1, 49) == 3, 10, 1), rtol=1e-12)


def test_speed_is_the_one_asked_for_and_hunts_as_stated() -> None:
    running = Running(hunting_percent=0.4, drift_percent=0, cycle_noise_percent=0)
    _, truth = record(MAIN, rpm=1075.5, seconds=20, rate=400, seed=4, running=running)
    assert truth.rpm == pytest.approx(1075.5, rel=1e-5)  # the half sample lost at either end
    speed = 60 * np.diff(truth.turns) / np.diff(truth.time_s)
    # Peaks of a sine; straight lines over a 1 ms grid change it by less than 1 % of the swing.
    assert np.ptp(speed) / 2 / 1075.5 == pytest.approx(0.004, rel=0.01)


def test_phone_has_gravity_jitter_and_steps() -> None:
    recording, truth = record(MAIN, rpm=1080, seconds=20, rate=400, seed=6, tag_rpm=1100)
    assert recording.samples is not None
    assert recording.times is not None
    assert recording.rpm == 1100
    assert_allclose(recording.times, truth.time_s)
    gravity = np.linalg.norm(recording.samples.mean(axis=0))
    # Orders average out over 20 s to about rms / (2 pi f T) of the lowest, 1e-3 m/s^2.
    assert gravity == pytest.approx(STANDARD_GRAVITY, abs=5e-3)
    scatter = np.std(np.diff(recording.times)) * 400
    # sd of a difference of two; estimated from 8000 steps, 4 standard errors of 0.8 %.
    assert scatter == pytest.approx(np.sqrt(2) * PHONE.jitter_percent / 100, rel=0.04)
    counts = recording.samples / PHONE.step
    assert_allclose(counts, np.round(counts), atol=1e-6)


def test_sound_is_even_and_clips_at_full_scale() -> None:
    recording, _ = record(
        CHARGER, rpm=1300, seconds=2, rate=8000, seed=6, sensor=MICROPHONE, common_db=40
    )
    assert recording.samples is not None
    assert recording.times is None
    assert recording.sample_rate == 8000
    assert (recording.samples.min(), recording.samples.max()) == (-1, 1 - 2.0**-15)


def test_same_seed_same_recording_and_another_seed_another() -> None:
    def made(seed: int) -> Recording:
        return record(MAIN, rpm=1080, seconds=2, rate=400, seed=seed)[0]

    first, again, other = made(1), made(1), made(2)
    assert np.array_equal(samples_of(first), samples_of(again))
    assert np.array_equal(first.time_s(), again.time_s())
    assert not np.array_equal(samples_of(first), samples_of(other))


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"rpm": 0.0}, r"rpm is 0; a number above 0 is needed"),
        ({"rate": float("nan")}, r"rate is nan; a number above 0"),
        ({"seconds": 0.05}, r"0\.05 s at 1080 r/min are fewer than two turns; simulate longer"),
        ({"changes_db": {0.7: 3.0}}, r"order 0\.7 is not simulated; take a multiple of 0\.5 up"),
    ],
)
def test_says_what_is_wrong(options: dict[str, object], message: str) -> None:
    asked: dict[str, object] = {"rpm": 1080.0, "seconds": 2.0, "rate": 400.0, "seed": 1} | options
    with pytest.raises(SimulateError, match=message):
        record(MAIN, **asked)  # type: ignore[arg-type]  # a test's own shorthand
