"""One cylinder's torque: the slider-crank against its series, the gas against what must hold."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vibetrend.torsion.cylinder import Cylinder, piston_acceleration, piston_velocity

LAMBDA = 1 / 3.5
ANGLE = np.arange(720) * np.pi / 360


def cylinder(strokes: int = 4) -> Cylinder:
    return Cylinder(
        bore_m=0.1,
        stroke_m=0.115,
        rod_ratio=1.75,
        reciprocating_mass_kg=1.6,
        compression_ratio=17,
        strokes=strokes,
    )


def test_piston_acceleration_has_the_textbook_s_harmonics() -> None:
    """references.md 1.4: lambda + lambda^3 / 4 + ... (Den Hartog; Thomson; Taylor)."""
    lines = 2 * np.fft.rfft(piston_acceleration(ANGLE, LAMBDA)).real / ANGLE.size
    assert_allclose(lines[[1, 2, 3, 4]], [1, 0.2918, 0, -0.0062], atol=5e-5)
    series = LAMBDA + LAMBDA**3 / 4 + 15 * LAMBDA**5 / 128
    assert lines[2] == pytest.approx(series, abs=5e-5)


def test_acceleration_is_the_slope_of_velocity() -> None:
    step = ANGLE[1]
    ahead, behind = (piston_velocity(ANGLE + each, LAMBDA) for each in (step, -step))
    slope = (ahead - behind) / (2 * step)
    assert_allclose(slope, piston_acceleration(ANGLE, LAMBDA), atol=1e-4)


def test_inertia_torque_has_the_textbook_s_series() -> None:
    """Den Hartog, Mechanical Vibrations, ch. 5 (from memory).

    M = m r^2 w^2 / 2 (lambda / 2 sin a - sin 2a - 3 lambda / 2 sin 3a - lambda^2 / 2 sin 4a ...).
    """
    scale = 1.6 * 0.0575**2 / 2
    found = cylinder().inertia_harmonics(np.array([1.0, 2, 3, 4])) / scale
    sines = -found.imag  # Re(c exp(ja)) = -Im(c) sin a
    expected = [LAMBDA / 2, -1, -1.5 * LAMBDA, -(LAMBDA**2) / 2]
    assert_allclose(found.real, 0, atol=1e-12)
    assert_allclose(sines, expected, rtol=0.05)  # terms of higher powers of lambda are left out
    assert np.all(cylinder().inertia_harmonics(np.array([0.5, 1.5])) == 0)


@pytest.mark.parametrize("strokes", [2, 4])
def test_gas_torque_falls_with_the_order_and_pulls_after_dead_centre(strokes: int) -> None:
    lowest = 2 / strokes
    orders = np.arange(lowest, 12.5, lowest)
    found = cylinder(strokes).gas_harmonics(orders)
    assert 20 < np.abs(found).max() < 300  # N m; a litre's compression, no published value
    size = np.abs(found)[orders >= 2]
    assert np.all(np.diff(size) < 0)
    assert size[-1] < 0.05 * size[0]
    assert np.all(-found.imag[(orders >= 1) & (orders <= 4)] > 0)
    assert np.all(cylinder(strokes).gas_harmonics(np.array([0.3, 1.9])) == 0)


def test_torque_grows_with_the_displacement() -> None:
    """Equal pressures: gas torque goes with bore^2 times stroke."""
    big = Cylinder(
        bore_m=0.2, stroke_m=0.23, rod_ratio=1.75, reciprocating_mass_kg=1, compression_ratio=17
    )
    orders = np.array([1.5, 3, 6])
    assert_allclose(big.gas_harmonics(orders), 8 * cylinder().gas_harmonics(orders), rtol=1e-9)
