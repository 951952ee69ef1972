"""The joint least squares against closed forms, variance bounds and two other programs."""

import numpy as np
import pytest
import statsmodels.api as sm  # type: ignore[import-untyped]  # ships no types
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.signal import lombscargle

from vibetrend.orders.fit import ComplexArray, LineFit, fit_lines, local_density, phasors
from vibetrend.recording import FloatArray

RATE = 1000.0
SECOND = np.arange(1000) / RATE  # 50 whole turns at 50 turns per second
# The ridge that keeps inseparable lines finite is 1e-9 of the diagonal.
RIDGE = 2e-9


def fitted(samples: FloatArray, turns: FloatArray, orders: list[float]) -> LineFit:
    return fit_lines(samples, phasors(turns, np.array(orders)))


def rms(fit: LineFit) -> FloatArray:
    total: FloatArray = np.sqrt((np.abs(fit.amplitude) ** 2).sum(axis=1) / 2)
    return total


def uneven(rng: np.random.Generator, count: int = 4000) -> FloatArray:
    return np.sort((np.arange(count) + rng.uniform(-0.4, 0.4, count)) / 400)


def test_one_sine_of_3_has_an_rms_of_3_over_root_2() -> None:
    wave = 3 * np.sin(2 * np.pi * 50 * SECOND)[:, np.newaxis]
    assert_allclose(rms(fitted(wave, 50 * SECOND, [1.0])), [2.1213203435596424], rtol=RIDGE)


def test_three_cosines_keep_their_amplitudes() -> None:
    """1 @ 25 Hz, 2 @ 50 Hz (0.7 rad), 0.5 @ 75 Hz (1.9 rad): total rms sqrt(5.25 / 2)."""
    lines = [(25.0, 1.0, 0.0), (50.0, 2.0, 0.7), (75.0, 0.5, 1.9)]
    wave = sum(size * np.cos(2 * np.pi * f * SECOND + start) for f, size, start in lines)
    fit = fitted(np.asarray(wave)[:, np.newaxis], 50 * SECOND, [0.5, 1.0, 1.5])
    assert_allclose(np.abs(fit.amplitude[:, 0]), [1.0, 2.0, 0.5], rtol=RIDGE)
    assert_allclose(np.angle(fit.amplitude[:, 0]), [0.0, 0.7, 1.9], atol=RIDGE)
    assert_allclose(np.sqrt(np.sum(rms(fit) ** 2)), 1.6201851746019651, rtol=RIDGE)


def test_equals_the_discrete_fourier_transform_over_whole_turns() -> None:
    noise = np.random.default_rng(20).standard_normal((1000, 2))
    fit = fitted(noise, 50 * SECOND, [0.5, 1.0, 3.5])
    bins = 2 * np.fft.rfft(noise, axis=0) / 1000  # bin = order * 50 turns
    assert_allclose(fit.amplitude, bins[[25, 50, 175]], atol=1e-8)


def test_equals_ordinary_least_squares_of_another_program() -> None:
    """statsmodels OLS on cosines and sines of the true phase, uneven times, close lines."""
    rng = np.random.default_rng(21)
    time = uneven(rng)
    turns = 17 * time + 0.02 * np.sin(2 * np.pi * 0.3 * time)
    orders = [0.5, 1.0, 1.02, 3.0, 9.5]
    noise = rng.standard_normal(time.size)
    fit = fitted(noise[:, np.newaxis], turns, orders)
    angle = 2 * np.pi * np.outer(turns, orders)
    ols = sm.OLS(noise, sm.add_constant(np.hstack([np.cos(angle), np.sin(angle)]))).fit()
    real, imaginary = ols.params[1:6], -ols.params[6:]
    assert_allclose(fit.amplitude[:, 0], real + 1j * imaginary, rtol=1e-6, atol=1e-8)
    assert_allclose(fit.residual[:, 0], ols.resid, atol=1e-7)
    # (D^T D)^-1, of which the inflation is the share above 2 / n
    inverse = ols.normalized_cov_params.diagonal()
    inflation = 0.5 * (inverse[1:6] + inverse[6:]) * time.size / 2
    assert_allclose(fit.inflation, inflation, rtol=1e-6)


def test_equals_lomb_scargle_for_one_line_at_uneven_times() -> None:
    rng = np.random.default_rng(22)
    time = uneven(rng, 300)
    wave = 1.7 * np.cos(2 * np.pi * 33.3 * time + 1) + rng.standard_normal(300)
    places = 2 * np.pi * np.array([33.3, 40.0])
    power = lombscargle(time, wave, places, floating_mean=True, normalize="amplitude")
    fit = fitted(wave[:, np.newaxis], 33.3 * time, [1.0])
    assert_allclose(abs(fit.amplitude[0, 0]), abs(power[0]), rtol=1e-7)


@given(start=st.floats(-50, 50), gain=st.floats(1e-6, 1e6), level=st.floats(-10, 10))
def test_amplitude_ignores_start_and_zero_and_follows_gain(
    start: float, gain: float, level: float
) -> None:
    wave = gain * (0.5 * np.cos(2 * np.pi * 150 * SECOND) + level)
    fit = fitted(wave[:, np.newaxis], 50 * SECOND + start, [1.0, 3.0])
    assert_allclose(np.abs(fit.amplitude[1]), gain * 0.5, rtol=1e-7)


def test_turning_the_sensor_leaves_the_amplitudes_of_all_axes_together() -> None:
    rng = np.random.default_rng(23)
    samples = rng.standard_normal((1000, 3))
    rotation, _ = np.linalg.qr(rng.standard_normal((3, 3)))
    before = fitted(samples, 50 * SECOND, [0.5, 3.0])
    after = fitted(samples @ rotation, 50 * SECOND, [0.5, 3.0])
    assert_allclose(rms(after), rms(before), rtol=1e-10)


def test_scatter_of_an_amplitude_is_the_bound() -> None:
    """Kay, Fundamentals of Statistical Signal Processing, ex. 3.14: var A >= 2 s^2 / N.

    N = 1024, A = 1, s = 0.1, f = 0.05: sd 0.0044194. The sd of 2000 runs scatters by
    1 / sqrt(2 * 2000) = 1.6 %; three times that is allowed.
    """
    rng = np.random.default_rng(24)
    turns = 0.05 * np.arange(1024.0)
    waves = np.cos(2 * np.pi * turns + 0.3)[:, np.newaxis] + 0.1 * rng.standard_normal((1024, 2000))
    fit = fitted(waves, turns, [1.0])  # every run is an axis of its own
    assert_allclose(np.std(np.abs(fit.amplitude[0])), 0.0044194, rtol=0.048)
    assert fit.inflation[0] == pytest.approx(1.0, abs=0.01)


def test_inflation_says_how_much_wider_close_lines_scatter() -> None:
    rng = np.random.default_rng(25)
    orders, runs = [1.0, 1.006], 2000  # 0.3 of the resolution of 50 turns apart
    fit = fitted(rng.standard_normal((1000, runs)), 50 * SECOND, orders)
    # The mean square of `runs` pairs of normal parts scatters by 1 / sqrt(runs) = 2.2 %; times 3
    scatter = np.mean(np.abs(fit.amplitude) ** 2, axis=1) / 2
    assert fit.inflation.min() > 3
    assert_allclose(scatter, fit.inflation * 2 / 1000, rtol=0.067)


def test_two_lines_at_one_place_are_called_inseparable() -> None:
    turns = 50 * SECOND
    lines = phasors(turns, np.array([1.0, 2.0]))
    lines = np.concatenate([lines, lines[:1]])
    fit = fit_lines(np.random.default_rng(26).standard_normal((1000, 1)), lines)
    assert np.isinf(fit.inflation[[0, 2]]).all()
    assert fit.inflation[1] == pytest.approx(1.0, abs=0.01)
    assert np.isfinite(fit.amplitude).all()


def test_phasors_of_half_orders_are_exponentials() -> None:
    turns = np.random.default_rng(27).uniform(-100, 1000, 500)
    orders = np.array([3.0, 0.5, 12.0, 2.3718, 1.5])  # any sequence, some no half order
    expected: ComplexArray = np.exp(2j * np.pi * np.outer(orders, turns))
    # A power of 24 of a phasor whose angle is rounded at 3000 radians: 24 * 3000 * 1e-16
    assert_allclose(phasors(turns, orders), expected, atol=1e-10)


@pytest.mark.parametrize("even", [True, False])
def test_noise_density_is_that_of_white_noise(even: bool) -> None:
    """One-sided density of white noise is 2 s^2 / rate at any frequency.

    The median of 2 * 150 bins scatters by about 1 / sqrt(300) / ln 2 = 8 %; the mean of 2 axes
    and 9 places by 2 %. Three times that, and 2 % for what gridding leaves over, is allowed.
    """
    rng = np.random.default_rng(28)
    count = 40_000
    time = np.arange(count) / 400 if even else uneven(rng, count)
    noise = 0.7 * rng.standard_normal((count, 2))
    places = np.linspace(10, 170, 9)
    density = local_density(time, noise, places, width_hz=3.0, even_rate=400.0 if even else None)
    assert density.shape == (9, 2)
    assert_allclose(density.mean(), 2 * 0.49 / 400, rtol=0.08)
    assert_allclose(density, 2 * 0.49 / 400, rtol=0.4)  # 5 sd of one place


def test_a_line_left_over_moves_the_noise_density_little() -> None:
    rng = np.random.default_rng(29)
    time = np.arange(12_000) / 400
    noise = rng.standard_normal((12_000, 1))
    line = 0.3 * np.cos(2 * np.pi * 50.3 * time)[:, np.newaxis]
    where = np.array([50.0])
    quiet, loud = (
        local_density(time, samples, where, width_hz=7.0, even_rate=400.0)
        for samples in (noise, noise + line)
    )
    assert_allclose(loud, quiet, rtol=0.25)  # the line's own bin has 270 times the density
