"""report --calendar: what is due as a file that calendar programs open."""

from pathlib import Path

import pytest
from command_line import CommandLine


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path).with_installation()


def test_the_calendar_is_written_instead_of_the_page(run: CommandLine) -> None:
    ran = run("report", "--engine", "main", "--calendar", "dates/due.ics", "--json")
    assert ran.code == 0
    assert ran.json == {"calendar": str(Path("dates/due.ics"))}
    content = (run.folder / "dates" / "due.ics").read_bytes()
    assert content.startswith(b"BEGIN:VCALENDAR\r\n")  # RFC 5545, 3.1: lines end with CRLF
    assert content.endswith(b"END:VCALENDAR\r\n")
    assert not (run.folder / "reports").exists()
    assert sorted(each.name for each in (run.folder / "dates").iterdir()) == ["due.ics"]


def test_both_are_written_where_both_are_named(run: CommandLine) -> None:
    ran = run("report", "--calendar", "due.ics", "--output", "page.html", "--json")
    assert ran.json == {"calendar": "due.ics", "path": "page.html"}
    assert (run.folder / "page.html").exists()
    assert run("report", "--calendar", "due.ics").out == "Wrote due.ics\n"  # ours is replaced


def test_what_has_no_date_is_said(run: CommandLine) -> None:
    """The engine file knows no years of renewal."""
    ran = run("report", "--calendar", "due.ics")
    assert "vibetrend: not in the calendar: main: no renewal by date" in ran.err


def test_a_foreign_file_is_left_alone(run: CommandLine) -> None:
    run.write("due.ics", "BEGIN:VCALENDAR\r\nPRODID:-//another//EN\r\n")
    ran = run("report", "--calendar", "due.ics")
    assert (ran.code, ran.out) == (1, "")
    assert "left alone; choose another --calendar" in ran.err
    assert "another//EN" in (run.folder / "due.ics").read_text(encoding="utf-8")


def test_a_calendar_that_cannot_be_written_is_one_line(run: CommandLine) -> None:
    run.write("file", "no folder")
    ran = run("report", "--calendar", "file/due.ics")
    assert (ran.code, ran.out) == (1, "")
    assert "due.ics: the calendar cannot be written" in ran.err
