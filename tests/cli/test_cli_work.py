"""work: what was done to an engine, and what that asks for."""

import re
from pathlib import Path

import pytest
from command_line import CommandLine

from vibetrend.logbook.works import KINDS


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path)


WORK = ("work", "add", "--engine", "main", "--date", "2024-10-10", "--hours", 3600)


def test_work_is_entered_once_and_listed(run: CommandLine) -> None:
    run.with_installation()
    assert run("work", "list", "--engine", "main").out.startswith("No work yet.")
    first = run(*WORK, "--what", "mounts", "--note", "all four")
    assert (first.code, first.err) == (0, "")
    assert first.out.startswith("Work on main: mounts, 2024-10-10, 3600 h.\n")
    assert "new baseline" in first.out
    assert "ended" not in first.out  # nothing was recorded
    again = run(*WORK, "--what", "mounts", "--note", "all four")
    assert (again.code, again.out[:24]) == (0, "In the logbook already: ")
    row = {"date": "2024-10-10", "hours": 3600.0, "what": "mounts", "note": "all four"}
    shown = row | {"meter_hours": 3600.0}
    told = run(*WORK, "--what", "mounts", "--note", "all four", "--json").json
    assert told == {"engine": "main", **shown, "duplicate": True}
    listed = run("work", "list", "--engine", "main", "--json").json
    assert listed == {"engine": "main", "work": [shown]}
    listed = run("work", "list", "--engine", "main").out
    assert listed == "2024-10-10  3600 h  mounts: all four\n"
    assert run("status", "--json").json["engines"][0]["work"] == [row]


def test_the_kinds_of_work_offered_are_those_the_logbook_knows(run: CommandLine) -> None:
    ran = run(*WORK, "--what", "paint")
    assert re.findall(r"'([\w-]+)'", ran.err.split("is not one of")[1]) == list(KINDS)


@pytest.mark.parametrize(
    ("changed", "code", "said"),
    [
        ([], 2, "Missing option '--what'"),
        (["--what", "belt", "--hours", "-1"], 2, "not in the range"),
        (["--what", "belt", "--date", "9999-12-31"], 1, "is in the future; correct --date"),
        (["--what", "belt", "--date", "2024-05-01", "--hours", "3000"], 1, "no installation on"),
        (["--what", "belt", "--hours", "9000"], 1, "24 a day at most"),
        (["--what", "belt", "--engine", "mian"], 1, "did you mean 'main'?"),
    ],
)
def test_work_that_cannot_be_is_one_line(
    run: CommandLine, changed: list[str], code: int, said: str
) -> None:
    ran = run.with_installation()(*WORK, *changed)
    assert (ran.code, ran.out) == (code, "")
    assert said in ran.err
    assert code == 2 or len(ran.err.splitlines()) == 1
    assert run("work", "list", "--engine", "main", "--json").json["work"] == []


def test_work_entered_late_asks_for_no_baseline(run: CommandLine) -> None:
    run.with_installation()
    for date, hours in (("2024-09-01", 3400), ("2024-10-10", 3600)):
        run(
            *("add", run.clip(f"{date}.csv", seed=hours), "--engine", "main", "--rpm", 1080),
            *("--hours", hours, "--date", date),
        )
    run(*WORK, "--what", "mounts")
    late = ("work", "add", "--engine", "main", "--date", "2024-08-01", "--hours", 3300)
    said = run(*late, "--what", "belt").flat
    assert "and 2 recordings lie now between the two. No baseline can be taken for that" in said
    assert "Next: take a new baseline" not in said
    assert "ended" not in said
    late = ("work", "add", "--engine", "main", "--date", "2024-08-02", "--hours", 3302)
    assert "and 2 recordings lie now" in run(*late, "--what", "belt").flat
    late = ("work", "add", "--engine", "main", "--date", "2024-07-30", "--hours", 3290)
    assert "no recording lies between the two: nothing" in run(*late, "--what", "belt").flat


def test_a_note_that_a_terminal_would_obey_is_one_plain_error(run: CommandLine) -> None:
    ran = run.with_installation()(*WORK, "--what", "belt", "--note", "new\x1b[31m\nbelt")
    assert (ran.code, ran.out, len(ran.err.splitlines())) == (1, "", 1)
    assert "the note holds the control character '\\x1b'" in ran.err


def test_a_kind_is_taken_by_its_earlier_name(run: CommandLine) -> None:
    run.with_installation()
    told = run(*WORK, "--what", "injectors", "--json").json
    assert (told["what"], told["duplicate"]) == ("injection", False)
    assert run(*WORK, "--what", "injection", "--json").json["duplicate"]


def test_hours_are_what_the_meter_shows(run: CommandLine) -> None:
    run.with_installation()
    changed = ("meter", "replace", "--engine", "main", "--date", "2024-09-01")
    assert run(*changed, "--before", 3400, "--after", 0).code == 0
    work = ("work", "add", "--engine", "main", "--date", "2024-10-10", "--hours", 200)
    assert "200 h on the meter (3600 h in all)" in run(*work, "--what", "belt").out
    told = run(*work, "--what", "belt", "--json").json
    assert (told["hours"], told["meter_hours"]) == (3600, 200)
    listed = run("work", "list", "--engine", "main").out
    assert listed == "2024-10-10  200 h on the meter (3600 h in all)  belt\n"
