"""meter: what the hour meter showed, a new one, a roll-over; hours everywhere go by it."""

from pathlib import Path

import pytest
from command_line import CommandLine

READ = ("meter", "read", "--engine", "main")


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path).with_installation()


def test_readings_and_changes_are_kept_once_and_listed(run: CommandLine) -> None:
    assert run("meter", "list", "--engine", "main").out.startswith("Nothing in the meter's log yet")
    first = run(*READ, "--date", "2024-07-01", "--hours", 3300)
    assert (first.code, first.out) == (0, "Hour meter of main, 2024-07-01: 3300 h.\n")
    assert run(*READ, "--date", "2024-07-01", "--hours", 3300).out.startswith("In the log already")
    change = ("meter", "replace", "--engine", "main", "--date", "2024-08-01", "--before", 3400)
    ran = run(*change, "--after", 12, "--note", "from another boat")
    assert ran.out == "Hour meter of main, 2024-08-01: replaced at 3400 h, showing 12 h then.\n"
    ran = run(*READ, "--date", "2024-09-01", "--hours", 62)
    assert "62 h on the meter (3450 h in all)" in ran.out
    over = ("meter", "roll-over", "--engine", "main", "--date", "2024-09-10", "--before", 99.9)
    assert (
        "rolled over at 99.9 h on the meter (3487.9 h in all), showing 0 h then" in run(*over).flat
    )
    listed = run("meter", "list", "--engine", "main", "--json").json["meter"]
    assert [each["what"] for each in listed] == ["reading", "replaced", "reading", "rolled-over"]
    assert [each["hours"] for each in listed] == [3300, 3400, 3450, 3487.9]
    assert listed[2]["meter_hours"] == 62
    assert (listed[1]["before"], listed[1]["after"]) == (3400, 12)
    assert (
        "replaced at 3400 h, showing 12 h then: from another boat"
        in run("meter", "list", "--engine", "main").out
    )
    told = run(*over, "--json").json
    assert (told["duplicate"], told["engine"]) == (True, "main")


@pytest.mark.parametrize(
    ("command", "code", "said"),
    [
        (("read", "--hours", "3000", "--date", "2024-07-01"), 1, "vibetrend meter replace"),
        (("read", "--hours", "3200", "--date", "9999-12-31"), 1, "in the future; correct --date"),
        (("read", "--hours", "-1"), 2, "not in the range"),
        (("read",), 2, "Missing option '--hours'"),
        (("replace", "--before", "3200"), 2, "Missing option '--after'"),
        (("roll-over", "--before", "9", "--after", "12"), 1, "shows less than before"),
        (("replace", "--before", "10", "--after", "0", "--date", "2024-07-01"), 1, "contradict"),
        (("read", "--hours", "3200", "--engine", "mian"), 1, "did you mean 'main'?"),
    ],
)
def test_what_cannot_be_is_one_line_and_kept_nowhere(
    run: CommandLine, command: tuple[str, ...], code: int, said: str
) -> None:
    ran = run("meter", command[0], "--engine", "main", *command[1:])
    assert (ran.code, ran.out) == (code, "")
    assert said in ran.err
    assert code == 2 or len(ran.err.splitlines()) == 1
    assert run("meter", "list", "--engine", "main", "--json").json["meter"] == []


def test_what_is_added_later_goes_by_true_hours(run: CommandLine) -> None:
    """A baseline on a new meter that shows less than the damper was fitted at."""
    run(
        "meter",
        "replace",
        "--engine",
        "main",
        "--date",
        "2024-06-02",
        "--before",
        3121,
        "--after",
        0,
    )
    ran = run(
        *("add", run.clip(), "--engine", "main", "--rpm", 1080, "--hours", 9),
        *("--date", "2024-06-05", "--baseline", "--json"),
    )
    assert (ran.code, ran.err) == (0, "")
    (added,) = ran.json["added"]
    assert (added["hours"], added["meter_hours"]) == (3130, 9)
    start = ("installation", "start", "--engine", "main", "--date", "2024-08-01", "--hours", 100)
    told = run(*start, "--json").json
    assert (told["hours"], told["meter_hours"]) == (3221, 100)
    assert "100 h on the meter (3221 h in all)" in run(*start).flat
