"""`vibetrend measure`: the JSON of the contract, and what happens to files that are none."""

import random
from pathlib import Path

import pytest
from command_line import ENGINE, CommandLine

# design.md, section 4, "JSON of `vibetrend measure --json`"
KEYS = {"recording", "speed", "orders", "driven", "overall", "quality", "method_version"}
RECORDING = {
    *("path", "sha256", "kind", "unit", "manner", "sample_rate_hz", "duration_s", "axes"),
}
SPEED = {
    *("tag_rpm", "rpm", "standard_error_rpm", "spread_percent", "method", "candidates_rpm"),
}
ORDER = {
    *("order", "frequency_hz", "amplitude", "standard_error", "floor", "unit"),
    *("variation_percent", "velocity_mm_s", "visible", "reason", "by_axis"),
}


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path)


def test_json_of_one_file_is_one_object(run: CommandLine) -> None:
    engine = run.write("engine.toml", ENGINE + '[[driven]]\nname = "alternator"\nratio = 2.37\n')
    ran = run("measure", run.clip(), "--rpm", 1080, "--engine", engine, "--json")
    assert (ran.code, ran.err) == (0, "")
    told = ran.json
    assert set(told) >= KEYS
    assert set(told["recording"]) == RECORDING
    assert set(told["speed"]) == SPEED
    assert all(set(row) >= ORDER for row in told["orders"])
    assert all(set(row) >= ORDER | {"name"} for row in told["driven"])
    assert all(set(row) == {"name", "band_hz", "value", "unit"} for row in told["overall"])
    assert all(set(row) == {"code", "severity", "message"} for row in told["quality"])
    assert {row["severity"] for row in told["quality"]} <= {"note", "warning", "unusable"}
    assert told["method_version"] >= 1
    assert [row["order"] for row in told["orders"]] == [half / 2 for half in range(1, 25)]
    assert [row["name"] for row in told["driven"]] == ["alternator"]
    assert told["recording"]["axes"] == ["x", "y", "z"]
    for row in told["orders"]:
        assert row["visible"] is (row["reason"] is None)
        # Half of 200 samples per second is order 5.6 at 18 Hz a turn; those above fold down.
        assert (row["folded_hz"] is None) is (row["order"] <= 5.5)


def test_json_of_several_files_is_an_array(run: CommandLine) -> None:
    first, second = run.clip("1.csv", seed=1), run.clip("2.csv", seed=2)
    told = run("measure", first, second, "--rpm", 1080, "--json").json
    assert [each["recording"]["path"] for each in told] == [str(first), str(second)]
    assert told[0]["recording"]["sha256"] != told[1]["recording"]["sha256"]


def test_files_that_are_none_do_not_stop_the_others(run: CommandLine) -> None:
    good = run.clip()
    garbage = run.folder / "garbage.csv"
    garbage.write_bytes(bytes(range(256)) * 20)
    empty = run.write("empty.csv", "")
    ran = run("measure", "missing.csv", garbage, good, empty, "--rpm", 1080, "--json")
    assert ran.code == 1
    assert [each["recording"]["path"] for each in ran.json] == [str(good)]
    lines = ran.err.splitlines()
    assert len(lines) == 3
    for name, line in zip(("missing.csv", str(garbage), str(empty)), lines, strict=True):
        assert line.startswith(f"vibetrend: {name}: ")
        assert len(line) > len(f"vibetrend: {name}: ") + 10


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "no such file"),
        (b"", "empty"),
        (bytes(range(256)) * 9, "not a recording"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj \x00\x01\xff", "a PDF document"),
        (b"RIFF\x00\x00\x00\x00WAVEnothing", ""),
        (b"time,acceleration\n", ""),
    ],
)
def test_a_file_that_is_none_is_one_plain_line(
    run: CommandLine, content: bytes | None, said: str
) -> None:
    path = run.folder / "clip.csv"
    if content is not None:
        path.write_bytes(content)
    for arguments in ((), ("--json",)):
        ran = run("measure", path, "--rpm", 1080, *arguments)
        assert (ran.code, ran.out) == (1, "")
        assert len(ran.err.splitlines()) == 1
        assert ran.err.startswith(f"vibetrend: {path}: ")
        assert said in ran.err
        assert "Traceback" not in ran.err


def test_an_unusable_recording_is_still_printed(run: CommandLine) -> None:
    rng = random.Random(1)  # the engine is off: noise alone
    rows = [f"{i / 200:.4f},{rng.gauss(0, 0.01):.4f}" for i in range(2400)]
    path = run.write("still.csv", "\n".join(["time (s),ax (m/s^2)", *rows]) + "\n")
    ran = run("measure", path, "--rpm", 1080, "--json")
    assert (ran.code, ran.err) == (0, "")
    assert "unusable" in {note["severity"] for note in ran.json["quality"]}
    assert "UNUSABLE" in run("measure", path, "--rpm", 1080).out


def test_the_words_say_speed_orders_and_doubts(run: CommandLine) -> None:
    ran = run("measure", run.clip(), "--rpm", 1080)
    assert ran.code == 0
    assert "speed 1080" in ran.out
    assert "from harmonics" in ran.out
    assert "phase: degrees of its own cycle after order 3" in ran.out
    assert "note (rate-too-low)" in ran.out


def test_the_engine_may_come_from_the_logbook(run: CommandLine) -> None:
    ran = run.with_engine()("measure", run.clip(), "--rpm", 1080, "--engine", "main")
    assert ran.code == 0
    ran = run("measure", run.clip(), "--rpm", 1080, "--engine", "nobody")
    assert ran.code == 1
    assert "engine 'nobody' is not in the logbook" in ran.err
    ran = run("measure", run.clip(), "--rpm", 1080, "--engine", "gone.toml")
    assert ran.err.startswith("vibetrend: gone.toml: the engine file cannot be read")


def test_nothing_is_kept(run: CommandLine) -> None:
    before = {run.clip()}
    assert run("measure", *before, "--rpm", 1080).code == 0
    assert set(run.folder.iterdir()) == before


def test_the_speed_may_stand_in_the_name(run: CommandLine) -> None:
    ran = run("measure", run.clip("idle_1080rpm.csv"), "--json")
    assert ran.json["speed"]["tag_rpm"] == 1080
    ran = run("measure", run.clip("idle.csv"))
    assert ran.code == 1
    assert "no speed is stated; add what the gauge showed" in ran.err


def test_a_column_by_number_or_name(run: CommandLine) -> None:
    path = run.clip()
    by_name = run("measure", path, "--rpm", 1080, "--column", "ay (m/s^2)", "--json").json
    assert by_name["recording"]["axes"] == ["y"]
    ran = run("measure", path, "--rpm", 1080, "--column", "nowhere")
    assert (ran.code, len(ran.err.splitlines())) == (1, 1)


def test_a_column_that_only_looks_like_a_number(run: CommandLine) -> None:
    assert run("measure", run.clip(), "--rpm", 1080, "--column", "²").code == 1
