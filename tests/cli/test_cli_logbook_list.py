"""`vibetrend logbook list`, and what a changed logbook shows before anything else."""

import csv
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from command_line import CommandLine

ALARM = "Something in this logbook is not as it was entered"


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    """An engine with one run-out and one piece of work."""
    run = CommandLine(tmp_path).with_installation()
    reading = ("--engine", "main", "--date", "2024-06-02", "--unit", "mm", "--surface", "rim")
    assert run("installation", "runout", *reading, "--readings", "0,0.11,0,-0.11").code == 0
    work = ("--engine", "main", "--date", "2024-06-03", "--hours", 3130, "--what", "mounts")
    assert run("work", "add", *work).code == 0
    return run


def change(run: CommandLine, statement: str) -> None:
    """Change the database as another program would."""
    with closing(sqlite3.connect(run.folder / "logbook" / "logbook.sqlite")) as connection:
        connection.execute(statement)
        connection.commit()


def test_what_was_read_is_listed_and_in_tables_also_when_set_aside(run: CommandLine) -> None:
    assert (
        "entry-1 2024-06-02 run-out of rim: 0.22 mm"
        in run("logbook", "list", "--engine", "main").flat
    )
    assert run("logbook", "set-aside", "entry-1", "--reason", "=wrong engine").code == 0
    assert "run-out of rim: 0.22 mm; set aside" in run("logbook", "list", "--engine", "main").flat
    entries = run("logbook", "list", "--engine", "main", "--json").json["entries"]
    (entry,) = [each for each in entries if each["id"] == "entry-1"]
    assert entry["entry"]["readings"] == [0, 0.11, 0, -0.11]
    assert [each["entry"] for each in entries if each["id"] != "entry-1"] == [None, None]

    assert run("report", "--csv", "tables").code == 0
    text = (run.folder / "tables" / "corrections.csv").read_text(encoding="utf-8")
    (row,) = csv.DictReader(text.splitlines())
    assert (row["engine"], row["entry"], row["about"]) == (
        "main", "entry-1", "run-out of rim: 0.22 mm",
    )  # fmt: skip
    assert (row["what"], row["was"], row["now"]) == ("set aside", "no", "yes")
    assert row["reason"] == "'=wrong engine"  # no formula for a spreadsheet
    assert row["made_at"].endswith("Z")


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE work SET hours = 'many'",
        "UPDATE work SET date = 'in June'",
        "UPDATE entry SET date = 'in June'",
    ],
)
def test_damaged_rows_are_told_as_damage(run: CommandLine, statement: str) -> None:
    change(run, statement)
    ran = run("logbook", "list", "--engine", "main")
    assert (ran.code, len(ran.err.splitlines())) == (1, 1)
    assert "damaged, or changed by another program" in ran.err


def test_a_damaged_text_hides_no_other_entry(run: CommandLine) -> None:
    change(run, "UPDATE entry SET content = '{\"surface\": '")
    ran = run("logbook", "list", "--engine", "main")
    assert ran.code == 0
    assert "an entry that cannot be read (runout)" in ran.flat
    assert "work-1 2024-06-03 3130 h mounts" in ran.flat


def test_status_and_page_say_first_that_rows_were_changed(run: CommandLine) -> None:
    assert ALARM not in run("status").out
    assert run("status", "--json").json["logbook"] == {"faults": []}
    change(run, "UPDATE work SET hours = 3129")
    ran = run("status")
    assert ran.flat.startswith(f"{ALARM} (1): work 1: it is not as it was entered on ")
    (fault,) = run("status", "--json").json["logbook"]["faults"]
    assert fault.startswith("work 1: it is not as it was entered on ")
    assert run("report", "--output", "main.html").code == 0
    page = (run.folder / "main.html").read_text(encoding="utf-8")
    assert page.index(ALARM) < page.index("<h1>")
    assert page.count(ALARM) == 2  # and where it says how all was kept
