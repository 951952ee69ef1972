"""The orders to expect, with frequency, role and what they speak of."""

import pytest

from vibetrend.engine import Engine
from vibetrend.engine.expected import ExpectedOrder, expected_orders

SIX = {"name": "invented", "cylinders": 6, "firing_order": [1, 5, 3, 6, 2, 4]}


def by_order(engine: Engine, rpm: float | None = None) -> dict[float, ExpectedOrder]:
    return {row.order: row for row in expected_orders(engine, rpm=rpm)}


@pytest.mark.parametrize(
    ("cylinders", "strokes", "hertz"),
    [
        # references.md 1.1: the first two major orders at 1000 rpm (basis: see firing)
        (3, 4, (25, 50)),
        (4, 4, (33.333, 66.667)),
        (5, 4, (41.667, 83.333)),
        (6, 4, (50, 100)),
        (8, 4, (66.667, 133.33)),
        (3, 2, (50, 100)),
        (4, 2, (66.667, 133.33)),
        (6, 2, (100, 200)),
    ],
)
def test_frequencies_of_major_orders(
    cylinders: int, strokes: int, hertz: tuple[float, float]
) -> None:
    engine = Engine.of({"name": "e", "cylinders": cylinders, "strokes": strokes})
    rows = expected_orders(engine, rpm=1000)
    major = [row.frequency_hz for row in rows if row.role == "major"]
    assert major[:2] == pytest.approx(hertz, rel=1e-4)  # five digits are given


def test_a_six_at_fast_idle() -> None:
    rows = by_order(Engine.of({**SIX, "fast_idle_rpm": 1080}))
    assert list(rows) == [number / 2 for number in range(1, 25)]
    assert (rows[3].frequency_hz, rows[3].phase_sum, rows[3].twist_sum) == (54, 6, 21)
    assert (rows[1.5].role, rows[1.5].phase_sum, rows[1.5].twist_sum) == ("minor", 0, 9)
    assert "unevenly" in rows[1.5].speaks_of
    assert "one cylinder" in rows[0.5].speaks_of
    assert "balance" in rows[1].speaks_of
    assert rows[3].speaks_of.startswith("firing")
    assert rows[6].speaks_of.startswith("firing, 2 times")


def test_without_a_speed_there_are_no_frequencies() -> None:
    assert {row.frequency_hz for row in expected_orders(Engine.of(SIX))} == {None}


def test_piston_inertia_where_it_is_free() -> None:
    """references.md 1.4: F2 = 4 of a four, 0 of a six; couples C1, C2 = 1.73 of a three.

    Taylor, The Internal-Combustion Engine, vol. 2 (from memory).
    """
    four = by_order(Engine.of({"name": "e", "cylinders": 4, "firing_order": [1, 3, 4, 2]}))
    assert "piston inertia" in four[2].speaks_of
    three = by_order(Engine.of({"name": "e", "cylinders": 3, "firing_order": [1, 3, 2]}))
    assert "rocks the engine" in three[1].speaks_of
    assert "rocks the engine" in three[2].speaks_of
    assert not any("inertia" in row.speaks_of for row in expected_orders(Engine.of(SIX)))


def test_uneven_firing_is_told_from_uneven_cylinders() -> None:
    values = {**SIX, "firing_order": [1, 2, 3, 4, 5, 6]}
    values |= {"layout": "vee", "bank_angle_deg": 90, "pins": "shared"}
    rows = by_order(Engine.of(values))
    assert rows[4.5].role == "major"  # 5.54 of 6, references.md 1.3
    assert (rows[1.5].role, rows[1.5].phase_sum) == ("minor", pytest.approx(2.296101))
    assert rows[1.5].speaks_of.startswith("firing at uneven intervals, as built")
    assert "firing" not in rows[6].speaks_of  # cancels


@pytest.mark.parametrize(("cylinders", "highest"), [(4, 12), (16, 16), (24, 24)])
def test_twice_the_firing_order_is_listed_however_high(cylinders: int, highest: float) -> None:
    rows = expected_orders(Engine.of({"name": "e", "cylinders": cylinders}))
    assert rows[-1].order == highest


def test_a_two_stroke_has_whole_orders_only() -> None:
    rows = by_order(Engine.of({"name": "e", "cylinders": 3, "strokes": 2}))
    assert list(rows) == list(range(1, 13))


def test_driven_parts_and_belts() -> None:
    part = {"name": "alternator", "crank_pulley_mm": 180, "pulley_mm": 82, "belt_length_mm": 1250}
    engine = Engine.of({**SIX, "driven": [part, {"name": "pump", "ratio": 1.51}]})
    belt, pump, alternator = [
        row for row in expected_orders(engine, rpm=600) if row.phase_sum is None
    ]
    assert (belt.role, pump.role, alternator.role) == ("belt", "driven", "driven")
    assert belt.order == pytest.approx(0.4524, abs=5e-5)  # pi 180 / 1250
    assert belt.frequency_hz == pytest.approx(4.524, abs=5e-4)
    assert "alternator belt" in belt.speaks_of
    assert pump.note == "may lie on order 1.5 and not be told from it"  # belts creep
    assert alternator.note is None


@pytest.mark.parametrize(
    ("strokes", "ratio", "beside"),
    [
        (4, 2.02, "order 2 and"),  # 2 % of creep
        (4, 2.09, None),
        (4, 1.99, "order 2 and"),
        (4, 11.8, None),
        (4, 12.26, "order 12 and"),
        (2, 1.51, None),  # a two-stroke has no half orders
        (2, 2.02, "order 2 and"),
    ],
)
def test_a_belt_creeps_down_to_an_order(strokes: int, ratio: float, beside: str | None) -> None:
    driven = [{"name": "pump", "ratio": ratio}]
    engine = Engine.of({"name": "e", "cylinders": 6, "strokes": strokes, "driven": driven})
    (pump,) = [row for row in expected_orders(engine) if row.role == "driven"]
    assert (pump.note is None) == (beside is None)
    assert beside is None or beside in str(pump.note)


@pytest.mark.parametrize(("poles", "orders"), [(2, (1, 2)), (4, (2, 4)), (6, (3, 6))])
def test_lines_at_the_generator_s_own_frequency(poles: int, orders: tuple[int, int]) -> None:
    generator = {"poles": poles, "frequency_hz": 50}
    rows = expected_orders(Engine.of({**SIX, "generator": generator}))
    noted = [row for row in rows if row.note == "includes the generator's own"]
    assert tuple(row.order for row in noted) == orders
    assert [row.frequency_hz for row in noted] == pytest.approx([50, 100])


def test_a_slow_generator_s_lines_stand_by_themselves() -> None:
    generator = {"poles": 30, "frequency_hz": 50}
    rows = expected_orders(Engine.of({**SIX, "generator": generator}))
    assert [(row.order, row.role) for row in rows[-2:]] == [(15, "generator"), (30, "generator")]
