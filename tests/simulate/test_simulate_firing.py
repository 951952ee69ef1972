"""Against the closed forms of even and uneven firing.

Basis: Den Hartog, Mechanical Vibrations, ch. 5; Taylor, The Internal-Combustion Engine, vol. 2; Ker
Wilson, Practical Solution of Torsional Vibration Problems. The sums are exact, so tolerances are
rounding only.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vibetrend.engine import Engine
from vibetrend.simulate import firing_angles, vector_sum
from vibetrend.simulate.firing import order_levels

EXACT = 1e-9


def engine(*firing_order: int, strokes: int = 4) -> Engine:
    return Engine.model_validate(
        {
            "name": "invented",
            "cylinders": len(firing_order),
            "strokes": strokes,
            "firing_order": firing_order,
        }
    )


@pytest.mark.parametrize(
    ("made", "interval", "first_major"),
    [
        (engine(1, 3, 2), 240, 1.5),
        (engine(1, 3, 4, 2), 180, 2),
        (engine(1, 2, 4, 5, 3), 144, 2.5),
        (engine(1, 5, 3, 6, 2, 4), 120, 3),
        (engine(1, 8, 4, 3, 6, 5, 7, 2), 90, 4),
        (engine(1, 2, 3, strokes=2), 120, 3),
        (engine(1, 3, 4, 2, strokes=2), 90, 4),
        (engine(1, 5, 3, 6, 2, 4, strokes=2), 60, 6),
    ],
)
def test_equal_cylinders_drive_only_multiples_of_the_firing_order(
    made: Engine, interval: float, first_major: float
) -> None:
    angles = firing_angles(made)
    assert_allclose(np.diff(np.sort(angles)), interval, rtol=EXACT)
    orders = np.arange(1, 25) * (0.5 if made.strokes == 4 else 1.0)
    major = np.isclose(orders % first_major, 0)
    expected = np.where(major, made.cylinders, 0)
    assert_allclose(np.abs(vector_sum(orders, angles)), expected, atol=EXACT)
    assert made.firing_order_number == first_major


LINEAR_MODE = [
    ((1, 5, 3, 6, 2, 4), [0.5, 1, 1.5, 2, 2.5, 3], [12**0.5, 0, 9, 0, 12**0.5, 21]),
    ((1, 4, 2, 6, 3, 5), [0.5, 1, 1.5, 2, 2.5, 3], [12**0.5, 0, 9, 0, 12**0.5, 21]),
    ((1, 5, 3, 6, 2, 4), [3.5, 4, 4.5, 6], [12**0.5, 0, 9, 21]),
    ((1, 2, 4, 6, 5, 3), [0.5, 1.5, 2.5, 3], [52**0.5, 1, 52**0.5, 21]),
    ((1, 5, 4, 6, 2, 3), [0.5, 1.5, 3], [28**0.5, 7, 21]),
    ((1, 2, 3, 6, 5, 4), [0.5, 1.5, 3], [48**0.5, 3, 21]),
    ((1, 3, 4, 2), [0.5, 1, 1.5, 2], [10**0.5, 0, 10**0.5, 10]),
    ((1, 3, 2), [0.5, 1, 1.5, 2, 2.5, 3], [3**0.5, 3**0.5, 6, 3**0.5, 3**0.5, 6]),
]


@pytest.mark.parametrize(("firing_order", "orders", "sums"), LINEAR_MODE)
def test_linear_mode_shape(
    firing_order: tuple[int, ...], orders: list[float], sums: list[float]
) -> None:
    """Mode shape N at cylinder 1 down to 1 at the flywheel end."""
    shape = np.arange(len(firing_order), 0, -1)
    found = vector_sum(orders, firing_angles(engine(*firing_order)), shape)
    assert_allclose(np.abs(found), sums, atol=EXACT)


def test_linear_mode_shape_of_a_five_and_of_a_cross_plane_eight() -> None:
    five = vector_sum(
        [0.5, 1, 1.5, 2, 2.5, 3], firing_angles(engine(1, 2, 4, 5, 3)), [5, 4, 3, 2, 1]
    )
    # The table prints four decimals.
    assert_allclose(np.abs(five), [4.9798, 0.4490, 0.4490, 4.9798, 15, 4.9798], atol=5e-5)
    eight = vector_sum(
        [0.5, 1, 1.5, 2, 4],
        firing_angles(engine(1, 8, 4, 3, 6, 5, 7, 2)),
        [4, 4, 3, 3, 2, 2, 1, 1],
    )
    assert_allclose(np.abs(eight), [2.0840, 20**0.5, 3.9569, 0, 20], atol=5e-5)


@pytest.mark.parametrize("share", [0.75, 0.0])
def test_one_weak_cylinder_shows_at_every_order_between(share: float) -> None:
    """Every other order rises from 0 to 1 - q, the major ones fall to N - 1 + q."""
    strengths = np.array([1, 1, share, 1, 1, 1])
    found = np.abs(
        vector_sum([0.5, 1, 1.5, 2, 2.5, 3], firing_angles(engine(1, 5, 3, 6, 2, 4)), strengths)
    )
    assert_allclose(found, [1 - share] * 5 + [5 + share], atol=EXACT)


def test_vee_six_with_shared_pins_fires_unevenly() -> None:
    """90 degree V6, firing 90 and 150 degrees apart: 6 cos 67.5, 3 sqrt 2, 6 cos 22.5."""
    angles = [0, 90, 240, 330, 480, 570]
    orders = np.arange(0.5, 12.1, 0.5)
    low, middle, high = 6 * np.cos(np.radians(67.5)), 3 * 2**0.5, 6 * np.cos(np.radians(22.5))
    known = dict(
        zip(
            [1.5, 3, 4.5, 6, 7.5, 9, 10.5, 12],
            [low, middle, high, 0, high, middle, low, 6],
            strict=True,
        )
    )
    expected = [known.get(order, 0.0) for order in orders.tolist()]
    assert_allclose(np.abs(vector_sum(orders, angles)), expected, atol=EXACT)


def test_one_bank_of_a_cross_plane_eight() -> None:
    found = np.abs(vector_sum([0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4], [0, 270, 450, 540]))
    expected = [1.0824, 0, 2.6131, 0, 2.6131, 0, 1.0824, 4]  # four decimals are printed
    assert_allclose(found, expected, atol=5e-5)


@pytest.mark.parametrize(
    ("firing_order", "secondary"),
    [((1, 3, 2), 0), ((1, 3, 4, 2), 4), ((1, 2, 4, 5, 3), 0), ((1, 5, 3, 6, 2, 4), 0)],
)
def test_free_second_order_force(firing_order: tuple[int, ...], secondary: float) -> None:
    """Free inertia forces of in-line engines, unit m r w^2 r/l (Taylor, vol. 2)."""
    force = vector_sum([2.0], firing_angles(engine(*firing_order)))
    assert_allclose(np.abs(force), secondary, atol=EXACT)


def test_firing_order_leads_and_its_harmonics_fall() -> None:
    six = engine(1, 5, 3, 6, 2, 4)
    orders, levels = order_levels(six, rpm=1080, specimen=0)
    size = dict(zip(orders.tolist(), np.abs(levels).tolist(), strict=True))
    assert size[3.0] == pytest.approx(1)
    assert max(size, key=lambda order: size[order]) == 3
    assert size[3.0] > size[6.0] > size[9.0] > size[12.0] > size[15.0]
    other = np.abs(order_levels(six, rpm=1080, specimen=1)[1])
    assert not np.allclose(other[0], size[0.5], rtol=1e-3)


def test_a_two_stroke_has_whole_orders_only() -> None:
    orders, _ = order_levels(engine(1, 2, 3, strokes=2), rpm=500, specimen=0)
    assert_allclose(orders, np.arange(1, 25), rtol=EXACT)
