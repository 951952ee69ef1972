"""A computer that thinks it is another year: told in one line, and nothing is poisoned by it."""

import datetime as dt
from pathlib import Path

import pytest
from every_command import LOGBOOK, commands, run
from failing import clock
from trial import Trials, told
from whole_logbook import faults, held

EMPTY_BATTERY = dt.datetime(1970, 1, 1, 0, 5, tzinfo=dt.UTC)
YEARS_AHEAD = dt.datetime(2099, 6, 1, 12, tzinfo=dt.UTC)
TODAY = dt.datetime(2099, 6, 3, 12, tzinfo=dt.UTC)
DATED = [
    each.name
    for each in commands()
    if "--date" in each.arguments and not each.name.startswith("add")
]
ENTERING = ["engine add, known", "engine add, new", "set aside", "correct"]
HERE = [each.name for each in commands()]


@pytest.mark.parametrize("name", DATED)
def test_a_clock_behind_refuses_a_right_date(trials: Trials, tmp_path: Path, name: str) -> None:
    command = trials.prepared[name]
    at = trials.prepared.copy(tmp_path, command)
    trials.refused(command, at, clock(EMPTY_BATTERY))
    trials.works(command, at)


def test_a_clock_behind_is_named(trials: Trials, tmp_path: Path) -> None:
    command = trials.prepared["bolt"]
    at = trials.prepared.copy(tmp_path, command)
    said = trials.refused(command, at, clock(EMPTY_BATTERY))
    assert "clock" in said
    assert "1970-01-01" in said


@pytest.mark.parametrize("name", [each for each in ENTERING if each in HERE])
def test_a_clock_behind_the_newest_entry_is_told(trials: Trials, tmp_path: Path, name: str) -> None:
    command = trials.prepared[name]
    at = trials.prepared.copy(tmp_path, command)
    said = trials.refused(command, at, clock(EMPTY_BATTERY))
    assert "this computer's clock says 1970-01-01" in said
    assert "set the clock and try again" in said
    trials.works(command, at)


def test_a_clock_behind_does_not_hide_where_an_engine_stands(
    trials: Trials, tmp_path: Path
) -> None:
    command = trials.prepared["status"]
    at = trials.prepared.copy(tmp_path, command)
    ran = trials.ran(command, at, clock(EMPTY_BATTERY))
    assert ran.accepted
    assert "clock" in ran.out + ran.err


def test_a_clock_that_was_ahead_can_be_put_right(trials: Trials, tmp_path: Path) -> None:
    """What was entered meanwhile stays; entering goes on once the right time is confirmed."""
    ahead, command = trials.prepared["bolt"], trials.prepared["runout"]
    at = trials.prepared.copy(tmp_path, command)
    assert trials.ran(ahead, at, clock(YEARS_AHEAD)).accepted
    before = held(at / LOGBOOK)
    ran = run(at, command.arguments)
    assert ran.code == 1
    told(ran)
    assert "the newest entry of the logbook is of 2099-06-01" in ran.err
    assert held(at / LOGBOOK) == before
    assert run(at, ("logbook", "check", "--clock-is-right")).code == 0
    ran = run(at, command.arguments)
    assert ran.accepted, ran.err
    assert list(faults(at / LOGBOOK)) == []
    found = run(at, ("logbook", "check"))
    assert found.code == 0
    assert "clock" in found.out  # it stays to be read


def test_a_clock_ahead_by_a_day_is_no_fault(trials: Trials, tmp_path: Path) -> None:
    """Time zones: a boat that crossed the date line."""
    command = trials.prepared["bolt"]
    at = trials.prepared.copy(tmp_path, command)
    with clock(TODAY):
        assert run(at, trials.prepared["runout"].arguments).accepted
    with clock(TODAY - dt.timedelta(hours=23)):
        assert run(at, command.arguments).accepted
    assert list(faults(at / LOGBOOK)) == []
