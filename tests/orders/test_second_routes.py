"""Other programs at the estimator's own speed track: do they read the same amplitudes and errors?

Only the track is taken from the measurement; lines, amplitudes and errors are the other
program's.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest
import statsmodels.api as sm  # type: ignore[import-untyped]  # ships no types
from invented_recordings import HALF_ORDERS, WANDER, Made, World, made
from numpy.testing import assert_allclose
from scipy.interpolate import CubicSpline
from scipy.signal import lfilter, lombscargle

from vibetrend.orders import Measurement, measure
from vibetrend.recording import FloatArray, Recording

COUNT = HALF_ORDERS.size


def turns(measured: Measurement, times: FloatArray) -> FloatArray:
    """Return the crank angle at some times: the speed track, added up."""
    track = measured.speed.track
    middles = track["time_s"].to_numpy(float)
    step = middles[1] - middles[0]
    edges = np.append(middles - step / 2, middles[-1] + step / 2)
    angle = np.concatenate([[0.0], np.cumsum(track["rpm"].to_numpy(float)) * step / 60])
    return np.asarray(CubicSpline(edges, angle)(times), float)


def design(*angles: FloatArray) -> FloatArray:
    """Return a constant, cosines and sines of angles in turns, each (n, lines)."""
    angle = 2 * np.pi * np.hstack(angles)
    return np.hstack([np.ones((len(angle), 1)), np.cos(angle), np.sin(angle)])


@dataclass(frozen=True)
class Route:
    """What a linear model of statsmodels says of the half orders on one axis."""

    power: FloatArray  # (orders,) mean square, noise included
    variance: FloatArray  # (orders,) of the real and of the imaginary part, their mean

    @classmethod
    def of(cls, model: sm.OLS) -> "Route":
        fit = model.fit()
        lines = (len(fit.params) - 1) // 2
        cosine, sine = slice(1, 1 + COUNT), slice(1 + lines, 1 + lines + COUNT)
        return cls(
            (fit.params[cosine] ** 2 + fit.params[sine] ** 2) / 2,
            (fit.bse[cosine] ** 2 + fit.bse[sine] ** 2) / 2,
        )


@pytest.fixture(scope="module")
def truth() -> Made:
    return made(World(running=WANDER, seconds=20), 140)


@pytest.fixture(scope="module")
def measured(truth: Made) -> Measurement:
    return measure(truth.recording)


@pytest.fixture(scope="module")
def ordinary(truth: Made, measured: Measurement) -> list[Route]:
    times, samples = truth.recording.time_s(), np.asarray(truth.recording.samples)
    theta = turns(measured, times)
    lines = np.outer(theta, [*HALF_ORDERS, *World().belts])
    model = design(lines, World().mains_hz * times[:, np.newaxis])
    return [Route.of(sm.OLS(axis, model)) for axis in samples.T]


def test_ordinary_least_squares_reads_the_same_amplitudes(
    truth: Made, measured: Measurement, ordinary: list[Route]
) -> None:
    """All orders, belts and mains together; the noise's own share taken off."""
    power = sum(route.power - route.variance for route in ordinary)
    expected = np.sqrt(np.maximum(power, 0))
    # Belts and mains are placed by what is known, not found: a small part of the noise
    assert_allclose(measured.orders["amplitude"], expected, atol=0.05 * truth.rms_bound)


def test_ordinary_least_squares_states_the_same_errors(
    truth: Made, measured: Measurement, ordinary: list[Route]
) -> None:
    """White noise: one s for all lines there, the density near each line here.

    On each of 3 axes a median of 150 bins: 4 % in the root, and 24 orders: 1 %; times 4.
    """
    noise = np.sqrt(sum(route.variance for route in ordinary))
    ratio = measured.orders["floor"].to_numpy(float) / noise
    assert_allclose(ratio, 1, atol=0.2)
    assert np.mean(ratio) == pytest.approx(1, abs=0.04)
    # Of an amplitude: the part along it. Blocks of 2 s may only widen it, by 1.3 in the mean
    along = np.sqrt(np.mean([route.variance for route in ordinary], axis=0) / 2)
    wider = measured.orders["standard_error"] / along
    clear = np.array(list(truth.rms.values())) > 4 * truth.rms_bound
    assert wider[clear].min() > 0.75
    assert 0.95 < wider[clear].mean() < 1.5


def test_lomb_scargle_over_the_crank_angle_reads_the_same(
    truth: Made, measured: Measurement
) -> None:
    """scipy's, with a floating mean, at each order by itself; uneven samples, hunting by 1 %."""
    samples, theta = truth.recording.samples, turns(measured, truth.recording.time_s())
    strong = measured.orders["amplitude"] > 0.15
    places = 2 * np.pi * HALF_ORDERS[strong]
    lines = [
        lombscargle(theta, axis, places, floating_mean=True, normalize="amplitude")
        for axis in np.asarray(samples).T
    ]
    found = np.sqrt(np.sum(np.abs(lines) ** 2, axis=0) / 2)
    assert strong.sum() >= 5
    # Fitted alone, each line takes 1 / (pi * turns * distance) of its neighbours: 1 / 500 of
    # those half an order away, 1 / 200 of a belt's
    assert_allclose(found, measured.orders["amplitude"][strong], atol=0.01)


@pytest.fixture(scope="module")
def coloured() -> Recording:
    """Noise whose density falls 12-fold in amplitude from order 0.5 to 11.5: x = 0.9 x' + e."""
    rng = np.random.default_rng(141)
    times = np.arange(12_000) / 400
    angle = 17.03 * times + 0.03 * np.sin(2 * np.pi * 0.3 * times)
    sizes = rng.uniform(0.1, 0.4, COUNT)
    samples = np.cos(2 * np.pi * np.outer(angle, HALF_ORDERS) + rng.uniform(0, 6, COUNT)) @ sizes
    samples += lfilter([1], [1, -0.9], 0.1 * rng.standard_normal(12_500))[500:]
    return Recording(samples, sample_rate=400, rpm=1000)


def test_generalised_least_squares_states_the_same_errors_in_coloured_noise(
    coloured: Recording,
) -> None:
    """statsmodels, told how the noise is coloured; a median of 220 bins scatters by 5 %."""
    measured = measure(coloured)
    model = design(np.outer(turns(measured, coloured.time_s()), HALF_ORDERS))
    route = Route.of(sm.GLSAR(np.asarray(coloured.samples)[:, 0], model, rho=0.9))
    error = np.sqrt(route.variance)
    assert error.max() / error.min() > 8  # white noise would have the same error everywhere
    ratio = measured.orders["floor"].to_numpy(float) / error
    assert_allclose(ratio, 1, atol=0.25)
    assert np.mean(ratio) == pytest.approx(1, abs=0.04)
    expected = np.sqrt(route.power - route.variance)
    off = (measured.orders["amplitude"].to_numpy(float) - expected) / error
    assert math.sqrt(np.mean(off**2)) < 0.1
