"""The tables of a measurement: other lines and their names, other kinds, what JSON can hold."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from invented_recordings import HALF_ORDERS, MILD, STEADY, World, made, rows
from numpy.testing import assert_allclose

from vibetrend.engine import DrivenPart, Engine
from vibetrend.orders import Measurement, measure
from vibetrend.orders.amplitudes import COLUMNS
from vibetrend.orders.other_lines import mains_name
from vibetrend.recording import Kind, Note, Recording

SIX = Engine(name="invented", cylinders=6, fast_idle_rpm=1000)


def six_with(part: str, ratio: float) -> Engine:
    return SIX.model_copy(update={"driven": (DrivenPart(name=part, ratio=ratio),)})


def notes(measured: Measurement, code: str) -> list[Note]:
    return [note for note in measured.quality if note.code == code]


@pytest.mark.parametrize(
    ("hertz", "name"),
    [
        (60.01, "60 Hz mains"),
        (89.99, "3/2 of 60 Hz mains"),
        (100.05, "2 times 50 Hz mains"),
        (239.9, "4 times 60 Hz mains"),
        (59.8, None),
        (25.0, None),
        (300.0, None),
    ],
)
def test_mains_are_named_within_what_a_grid_wanders(hertz: float, name: str | None) -> None:
    """A thousandth either way, which grids keep nearly always: common practice, no source."""
    assert mains_name(hertz, resolution_hz=0.03) == name


def test_a_short_recording_resolves_mains_less_finely() -> None:
    assert mains_name(50.3, resolution_hz=0.5) == "50 Hz mains"
    assert mains_name(50.3, resolution_hz=0.1) is None


@pytest.fixture(scope="module")
def wandering() -> Measurement:
    return measure(made(World(running=MILD), 41).recording)


def test_other_lines_are_told_by_what_they_follow(wandering: Measurement) -> None:
    """Belts at 1.9013 and 2.3718 turns of a crank that wanders, 50 Hz by the clock."""
    others = wandering.others
    assert list(others.columns) == [*COLUMNS, "follows", "name"]
    assert others["amplitude"].is_monotonic_decreasing
    assert others["visible"].all()
    found = others.sort_values("order").to_dict("records")
    assert [row["follows"] for row in found] == ["crank", "crank", "clock"]
    assert [row["name"] for row in found] == [None, None, "50 Hz mains"]
    # 1 / (2 pi T) times the relative noise is a thousandth of this
    assert_allclose([row["order"] for row in found[:2]], [1.9013, 2.3718], rtol=1e-4)
    assert found[2]["frequency_hz"] == pytest.approx(50, abs=1e-3)
    assert wandering.driven.empty


def test_a_steady_speed_does_not_tell_what_a_line_follows() -> None:
    world = World(running=STEADY, belts=(1.9013,), mains_hz=43.21)
    others = measure(made(world, 42).recording).others
    assert others["follows"].tolist() == ["either", "either"]


def test_another_engine_beside_an_order_is_pointed_out() -> None:
    """16.0 Hz by the clock, 0.06 orders below order 1: no mains."""
    measured = measure(made(World(running=MILD, mains_hz=16.0, belts=()), 43).recording)
    (note,) = notes(measured, "not-the-engine")
    assert note.severity == "note"
    assert "16.0 Hz (beside order 1 at 17.0 Hz)" in note.message


def test_nothing_is_said_where_all_lines_are_the_engines() -> None:
    measured = measure(made(World(running=MILD, mains_hz=0), 44).recording)
    assert len(measured.others) == 2
    assert not notes(measured, "not-the-engine")


def test_driven_parts_are_no_others() -> None:
    engine = six_with("pump", 1.9)
    measured = measure(made(World(running=MILD), 41).recording, engine=engine)
    assert measured.driven["name"].tolist() == ["pump"]
    assert sorted(measured.others["name"], key=str) == ["50 Hz mains", None]


def test_others_are_in_the_json_form(wandering: Measurement) -> None:
    found = wandering.to_dict()
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert len(found["others"]) == 3
    assert set(found["others"][0]) == {*COLUMNS, "follows", "name"}
    ellipse = found["orders"][5]["ellipse"]
    assert set(ellipse) == {"major", "minor", "direction", "normal"}
    assert set(ellipse["direction"]) == {"x", "y", "z"}
    assert found["phase_reference"] == "order 3"  # the strongest, for want of an engine


def test_where_no_engine_ran_only_the_clocks_lines_are_left() -> None:
    """60 Hz hum and noise; the tag is of an engine that stood still."""
    time = np.arange(9000) / 300
    noise = np.random.default_rng(45).standard_normal(9000)
    measured = measure(Recording(np.sin(2 * np.pi * 60 * time) + noise, sample_rate=300, rpm=1000))
    assert measured.unusable
    assert measured.others["name"].tolist() in ([], ["60 Hz mains"])
    assert measured.phase_reference is None
    orders = measured.to_dict()["orders"]
    assert {row["visible"] for row in orders} == {False}
    assert {row[key] for row in orders for key in ("phase_deg", "ellipse")} == {None}


def test_displacement_is_acceleration_over_frequency_squared(wandering: Measurement) -> None:
    table = wandering.orders
    omega = 2 * np.pi * table["frequency_hz"]
    assert_allclose(table["displacement_um"], 1e6 * table["amplitude"] / omega**2, rtol=1e-12)


@pytest.mark.parametrize(
    ("kind", "unit", "moved"),
    [("velocity", "m/s", True), ("rotation", "rad/s", False), ("sound", "Pa", False)],
)
def test_every_kind_comes_out_in_its_own_unit(kind: Kind, unit: str, moved: bool) -> None:
    """The same numbers, whatever they are of; only what moves has velocity and displacement."""
    truth = made(World(seconds=10, running=MILD, axes=3), 46)
    recording = Recording(
        truth.recording.samples,
        times=truth.recording.times,
        kind=kind,
        unit=unit,
        rpm=truth.recording.rpm,
    )
    measured = measure(recording, engine=SIX)
    assert not measured.unusable
    assert measured.speed.rpm == pytest.approx(truth.rpm, rel=1e-4)
    assert measured.to_dict()["recording"]["unit"] == unit
    for row in rows(measured).values():
        assert row["unit"] == unit
        assert (row["velocity_mm_s"] is not None) == moved
        assert (row["displacement_um"] is not None) == moved
        if moved:
            omega = 2 * math.pi * row["frequency_hz"]
            assert row["displacement_um"] == pytest.approx(1e6 * row["amplitude"] / omega)
        # Rotation about three axes is a vector too, the sound of three microphones is none
        assert (row["ellipse"] is None) == (kind == "sound" or not row["visible"])
    # Five standard errors: 24 normal values exceed them once in 70 000 times
    for order in HALF_ORDERS[HALF_ORDERS <= 11].tolist():
        row = rows(measured)[order]
        if row["visible"]:
            assert abs(row["amplitude"] - truth.rms[order]) < 5 * row["standard_error"]


def test_an_error_that_is_not_known_is_null(wandering: Measurement) -> None:
    """An error is infinite where two lines are one, NaN where it has no meaning: RFC 8259."""
    table = wandering.orders.assign(standard_error=np.inf, phase_standard_error_deg=np.nan)
    found = replace(wandering, orders=table).to_dict()
    assert {row["standard_error"] for row in found["orders"]} == {None}
    assert json.loads(json.dumps(found, allow_nan=False)) == found


def test_orders_folded_onto_each_other_name_each_other() -> None:
    """200 even samples per second and exactly 20 turns: order k falls on order 10 - k."""
    world = World(
        running=STEADY, rate=200.0, jitter=0, rpm=1200.0, belts=(), mains_hz=0, seconds=20
    )
    table = rows(measure(made(world, 47).recording))
    assert not any(row["visible"] for row in table.values())
    for order in (2.5, 3.0, 4.0):
        assert table[order]["reason"] == f"shares its frequency with order {10 - order:g}"
