"""Times told from rounded stamps, against the times that were drawn."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.stats import truncnorm

from vibetrend.orders.clock import read_clock
from vibetrend.recording import FloatArray

SEEDS = range(8)
RATES = (100.0, 200.0, 400.0)


def drawn(
    seed: int, rate: float, *, jitter: float = 0.0, drops: float = 0.0, gap_s: float = 0.0
) -> tuple[FloatArray, FloatArray, float]:
    """Return the times of 30 s of samples, their stamps in whole ms, and the tick rate.

    Jitter is a share of the tick; it is kept within half a tick, so that nothing overtakes.
    """
    rng = np.random.default_rng([120, seed])
    rate *= 1 + 0.01 * rng.uniform(-1, 1)
    ticks = np.arange(30 * rate)
    kept = rng.random(ticks.size) >= drops
    begin = rng.uniform(5, 20) * rate
    kept[(ticks > begin) & (ticks < begin + gap_s * rate)] = False
    off = np.clip(jitter * rng.standard_normal(ticks.size), -0.49, 0.49)
    times = rng.uniform(0, 100) + (ticks + off)[kept] / rate
    return times, np.round(times, 3), rate


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize(("drops", "gap_s"), [(0, 0), (0.05, 0), (0.002, 0), (0, 0.5), (0.01, 3)])
def test_an_even_clock_is_found_whatever_was_lost(rate: float, drops: float, gap_s: float) -> None:
    for seed in SEEDS:
        times, stamps, ticking = drawn(seed, rate, drops=drops, gap_s=gap_s)
        clock = read_clock(stamps)
        # a line through 3000 stamps, each off by 0.29 ms: 0.01 ms; through 12 000: 0.005
        assert np.std(clock.time - times) < 0.03e-3
        assert clock.rate == pytest.approx(ticking, rel=3e-6)
        assert clock.even == (len(times) == round(np.ptp(times) * ticking) + 1)
        assert clock.error == 0


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("jitter", [0.05, 0.1, 0.2])
@pytest.mark.parametrize("drops", [0.0, 0.01])
def test_times_are_nearer_than_stamps_and_line(rate: float, jitter: float, drops: float) -> None:
    for seed in SEEDS:
        times, stamps, ticking = drawn(seed, rate, jitter=jitter, drops=drops)
        clock = read_clock(stamps)
        off = clock.time - times
        assert not clock.even
        # 3000 errors: their standard deviation is known to 1.3 %, their difference better
        assert np.std(off) < 1.005 * min(float(np.std(stamps - times)), jitter / ticking)
        assert clock.error == pytest.approx(np.std(off), rel=0.06)
        for hertz in (50, 150, 250):
            left = np.cos(2 * np.pi * hertz * (off - off.mean())).mean()
            assert np.sinc(hertz * clock.error * np.sqrt(12)) == pytest.approx(left, abs=0.012)


def test_a_time_is_the_mean_of_a_normal_distribution_cut_to_the_step() -> None:
    times, stamps, rate = drawn(0, 400.0, jitter=0.1)
    jitter = 0.1 / rate
    line = np.polyval(np.polyfit(np.arange(len(stamps)), stamps, 1), np.arange(len(stamps)))
    low, high = (stamps - line + np.array([[-0.5e-3], [0.5e-3]])) / jitter
    expected = line + jitter * truncnorm.mean(low, high)
    # sixteen places stand for the step, and the jitter is told to 1 %
    assert_allclose(read_clock(stamps).time, expected, atol=0.02e-3)
    assert np.std(times - expected) < 0.2e-3


def test_stamps_that_tell_more_than_a_line_are_kept() -> None:
    times, _, _ = drawn(1, 400.0, jitter=0.1)
    batches = np.repeat(np.round(times[::10], 3), 10)  # a logger that stamps ten at a time
    wandering = np.round(times + 0.02 * np.sin(times), 3)
    for stamps in (times, batches, wandering):
        clock = read_clock(stamps)
        assert_array_equal(clock.time, stamps)
        assert not clock.even
    assert read_clock(wandering).error == pytest.approx(1e-3 / np.sqrt(12))
    assert read_clock(times).error < 1e-9
