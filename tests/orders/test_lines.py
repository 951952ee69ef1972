"""Driven lines, mains and other machines are told from the engine's orders."""

import math

import numpy as np
import pytest
from invented_recordings import HALF_ORDERS, MILD, STEADY, World, made
from numpy.testing import assert_allclose

from vibetrend.engine import DrivenPart, Engine
from vibetrend.orders import measure
from vibetrend.orders.lines import find_driven, find_others
from vibetrend.recording import FloatArray, Recording

TIME = np.arange(12_000) / 400.0
CRANK = 17.0
TURNS = CRANK * TIME + 0.01 * np.sin(2 * np.pi * 0.3 * TIME)


def residual(*waves: FloatArray, seed: int) -> FloatArray:
    noise = 0.5 * np.random.default_rng(seed).standard_normal((TIME.size, 2))
    return noise + sum(waves, np.zeros(TIME.size))[:, np.newaxis]


def others(samples: FloatArray) -> list[tuple[float, bool]]:
    found = find_others(
        TIME,
        TURNS,
        samples,
        orders=HALF_ORDERS,
        known=[],
        least=0.0,
        top_hz=200.0,
        even_rate=400.0,
    )
    return [(line.place, line.follows_crank) for line in found]


def test_a_line_that_keeps_to_the_crank_and_one_that_keeps_to_the_clock() -> None:
    belt = 0.4 * np.cos(2 * np.pi * 1.87 * TURNS)
    mains = 0.3 * np.cos(2 * np.pi * 50.0 * TIME)
    (first, crank), (second, clock) = others(residual(belt, mains, seed=70))
    assert (crank, clock) == (True, False)
    # A peak between bins of half the resolution, read by a parabola: a tenth of the resolution
    assert first == pytest.approx(1.87, abs=0.1 / TURNS[-1])
    assert second == pytest.approx(50.0, abs=0.1 / TIME[-1])


def test_noise_has_no_lines() -> None:
    """0.001 false lines are expected in each of 2 searches of 20 recordings: 0.04 in all."""
    assert [others(residual(seed=seed)) for seed in range(71, 91)] == [[]] * 20


def test_what_is_left_of_an_order_is_no_line() -> None:
    left = 0.4 * np.cos(2 * np.pi * TURNS + 1)
    assert others(residual(left, seed=91)) == []


@pytest.mark.parametrize("creep", [0.0, 0.01, 0.02])
def test_a_driven_line_is_found_where_the_belt_let_it_creep(creep: float) -> None:
    place = 2.42 * (1 - creep)
    belt = 0.1 * np.cos(2 * np.pi * place * TURNS)
    samples = residual(belt, seed=92)
    line = find_driven(TURNS, samples, name="alternator", ratio=2.42, orders=HALF_ORDERS)
    assert (line.name, line.follows_crank) == ("alternator", True)
    assert line.place == pytest.approx(place, abs=0.1 / TURNS[-1])


def engine(*parts: tuple[str, float]) -> Engine:
    driven = tuple(DrivenPart(name=name, ratio=ratio) for name, ratio in parts)
    return Engine(name="invented", cylinders=6, driven=driven)


def test_measures_a_driven_part_that_creeps_by_2_percent() -> None:
    world = World(running=MILD, belts=(1.9013, 2.42 * 0.98))
    truth = made(world, 93)
    parts = engine(("pump", 1.9013), ("alternator", 2.42))
    table = measure(truth.recording, engine=parts).driven.set_index("name")
    assert_allclose(table["order"].loc[["pump", "alternator"]], [1.9013, 2.42 * 0.98], rtol=1e-4)
    # 6 to 20 dB below 1 on each of three axes
    assert table["amplitude"].between(math.sqrt(1.5) * 0.1, math.sqrt(1.5) * 0.502).all()
    assert table["visible"].all()


def test_a_driven_part_that_is_not_seen_is_not_visible() -> None:
    truth = made(World(cn0_db=35, belts=()), 94)
    row = measure(truth.recording, engine=engine(("pump", 1.63))).driven.iloc[0]
    assert row["name"] == "pump"
    assert not row["visible"]
    assert row["reason"] == "cannot be told from the noise level"


def test_mains_beside_an_order_are_not_taken_for_it() -> None:
    """50 Hz lies 0.15 Hz below order 3 of 1003 rpm: 4.5 times the resolution of 30 s."""
    world = World(rpm=1003, belts=(), mains_hz=50.0, tag_rpm=1000, running=STEADY)
    truth = made(world, 95)
    measured = measure(truth.recording)
    assert measured.speed.rpm == pytest.approx(truth.rpm, abs=6 * truth.rpm_bound)
    row = measured.orders.set_index("order").loc[3.0]
    # Inflated a little by the neighbour: 6 bounds
    assert row["amplitude"] == pytest.approx(truth.rms[3.0], abs=6 * truth.rms_bound)


def test_an_order_right_on_mains_is_said_to_be() -> None:
    truth = made(World(rpm=1000, belts=(), mains_hz=0.0, tag_rpm=990), 96)
    notes = {note.code: note.message for note in measure(truth.recording).quality}
    assert "order 3 (50 Hz)" in notes["mains"]


def test_other_lines_leave_the_orders_alone() -> None:
    """With and without belts and mains, the same engine and noise give the same orders."""
    truth = made(World(belts=(), mains_hz=0.0), 97)
    samples, times = np.array(truth.recording.samples), truth.recording.time_s()
    turns = truth.rpm / 60 * times
    for line in (1.9013 * turns, 2.3718 * turns, 50.0 * times):
        samples += 0.4 * np.cos(2 * np.pi * line)[:, np.newaxis]
    tag = truth.recording.rpm
    with_lines = measure(Recording(samples, times=times, rpm=tag)).orders["amplitude"]
    without = measure(truth.recording).orders["amplitude"]
    # Their frequencies must be found from the data: a fraction of an amplitude's own bound
    assert_allclose(with_lines, without, atol=0.5 * truth.rms_bound)
