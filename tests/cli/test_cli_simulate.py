"""`vibetrend simulate`: a file whose truth `measure` finds again."""

from pathlib import Path

import pytest
from command_line import ENGINE, CommandLine
from numpy.testing import assert_allclose


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path)


@pytest.mark.parametrize("name", ["clip.csv", "clip.csv.gz", "clip.flac", "clip.wav"])
def test_what_was_simulated_is_measured(run: CommandLine, name: str) -> None:
    engine = run.write("engine.toml", ENGINE)
    truth = run(
        *("simulate", "--engine", engine, "--output", name, "--rpm", 1071, "--seconds", 15),
        *("--change", 2.5, 6, "--seed", 4, "--json"),
    ).json
    assert truth["path"] == name
    found = run("measure", name, "--rpm", 1080, "--engine", engine, "--json").json
    speed = found["speed"]
    assert abs(speed["rpm"] - truth["rpm"]) < max(4 * speed["standard_error_rpm"], 0.1)
    measured = {row["order"]: row for row in found["orders"] if row["visible"]}
    assert {0.5, 1, 2.5, 3} <= set(measured)
    assert found["recording"]["unit"] == truth["unit"]
    for order in truth["orders"]:
        if row := measured.get(order["order"]):
            # Four standard errors, and 2 % for how the order breathes through the recording.
            room = 4 * row["standard_error"] + 0.02 * order["amplitude"]
            assert_allclose(row["amplitude"], order["amplitude"], rtol=0, atol=room)


def test_a_change_is_in_the_truth(run: CommandLine) -> None:
    """6.0206 dB is twice the amplitude: 20 lg 2."""
    engine = run.write("engine.toml", ENGINE)
    common = ("simulate", "--engine", engine, "--seconds", 5, "--json", "--output")
    plain = run(*common, "a.csv").json["orders"]
    doubled = run(*common, "b.csv", "--change", 1.5, 6.0206).json["orders"]
    ratio = {
        one["order"]: two["amplitude"] / one["amplitude"]
        for one, two in zip(plain, doubled, strict=True)
    }
    assert_allclose(ratio.pop(1.5), 2, rtol=1e-5)
    assert_allclose(list(ratio.values()), 1, rtol=1e-12)


def test_the_same_seed_makes_the_same_file(run: CommandLine) -> None:
    engine = run.write("engine.toml", ENGINE)
    for name, seed in (("a.csv", 1), ("b.csv", 1), ("c.csv", 2)):
        ran = run(
            *("simulate", "--engine", engine, "--output", name, "--seconds", 5, "--seed", seed)
        )
        assert (ran.code, ran.err) == (0, "")
        assert ran.out.startswith(f"Wrote {name} (invented): 10")
    a, b, c = ((run.folder / name).read_bytes() for name in ("a.csv", "b.csv", "c.csv"))
    assert a == b != c


def test_nothing_is_overwritten(run: CommandLine) -> None:
    engine = run.write("engine.toml", ENGINE)
    kept = run.write("clip.csv", "mine")
    ran = run("simulate", "--engine", engine, "--output", kept, "--seconds", 5)
    assert ran.code == 2
    assert "is there already" in ran.err
    assert kept.read_text(encoding="utf-8") == "mine"
    ran = run("simulate", "--demo", run.folder)
    assert (ran.code, len(ran.err.splitlines())) == (1, 1)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--output", "clip.txt"], "name the table .csv or .csv.gz"),
        (["--output", "a.csv", "--change", "99", "3"], "order 99 is not simulated"),
        (["--output", "a.csv", "--seconds", "nan"], "seconds is nan; a number above 0"),
        (["--output", "a.csv", "--seconds", "0.01"], "fewer than two turns"),
        (["--output", "a.csv", "--rate", "-1"], "rate is -1; a number above 0"),
        (["--output", "a.flac", "--rate", "8000.5"], "a whole rate in Hz"),
    ],
)
def test_what_cannot_be_simulated_is_one_line(
    run: CommandLine, options: list[str], said: str
) -> None:
    engine = run.write("engine.toml", ENGINE)
    ran = run("simulate", "--engine", engine, "--seconds", 5, *options)
    assert (ran.code, ran.out) == (1, "")
    assert said in ran.err
    assert len(ran.err.splitlines()) == 1


def test_without_a_speed_there_is_nothing_to_simulate(run: CommandLine) -> None:
    engine = run.write("engine.toml", 'name = "e"\ncylinders = 4\n')
    ran = run("simulate", "--engine", engine, "--output", "a.csv")
    assert ran.code == 1
    assert "no fast_idle_rpm; add it, or give --rpm" in ran.err


def test_a_generator_set_runs_at_its_governed_speed(run: CommandLine) -> None:
    """120 f / poles: 4 poles at 50 Hz turn at 1500 rpm."""
    text = 'name = "e"\ncylinders = 4\n[generator]\npoles = 4\nfrequency_hz = 50\n'
    ran = run(
        "simulate", "--engine", run.write("set.toml", text), "--output", "a.csv", "--seconds", 5
    )
    assert "1500.000 rpm" in ran.out


@pytest.mark.parametrize(
    "options", [["--output", "a.csv", "--seed", "-1"], ["--output", "gone/a.csv"]]
)
def test_a_bad_seed_or_place_is_one_line(run: CommandLine, options: list[str]) -> None:
    engine = run.write("engine.toml", ENGINE)
    ran = run("simulate", "--engine", engine, "--seconds", 5, *options)
    assert ran.code in (1, 2)
    assert "Traceback" not in ran.err
