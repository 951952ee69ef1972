"""The tuned and the untuned damper on one inertia, against their closed forms.

Den Hartog, Mechanical Vibrations, on the dynamic absorber; Brock 1946; Nishihara & Asami, J. Vib.
Acoust. 124, 2002; Thomson. Values from references.md 2.3 to 2.5, recomputed there.
"""

from math import sqrt

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vibetrend.recording import FloatArray
from vibetrend.torsion import Chain, natural_frequencies_hz, response

R = np.linspace(0.3, 2.0, 34001)  # frequency over the main system's own


def tuned(mass: float, tuning: float, zeta: float) -> Chain:
    """Return ring and main system, its inertia and natural frequency 1; zeta is c / 2 m_d w_n."""
    return Chain(
        inertia_kg_m2=np.array([mass, 1.0]),
        stiffness_nm_rad=np.array([mass * tuning**2]),
        damping_nm_s_rad=np.array([2 * zeta * mass]),
        ground_nm_rad=1.0,
    )


def height(chain: Chain, r: FloatArray) -> FloatArray:
    """Return the main system's swing over its static twist."""
    return np.abs(response(chain, r, [0.0, 1.0])[:, 1])


@pytest.mark.parametrize(
    ("mass", "real"), [(0.05, 6.408443), (0.1, 4.590220), (0.2, 3.327539), (0.25, 3.012200),
                       (1.0, 1.754391)],
)  # fmt: skip
def test_den_hartog_s_optimum(mass: float, real: float) -> None:
    zeta = sqrt(3 * mass / (8 * (1 + mass) ** 3))
    chain = tuned(mass, 1 / (1 + mass), zeta)
    assert height(chain, R).max() == pytest.approx(real, abs=2e-6)
    # The formula everybody quotes is the height of the fixed points, not the maximum.
    assert real > sqrt(1 + 2 / mass)


@pytest.mark.parametrize("mass", [0.05, 0.1, 0.2, 0.25, 1.0])
def test_the_exact_optimum_is_lower_than_any_near_it(mass: float) -> None:
    root = sqrt(4 + 3 * mass)
    top = 16 + 23 * mass + 9 * mass**2 + 2 * (2 + mass) * root
    tuning = 2 / (1 + mass) * sqrt(2 * top / (3 * (64 + 80 * mass + 27 * mass**2)))
    zeta = sqrt((8 + 9 * mass - 4 * root) / (1 + mass)) / 4 * tuning
    peak = {0.05: 6.407921, 0.1: 4.589166, 0.2: 3.325439, 0.25: 3.009593, 1.0: 1.745662}[mass]
    best = height(tuned(mass, tuning, zeta), R).max()
    assert best == pytest.approx(peak, abs=2e-6)
    for near in ((tuning * 1.003, zeta), (tuning / 1.003, zeta), (tuning, 1.03 * zeta)):
        assert height(tuned(mass, *near), R).max() > best


def test_fixed_points_do_not_ask_for_the_damping() -> None:
    points = np.array([0.730297, 1.032796])
    for zeta in (0.01, 0.2, 1.0):
        assert_allclose(height(tuned(0.25, 0.8, zeta), points), 3, atol=2e-4)


@pytest.mark.parametrize(("mass", "expected"), [(0.1, (0.854309, 1.170537)),
                                                (0.25, (0.780776, 1.280776))])  # fmt: skip
def test_an_undamped_ring_splits_the_frequency(mass: float, expected: tuple[float, ...]) -> None:
    found = 2 * np.pi * natural_frequencies_hz(tuned(mass, 1.0, 0.0))
    assert_allclose(found, expected, atol=5e-7)


@pytest.mark.parametrize(("mass", "expected"), [(0.1, 0.953463), (0.25, 0.894427)])
def test_a_seized_ring(mass: float, expected: float) -> None:
    found = 2 * np.pi * natural_frequencies_hz(tuned(mass, 1e4, 0.0))
    assert found[0] == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("factor", "peak"),
    [(0.7, 8.996), (0.8, 7.202), (0.9, 5.746), (1, 4.590), (1.1, 5.716), (1.2, 7.194),
     (1.5, 14.109), (2, 34.985), (3, 114.33)],
)  # fmt: skip
def test_detuning_by_stiffness(factor: float, peak: float) -> None:
    """references.md 2.4: mass ratio 0.1, damping as tuned."""
    zeta = sqrt(0.3 / (8 * 1.1**3))
    fine = np.linspace(0.5, 1.5, 200_001)
    found = height(tuned(0.1, sqrt(factor) / 1.1, zeta), fine).max()
    assert found == pytest.approx(peak, rel=2e-4)


@pytest.mark.parametrize(
    ("mass", "zeta_ring", "r"),
    [(0.1, 0.465242, 0.975900), (0.25, 0.421637, 0.942809), (0.5, 0.365148, 0.894427),
     (1, 0.288675, 0.816497), (2, 0.204124, 0.707107)],
)  # fmt: skip
def test_the_untuned_viscous_damper(mass: float, zeta_ring: float, r: float) -> None:
    """references.md 2.5 (Houdaille): its best peak is 1 + 2 / mass, at the one fixed point."""
    chain = tuned(mass, 0.0, zeta_ring)
    found = height(chain, R)
    assert found.max() == pytest.approx(1 + 2 / mass, rel=1e-6)
    assert R[np.argmax(found)] == pytest.approx(r, abs=1e-3)
    for other in (0.5, 2.0):
        worse = tuned(mass, 0.0, zeta_ring * other)
        assert height(worse, R).max() > found.max()
        assert height(worse, np.array([r]))[0] == pytest.approx(1 + 2 / mass, rel=1e-4)
