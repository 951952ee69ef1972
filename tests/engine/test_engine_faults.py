"""Every value of an engine file is checked; every error names key, line and what would be right."""

from typing import Any

import pytest

from vibetrend.engine import Engine
from vibetrend.errors import EngineError

FULL = """\
name = "main"
cylinders = 8
firing_order = [1, 8, 4, 3, 6, 5, 7, 2]
layout = "vee"
bank_angle_deg = 90
pins = "shared"
bank_numbering = "across"
firing_intervals_deg = [90, 90, 90, 90, 90, 90, 90, 90]
idle_rpm = 700
fast_idle_rpm = 1500
rated_rpm = 1520
mounts = "resilient"
[[driven]]
name = "alternator"
crank_pulley_mm = 180
pulley_mm = 90
belt_length_mm = 1250
[[driven]]
name = "pump"
ratio = 2.02
crank_pulley_mm = 180
pulley_mm = 90
[generator]
poles = 4
frequency_hz = 50
[damper]
type = "rubber"
renew_hours = 4500
renew_years = 5
renew_source = "manual, sheet 1"
[limits]
runout.rim = { max = 0.060, unit = "in", source = "manual, sheet 4" }
belt_tension_new = { value = 140, unit = "lbf", source = "manual, sheet 5" }
[limits.runout.pulley]
max = 0.002
unit = "in"
source = "manual, sheet 4"
[limits.bolt_torque]
value = 135
tolerance = 5
unit = "lbf ft"
source = "manual, sheet 4"
"""


def test_a_full_file() -> None:
    engine = Engine.parse(FULL)
    assert [part.ratio for part in engine.driven] == [2, 2.02]
    assert engine.generator is not None
    assert engine.generator.governed_rpm == 1500 == engine.usual_rpm
    assert engine.belt_lines == (("alternator belt", pytest.approx(0.452389)),)
    torque = engine.limits.bolt_torque
    assert torque is not None
    assert (torque.low, torque.high, torque.unit) == (130, 140, "lbf ft")
    assert engine.limits.runout["pulley"].high == 0.002
    assert engine.damper.renew_source == "manual, sheet 1"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('pins = "shared"', 'pins = "joint"', r"line 6: pins is 'joint': must be 'shared' or 's"),
        ('"across"', '"round"', r"line 7: bank_numbering is 'round': must be 'across' or 'along'"),
        ('"resilient"', '"soft"', r"line 12: mounts is 'soft': must be 'rigid', 'resilient' or"),
        ("bank_angle_deg = 90", "bank_angle_deg = 200", r"line 5: bank_angle_deg .*; write 160"),
        ("bank_angle_deg = 90", "bank_angle_deg = 0", r"line 5: bank_angle_deg is 0: must be abo"),
        ("firing_order = [1, 8", "firing_order = [1.5, 8", r"line 3: firing_order, entry 1 is 1.5"),
        ("[1, 8, 4, 3, 6, 5, 7, 2]", '"1-8"', r"line 3: firing_order is '1-8': must be a list"),
        ("90, 90]", "90, -90]", r"line 8: firing_intervals_deg, entry 8 is -90: must be 0 or mor"),
        ("90, 90]", "90, 91]", r"line 8: firing_intervals_deg sum to 721; they must sum to 720"),
        ("[90, 90, ", "[180, ", r"line 8: firing_intervals_deg has 7 numbers; write one for each"),
        ("idle_rpm = 700\n", "idle_rpm = 1510\n", r"line 10: fast_idle_rpm is 1500, below idle_rp"),
        ("rated_rpm = 1520", "rated_rpm = 1480", r"line 11: rated_rpm is 1480, below fast_idle_rp"),
        ("idle_rpm = 700\n", "idle_rpm = 70000\n", r"line 9: idle_rpm is 70000: no diesel turns"),
        ("pulley_mm = 90\nbelt", "belt", r"line 13: driven part 1, ratio is missing; add it, or c"),
        ("1250", "300", r"line 17: driven part 1, belt_length_mm: 300 mm is too short: .* 565 mm"),
        ("1250", "-1", r"line 17: driven part 1, belt_length_mm is -1: must be above 0"),
        ("2.02", "2.1", r"line 20: driven part 2, ratio: 2.1 and the pulleys, .* do not agree wit"),
        ('"pump"', '"alternator belt"', r"line 19: 'alternator belt' is what another part's belt"),
        ("poles = 4", "poles = 3", r"line 24: generator.poles is 3: must be an even number"),
        ("poles = 4\n", "", r"line 23: generator.poles is missing; add it"),
        ("poles = 4", "poles = 6", r"line 10: fast_idle_rpm is 1500, but 6 poles at 50 Hz turn a"),
        ("frequency_hz = 50", "frequency_hz = 5000", r"line 25: generator.frequency_hz .* 1000 or"),
        ("frequency_hz = 50", "hz = 50", r".*line 25: generator.hz is not a known key; "),
        ('"manual, sheet 1"', "1", r"line 30: damper.renew_source is 1: must be text in quotes"),
        ("max = 0.060,", "value = 0.060,", r"line 32: limits.runout.rim: only a greatest value .*"
         r"; write max = 0.06"),
        ('0.060, unit = "in"', '0.060, unit = "lbf"', r"line 32: limits.runout.rim.unit: unit 'lb"),
        ('0.060, unit = "in", ', "0.060, ", r"line 32: limits.runout.rim.unit is missing; add it"),
        ('140, unit = "lbf"', '140, units = "lbf"', r".*line 33: limits.belt_tension_new.units is "
         r"not a known key; did you mean unit\?"),
        ("value = 140, ", "", r"line 33: limits.belt_tension_new: there is no number; add value, "),
        ("max = 0.002", "max = -0.002", r"line 35: limits.runout.pulley.max is -0.002: must be ab"),
        ('unit = "in"\nsource', "source", r"line 34: limits.runout.pulley.unit is missing; add it"),
        ("[limits.bolt_torque]", "[limits.bolt_torq]", r"line 38: limits.bolt_torq is not a known"
         r" key; did you mean bolt_torque\?"),
        ("value = 135", "min = 135", r"line 40: limits.bolt_torque.tolerance: a tolerance goes wi"),
        ("value = 135", 'value = "135"', r"line 39: limits.bolt_torque.value is '135': must be a "),
        ("tolerance = 5", "tolerance = 200", r"line 40: limits.bolt_torque.tolerance: 200 must be"),
        ("tolerance = 5", "min = 200\nmax = 100", r"line 38: limits.bolt_torque: the lower end, 2"),
        ('unit = "lbf ft"', 'unit = "kg"', r"line 41: limits.bolt_torque.unit: unit 'kg' is no un"
         r"it of torque known here; write one of N m, "),
        ('ft"\nsource = "manual, sheet 4"', 'ft"', r"line 38: limits.bolt_torque.source is missin"
         r"g; add it: where it stands written"),
    ],
)  # fmt: skip
def test_a_fault_is_named_by_key_and_line(old: str, new: str, said: str) -> None:
    assert FULL.count(old) == 1, "the fault must go in where the line number says"
    with pytest.raises(EngineError, match=rf"^engine file: {said}") as raised:
        Engine.parse(FULL.replace(old, new))
    assert "\n" not in str(raised.value)
    assert "nput should" not in str(raised.value)


START = 'name = "e"\ncylinders = 6\n'


def test_of_many_faults_the_first_are_told() -> None:
    text = START + "".join(f"unknown_{i} = {i}\n" for i in range(300))
    with pytest.raises(EngineError, match=r"line 4: unknown_1 .*; and 298 more$") as raised:
        Engine.parse(text)
    assert len(str(raised.value)) < 1000


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("[damper]\n" + "9" * 5000 + " = 1", r"line 4: damper.'9{50,60}\.\.\. is not a known key"),
        ("x" * 5000 + " = 1", r"line 3: 'x{50,60}\.\.\. is not a known key"),
        ("idle_rpm = " + "[" * 5000, "not valid TOML: it is nested too deeply"),
        ("idle_rpm = " + "9" * 5000, "not valid TOML: a number has too many digits"),
    ],
    ids=["key of digits", "long key", "deep", "long number"],
)
def test_what_is_too_much_is_told_shortly(line: str, said: str) -> None:
    with pytest.raises(EngineError, match=said) as raised:
        Engine.parse(START + line)
    assert len(str(raised.value)) < 500


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('layout = "vee"', r"line 3: layout 'vee' needs bank_angle_deg, the angle between"),
        ("bank_angle_deg = 90", r"line 3: bank_angle_deg goes with layout 'vee' only"),
        ('pins = "split"', r"line 3: pins goes with layout 'vee' only; leave it out, or"),
        ('bank_numbering = "along"', r"line 3: bank_numbering goes with layout 'vee' only"),
        ("driven = 5", r"line 3: driven is 5: must be tables, \[\[driven\]\]"),
        ("[driven]\nratio = 2", r"line 3: driven is \{'ratio': 2\}: must be tables"),
        ("damper = 5", r"line 3: damper is 5: must be a table, \[damper\]"),
        ("[[generator]]\npoles = 4", r"line 3: generator is .*: must be a table, \[generator\]"),
        ("limits.runout = 0.06", r"line 3: limits.runout is 0.06: must be a table, \[limits.run"),
        ("limits.runout.rim = 0.06", r"line 3: limits.runout.rim is 0.06: must be a table, \[li"),
        ("limits.bolt_torque = 5", r"line 3: limits.bolt_torque is 5: must be a table, \[limits"),
        (
            'limits.runout."a\\nb" = {max=1,unit="mm",source="x"}',
            r"line 3: limits.runout.'a..b' is ",
        ),
        (
            'limits.runout.rim = {max=1,unit="mm",source="x"}\n'
            'limits.runout.Rim = {max=1,unit="mm",source="x"}',
            r"line 4: limits.runout.Rim: stands there twice, in other letters; leave one out",
        ),
        ("[damper]\nrated_rpm = 3", r"line 4: damper.rated_rpm .*; it belongs above the first"),
        ("renew_hours = 3", r"line 3: renew_hours is not a known key; it belongs in \[damper\]"),
        ("poles = 4", r"line 3: poles is not a known key; it belongs in \[generator\]"),
        ("belt_length_mm = 4", r"line 3: belt_length_mm .*; it belongs in \[\[driven\]\]"),
        ("belt_lenght_mm = 4", r"line 3: .*; did you mean belt_length_mm in \[\[driven\]\]\?"),
        ("bolt_torque = 4", r"line 3: bolt_torque is not a known key; it belongs in \[limits\]"),
        ("idle_rpm = inf", r"line 3: idle_rpm is inf: must be a number that can be written out"),
        ("idle_rpm = 2026-01-01", r"line 3: idle_rpm is datetime.date.*: must be a number, such"),
        ('[[driven]]\nname="a"\nratio=2\npulley_mm=9', r"line 6: driven part 1, pulley_mm: needs"),
        ('[[driven]]\nname="a"\nratio=2\nbelt_length_mm=9', r"line 6: .* needs crank_pulley_mm"),
    ],
)
def test_what_does_not_go_together_or_stands_in_the_wrong_place(text: str, said: str) -> None:
    with pytest.raises(EngineError, match=rf"^engine file: {said}"):
        Engine.parse(START + text)


def test_an_odd_vee() -> None:
    with pytest.raises(EngineError, match=r"line 2: cylinders is 5: .*; write an even number"):
        Engine.parse('name = "e"\ncylinders = 5\nlayout = "vee"\nbank_angle_deg = 60')


def test_faults_come_in_the_order_of_their_lines() -> None:
    text = FULL.replace("poles = 4", "poles = 5").replace("= 140,", "= -140,")
    with pytest.raises(EngineError, match=r"line 24: .*; line 33: ") as raised:
        Engine.parse(text.replace("idle_rpm = 700\n", "idle_rpm = 0\n"))
    assert str(raised.value).startswith("engine file: line 9: idle_rpm")


OLD = """\
name = "e"
cylinders = 5
bank_angle_deg = 270
idle_rpm = 900
fast_idle_rpm = "800"
"""


@pytest.mark.parametrize("layout", ["vee", "inline"])
def test_what_an_earlier_version_took_can_still_be_read(layout: str) -> None:
    """A logbook's copies of engine files must open with every later version."""
    text = f'{OLD}layout = "{layout}"\n'
    kept = Engine.parse(text, kept=True)
    assert (kept.fast_idle_rpm, kept.bank_angle_deg) == (800, 270)
    with pytest.raises(EngineError, match=r"line 5: fast_idle_rpm is '800': must be a number"):
        Engine.parse(text)
    with pytest.raises(EngineError, match=r"line 5: fast_idle_rpm is 800, below idle_rpm"):
        Engine.parse(text.replace('"800"', "800"))


@pytest.mark.parametrize(
    "line",
    [
        'rated_rpm = "2600"',
        "rated_rpm = true",
        "firing_order = [true, 2]",
        "damper.renew_hours = true",
    ],
)
def test_what_only_looks_like_a_number_is_none(line: str) -> None:
    with pytest.raises(EngineError, match=r"line 3: .*: must be a number"):
        Engine.parse(f'name = "e"\ncylinders = 2\n{line}')


def test_a_kept_file_is_checked_as_it_was() -> None:
    with pytest.raises(EngineError, match=r"line 6: firing_order"):
        Engine.parse(f"{OLD}firing_order = [1, 1, 1, 1, 1]", kept=True)


@pytest.mark.parametrize(
    ("rpm", "right"), [(1500, True), (1545, True), (1456, True), (1546, False), (1450, False)]
)
def test_a_generator_s_speed_may_droop_by_3_percent(rpm: float, right: bool) -> None:
    values: dict[str, Any] = {"name": "e", "cylinders": 4, "fast_idle_rpm": rpm}
    values["generator"] = {"poles": 4, "frequency_hz": 50}
    if right:
        assert Engine.of(values).usual_rpm == 1500
    else:
        with pytest.raises(EngineError, match=r"^fast_idle_rpm is .* turn at 1500 rpm; correct"):
            Engine.of(values)


@pytest.mark.parametrize(
    ("poles", "hertz", "rpm"), [(2, 50, 3000), (4, 50, 1500), (4, 60, 1800), (6, 60, 1200)]
)
def test_governed_speed(poles: int, hertz: float, rpm: float) -> None:
    """120 f / poles: synchronous speed, as any handbook of electrical machines has it."""
    values = {"name": "e", "cylinders": 4, "generator": {"poles": poles, "frequency_hz": hertz}}
    assert Engine.of(values).usual_rpm == rpm


def test_two_parts_on_one_belt_have_one_line() -> None:
    belt = {"crank_pulley_mm": 180, "belt_length_mm": 1250}
    parts = [{"name": "alternator", "ratio": 2.2, **belt}, {"name": "pump", "ratio": 1.3, **belt}]
    other = {"name": "fan", "ratio": 1.1, "crank_pulley_mm": 180, "belt_length_mm": 1100}
    engine = Engine.of({"name": "e", "cylinders": 4, "driven": [*parts, other]})
    assert [name for name, _ in engine.belt_lines] == ["alternator belt", "fan belt"]
