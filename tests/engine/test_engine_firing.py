"""When cylinders fire, and what their phase vectors sum to: references.md, 1.1 to 1.3.

Textbook basis: Den Hartog, Mechanical Vibrations, ch. 5; Taylor, The Internal-Combustion Engine,
vol. 2; Ker Wilson, Practical Solution of Torsional Vibration Problems. The figures are closed
forms, computed a second way where the references were put together.
"""

import math
from typing import Any

import pytest

from vibetrend.engine import Engine
from vibetrend.engine.firing import firing, phase_sum, twist_weights

EXACT = 1e-9


def engine(cylinders: int, order: str = "", **more: Any) -> Engine:
    values = {"name": "invented", "cylinders": cylinders, **more}
    if order:
        values["firing_order"] = [int(each) for each in order.split("-")]
    return Engine.of(values)


V8 = {"layout": "vee", "bank_angle_deg": 90, "pins": "shared"}
V8_ORDER = "1-8-4-3-6-5-7-2"


def sums(described: Engine, order: float) -> float:
    return phase_sum(firing(described).angles_deg, order)


def twist(described: Engine, order: float) -> float:
    fired = firing(described)
    weights = twist_weights(described, fired)
    assert weights is not None
    return phase_sum(fired.angles_deg, order, weights)


# 1.1 Even firing


@pytest.mark.parametrize(
    ("described", "interval", "major"),
    [
        (engine(3, "1-3-2"), 240, 1.5),
        (engine(4, "1-3-4-2"), 180, 2),
        (engine(5, "1-2-4-5-3"), 144, 2.5),
        (engine(6, "1-5-3-6-2-4"), 120, 3),
        (engine(6, layout="vee", bank_angle_deg=60, pins="split"), 120, 3),
        (engine(6, layout="vee", bank_angle_deg=120, pins="shared"), 120, 3),
        (engine(8, V8_ORDER, **V8), 90, 4),
        (engine(12, layout="vee", bank_angle_deg=60, pins="shared"), 60, 6),
        (engine(3, strokes=2), 120, 3),
        (engine(4, strokes=2), 90, 4),
        (engine(6, strokes=2), 60, 6),
    ],
)
def test_an_even_engine_has_multiples_of_its_firing_order_and_nothing_else(
    described: Engine, interval: float, major: float
) -> None:
    fired = firing(described)
    assert fired.even
    assert fired.intervals_deg == pytest.approx((interval,) * described.cylinders, abs=EXACT)
    assert described.firing_order_number == major
    step = 2 / described.strokes
    for number in range(1, round(12 / step) + 1):
        order = number * step
        expected = described.cylinders if order % major == 0 else 0
        assert sums(described, order) == pytest.approx(expected, abs=EXACT), order


# 1.2 A linear mode shape

R3, R7, R10, R12, R20, R28, R48, R52 = (math.sqrt(n) for n in (3, 7, 10, 12, 20, 28, 48, 52))


@pytest.mark.parametrize("order", ["1-5-3-6-2-4", "1-4-2-6-3-5"])
def test_linear_twist_of_a_six(order: str) -> None:
    six = engine(6, order)
    expected = [(0.5, R12), (1, 0), (1.5, 9), (2, 0), (2.5, R12), (3, 21)]
    for number, size in expected:
        assert twist(six, number) == pytest.approx(size, abs=EXACT)
        assert twist(six, number + 3) == pytest.approx(size, abs=EXACT)  # repeats


@pytest.mark.parametrize(
    ("order", "half", "three_halves"),
    [
        ("1-2-4-6-5-3", R52, 1),
        ("1-3-5-6-4-2", R52, 1),  # its mirror
        ("1-5-4-6-2-3", R28, 7),
        ("1-2-3-6-5-4", R48, 3),
    ],
)
def test_another_firing_order_of_the_same_crank_moves_half_orders_only(
    order: str, half: float, three_halves: float
) -> None:
    six = engine(6, order)
    found = [twist(six, each) for each in (0.5, 1, 1.5, 2, 2.5, 3)]
    assert found == pytest.approx([half, 0, three_halves, 0, half, 21], abs=EXACT)


def test_an_antisymmetric_shape_of_a_six() -> None:
    six = firing(engine(6, "1-5-3-6-2-4")).angles_deg
    weights = [number - 3.5 for number in range(1, 7)]
    found = [phase_sum(six, each, weights) for each in (0.5, 1, 1.5, 2, 3)]
    assert found == pytest.approx([R12, 0, 9, 0, 0], abs=EXACT)


@pytest.mark.parametrize(
    ("described", "expected"),
    [
        (engine(4, "1-3-4-2"), {0.5: R10, 1: 0, 1.5: R10, 2: 10}),
        (engine(4, "1-2-4-3"), {0.5: R10, 1: 0, 1.5: R10, 2: 10}),
        (engine(3, "1-3-2"), {0.5: R3, 1: R3, 1.5: 6, 2: R3, 2.5: R3, 3: 6}),
    ],
)
def test_linear_twist_in_closed_form(described: Engine, expected: dict[float, float]) -> None:
    for order, size in expected.items():
        assert twist(described, order) == pytest.approx(size, abs=EXACT)


@pytest.mark.parametrize(
    ("described", "expected"),
    [
        (
            engine(5, "1-2-4-5-3"),
            {0.5: 4.9798, 2: 4.9798, 3: 4.9798, 4.5: 4.9798, 1: 0.4490, 1.5: 0.4490, 3.5: 0.4490,
             4: 0.4490, 2.5: 15, 5: 15},
        ),
        (
            engine(8, V8_ORDER, **V8),
            {0.5: 2.0840, 3.5: 2.0840, 1: R20, 3: R20, 1.5: 3.9569, 2.5: 3.9569, 2: 0, 4: 20},
        ),
    ],
)  # fmt: skip
def test_linear_twist_as_tabulated(described: Engine, expected: dict[float, float]) -> None:
    for order, size in expected.items():
        # Four digits are given.
        assert twist(described, order) == pytest.approx(size, abs=6e-5)


# 1.3 Unequal cylinders, uneven firing


@pytest.mark.parametrize(("strength", "others", "major"), [(0.75, 0.25, 5.75), (0.0, 1.0, 5.0)])
@pytest.mark.parametrize("which", [0, 3])
def test_one_weak_cylinder_raises_every_order_that_cancelled(
    strength: float, others: float, major: float, which: int
) -> None:
    six = firing(engine(6, "1-5-3-6-2-4")).angles_deg
    weights = [1.0] * 6
    weights[which] = strength
    for number in range(1, 25):
        expected = major if number % 6 == 0 else others
        assert phase_sum(six, number / 2, weights) == pytest.approx(expected, abs=EXACT)


V6 = {"layout": "vee", "bank_angle_deg": 90, "pins": "shared"}


@pytest.mark.parametrize(
    "described",
    [
        engine(6, "1-2-3-4-5-6", **V6),
        engine(6, **V6),
        engine(6, firing_intervals_deg=[90, 150, 90, 150, 90, 150]),
    ],
)
def test_a_90_degree_v6_on_shared_pins(described: Engine) -> None:
    fired = firing(described)
    assert not fired.even
    assert sorted(fired.angles_deg) == pytest.approx([0, 90, 240, 330, 480, 570])
    cosines = 6 * math.cos(math.radians(67.5)), 6 * math.cos(math.radians(22.5))
    expected = {1.5: cosines[0], 3: 3 * math.sqrt(2), 4.5: cosines[1], 6: 0, 7.5: cosines[1],
                9: 3 * math.sqrt(2), 10.5: cosines[0], 12: 6}  # fmt: skip
    for number in range(1, 25):
        size = expected.get(number / 2, 0.0)
        assert sums(described, number / 2) == pytest.approx(size, abs=EXACT)


def test_one_bank_of_a_cross_plane_v8() -> None:
    angles = firing(engine(8, V8_ORDER, **V8)).angles_deg
    bank = angles[::2]  # 1, 3, 5, 7
    assert sorted(bank) == pytest.approx([0, 270, 450, 540])
    found = [phase_sum(bank, order) for order in (0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4)]
    expected = [1.0824, 0, 2.6131, 0, 2.6131, 0, 1.0824, 4]  # four digits
    assert found == pytest.approx(expected, abs=6e-5)
    one_pin = [(angles[two] - angles[two - 1]) % 360 for two in (1, 3, 5, 7)]
    assert one_pin == pytest.approx([270] * 4)


# Layouts: geometry alone


@pytest.mark.parametrize(
    ("cylinders", "strokes", "bank", "intervals"),
    [
        (2, 4, 45, (405, 315)),  # the usual single-pin vee of two
        (2, 4, 90, (450, 270)),
        (4, 4, 90, (90, 270)),
        (8, 4, 60, (60, 120)),
        (10, 4, 90, (90, 54)),
        (12, 4, 90, (90, 30)),
        (6, 2, 90, (90, 30)),
        (8, 2, 63.5, (63.5, 26.5)),
    ],
)
def test_two_on_a_pin_fire_one_bank_angle_apart_and_the_rest_follows(
    cylinders: int, strokes: int, bank: float, intervals: tuple[float, float]
) -> None:
    found = firing(
        engine(cylinders, strokes=strokes, layout="vee", bank_angle_deg=bank, pins="shared")
    )
    assert found.intervals_deg[:2] == pytest.approx(intervals)
    assert sum(found.intervals_deg) == pytest.approx(180 * strokes)


@pytest.mark.parametrize(
    ("order", "numbering", "throws"),
    [
        (V8_ORDER, None, (1, 1, 2, 2, 3, 3, 4, 4)),
        ("1-5-4-2-6-3-7-8", None, (1, 2, 3, 4, 1, 2, 3, 4)),
        ("1-5-4-2-6-3-7-8", "along", (1, 2, 3, 4, 1, 2, 3, 4)),
    ],
)
def test_the_firing_order_tells_which_cylinders_share_a_pin(
    order: str, numbering: str | None, throws: tuple[int, ...]
) -> None:
    fired = firing(engine(8, order, **V8, bank_numbering=numbering))
    assert (fired.throws, fired.remarks) == (throws, ())


def test_a_firing_order_that_begins_with_the_long_interval() -> None:
    """Cylinders 1 and 2 share a pin: the last and the first must be 90 degrees apart."""
    fired = firing(engine(6, "1-6-5-4-3-2", **V6))
    assert fired.intervals_deg == pytest.approx((150, 90) * 3)
    assert (fired.angles_deg[0] - fired.angles_deg[1]) % 720 == pytest.approx(90)


def test_what_does_not_fit_is_said() -> None:
    fired = firing(engine(8, "1-5-4-2-6-3-7-8", **V8, bank_numbering="across"))
    assert fired.throws is None
    assert "check firing_order, bank_angle_deg and bank_numbering" in fired.remarks[0]


def test_pins_that_matter_and_are_not_stated_are_asked_for() -> None:
    fired = firing(engine(6, layout="vee", bank_angle_deg=90))
    assert fired.even
    assert "On shared crank pins it would fire 90 and 150 degrees apart" in fired.remarks[0]
    assert firing(engine(8, layout="vee", bank_angle_deg=90)).remarks == ()


def test_without_an_order_or_throws_there_is_no_twist() -> None:
    split = engine(6, "1-2-3-4-5-6", layout="vee", bank_angle_deg=60, pins="split")
    for described in (engine(6), split):
        assert twist_weights(described, firing(described)) is None
    assert "state bank_numbering" in firing(split).remarks[0]


def test_what_an_earlier_version_kept_still_fires() -> None:
    """Five in a vee: nobody builds it, but such a file was taken once."""
    kept = Engine.parse('name = "e"\ncylinders = 5\nlayout = "vee"\nbank_angle_deg = 60', kept=True)
    assert firing(kept).intervals_deg == pytest.approx((144,) * 5)
