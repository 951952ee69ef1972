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


@pytest.mark.parametrize("manner", ["run-up", "coast-down"])
def test_a_sweep_is_written_with_its_truth(run: CommandLine, manner: str) -> None:
    engine = run.write("engine.toml", ENGINE)
    common = ("simulate", "--engine", engine, "--manner", manner, "--seconds", 6, "--rate", 2000)
    ran = run(*common, "--output", "sweep.flac")
    assert (ran.code, ran.err) == (0, "")
    said = " ".join(ran.out.split())
    assert said.startswith("Wrote sweep.flac (invented): ")
    assert f"--manner {manner} --rpm " in said
    assert (run.folder / "sweep.flac").stat().st_size < 60_000

    new = run(*common, "--output", "new.csv", "--json").json
    soft = run(*common, "--output", "soft.csv", "--stiffness", 0.8, "--json").json
    warm = run(*common, "--output", "warm.csv", "--damper-c", 60, "--json").json
    lowest = [each["natural_frequencies_hz"][0] for each in (soft, warm, new)]
    assert lowest == sorted(lowest)
    assert (new["end_rpm"] > new["start_rpm"]) == (manner == "run-up")
    assert new["tag_rpm"] == pytest.approx(new["start_rpm"], rel=0.15)
    assert new["unit"] == "m/s^2"
    peaks = {peak["order"]: peak["speed_rpm"] for peak in new["peaks"]}
    critical = 60 * new["natural_frequencies_hz"][0] / 4.5
    assert peaks[4.5] == pytest.approx(critical, rel=0.03)  # well damped


def test_a_wobbling_ring_shows_in_order_1_at_one_speed(run: CommandLine) -> None:
    engine = run.write("engine.toml", ENGINE)
    common = ("simulate", "--engine", engine, "--seconds", 5, "--json", "--output")
    plain = run(*common, "a.csv").json["orders"]
    aged = run(*common, "b.csv", "--ageing", "bond slipping").json["orders"]
    moved = [
        one["order"]
        for one, two in zip(plain, aged, strict=True)
        if two["amplitude"] > 1.5 * one["amplitude"]
    ]
    assert moved == [1.0]


@pytest.mark.parametrize(
    ("options", "code", "said"),
    [
        (["--manner", "run-up", "--rpm", "2000", "--end-rpm", "900"], 2, "rpm is no run-up; swap"),
        (["--manner", "run-up", "--twist-share", "2"], 1, "the twist's share is 2"),
        (["--manner", "run-up", "--stiffness", "0"], 2, "0.01<=x<=100"),
        (["--ageing", "rust"], 1, "no ageing is called 'rust'; choose rubber hardening"),
        (["--ageing", "bond slipping", "--degree", "nan"], 1, "the degree of ageing is nan"),
    ],
)
def test_what_cannot_be_swept_is_said(
    run: CommandLine, options: list[str], code: int, said: str
) -> None:
    engine = run.write("engine.toml", ENGINE)
    ran = run("simulate", "--engine", engine, "--output", "a.csv", "--seconds", 6, *options)
    assert ran.code == code
    assert said in " ".join(ran.err.split())
    assert not (run.folder / "a.csv").exists()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--stiffness", 0.9), "--stiffness shows in a sweep only; add --manner run-up"),
        (("--damper-c", 40, "--manner", "steady"), "--damper-c shows in a sweep only"),
        (("--end-rpm", 2000), "--end-rpm shows in a sweep only"),
        (("--ageing", "rubber hardening"), "does not show at a steady speed"),
        (("--picture", "x.svg"), "--picture goes with --how-early"),
    ],
)
def test_what_would_be_left_out_is_refused(
    run: CommandLine, options: tuple[object, ...], said: str
) -> None:
    engine = run.write("engine.toml", ENGINE)
    ran = run("simulate", "--engine", engine, "--output", "a.csv", *options)
    assert ran.code == 2
    assert said in " ".join(ran.err.split())
    assert not (run.folder / "a.csv").exists()


def test_how_early_takes_no_ageing_and_writes_no_pdf(run: CommandLine) -> None:
    common = ("simulate", "--how-early", "--engine", run.write("engine.toml", ENGINE))
    for more, said in (
        (("--stiffness", 0.9), "--stiffness has no part in --how-early"),
        (("--picture", "early.pdf"), "--picture writes SVG; early.pdf has another ending"),
    ):
        ran = run(*common, *more)
        assert ran.code == 2
        assert said in " ".join(ran.err.split())
    assert not (run.folder / "early.pdf").exists()


def test_how_early_is_a_table_and_a_picture(run: CommandLine) -> None:
    engine = run.write("engine.toml", ENGINE)
    common = ("simulate", "--how-early", "--engine", engine)
    ran = run(*common, "--sound", "--picture", "early.svg")
    assert (ran.code, ran.err) == (0, "")
    for part in (
        *("rubber hardening:", "critical speed", "h, with stiffness", "not noticed", "assumed:"),
        *("typical values stand in for", "never proves", "the picture: "),
    ):
        assert part in " ".join(ran.out.lower().split())
    assert "rubber hardening" in (run.folder / "early.svg").read_text(encoding="utf-8")
    wide = [line for line in ran.out.splitlines() if len(line) > 92]
    assert wide == []
    slow = run(*common, "--rate", 200)
    assert "200 samples a second show nothing above 100 Hz" in " ".join(slow.out.split())


def test_how_early_as_json_keeps_to_habits(run: CommandLine) -> None:
    engine = run.write("engine.toml", ENGINE)
    common = ("simulate", "--how-early", "--engine", engine, "--sound", "--json")
    usual, eager = (run(*common, *more).json for more in ((), ("--sweeps", 9, "--every", 50)))

    def hours(found: dict[str, list[dict[str, str | float | None]]]) -> float:
        row = next(row for row in found["how_early"] if row["observable"] == "critical speed")
        assert isinstance(row["hours"], float)
        return row["hours"]

    assert hours(eager) < hours(usual)
    assert any("every 50 h" in said for said in eager["assumptions"])
    ran = run("simulate", "--how-early")
    assert ran.code == 2
    assert "or --engine FILE and --how-early" in " ".join(ran.err.split())
    ran = run(*common, "--pace", 0)
    assert ran.code == 1
    assert "the pace is 0 %" in ran.err
