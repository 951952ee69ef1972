"""logbook backup, restore, export, import: what they say, and that nothing is overwritten."""

import contextlib
import json
import os
import re
from pathlib import Path
from typing import Any
from unittest.mock import patch

import click
import pytest
from click.testing import CliRunner, Result
from command_line import CommandLine

from vibetrend.cli.logbook_copies import backup, export, import_, restore
from vibetrend.errors import LogbookError
from vibetrend.logbook import Logbook

COMMANDS: dict[str, click.Command] = {
    str(command.name): command for command in (backup, restore, export, import_)
}


class Copies:
    """The four commands in a folder with a logbook that holds one recording."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.line = CommandLine(folder).with_installation()
        clip = self.line.clip()
        stated = ("--engine", "main", "--rpm", 1080, "--hours", 3125, "--date", "2024-06-05")
        assert self.line("add", clip, *stated).code == 0

    def __call__(self, name: str, *arguments: object) -> Result:
        with (
            patch.dict(os.environ, self.line.environment),
            contextlib.chdir(self.folder),
        ):
            return CliRunner().invoke(COMMANDS[name], list(map(str, arguments)))

    def json(self, name: str, *arguments: object) -> Any:
        ran = self(name, *arguments, "--json")
        assert ran.exit_code == 0
        return json.loads(ran.stdout)


@pytest.fixture
def run(tmp_path: Path) -> Copies:
    return Copies(tmp_path)


def flat(ran: Result) -> str:
    assert ran.stderr == ""
    return " ".join(ran.stdout.split())


@pytest.mark.parametrize("name", COMMANDS)
def test_help_has_an_example_that_could_be_typed(name: str) -> None:
    ran = CliRunner().invoke(COMMANDS[name], ["--help"], terminal_width=80)
    (example,) = re.findall(r"Example: vibetrend logbook (.+)", ran.output)
    assert example.split()[0] == name
    typed = {word for word in example.split() if word.startswith("--")}
    assert typed <= {option for each in COMMANDS[name].params for option in each.opts}
    assert max(map(len, ran.output.splitlines())) <= 80


def test_a_backup_is_told_and_can_be_restored_as_it_says(run: Copies) -> None:
    said = flat(ran := run("backup", "boat.zip"))
    assert ran.exit_code == 0
    assert re.search(
        r"^Wrote boat\.zip, \d+ kB, and read it again: 1 recording, 1 original file\.", said
    )
    assert re.search(r"Hash of the newest of its \d+ entries: [0-9a-f]{4} ", said)
    assert "on another device than this computer, and try once" in said
    (command,) = re.findall(r"vibetrend logbook (restore .*)", ran.stdout)
    said = flat(run(*command.split()))
    assert re.search(
        r"^Restored the backup of \d{4}-\d\d-\d\d into logbook-trial: 1 recording", said
    )
    (follows,) = re.findall(r"vibetrend (status .*)", said)
    assert "main" in run.line(*follows.split()).out


def test_an_export_is_told_and_can_be_imported(run: Copies) -> None:
    said = flat(run("export", "open"))
    assert re.search(r"^Wrote \d+ tables with \d+ rows, 1 recording and 1 original file into", said)
    assert f"What each file and column is: {Path('open') / 'logbook.json'}" in said
    said = flat(run("import", "open", "--logbook", "my trial"))
    assert said.startswith("Imported the export of 20")
    assert said.endswith('Look whether all is there: vibetrend status --logbook "my trial"')
    with Logbook.open(run.folder / "my trial") as made:
        assert made.check().clean


def test_all_of_them_print_json(run: Copies) -> None:
    made = run.json("backup", "boat.zip")
    assert made["bytes"] == (run.folder / "boat.zip").stat().st_size
    assert (made["recordings"], made["originals"], made["faults"]) == (1, 1, [])
    restored = run.json("restore", "boat.zip", "--logbook", "new")
    assert {each: restored[each] for each in ("entries", "head")} == {
        each: made[each] for each in ("entries", "head")
    }
    exported = run.json("export", "open", "--parquet")
    assert exported["tables"]["recording"] == 1
    assert (run.folder / "open" / "recording.parquet").is_file()
    imported = run.json("import", "open", "--logbook", "another")
    assert imported["head"] == made["head"]


def test_the_logbook_in_use_is_never_replaced(run: Copies) -> None:
    run("backup", "boat.zip")
    run("export", "open")
    for arguments in (("restore", "boat.zip"), ("import", "open")):
        error = run(*arguments).exception
        assert isinstance(error, LogbookError)
        assert "holds something already and is left alone; name another, empty" in str(error)
    assert isinstance(run("backup", "boat.zip").exception, LogbookError)
    assert isinstance(run("export", "open").exception, LogbookError)


def test_what_is_damaged_is_named_and_the_exit_code_says_so(run: Copies) -> None:
    (original,) = (run.folder / "logbook" / "originals").glob("??/*")
    original.write_bytes(b"bit rot")
    assert "with --damaged" in str(run("backup", "boat.zip").exception)
    for name, *arguments in (
        ("backup", "boat.zip"),
        ("restore", "boat.zip", "--logbook", "new"),
        ("export", "open"),
        ("import", "open", "--logbook", "another"),
    ):
        ran = run(name, *arguments, "--damaged")
        assert ran.exit_code == 1
        said = r"Wrong: original [0-9a-f]{12} \(recording .*\) is no longer what was kept"
        assert re.search(said, flat(ran))


def test_an_empty_path_is_wrong_usage(run: Copies) -> None:
    for name in COMMANDS:
        assert run(name, "").exit_code == 2
        assert run(name).exit_code == 2
