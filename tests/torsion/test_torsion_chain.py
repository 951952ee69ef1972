"""Chains of inertias against textbooks and closed forms; sections of references.md beside each."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vibetrend.torsion import (
    Chain,
    damped_modes,
    holzer,
    holzer_frequencies_hz,
    modes,
    natural_frequencies_hz,
    response,
)

TURN = 2 * np.pi
THOMSON = Chain(inertia_kg_m2=np.array([5, 11, 22]), stiffness_nm_rad=np.array([0.1e6, 0.2e6]))
SIX = Chain(  # references.md 2.2: a synthetic six in line, no real engine
    inertia_kg_m2=np.array([0.05, *[0.06] * 6, 1.2]),
    stiffness_nm_rad=np.array([0.9e6, *[1.4e6] * 5, 1.6e6]),
)


# 2.1 Thomson, Theory of Vibration with Applications, example 12.4-1 and table 12.4-1


def test_thomson_s_table() -> None:
    table = holzer(THOMSON, [20, 40])
    assert_allclose(table.twist, [[1, 0.980, 0.9484], [1, 0.920, 0.799]], atol=5e-4)
    assert_allclose(table.residual, [14.66e3, 52.32e3], rtol=5e-4)


def test_thomson_s_natural_frequencies_by_both_ways() -> None:
    expected = [0, 123.66580, 202.65835]
    assert_allclose(natural_frequencies_hz(THOMSON) * TURN, expected, atol=5e-6)
    assert_allclose(holzer_frequencies_hz(THOMSON) * TURN, expected, atol=5e-6)
    one, two = modes(THOMSON).shape[1:]
    # Recomputed: by Holzer's first step a2 = 1 - 5 w^2 / 1e5, and no momentum is left over.
    assert_allclose(one / one[0], [1, 0.23534, -0.34494], atol=5e-6)
    assert_allclose(two / two[0], [1, -1.05352, 0.29949], atol=5e-6)


# 2.1 A published exercise: engine, flywheel and pump on a shaft of 70 mm


@pytest.mark.parametrize(
    ("inertias", "expected"),
    [([0.15, 0.30, 0.09], [170.688, 277.034]), ([0.3, 0.6, 0.18], [120.694, 195.893])],
)
def test_engine_flywheel_and_pump(inertias: list[float], expected: list[float]) -> None:
    polar = np.pi * 0.07**4 / 32
    stiffness = 84e9 * polar / np.array([1.5, 1.0])
    assert_allclose(stiffness, [132001.87, 198002.80], rtol=1e-7)
    chain = Chain(inertia_kg_m2=np.array(inertias), stiffness_nm_rad=stiffness)
    assert_allclose(natural_frequencies_hz(chain)[1:], expected, atol=5e-4)
    assert_allclose(holzer_frequencies_hz(chain)[1:], expected, atol=5e-4)


# Closed forms


def test_two_inertias() -> None:
    chain = Chain(inertia_kg_m2=np.array([0.5, 2]), stiffness_nm_rad=np.array([1e5]))
    assert_allclose(natural_frequencies_hz(chain) * TURN, [0, 500], atol=1e-9)


@pytest.mark.parametrize("grounded", [False, True])
def test_even_chains(grounded: bool) -> None:
    n, p = 6, np.arange(6)
    chain = Chain(
        inertia_kg_m2=np.ones(n), stiffness_nm_rad=np.ones(n - 1), ground_nm_rad=float(grounded)
    )
    free, fixed = 2 * np.sin(p * np.pi / 12), 2 * np.sin((2 * p + 1) * np.pi / 26)
    expected = fixed if grounded else free
    assert_allclose(natural_frequencies_hz(chain) * TURN, expected, atol=1e-12)
    assert_allclose(holzer_frequencies_hz(chain) * TURN, expected, atol=1e-12)
    if grounded:
        first = np.cos((2 * p + 1) * np.pi / 26)
        assert_allclose(modes(chain).shape[0], first / first[0], atol=1e-12)


# 2.2


def test_the_synthetic_six() -> None:
    found = natural_frequencies_hz(SIX)
    assert_allclose(found[1:4], [188.252776, 488.900887, 753.766396], atol=1e-6)
    assert_allclose(holzer_frequencies_hz(SIX), found, rtol=1e-12, atol=1e-9)
    first = modes(SIX).shape[1]
    assert_allclose(
        first / first[0],
        [1, 0.922273, 0.817006, 0.662751, 0.468757, 0.246655, 0.009765, -0.198027],
        atol=1e-6,
    )
    orders = np.array([3, 4.5, 6, 7.5, 9])
    assert_allclose(
        60 * found[1] / orders, [3765.06, 2510.04, 1882.53, 1506.02, 1255.02], atol=0.01
    )


# Damped and forced


def test_undamped_roots_are_the_natural_frequencies() -> None:
    found = damped_modes(SIX)
    assert_allclose(found.frequency_hz, natural_frequencies_hz(SIX)[1:], rtol=1e-9)
    assert_allclose(found.damping_ratio, 0, atol=1e-9)


def test_one_loss_factor_everywhere_is_twice_the_damping_ratio() -> None:
    """Closed form: s = j w sqrt(1 + j eta), so zeta = sin(atan(eta) / 2)."""
    chain = Chain(
        inertia_kg_m2=SIX.inertia_kg_m2,
        stiffness_nm_rad=SIX.stiffness_nm_rad,
        loss_factor=np.array([0.1]),
    )
    assert_allclose(damped_modes(chain).damping_ratio, np.sin(np.arctan(0.1) / 2), rtol=1e-9)


def test_static_twist_of_a_grounded_chain() -> None:
    chain = Chain(inertia_kg_m2=np.ones(2), stiffness_nm_rad=np.array([2.0]), ground_nm_rad=4.0)
    assert_allclose(response(chain, 0.0, [1.0, 0.0]), [0.75, 0.25], atol=1e-12)
