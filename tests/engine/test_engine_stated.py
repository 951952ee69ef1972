"""What a person types in one line, and the file it becomes.

The limits here are values of common practice, no published source: a bolt of 135 lbf ft, run-out
within 0.060 in, a belt of not less than 105 lbf after run-in.
"""

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vibetrend.engine import Damper, DrivenPart, Engine, Generator
from vibetrend.engine.stated import (
    driven_part,
    firing_intervals,
    firing_order,
    generator,
    limit,
    merged,
)
from vibetrend.engine.writing import engine_file, toml
from vibetrend.errors import EngineError

MANUAL = "workshop manual, sheet 4"


@pytest.mark.parametrize("text", ["1-5-3-6-2-4", "1 5 3 6 2 4", "1,5,3,6,2,4", " 1, 5-3;6 2–4 "])
def test_a_firing_order(text: str) -> None:
    assert firing_order(text) == {"firing_order": [1, 5, 3, 6, 2, 4]}


def test_firing_intervals() -> None:
    assert firing_intervals("90, 150,90 150.5") == {"firing_intervals_deg": [90, 150, 90, 150.5]}


@pytest.mark.parametrize("text", ["4 50", "4 poles, 50 Hz", "4/50hz", "4, 50"])
def test_a_generator(text: str) -> None:
    assert generator(text) == {"generator": {"poles": 4, "frequency_hz": 50}}


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("bolt_torque=135 lbf ft", {"value": 135, "unit": "lbf ft"}),
        ("Bolt torque = 135 ± 5 lbf ft", {"value": 135, "tolerance": 5, "unit": "lbf ft"}),
        ("bolt-torque=135+-5 ft-lb", {"value": 135, "tolerance": 5, "unit": "ft-lb"}),
        ("bolt_torque=130 to 140 lbf ft", {"min": 130, "max": 140, "unit": "lbf ft"}),
        ("bolt_torque=130-140 lbf ft", {"min": 130, "max": 140, "unit": "lbf ft"}),
        ("belt_tension_run_in=min 105 lbf", {"min": 105, "unit": "lbf"}),
        ("belt tension run in=at least 105lbf", {"min": 105, "unit": "lbf"}),
        ("casing_thickness=max 45 mm", {"max": 45, "unit": "mm"}),
        ("face_wobble=.080 in", {"max": 0.08, "unit": "in"}),  # what should be nothing: the most
        ("mark_offset=not above 1.59 mm", {"max": 1.59, "unit": "mm"}),
        ("fluid_viscosity_loss=50 %", {"max": 50, "unit": "%"}),
    ],
)
def test_a_limit(text: str, numbers: dict[str, Any]) -> None:
    (key,) = limit(f"{text}, {MANUAL}")["limits"]
    found = limit(f"{text}, {MANUAL}")["limits"][key]
    assert found == {**numbers, "source": MANUAL}
    assert Engine.of({"name": "e", "cylinders": 4, "limits": {key: found}}).limits.stated()


@pytest.mark.parametrize(
    ("text", "surface", "numbers"),
    [
        ("runout rim=0.060 in", "rim", {"max": 0.06, "unit": "in"}),
        ("runout.rim=max 60 0.001 in", "rim", {"max": 60, "unit": "0.001 in"}),
        ("Run-out Front face=up to 1.5 mm", "Front face", {"max": 1.5, "unit": "mm"}),
    ],
)
def test_a_limit_of_a_run_out(text: str, surface: str, numbers: dict[str, Any]) -> None:
    assert limit(f"{text}, {MANUAL}") == {
        "limits": {"runout": {surface: {**numbers, "source": MANUAL}}}
    }


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("alternator=2.2", {"ratio": 2.2}),
        ("alternator = 180/90 mm", {"crank_pulley_mm": 180, "pulley_mm": 90}),
        ("alternator=180 / 90", {"crank_pulley_mm": 180, "pulley_mm": 90}),
        (
            "alternator=7/3.5 in, belt 49.25 in",
            {"crank_pulley_mm": 177.8, "pulley_mm": 88.9, "belt_length_mm": 1250.95},
        ),
        (
            "alternator=2.2, crank pulley 180 mm, belt 1.25 m",
            {"ratio": 2.2, "crank_pulley_mm": 180, "belt_length_mm": 1250},
        ),
    ],
)
def test_a_driven_part(text: str, part: dict[str, Any]) -> None:
    assert driven_part(text) == {"driven": [{"name": "alternator", **part}]}
    assert Engine.of({"name": "e", "cylinders": 4, **driven_part(text)}).driven[0].ratio > 1


@pytest.mark.parametrize(
    ("meaning", "text", "said"),
    [
        (firing_order, "1-5-x", r"firing order '1-5-x': write the cylinders as they fire"),
        (firing_order, "-1-5", r"write the cylinders as they fire, such as 1-5-3"),
        (firing_intervals, "90;x", r"firing intervals .*: write the degrees"),
        (generator, "50 Hz", r"write its poles and frequency, such as 4 50"),
        (limit, "bolt_torque=135, x", r"has no unit; write it as 'bolt_torque=135 lbf ft, "),
        (limit, "bolt_torque=135, 4 sheets", r"has no unit"),
        (limit, "runout rim=max 0,060 in, x", r"so write '0,060' with a decimal point, as in 0.5"),
        (limit, "bolt_torque=130 to 140,5 N m, x", r"so write '140,5' with a decimal point"),
        (limit, "belt_tension_new=1,500 N, x", r"and thousands without a comma"),
        (limit, "bolt_torque=135 N m", r"does not say where it stands written; add that"),
        (limit, "bolt_torque=135 N m, ", r"does not say where it stands written; add that"),
        (limit, "bolt_torque=tight, x", r"is not understood; write it as 'bolt_torque=135 lbf"),
        (limit, "bolt_torque=max 130 to 140 N m, x", r"is not understood; write it as"),
        (limit, "belt=1 N, x", r"limit of 'belt' is not known; known are runout SURFACE, bolt_t"),
        (limit, "runout=1 mm, x", r"limit of 'runout' is not known; known are runout SURFACE"),
        (limit, "", r"limit of '' is not known"),
        (driven_part, "alternator", r"is not understood; write it as 'alternator=2.2' or 'alte"),
        (driven_part, "alternator=2.2, chain 3 mm", r"is not understood; write it as"),
        (driven_part, "alternator=2/1 kg", r"unit 'kg' is no unit of length known here"),
    ],
)
def test_what_is_not_understood(meaning: Any, text: str, said: str) -> None:
    with pytest.raises(EngineError, match=said):
        meaning(text)


def test_statements_are_put_together() -> None:
    one = merged({"name": "e"}, driven_part("pump=1.3"))
    two = merged(one, driven_part("fan=1.1"))
    assert [part["name"] for part in two["driven"]] == ["pump", "fan"]
    limits = merged(limit("runout rim=1 mm, x"), limit("runout face=2 mm, y"))
    assert list(limits["limits"]["runout"]) == ["rim", "face"]
    with pytest.raises(EngineError, match=r"^rim is stated twice; state it once$"):
        merged(limits, limit("runout rim=3 mm, z"))


FULL: dict[str, Any] = {
    "name": "main", "cylinders": 6, "strokes": 4, "firing_order": [1, 2, 3, 4, 5, 6],
    "layout": "vee", "bank_angle_deg": 90, "pins": "shared", "bank_numbering": "across",
    "firing_intervals_deg": [90, 150, 90, 150, 90, 150], "idle_rpm": 700.5,
    "fast_idle_rpm": 1500, "rated_rpm": 1500, "mounts": "resilient", "limit_db": 4.5,
    "small_velocity_mm_s": 0.4,
    "driven": [
        {"name": "alternator", "crank_pulley_mm": 180, "pulley_mm": 82.1, "belt_length_mm": 1250},
        {"name": "pump", "ratio": 1.3},
    ],
    "generator": {"poles": 4, "frequency_hz": 50},
    "damper": {"type": "rubber", "renew_hours": 4500, "renew_years": 5, "renew_source": "a"},
    "limits": {
        "runout": {"rim": {"max": 0.06, "unit": "in", "source": "x"},
                   'odd "name".': {"max": 1e-5, "unit": "m", "source": "y"}},
        "bolt_torque": {"value": 135, "tolerance": 5, "unit": "lbf ft", "source": "# no comment"},
    },
}  # fmt: skip


@pytest.mark.parametrize("values", [FULL, {"name": "e", "cylinders": 4}])
def test_a_written_file_says_what_it_was_given(values: dict[str, Any]) -> None:
    text = engine_file(values, file="engine.toml")
    assert Engine.parse(text) == Engine.of(values)
    longest = max(len(line) for line in text.splitlines() if "{" not in line)
    assert longest <= 80


def test_every_key_stands_in_a_file_as_comment_at_least() -> None:
    text = engine_file({"name": "e", "cylinders": 4}, file="engine.toml")
    for table in (Engine, Damper, DrivenPart, Generator):
        for key in table.model_fields:
            assert key in text, key


def test_the_examples_of_a_file_are_right_themselves() -> None:
    """Whoever takes away every # but those of sentences gets a file that can be read."""
    text = engine_file({"name": "e", "cylinders": 6, "strokes": 4}, file="engine.toml")
    bare = "\n".join(
        line.removeprefix("# ") if line.startswith("# [") or " = " in line else line
        for line in text.splitlines()
    )
    # A generator set has one speed, which the other examples cannot know of.
    engine = Engine.parse(bare.replace("= 1080", "= 1500").replace("= 2600", "= 1500"))
    assert engine.generator is not None
    assert engine.driven[0].belt_order is not None
    assert engine.limits.runout["rim"].max == 0.5


ANY = st.text(st.characters(blacklist_categories=("Cs",)), min_size=1, max_size=30)


@given(name=ANY, source=ANY, surface=ANY, file=ANY)
def test_whatever_people_call_things_is_written_safely(
    name: str, source: str, surface: str, file: str
) -> None:
    values = {
        "name": name,
        "cylinders": 6,
        "limits": {"runout": {surface: {"max": 1.0, "unit": "mm", "source": source}}},
    }
    try:
        wanted = Engine.of(values)
    except EngineError:
        return  # no name: nothing is written
    assert Engine.parse(engine_file(values, file=file)) == wanted


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_no_digit_of_a_number_is_lost(number: float) -> None:
    assert tomllib.loads(f"x = {toml(number)}")["x"] == number


def test_what_has_no_place_in_a_file() -> None:
    with pytest.raises(TypeError, match="has no place in an engine file"):
        toml({"x": None})


def test_a_driven_part_is_told_no_more_than_is_written_of_it() -> None:
    for part in ({"ratio": 2.2}, {"crank_pulley_mm": 180, "pulley_mm": 82}):
        driven = [{"name": "alternator", **part}]
        text = engine_file({"name": "e", "cylinders": 4, "driven": driven}, file="engine.toml")
        assert "both pulleys" not in text
        assert ":\n" not in text


def test_the_command_in_a_file_takes_its_name_as_one_word() -> None:
    first = engine_file({"name": "e", "cylinders": 4}, file="$(reboot) x.toml").splitlines()[0]
    assert "`vibetrend engine add '$(reboot) x.toml'`" in first
