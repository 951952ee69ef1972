"""vibetrend crankshaft, as a person uses it; the engines are invented."""

from pathlib import Path

import pytest
from command_line import CommandLine

from vibetrend.engine import Engine
from vibetrend.runup import naming

FILE = """\
name = "main"
cylinders = 6
firing_order = [1, 5, 3, 6, 2, 4]
idle_rpm = 700
fast_idle_rpm = 1080
rated_rpm = 2600
[damper]
type = "rubber"
"""
SET = 'name = "set"\ncylinders = 4\n[generator]\npoles = 4\nfrequency_hz = 50\n'
VISCOUS = FILE.replace("rubber", "viscous")


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path)


def test_it_says_how_the_crank_twists(run: CommandLine) -> None:
    ran = run("crankshaft", run.write("engine.toml", FILE))
    assert (ran.code, ran.err) == (0, "")
    for said in (
        "An estimate from a chain of inertias and springs",
        "no calculation for class approval",
        "Typical values, which the engine file does not state: stroke, 115 mm",
        "mode 1 141 Hz, 1 node: the damper's own: its ring swings 3.9 times as far as the nose",
        "record more than 282 samples a second",
        "4.5 1883 (3216)",
        "In brackets: outside 700 to 2600 rpm, idle to rated speed",
        "stiffness -10 % -3.3 % -1.2 dB",
        "A steady speed is nearly blind to the damper",
        "A run-up is run out of gear",
        "A trend never proves that a damper is sound",
    ):
        assert said in ran.flat, said


def test_orders_are_strong_or_weak_by_the_rule_of_a_measurement(run: CommandLine) -> None:
    """Order 6.5 of such a six has 0.16 of the largest sum in a linear twist, 4.5 has 0.43."""
    ran = run("crankshaft", run.write("engine.toml", FILE))
    assert "6.5 1303* 2226*" in ran.flat
    assert "4.5 1883 (3216)" in ran.flat
    assert "with one weakly" in ran.flat
    engine = Engine.parse(FILE)
    named = naming.excitable(naming.sums(engine))
    found = run("crankshaft", "engine.toml", "--json").json["critical_speeds"]
    assert named is not None
    assert {row["order"] for row in found if row["strong"]} == {o for o in named if o <= 12}


def test_each_named_ageing_says_what_it_stands_for(run: CommandLine) -> None:
    said = run("crankshaft", run.write("engine.toml", FILE)).flat
    assert "rubber hardening: stiffness +20 %, loss factor -20 %" in said
    assert "bond slipping: 30 % of the bond let go" in said
    assert "--stiffness 0.9, or --loss, --slip." in said
    viscous = run("crankshaft", run.write("v.toml", VISCOUS)).flat
    assert "fluid damping lost: damping -60 %" in viscous
    assert "Your own case: --fluid 0.5." in viscous


def test_an_engine_of_the_logbook(run: CommandLine) -> None:
    run.with_engine()
    ran = run("crankshaft", "main")
    assert ran.code == 0
    assert "firing order, 1-5-3-6-2-4" in ran.flat  # typical: that file states none
    assert run("crankshaft", "port").code == 1


def test_a_change_of_one_s_own(run: CommandLine) -> None:
    ran = run("crankshaft", run.write("engine.toml", FILE), "--stiffness", 0.9)
    assert "What that change of the damper would show" in ran.flat
    assert "mode 1: natural frequency 141.2 136.6 -4.6 Hz" in ran.flat
    assert "mode 1: all its critical speeds -3.3 %" in ran.flat


def test_a_generator_set(run: CommandLine) -> None:
    said = run("crankshaft", run.write("set.toml", SET)).flat
    assert "750 to 1500 rpm, idle to governed speed" in said
    assert "passes these speeds when it starts and stops" in said
    assert "a damper with a rubber ring" in said
    assert "governor allows no run-up" in said
    assert "A slow run-up sees it" not in said
    assert "A run-up is run out of gear" not in said


def test_a_viscous_damper(run: CommandLine) -> None:
    said = run("crankshaft", run.write("engine.toml", VISCOUS)).flat
    assert "the crank's own; the ring in its fluid swings" in said
    assert "fluid damping lost" in said


@pytest.mark.parametrize("columns", [40, 60, 80])
@pytest.mark.parametrize("more", [(), ("--slip", "0.3")])
def test_it_fits_the_terminal(run: CommandLine, columns: int, more: tuple[str, ...]) -> None:
    run.environment["COLUMNS"] = str(columns)
    lines = run("crankshaft", run.write("engine.toml", FILE), *more).out.splitlines()
    assert [line for line in lines if len(line) > columns] == []
    assert [line for line in lines if line != line.rstrip()] == []


def test_json(run: CommandLine) -> None:
    found = run("crankshaft", run.write("e.toml", FILE), "--json", "--loss", 0.5).json
    assert set(found) == {
        *("name", "idle_rpm", "rated_rpm", "places", "modes", "critical_speeds", "ageing"),
        *("change", "seen", "typical", "cautions"),
    }
    assert found["modes"][0]["frequency_hz"] == pytest.approx(141.2, abs=0.1)
    assert len(found["modes"][0]["swings"]) == len(found["places"]) == 9
    assert found["change"] == {"loss_factor": 0.5}
    row = found["critical_speeds"][0]
    assert set(row) == {
        *("mode", "frequency_hz", "order", "speed_rpm", "vector_sum", "drives", "strong", "within"),
    }


@pytest.mark.parametrize(
    ("more", "code", "said"),
    [
        (("--slip", "1"), 1, "it is a share, 0 or more and below 1"),
        (("--fluid", "0.5"), 1, "has a ring on rubber, so its fluid cannot change"),
        (("--stiffness", "0"), 2, "not in the range"),
    ],
)
def test_what_cannot_be(run: CommandLine, more: tuple[str, ...], code: int, said: str) -> None:
    ran = run("crankshaft", run.write("engine.toml", FILE), *more)
    assert (ran.code, ran.out) == (code, "")
    assert said in ran.err
