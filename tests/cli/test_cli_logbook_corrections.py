"""`vibetrend logbook check, list, correct, set-aside` as a person uses them."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from command_line import CommandLine

from vibetrend.engine import Engine
from vibetrend.simulate import sweep, write_table


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path).with_installation()


def added(run: CommandLine, name: str = "idle.csv", *, seed: int = 1, hours: float = 3190) -> str:
    """Add a recording and return its id."""
    clip = run.clip(name, seed=seed)
    done = run(
        *("add", clip, "--engine", "main", "--rpm", 1080, "--hours", hours),
        *("--date", "2024-06-05", "--json"),
    )
    assert done.code == 0
    return str(done.json["added"][0]["recording"])


def test_a_mistyped_hour_is_corrected_and_told_in_the_report(run: CommandLine) -> None:
    entry = added(run)
    done = run("logbook", "correct", entry, "--hours", 3125, "--reason", "a 9 for a 2",
               "--person", "A. Example")  # fmt: skip
    assert (done.code, done.err) == (0, "")
    assert f"{entry}: engine hours was 3190, now 3125." in done.flat
    assert run("logbook", "correct", entry, "--hours", 3125, "--reason", "x").flat.startswith(
        f"{entry}: that counts already"
    )
    (series,) = run("status", "--json").json["engines"][0]["series"]
    assert series["verdict"]["recordings"][0]["recording"] == entry
    assert run("report", "--output", "main.html").code == 0
    page = (run.folder / "main.html").read_text(encoding="utf-8")
    for said in ("Corrections", "engine hours", "3190", "3125", "a 9 for a 2", "A. Example"):
        assert said in page
    listing = run("logbook", "list", "--engine", "main")
    assert f"{entry} 2024-06-05 3125 h idle.csv; corrected" in listing.flat


def test_another_speed_measures_it_again(run: CommandLine) -> None:
    entry = added(run)
    done = run("logbook", "correct", entry, "--rpm", 1075, "--reason", "gauge read again", "--json")
    assert [(each["what"], each["was"], each["now"]) for each in done.json["corrected"]] == [
        ("rpm", 1080.0, 1075.0)
    ]
    with closing(sqlite3.connect(run.folder / "logbook" / "logbook.sqlite")) as connection:
        tags = [
            row[0]
            for row in connection.execute(
                "SELECT json_extract(result, '$.speed.tag_rpm') FROM measurement ORDER BY id"
            )
        ]
    assert tags == [1080.0, 1075.0]  # the older one stays
    assert run("logbook", "check").code == 0


def test_a_sweep_is_corrected_and_measured_again(run: CommandLine) -> None:
    engine = Engine.parse('name = "main"\ncylinders = 6\nidle_rpm = 700\nrated_rpm = 2600\n')
    recording, _ = sweep(
        engine, start_rpm=750, end_rpm=1500, seconds=20, rate=400, seed=1, gauge_percent=0
    )
    write_table(recording, run.folder / "up.csv")
    done = run("add", "up.csv", "--engine", "main", "--manner", "run-up", "--rpm", 750,
               "--end-rpm", 1800, "--hours", 3190, "--date", "2024-06-05", "--json")  # fmt: skip
    entry = str(done.json["added"][0]["recording"])
    done = run("logbook", "correct", entry, "--end-rpm", 1500, "--damper-c", 45, "--reason", "typo")
    assert (done.code, done.err) == (0, "")
    assert "stated rpm at the end was 1800, now 1500." in done.flat
    assert "damper, degrees C was not stated, now 45." in done.flat
    assert f"{entry}: measured again, run-up from 7" in done.flat
    warm = run("logbook", "correct", entry, "--damper-c", 50, "--reason", "again", "--json").json
    assert warm["measured"] == {}  # nothing measured rests on it
    assert [(each["was"], each["now"]) for each in warm["corrected"]] == [(45.0, 50.0)]
    assert run("logbook", "check").code == 0


def test_a_steady_recording_has_no_end(run: CommandLine) -> None:
    done = run("logbook", "correct", added(run), "--end-rpm", 2000, "--reason", "x")
    assert done.code == 1
    assert "has no speed at its end" in done.err


def test_set_aside_and_back(run: CommandLine) -> None:
    entry = added(run)
    done = run("logbook", "set-aside", entry, "--reason", "phone slipped")
    assert f"{entry}: set aside and used for nothing from now on" in done.flat
    assert run("status", "--json").json["engines"][0]["series"] == []
    again = run("add", "idle.csv", "--engine", "main", "--rpm", 1080, "--hours", 3190,
                "--date", "2024-06-05")  # fmt: skip
    assert "It was set aside and stays so" in again.flat
    assert "set aside already" in run("logbook", "set-aside", entry, "--reason", "x").flat
    assert "used again" in run("logbook", "set-aside", entry, "--back", "--reason", "x").flat
    assert len(run("status", "--json").json["engines"][0]["series"]) == 1


def test_a_mark_asked_for_later_has_its_command(run: CommandLine) -> None:
    entry = added(run, hours=3125)
    arguments = ("add", "idle.csv", "--engine", "main", "--rpm", 1080, "--hours", 3125,
                 "--date", "2024-06-05", "--baseline", "--json")  # fmt: skip
    (kept,) = run(*arguments).json["added"]
    command = kept["remark"].split("vibetrend ")[1].replace("TEXT", "forgotten").split()
    assert command[:4] == ["logbook", "correct", entry, "--mark"]
    assert run(*command).code == 0
    assert "remark" not in run(*arguments).json["added"][0]


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("correct", "3f2a91bc55", "--hours", "1", "--reason", "x"), 1, "is not in the logbook"),
        (("correct", "work-1", "--reason", "x"), 2, "nothing to correct was given"),
        (("correct", "work-1", "--hours", "1"), 2, "Missing option '--reason'"),
        (("set-aside", "work-1", "--reason", " "), 1, "needs its reason"),
        (("correct", "a", "--date", "2999-01-01", "--reason", "x"), 1, "is in the future"),
        (("check", "--printed", "af21af21af21af21"), 1, "Wrong: no entry has the hash af21af21"),
        (("check", "--printed", "0"), 2, "--printed '0' is no hash"),
        (("check", "--printed", ""), 2, "--printed '' is no hash"),
    ],
)
def test_what_cannot_be_is_told(
    run: CommandLine, arguments: tuple[str, ...], code: int, said: str
) -> None:
    done = run("logbook", *arguments)
    assert done.code == code
    assert said in " ".join((done.out + done.err).split())


def test_a_check_finds_what_another_program_changed(run: CommandLine) -> None:
    added(run, hours=3125)
    clean = run("logbook", "check", "--json").json
    assert clean["clean"]
    printed = " ".join(clean["head"][at : at + 4] for at in range(0, 20, 4))
    assert f"Hash of the newest entry: {printed}" in run("logbook", "check").flat
    assert run("logbook", "check", "--printed", printed).code == 0
    with closing(sqlite3.connect(run.folder / "logbook" / "logbook.sqlite")) as connection:
        connection.execute("UPDATE recording SET hours = 3126")
        connection.commit()
    found = run("logbook", "check")
    assert found.code == 1
    assert "Wrong: recording 1: it is not as it was entered on" in found.flat
    assert run("report", "--output", "main.html").code == 0
    page = (run.folder / "main.html").read_text(encoding="utf-8")
    assert "Something in this logbook is not as it was entered" in page


def test_a_check_up_with_one_mistyped_hour_is_corrected_at_once(run: CommandLine) -> None:
    """Three files and one --hours: each alone would contradict its siblings."""
    entries = [added(run, f"idle{seed}.csv", seed=seed) for seed in (1, 2, 3)]
    done = run("logbook", "correct", entries[0], "--hours", 3125, "--date", "2024-06-06",
               "--reason", "a 9 for a 2")  # fmt: skip
    assert done.code == 1
    assert "in one command, with all their ids" in done.err
    done = run("logbook", "correct", *entries, "--hours", 3125, "--reason", "a 9 for a 2")
    assert done.out.count("engine hours was 3190, now 3125.") == 3
    done = run("logbook", "set-aside", *entries[1:], "--reason", "phone slipped", "--json")
    assert done.json["entries"] == entries[1:]
    assert done.json["changed"]


def test_a_change_of_the_meter_mistyped_is_corrected(run: CommandLine) -> None:
    assert run("meter", "replace", "--engine", "main", "--date", "2024-06-03", "--before", 3130,
               "--after", 0).code == 0  # fmt: skip
    entry = added(run, hours=10)
    done = run("logbook", "correct", "meter-1", "--before", 3135, "--reason", "a 0 for a 5")
    assert "meter-1: shown by the meter was 3130, now 3135." in done.flat
    assert f"{entry} 2024-06-05 3145 h" in run("logbook", "list", "--engine", "main").flat


def test_what_is_not_there_is_not_begun_to_be_looked_at(run: CommandLine, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    for command in (
        ("check",),
        ("list", "--engine", "main"),
        ("backup", "boat.zip"),
        ("export", "tables"),
        ("remeasure",),
        ("set-aside", "work-1", "--reason", "x"),
    ):
        done = run("logbook", *command, "--logbook", elsewhere)
        assert done.code == 1
        assert "there is no logbook here; is it the right folder" in done.err
    assert not elsewhere.exists()


@pytest.mark.parametrize("left", [b"", None])
def test_a_database_that_is_gone_is_not_begun_anew(run: CommandLine, left: bytes | None) -> None:
    added(run, hours=3125)
    database = run.folder / "logbook" / "logbook.sqlite"
    database.unlink()
    if left is not None:
        database.write_bytes(left)
    for command in (("logbook", "check"), ("status",), ("engine", "list")):
        done = run(*command)
        assert done.code == 1
        assert "originals are here, but the logbook's database is missing or empty" in done.err
    assert database.exists() == (left is not None)


def test_the_only_installation_set_aside_stops_nothing(run: CommandLine) -> None:
    added(run, hours=3125)
    assert run("logbook", "set-aside", "installation-1", "--reason", "x").code == 0
    assert run("status").code == 0
    assert run("report", "--output", "main.html").code == 0
    assert run("card", "--engine", "main").code == 0


def test_a_clock_that_is_not_behind_is_not_said_to_be(run: CommandLine) -> None:
    added(run, hours=3125)
    before = run("logbook", "check", "--json").json
    done = run("logbook", "check", "--clock-is-right")
    assert "The clock is not behind the newest entry" in done.err
    assert run("logbook", "check", "--json").json == before
