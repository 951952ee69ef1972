"""Stretches that slipped by a part of a turn, or hold no engine, are found."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vibetrend.orders.fit import fit_lines, phasors
from vibetrend.orders.windows import Windows
from vibetrend.recording import FloatArray

TIME = np.arange(12_000) / 400.0
TURNS = 17.0 * TIME
ORDERS = np.array([0.5, 1.0, 1.5, 3.0, 4.5, 6.0])
SIZES = np.array([0.3, 0.2, 0.4, 1.0, 0.3, 0.5])
NOISE = 0.3


def engine(turns: FloatArray, rng: np.random.Generator) -> FloatArray:
    wave = np.cos(2 * np.pi * np.outer(turns, ORDERS) + np.arange(6.0)) @ SIZES
    samples: FloatArray = (wave + NOISE * rng.standard_normal(turns.size))[:, np.newaxis]
    return samples


def windows(samples: FloatArray, theta: FloatArray, *, turns: float = 14.0) -> Windows:
    lines = phasors(theta, ORDERS)
    amplitude = fit_lines(samples, lines).amplitude
    return Windows(
        theta=theta,
        samples=samples,
        lines=lines,
        orders=ORDERS,
        amplitude=amplitude,
        variance=np.full(amplitude.shape, NOISE**2),
        turns=turns,
    )


def test_a_steady_engine_holds_together_and_nothing_slips() -> None:
    seen = windows(engine(TURNS, np.random.default_rng(50)), TURNS)
    share, error = seen.coherence()
    assert share.size == round(TURNS[-1] / 14)
    assert np.sqrt(np.mean(((share - 1) / error) ** 2)) == pytest.approx(1, abs=0.36)  # 36 windows
    assert seen.slip() is None


@pytest.mark.parametrize("slip", [1 / 3, -1 / 3, 0.5])
def test_a_slip_put_in_by_hand_is_found_and_put_back(slip: float) -> None:
    samples = engine(TURNS, np.random.default_rng(51))
    slipped = TURNS + np.where(TIME > 20, slip, 0.0)  # the track, not the engine
    shift = windows(samples, slipped, turns=4.0).slip()
    assert shift is not None
    mended = slipped + shift
    apart = np.abs(TIME - 20) > 1.0  # a window holds 0.8 s
    assert_allclose(mended[apart] - TURNS[apart], 0, atol=0.03)  # shifts are tried every 1 / 96


def test_a_stretch_without_the_engine_has_no_share() -> None:
    samples = engine(TURNS, np.random.default_rng(52))
    stopped = TIME > 22.5
    samples[stopped] = NOISE * np.random.default_rng(53).standard_normal((int(stopped.sum()), 1))
    share, error = windows(samples, TURNS).coherence()
    # The mean amplitude is 3 / 4 of the running engine's: shares of 4 / 3 and 0.
    running = np.arange(share.size) < round(0.75 * share.size) - 1
    gone = np.arange(share.size) > round(0.75 * share.size)
    assert_allclose(share[running], 4 / 3, atol=5 * error.max())
    assert_allclose(share[gone], 0, atol=5 * error.max())
