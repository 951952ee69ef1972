"""engine new and engine show, as a person uses them; the limits are invented or common practice."""

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from command_line import ENGINE, CommandLine

from vibetrend.cli import asking, cli
from vibetrend.engine import Engine

FIRST = ("--name", "port", "--cylinders", 6, "--strokes", 4, "--fast-idle-rpm", 1000)
FIRST = (*FIRST, "--damper", "rubber")


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path)


def answered(path: Path, *answers: str, **options: Any) -> Result:
    """Answer the questions at a terminal that follow the first five."""
    arguments = ["engine", "new", "--output", path, *FIRST]
    arguments += [part for key, value in options.items() for part in (f"--{key}", value)]
    return CliRunner().invoke(cli, list(map(str, arguments)), input="\n".join([*answers, ""]))


@pytest.fixture
def _terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(asking, "is_terminal", lambda: True)


# engine new


def test_everything_by_options(run: CommandLine) -> None:
    made = run(
        *("engine", "new", *FIRST, "--firing-order", "1-2-3-4-5-6", "--bank-angle", 90),
        *("--pins", "shared", "--bank-numbering", "across", "--idle-rpm", 700),
        *("--rated-rpm", 2600, "--mounts", "resilient", "--limit-db", 4, "--small-velocity", 0.5),
        *("--driven", "alternator=180/90 mm, belt 1250 mm", "--driven", "pump=1.3"),
        *("--limit", "bolt_torque=135 lbf ft, manual", "--limit", "runout rim=0.06 in, manual"),
        *("--renew-hours", 4500, "--renew-years", 5, "--renew-source", "manual, sheet 1"),
        *("--firing-intervals", "90,150,90,150,90,150"),
    )
    assert (made.code, made.err) == (0, "")
    engine = Engine.load(run.folder / "engine.toml")
    assert engine.firing_order == (1, 2, 3, 4, 5, 6)
    assert (engine.layout, engine.bank_angle_deg, engine.pins) == ("vee", 90, "shared")
    assert (engine.bank_numbering, engine.mounts) == ("across", "resilient")
    assert engine.firing_intervals_deg == (90, 150, 90, 150, 90, 150)
    assert (engine.idle_rpm, engine.rated_rpm, engine.limit_db) == (700, 2600, 4)
    assert [(part.name, part.ratio) for part in engine.driven] == [("alternator", 2), ("pump", 1.3)]
    assert engine.limits.runout["rim"].words == "at most 0.06 in"
    assert engine.damper.model_dump(exclude_none=True) == {
        "type": "rubber", "renew_hours": 4500, "renew_years": 5, "renew_source": "manual, sheet 1",
    }  # fmt: skip


def test_a_generator_set_by_options(run: CommandLine) -> None:
    made = run("engine", "new", *FIRST, "--generator", "4 poles, 50 Hz")
    assert (made.code, made.out) == (1, "")
    assert "fast_idle_rpm is 1000, but 4 poles at 50 Hz turn at 1500 rpm" in made.err
    made = run("engine", "new", *FIRST, "--fast-idle-rpm", 1500, "--generator", "4 50")
    assert made.code == 0
    assert "recorded at its governed speed, 1500 rpm, unloaded, breaker open" in _flat(made.out)


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("--firing-order", "1-2-3"), 1, "firing_order [1, 2, 3] must name each cylinder"),
        (("--pins", "shared"), 1, "pins goes with layout 'vee' only"),
        (("--limit", "bolt_torque=135, x"), 1, "has no unit"),
        (("--limit", "bolt_torque=135 kg, x"), 1, "unit 'kg' is no unit of torque"),
        (("--driven", "alternator"), 1, "is not understood; write it as 'alternator=2.2'"),
        (("--rated-rpm", 900), 1, "rated_rpm is 900, below fast_idle_rpm, 1000"),
        (("--fast-idle-rpm", -1), 2, "-1.0 is not in the range"),
        (("--bank-angle", 270), 2, "270.0 is not in the range"),
        (("--output", "nowhere/engine.toml"), 1, "cannot be written (No such file or directory)"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_written(
    run: CommandLine, arguments: tuple[object, ...], code: int, said: str
) -> None:
    made = run("engine", "new", *FIRST, *arguments)
    assert (made.code, made.out) == (code, "")
    assert said in made.err
    assert list(run.folder.iterdir()) == []


def test_what_the_model_of_the_twist_takes_is_told(run: CommandLine) -> None:
    bare = 'name = "main"\ncylinders = 6\n[damper]\ntype = "rubber"\n'
    run("engine", "add", run.write("main.toml", bare))
    assert "nothing of crankshaft and ring is stated" in run("engine", "show", "main").flat
    stated = f"{bare}ring_inertia_kg_m2 = 0.06\n[crankshaft]\nstroke_mm = 120\n"
    run("engine", "add", run.write("main.toml", stated))
    assert "twist crankshaft.stroke_mm, damper.ring_inertia_kg_m2;" in (
        run("engine", "show", "main").flat
    )


def test_a_new_file_has_the_keys_of_the_twist_as_comments(run: CommandLine) -> None:
    assert run("engine", "new", *FIRST, "--output", "new.toml").code == 0
    text = (run.folder / "new.toml").read_text(encoding="utf-8")
    for key in ("[crankshaft]", "inertias_kg_m2", "stroke_mm", "ring_stiffness_nm_rad"):
        assert f"# {key}" in text


def test_a_fast_idle_on_mains_is_told_at_once(run: CommandLine) -> None:
    out = _flat(run("engine", "new", *FIRST).out)
    assert out.startswith("Wrote engine.toml. Look it over, then: vibetrend engine add engine.toml")
    assert "at 1000 rpm order 3 is exactly 50.0 Hz: 50 Hz mains" in out
    assert "Better record at 1060 rpm" in out
    clear = run("engine", "new", *FIRST, "--fast-idle-rpm", 1080, "--output", "b.toml").out
    assert "Recording speed" not in clear


@pytest.mark.usefixtures("_terminal")
def test_every_question_can_be_skipped(run: CommandLine) -> None:
    path = run.folder / "port.toml"
    done = answered(path, *[""] * 40)
    assert done.exit_code == 0, done.output
    assert Engine.load(path) == Engine.parse(
        'name = "port"\ncylinders = 6\nfast_idle_rpm = 1000\ndamper.type = "rubber"'
    )
    questions = [line for line in done.output.splitlines() if line.endswith(": ")]
    assert len(questions) == 12
    assert all("(Enter" in question for question in questions)


def new(path: Path, typed: str, *arguments: object) -> Result:
    command = map(str, ("engine", "new", "--output", path, *arguments))
    return CliRunner().invoke(cli, list(command), input=typed)


def test_without_a_terminal_what_has_a_default_need_not_be_stated(run: CommandLine) -> None:
    path = run.folder / "a.toml"
    made = new(path, "", "--cylinders", 6, "--fast-idle-rpm", 1000)
    assert made.exit_code == 0, made.output
    engine = Engine.load(path)
    assert (engine.name, engine.strokes, engine.damper.type) == ("main", 4, "unknown")
    made = new(run.folder / "b.toml", "", "--cylinders", 6, "--generator", "4 50")
    assert made.exit_code == 0, made.output  # its speed is known


@pytest.mark.parametrize(
    ("typed", "arguments", "missing"),
    [
        ("", ("--name", "main"), "--cylinders"),
        ("main\n", (), "--cylinders"),
        ("main\n6\n4\n", (), "--fast-idle-rpm"),
        ("\n" * 3, ("--cylinders", 6), "--fast-idle-rpm"),
    ],
)
def test_without_a_terminal_the_missing_option_is_named(
    run: CommandLine, typed: str, arguments: tuple[object, ...], missing: str
) -> None:
    made = new(run.folder / "a.toml", typed, *arguments)
    assert made.exit_code == 2
    assert f"Missing option '{missing}'" in made.stderr
    assert list(run.folder.iterdir()) == []


def test_a_job_without_input_is_asked_nothing(run: CommandLine) -> None:
    """What a shell does with < /dev/null, and with a pipe that nobody writes to."""
    made = run.process("engine", "new", "--name", "main")
    assert (made.code, made.out) == (2, "")
    assert "Missing option '--cylinders'" in made.err


@pytest.mark.usefixtures("_terminal")
@pytest.mark.parametrize("typed", ["main\n6\n\n\n" + "\n" * 40, "main\n6\n", "\n6\n2"])
def test_at_a_terminal_name_and_cylinders_are_enough(run: CommandLine, typed: str) -> None:
    path = run.folder / "a.toml"
    made = new(path, typed)
    assert made.exit_code == 0, made.output
    engine = Engine.load(path)
    assert (engine.name, engine.cylinders, engine.fast_idle_rpm) == ("main", 6, None)
    assert (engine.strokes, engine.damper.type) == (2 if typed.endswith("2") else 4, "unknown")
    assert ("Fast idle, rpm" in made.output) == typed.endswith("\n\n")


@pytest.mark.usefixtures("_terminal")
def test_the_questions_ask_again_until_the_answer_fits(run: CommandLine) -> None:
    path = run.folder / "port.toml"
    done = answered(
        path,
        *("", "", "1-5-3-6-2-2", "1-5-3-6-2-4"),
        *("90", "both", "shared", "across"),
        *("1100", "700", "fast", "2600"),
        *("4 50", "", "resilient"),
        *("pump=0", "pump=1.3", "pump=1.4", "alternator=2.2", ""),
        *("bolt_torque=135 kg, sheet 4", "bolt_torque=135 lbf ft, sheet 4", ""),
        *("4500", "", 'sheet "1"'),
    )
    assert done.exit_code == 0, done.output
    assert done.output.count("Error: ") == 8
    for said in (
        "must name each cylinder from 1 to 6 exactly once",
        "'both' is not one of 'shared', 'split'",
        "fast_idle_rpm is 1000, below idle_rpm, 1100",
        "'fast' is not a valid float",
        "4 poles at 50 Hz turn at 1500 rpm",
        "driven part 1, ratio is 0.0: must be above 0",
        "two driven parts have the same name, 'pump'",
        "unit 'kg' is no unit of torque",
    ):
        assert said in done.output
    engine = Engine.load(path)
    assert (engine.firing_order, engine.bank_angle_deg) == ((1, 5, 3, 6, 2, 4), 90)
    assert (engine.pins, engine.bank_numbering) == ("shared", "across")
    assert (engine.idle_rpm, engine.rated_rpm, engine.generator) == (700, 2600, None)
    assert [part.name for part in engine.driven] == ["pump", "alternator"]
    assert engine.limits.bolt_torque is not None
    assert (engine.damper.renew_hours, engine.damper.renew_source) == (4500, 'sheet "1"')


@pytest.mark.usefixtures("_terminal")
def test_the_end_of_input_leaves_the_rest_open(run: CommandLine) -> None:
    path = run.folder / "port.toml"
    done = answered(path, "4.5")
    assert done.exit_code == 0, done.output
    assert Engine.load(path).limit_db == 4.5


@pytest.mark.usefixtures("_terminal")
def test_what_an_option_states_is_not_asked(run: CommandLine) -> None:
    path = run.folder / "port.toml"
    options = {"firing-order": "1-5-3-6-2-4", "mounts": "rigid", "bank-angle": 90}
    done = answered(path, *[""] * 40, **options)
    assert done.exit_code == 0, done.output
    for asked in ("Firing order", "Mounts", "Angle between"):
        assert asked not in done.output
    assert "Crank pins" in done.output


def test_an_existing_file_is_told_before_the_questions(run: CommandLine) -> None:
    run.write("engine.toml", "kept")
    made = run("engine", "new", *FIRST)
    assert (made.code, "is there already; choose another with --output" in made.err) == (1, True)
    assert (run.folder / "engine.toml").read_text(encoding="utf-8") == "kept"


# engine show

FULL = """\
name = "main"
cylinders = 6
firing_order = [1, 5, 3, 6, 2, 4]
idle_rpm = 700
fast_idle_rpm = 1000
rated_rpm = 2600
mounts = "resilient"
[[driven]]
name = "alternator"
crank_pulley_mm = 180
pulley_mm = 90
belt_length_mm = 1250
[damper]
type = "rubber"
renew_hours = 4500
renew_years = 5
renew_source = "manual, sheet 1"
[limits]
runout.Rim = { max = 0.060, unit = "in", source = "manual, sheet 4" }
bolt_torque = { value = 135, tolerance = 5, unit = "lbf ft", source = "manual, sheet 4" }
"""


def _flat(text: str) -> str:
    return " ".join(text.split())


def test_an_engine_in_plain_words(run: CommandLine) -> None:
    run("engine", "add", run.write("full.toml", FULL))
    shown = run("engine", "show", "main")
    assert (shown.code, shown.err) == (0, "")
    assert max(map(len, shown.out.splitlines())) <= 91  # of 92 columns
    out = _flat(shown.out)
    for said in (
        "6 cylinders in line, four-stroke",
        "1-5-3-6-2-4, every 120 degrees.",
        "idle 700, fast idle 1000, rated 2600 rpm",
        "alternator at 2 times crank speed, pulleys 180 and 90 mm, belt 1250 mm",
        "rubber; to be renewed after 4500 hours or 5 years, whichever comes first (manual, sh",
        "Firing order 3: 50.0 Hz at 1000 rpm",
        "0.4524 7.5 – – belt alternator belt going round",
        "1.5 25.0 0.00 9.00 minor cylinders that work unevenly",
        "3 50.0 6.00 21.00 major firing",
        "order 3 is exactly 50.0 Hz",
        "Better record at 1060 rpm",
        "Rim run-out at most 0.06 in (manual, sheet 4)",
        "bolt torque 135 ± 5 lbf ft (manual, sheet 4)",
        "Not known: face run-out, pulley run-out, bolt angle",
        "Without the maker's figure nothing is judged there.",
    ):
        assert said in out
    assert "casing" not in out  # of viscous dampers only


def test_little_is_known_of_a_small_file(run: CommandLine) -> None:
    run.write("small.toml", 'name = "small"\ncylinders = 1\n')
    out = _flat(run("engine", "show", "small.toml").out)
    for said in (
        "1 cylinder in line",
        "order not stated, every 720 degrees",
        "type not known; the maker's renewal interval is not known",
        "Firing order 0.5: state fast_idle_rpm to see its frequency",
        "Recording speed: state fast_idle_rpm",
        "The maker's limits: none is stated.",
        "loss of viscosity",
    ):
        assert said in out


def test_a_generator_set_in_plain_words(run: CommandLine) -> None:
    run.write("g.toml", 'name = "g"\ncylinders = 6\n[generator]\npoles = 4\nfrequency_hz = 60\n')
    out = _flat(run("engine", "show", "g.toml").out)
    assert "a generator of 4 poles at 60 Hz: governed at 1800 rpm" in out
    assert out.count("includes the generator's own") == 2  # orders 2 and 4
    assert "unloaded, breaker open, with shore power off" in out


def test_no_better_speed_is_said(run: CommandLine) -> None:
    run.write("a.toml", ENGINE.replace("1080", "1000\nidle_rpm = 995\nrated_rpm = 1000"))
    assert "No speed near it is better" in _flat(run("engine", "show", "a.toml").out)
    run.write("b.toml", ENGINE.replace("1080", "1000\nidle_rpm = 985\nrated_rpm = 1025"))
    assert "the best there is near it, although order 3" in _flat(
        run("engine", "show", "b.toml").out
    )


def test_a_file_is_shown_without_a_logbook(run: CommandLine) -> None:
    (run.folder / "sub").mkdir()
    (run.folder / "sub" / "plain").write_text(ENGINE, encoding="utf-8")
    run.write("a.toml", ENGINE)
    for name in ("a.toml", "sub/plain"):
        assert "Firing order 3: 54.0 Hz at 1080 rpm" in run("engine", "show", name).out
    assert not (run.folder / "logbook").exists()
    missing = run("engine", "show", "b.toml")
    assert missing.err.startswith("vibetrend: b.toml: the engine file cannot be read (No such file")


def test_the_file_as_it_was_written(run: CommandLine) -> None:
    text = "# my own words\n" + ENGINE
    run("engine", "add", run.write("a.toml", text))
    assert run("engine", "show", "main", "--file").out == text


def test_json_adds_orders_and_speed_to_the_description(run: CommandLine) -> None:
    run("engine", "add", run.write("full.toml", FULL))
    told = run("engine", "show", "main", "--json").json
    described = json.loads(Engine.parse(FULL).model_dump_json())
    assert {key: told[key] for key in described} == described
    order = next(each for each in told["expected_orders"] if each["order"] == 1.5)
    assert order == {
        "order": 1.5, "frequency_hz": 25.0, "role": "minor", "phase_sum": 0.0, "twist_sum": 9.0,
        "speaks_of": "cylinders that work unevenly", "note": None,
    }  # fmt: skip
    speed = told["recording_speed"]
    assert (speed["rpm"], speed["present_rpm"], speed["governed"]) == (1060, 1000, False)
    assert speed["conflicts"][0] == {
        "order": 3.0, "frequency_hz": 50.0, "what": "mains", "at_hz": 50.0, "source": 50.0,
        "apart_percent": 0.0,
    }  # fmt: skip
    assert told["firing"]["intervals_deg"] == [120] * 6
