"""Scaling of spectra against window theory and a direct sum."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from vibetrend.orders.spectrum import fast_length, grid, transform

RATE = 400.0
TIME = np.arange(12_000) / RATE  # 30 s


@pytest.mark.parametrize("hann", [False, True])
@pytest.mark.parametrize("even", [True, False])
def test_a_line_reads_its_own_amplitude(hann: bool, even: bool) -> None:
    """Scaled by the coherent gain of the window, 0.5 for Hann (Harris, Proc. IEEE 66, 1978)."""
    time = TIME
    if not even:
        jitter = np.random.default_rng(30).uniform(-0.1, 0.1, TIME.size)
        time = np.maximum(TIME + jitter / RATE, 0)
    wave = 2.5 * np.cos(2 * np.pi * 60 * time + 0.4)[:, np.newaxis]
    gridded = grid(time, wave, top=120.0, even_rate=RATE if even else None)
    step, spectrum = transform(gridded, top=120.0, padding=8, hann=hann)
    peak = int(np.abs(spectrum[0]).argmax())
    assert peak * step == pytest.approx(60, abs=step)
    # Between bins of 1 / 8 resolution at most 1 / 16 off: 0.6 %; ends of the window 1e-4;
    # jitter, which this spectrum need not resolve, adds noise of 1e-3
    assert_allclose(np.abs(spectrum[0, peak]), 2.5, rtol=0.01)


@pytest.mark.parametrize(("hann", "bandwidth"), [(False, 1.0), (True, 1.5)])
def test_noise_has_the_bandwidth_of_the_window(hann: bool, bandwidth: float) -> None:
    """Mean square 2 S / T times the window's ENBW: 1 and 1.5 bins (Harris 1978, Table I).

    The mean of 20 * 4500 unpadded bins, Hann's neighbours correlated, scatters by 0.5 %.
    """
    noise = np.random.default_rng(31).standard_normal((TIME.size, 20))
    gridded = grid(TIME, noise, top=150.0, even_rate=RATE)
    _, spectrum = transform(gridded, top=150.0, padding=1, hann=hann)
    density = 2 / RATE  # one-sided, of unit variance
    assert_allclose(
        np.mean(np.abs(spectrum[:, 10:]) ** 2), bandwidth * 2 * density / 30, rtol=0.015
    )


def test_equals_the_direct_sum_at_uneven_times() -> None:
    """2 / n sum x exp(-2 pi i f t): what gridding leaves over is said to be below 2 %."""
    rng = np.random.default_rng(32)
    time = np.sort(rng.uniform(0, 10, 3000))
    time[0] = 0.0
    samples = rng.standard_normal((3000, 2))
    gridded = grid(time, samples, top=90.0, even_rate=None)
    step, spectrum = transform(gridded, top=90.0, padding=2)
    bins = np.array([5, 200, 700, int(89 / step)])
    direct = 2 / 3000 * samples.T @ np.exp(-2j * np.pi * np.outer(time, bins * step))
    # sd of a bin of noise is 2 / sqrt(3000)
    assert np.abs(spectrum[:, bins] - direct).max() < 0.02 * 3 * 2 / np.sqrt(3000)


def test_sharing_keeps_sum_and_moment() -> None:
    rng = np.random.default_rng(33)
    time = np.sort(rng.uniform(0, 5, 400))
    time -= time[0]
    samples = rng.uniform(0, 1, (400, 1))
    gridded = grid(time, samples, top=20.0, even_rate=None)
    places = np.arange(gridded.values.shape[1]) / gridded.rate
    assert_allclose(gridded.values.sum(), samples.sum(), rtol=1e-12)
    assert_allclose(gridded.values[0] @ places, samples[:, 0] @ time, rtol=1e-12)


@given(st.integers(1, 200_000))
def test_fast_length_is_the_next_product_of_twos_and_threes(length: int) -> None:
    found = fast_length(length)
    products = [2**a * 3**b for a in range(19) for b in range(12)]
    assert found == min(product for product in products if product >= length)
