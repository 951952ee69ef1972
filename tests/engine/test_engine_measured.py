"""What the engine's file adds to a measurement: belts, a generator's own lines, no run-ups."""

import math
from typing import Any

import numpy as np
import pytest

from vibetrend.engine import Engine
from vibetrend.errors import MeasureError
from vibetrend.measuring import measure
from vibetrend.recording import Recording

RATE, SECONDS = 200, 20.0
TIME = np.arange(int(RATE * SECONDS)) / RATE


def recording(true: float, lines: dict[float, float], **more: Any) -> Recording:
    """Return orders with their amplitudes in a little noise."""
    noise = 0.02 * np.random.default_rng(5).standard_normal(TIME.size)
    turns = true / 60 * TIME
    waves = [size * np.cos(2 * np.pi * order * turns + order) for order, size in lines.items()]
    return Recording(sum(waves) + noise, sample_rate=RATE, **more)


ORDERS = {0.5: 0.1, 1: 0.3, 1.5: 0.1, 2: 0.2, 3: 1.0, 4.5: 0.1}


def with_belt(order: float) -> Engine:
    part = {"name": "alternator", "ratio": 2.23, "crank_pulley_mm": 180}
    part["belt_length_mm"] = math.pi * 180 / order
    return Engine.of({"name": "e", "cylinders": 6, "driven": [part]})


def test_a_belt_of_known_length_is_measured_beside_the_parts() -> None:
    made = recording(1080, {**ORDERS, 2.2: 0.3, 0.4321: 0.2}, rpm=1070)
    driven = measure(made, engine=with_belt(0.433)).driven.set_index("name")
    assert list(driven.index) == ["alternator", "alternator belt"]
    belt = driven.loc["alternator belt"]
    assert belt["visible"]
    assert belt["order"] == pytest.approx(0.4321, abs=1e-4)
    # Rms of a cosine; the noise of 0.02 over 4000 samples is 0.0004 on it.
    assert belt["amplitude"] == pytest.approx(0.2 / math.sqrt(2), abs=0.002)


def test_a_belt_on_an_order_shares_its_frequency_and_says_so() -> None:
    driven = measure(recording(1080, ORDERS, rpm=1070), engine=with_belt(0.5)).driven
    belt = driven.set_index("name").loc["alternator belt"]
    assert not belt["visible"]
    assert belt["reason"] == "shares its frequency with order 0.5"


GENERATOR_SET = Engine.of(
    {"name": "gen", "cylinders": 6, "generator": {"poles": 4, "frequency_hz": 50}}
)


def test_a_generator_set_s_own_lines_carry_a_note() -> None:
    measured = measure(recording(1518, {**ORDERS, 4: 0.1}), engine=GENERATOR_SET)
    assert measured.speed.rpm == pytest.approx(1518, abs=0.1)
    notes = {note.code: note for note in measured.quality}
    assert notes["generator"].severity == "note"
    assert "includes the generator's own: order 2 (50.6 Hz)" in notes["generator"].message
    assert "governed speed of 1500 rpm" in notes["speed-assumed"].message
    same = measure(recording(1518, ORDERS, rpm=1500), engine=with_belt(0.433))
    assert "generator" not in {note.code for note in same.quality}


def test_a_generator_set_has_no_run_up() -> None:
    run_up = recording(1500, ORDERS, rpm=1500, manner="run-up")
    with pytest.raises(MeasureError, match=r"governor holds 1500 rpm.*record it at that speed"):
        measure(run_up, engine=GENERATOR_SET)
    still = measure(run_up, engine=with_belt(0.433))
    assert "no-sweep" in {note.code for note in still.quality}
    coast = recording(1500, ORDERS, rpm=1500, manner="coast-down")
    assert measure(coast, engine=GENERATOR_SET).recording.manner == "coast-down"
