"""Vector sums and forced twist: published tables (references.md 1.2, 1.3) and closed forms."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vibetrend.engine import Engine
from vibetrend.torsion import (
    Crankshaft,
    excited_orders,
    forced,
    forcing,
    interference,
    vector_sums,
)

SIX = {"cylinders": 6, "firing_order": [1, 5, 3, 6, 2, 4]}


def engine(**values: Any) -> Engine:
    return Engine.of({"name": "main", **values})


def sums(orders: list[float], shape: Any, **values: Any) -> "np.ndarray[Any, Any]":
    return np.abs(vector_sums(engine(**values), shape, orders))


# Ker Wilson, Practical Solution of Torsional Vibration Problems; Taylor; Den Hartog


@pytest.mark.parametrize(
    ("order", "count", "expected"),
    [
        ([1, 5, 3, 6, 2, 4], 6, {0.5: 12**0.5, 1: 0, 1.5: 9, 2: 0, 2.5: 12**0.5, 3: 21, 4.5: 9}),
        ([1, 2, 4, 6, 5, 3], 6, {0.5: 52**0.5, 1.5: 1, 2.5: 52**0.5, 3: 21}),
        ([1, 5, 4, 6, 2, 3], 6, {0.5: 28**0.5, 1.5: 7, 3: 21}),
        ([1, 3, 4, 2], 4, {0.5: 10**0.5, 1: 0, 1.5: 10**0.5, 2: 10}),
        ([1, 3, 2], 3, {0.5: 3**0.5, 1: 3**0.5, 1.5: 6, 3: 6}),
    ],
)
def test_sums_of_a_linear_twist(order: list[int], count: int, expected: dict[float, float]) -> None:
    shape = np.arange(count, 0, -1)
    found = sums(list(expected), shape, cylinders=count, firing_order=order)
    assert_allclose(found, list(expected.values()), atol=1e-9)


def test_sums_of_a_cross_plane_vee() -> None:
    found = sums(
        [0.5, 1, 1.5, 2, 4],
        [4, 4, 3, 3, 2, 2, 1, 1],
        cylinders=8,
        firing_order=[1, 8, 4, 3, 6, 5, 7, 2],
        layout="vee",
        bank_angle_deg=90,
    )
    assert_allclose(found, [2.0840, 20**0.5, 3.9569, 0, 20], atol=5e-5)


def test_one_weak_cylinder() -> None:
    """Minor orders rise from 0 to what it lacks, major orders fall by as much."""
    found = sums([0.5, 1, 2.5, 3, 6], [1, 1, 0.75, 1, 1, 1], **SIX)
    assert_allclose(found, [0.25, 0.25, 0.25, 5.75, 5.75], atol=1e-9)


def test_a_vee_on_shared_pins_fires_unevenly() -> None:
    angle = np.radians(67.5)
    found = sums(
        [1.5, 3, 4.5, 6, 1],
        1,
        cylinders=6,
        layout="vee",
        bank_angle_deg=90,
        firing_intervals_deg=[90, 150, 90, 150, 90, 150],
    )
    expected = [6 * np.cos(angle), 18**0.5, 6 * np.sin(angle), 0, 0]
    assert_allclose(found, expected, atol=1e-9)


def test_which_orders_drive_a_mode() -> None:
    """Orders 1, 2, 4, 5 have no sum in a six of like cylinders, whatever the mode's shape."""
    six = engine(**SIX)
    found = excited_orders(Crankshaft.of(six), six, highest=6)
    assert found == {0.5, 1.5, 2.5, 3, 3.5, 4.5, 5.5, 6}


# Forced twist


def test_far_below_its_modes_the_crank_turns_as_one() -> None:
    """Newton's law: the torques' sum over all the inertia and the frequency squared."""
    six = engine(**SIX)
    crank = Crankshaft.of(six)
    twist = forced(crank, six, [3], [30.0])[0, 0]
    torque = forcing(six, crank, [3], [30.0])[0, 0].sum()
    omega = 3 * 30 * np.pi / 30
    expected = -torque / (crank.chain.inertia_kg_m2.sum() * omega**2)
    assert_allclose(twist, expected, rtol=5e-3)


def test_a_peak_stands_at_the_critical_speed() -> None:
    six = engine(**SIX, idle_rpm=700, rated_rpm=2600)
    crank = Crankshaft.of(six)
    table = interference(crank, six)
    row = table[(table["mode"] == 1) & (table["order"] == 4.5)].iloc[0]
    assert row.speed_rpm == pytest.approx(60 * crank.modes[0].frequency_hz / 4.5)
    assert row.drives
    assert row.within
    speeds = np.linspace(1500, 2250, 1501)
    nose = np.abs(forced(crank, six, [4.5], speeds)[0, :, 1])
    assert speeds[np.argmax(nose)] == pytest.approx(row.speed_rpm, rel=0.03)


def test_strengths_scale_the_gas_of_each_cylinder() -> None:
    six = engine(**SIX)
    crank = Crankshaft.of(six)
    like = forcing(six, crank, [0.5], [1000.0])
    weak = forcing(six, crank, [0.5], [1000.0], strengths=[1, 1, 1, 0.5, 1, 1])
    assert_allclose(weak[..., 3], like[..., 3] / 2)
    assert_allclose(weak[..., :3], like[..., :3])
    assert abs(like.sum()) < 1e-9 * abs(weak.sum())


def test_both_cylinders_of_a_throw_turn_it() -> None:
    vee = engine(
        cylinders=8,
        firing_order=[1, 8, 4, 3, 6, 5, 7, 2],
        layout="vee",
        bank_angle_deg=90,
        bank_numbering="across",
    )
    crank = Crankshaft.of(vee)
    assert crank.cylinder_at == (2, 2, 3, 3, 4, 4, 5, 5)
    assert crank.places == ("ring", "nose", *(f"throw {n}" for n in range(1, 5)), "flywheel")


def test_the_diagram_says_what_lies_within_the_running_range() -> None:
    six = engine(**SIX, idle_rpm=700, rated_rpm=2600)
    table = interference(Crankshaft.of(six), six)
    within = (table["speed_rpm"] >= 700) & (table["speed_rpm"] <= 2600)
    assert within.equals(table["within"])
    assert set(table["mode"]) == {1, 2}  # the third lies above order 12 at rated speed
