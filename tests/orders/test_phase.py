"""The spline of the crank angle and its refinement."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.interpolate import BSpline

from vibetrend.orders.fit import fit_lines, phasors
from vibetrend.orders.phase import Phase, Spline, refine, start_phase
from vibetrend.recording import FloatArray

RATE = 400.0
TIME = np.arange(8000) / RATE  # 20 s
CRANK = 17.0
ORDERS = np.array([0.5, 1.0, 3.0, 4.5, 6.0])


def test_splines_add_up_to_one() -> None:
    spline = Spline(TIME)
    ones = np.ones(spline.size)
    assert_allclose(spline.at_samples(ones), 1.0, rtol=1e-14)
    assert_allclose(spline.at(np.linspace(0, spline.duration, 777), ones), 1.0, rtol=1e-14)


def test_equals_the_b_splines_of_another_program() -> None:
    spline = Spline(TIME)
    beta = np.random.default_rng(40).standard_normal(spline.size)
    knots = spline.knot * np.arange(-3, spline.size + 1)
    assert_allclose(spline.at_samples(beta), BSpline(knots, beta, 3)(TIME), atol=1e-12)


def test_gather_is_the_transpose_of_spread() -> None:
    spline = Spline(TIME)
    rng = np.random.default_rng(41)
    beta, values = rng.standard_normal(spline.size), rng.standard_normal(TIME.size)
    assert spline.at_samples(beta) @ values == pytest.approx(beta @ spline.gather(values), rel=1e-9)


def test_fit_gives_back_what_is_a_spline() -> None:
    spline = Spline(TIME)
    assert spline.gram.shape == (spline.size, spline.size)
    for curve in (np.ones(TIME.size), TIME, TIME**2, TIME**3):  # cubic splines hold them all
        assert_allclose(spline.at_samples(spline.fit(curve)), curve, rtol=1e-5, atol=1e-5)


def test_constant_speed_gives_a_straight_line() -> None:
    phase = start_phase(Spline(TIME), TIME, np.array([0.0, 20.0]), np.full(2, CRANK))
    assert_allclose(phase.turns_at_samples(TIME), CRANK * TIME, atol=1e-9)
    assert phase.mean_hz() == pytest.approx(CRANK, rel=1e-12)


def test_speed_that_rises_evenly_gives_a_parabola() -> None:
    ends = np.array([0.0, TIME[-1]])
    phase = start_phase(Spline(TIME), TIME, ends, np.array([16.0, 18.0]))
    slope = 2.0 / TIME[-1]
    # The speed is summed by trapezoids (exact for a straight line) and read between points
    # 0.01 s apart: slope * 0.01^2 / 8 turns.
    assert_allclose(phase.turns_at_samples(TIME), 16 * TIME + slope * TIME**2 / 2, atol=1e-5)


def refined(samples: FloatArray, sigma: float, *, stiff: bool, rounds: int = 6) -> Phase:
    phase = start_phase(Spline(TIME), TIME, np.array([0.0, 20.0]), np.full(2, CRANK))
    for _ in range(rounds):
        lines = phasors(phase.turns_at_samples(TIME), ORDERS)
        fit = fit_lines(samples, lines)
        variance = np.full(fit.amplitude.shape, sigma**2)
        phase = refine(phase, lines, ORDERS, fit.amplitude, variance, fit.residual, stiff=stiff)
    return phase


def engine(turns: FloatArray, sigma: float, rng: np.random.Generator) -> FloatArray:
    sizes = np.array([0.1, 0.3, 1.0, 0.2, 0.1])
    samples = sigma * rng.standard_normal((turns.size, 2))
    for axis in range(2):
        starts = rng.uniform(0, 2 * np.pi, ORDERS.size)
        samples[:, axis] += np.cos(2 * np.pi * np.outer(turns, ORDERS) + starts) @ sizes
    return samples


def test_refine_recovers_a_small_wobble() -> None:
    """0.03 turns at 0.3 Hz: what is left over is as small as the information allows.

    Information per sample is alpha = sum (2 pi k A)^2 / (2 s^2); a curve of p free numbers keeps
    the variance p / (n alpha). The likeliest smoothness leaves far fewer than the spline's 83.
    """
    sigma, rng = 0.2, np.random.default_rng(42)
    wobble = 0.03 * np.sin(2 * np.pi * 0.3 * TIME)
    phase = refined(engine(CRANK * TIME + wobble, sigma, rng), sigma, stiff=False)
    sizes = np.array([0.1, 0.3, 1.0, 0.2, 0.1])
    alpha = 2 * np.sum((2 * np.pi * ORDERS * sizes) ** 2) / (2 * sigma**2)
    assert_allclose(phase.alpha, alpha, rtol=0.05)  # amplitudes are 2 % uncertain
    error = phase.turns_at_samples(TIME) - CRANK * TIME - wobble
    error -= error.mean()  # the start angle belongs to the amplitudes' phases
    assert np.sqrt(np.mean(error**2)) < math.sqrt(83 / (TIME.size * alpha))


def test_speed_of_a_steady_engine_scatters_as_the_bound_says() -> None:
    """Rife & Boorstyn, IEEE Trans. IT-20 (1974): var f = 12 / (alpha n T^2), tones summed.

    30 runs: their rms scatters by 1 / sqrt(60) = 13 %; three times that is allowed.
    """
    sigma = 0.5
    off, stated = [], []
    for seed in range(30):
        samples = engine(CRANK * TIME, sigma, np.random.default_rng([43, seed]))
        phase = refined(samples, sigma, stiff=True, rounds=2)
        off.append(phase.mean_hz() - CRANK)
        stated.append(phase.mean_standard_error_hz())
    sizes = np.array([0.1, 0.3, 1.0, 0.2, 0.1])
    alpha = 2 * np.sum((2 * np.pi * ORDERS * sizes) ** 2) / (2 * sigma**2)
    bound = math.sqrt(12 / (alpha * TIME.size * 20.0**2))
    assert_allclose(np.mean(stated), bound, rtol=0.03)
    assert_allclose(np.sqrt(np.mean(np.square(off))), bound, rtol=0.39)


def test_wander_costs_evidence_and_steadiness_none() -> None:
    sigma, rng = 0.2, np.random.default_rng(44)
    wobble = 0.03 * np.sin(2 * np.pi * 0.3 * TIME)
    samples = engine(CRANK * TIME + wobble, sigma, rng)
    assert refined(samples, sigma, stiff=True).complexity() == 0
    assert refined(samples, sigma, stiff=False).complexity() > 10


def test_new_ends_put_a_kink_in_the_last_knot_right() -> None:
    phase = start_phase(Spline(TIME), TIME, np.array([0.0, 20.0]), np.full(2, CRANK))
    kink = Phase(phase.spline, phase.f0, phase.beta + (np.arange(phase.spline.size) == 0))
    assert kink.turns(np.zeros(1))[0] == pytest.approx(1 / 6)  # of a B-spline at its own end
    mended = kink.redrawn(TIME).turns_at_samples(TIME)
    assert_allclose(mended, CRANK * TIME, atol=1e-4)
