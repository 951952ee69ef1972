"""Every command explains itself, and wrong usage is told apart from bad input."""

import re
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from command_line import CommandLine

import vibetrend
from vibetrend.cli import cli

# design.md, section 4, as far as this version goes
PROMISED = {
    "demo", "engine add", "engine new", "engine list", "engine show", "installation start",
    "measure", "add", "status", "report", "card", "simulate", "work add", "watch", "meter read",
    "meter replace", "meter roll-over", "meter list", "installation runout", "installation bolt",
    "installation belt", "installation mark", "installation casing", "installation fluid",
    "installation check", "installation photo", "installation note", "installation compare",
    "installation show", "installation finish",
}  # fmt: skip


def _commands(group: click.Group = cli, before: str = "") -> Iterator[tuple[str, click.Command]]:
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from _commands(command, f"{before}{name} ")
        else:
            yield before + name, command


COMMANDS = dict(_commands())
GROUPS = sorted({name.split()[0] for name in COMMANDS if " " in name})


def test_the_promised_commands_are_there() -> None:
    assert set(COMMANDS) >= PROMISED


@pytest.mark.parametrize("name", COMMANDS)
def test_help_has_an_example_that_could_be_typed(tmp_path: Path, name: str) -> None:
    ran = CommandLine(tmp_path)(*name.split(), "--help")
    assert ran.code == 0
    assert ran.err == ""
    (example,) = re.findall(r"Example: vibetrend (.+(?:\n {8,}.+)*)", ran.out)
    assert example.startswith(name)
    options = [each for each in COMMANDS[name].params if isinstance(each, click.Option)]
    typed = {word for word in example.split() if word.startswith("--")}
    assert typed <= {option for each in options for option in each.opts}
    assert {each.opts[0] for each in options if each.required} <= typed


@pytest.mark.parametrize("name", ["", *GROUPS, *COMMANDS])
def test_help_fits_a_terminal(tmp_path: Path, name: str) -> None:
    run = CommandLine(tmp_path)
    run.environment["COLUMNS"] = "80"
    lines = run(*name.split(), "--help").out.splitlines()
    assert [line for line in lines if len(line) > 80] == []


@pytest.mark.parametrize("name", GROUPS)
def test_groups_have_an_example_too(tmp_path: Path, name: str) -> None:
    run = CommandLine(tmp_path)
    (example,) = re.findall(r"Example: vibetrend (.+)", run(name, "--help").out)
    assert " ".join(example.split()[:2]) in COMMANDS


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_explained(name: str) -> None:
    options = [each for each in COMMANDS[name].params if isinstance(each, click.Option)]
    unexplained = [each.opts[0] for each in options if not (each.help or each.prompt)]
    assert set(unexplained) <= {"--seconds", "--seed"}  # their names and defaults say it all


@pytest.mark.parametrize("name", sorted(PROMISED - {"engine new"}))
def test_every_command_that_prints_a_result_prints_json(name: str) -> None:
    assert "--json" in {option for each in COMMANDS[name].params for option in each.opts}


def test_the_help_names_every_exit_code(tmp_path: Path) -> None:
    said = CommandLine(tmp_path)("--help").out
    for code in ("0 done", "1 the input", "2 wrong usage", "130 interrupted", "3 record again"):
        assert code in " ".join(said.split())


def test_the_short_help_and_the_version(tmp_path: Path) -> None:
    run = CommandLine(tmp_path)
    assert run("-h").out == run("--help").out
    assert run("--version").out.strip() == vibetrend.__version__


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["nonsense"], "No such command 'nonsense'"),
        (["measure"], "Missing argument 'FILES...'"),
        (["measure", "a.csv", "--rpm", "fast"], "'fast' is not a valid float"),
        (["measure", "a.csv", "--manner", "wild"], "'wild' is not one of"),
        (["add", "a.csv"], "Missing option '--engine'"),
        (["add", "a.csv", "--engine", "e", "--baseline", "--before"], "exclude each other"),
        (["add", "a.csv", "--engine", "e", "--date", "1.5.2024"], "write it as 2026-05-01"),
        (["installation", "start", "--engine", "e"], "Missing option '--date'"),
        (
            ["installation", "start", "--engine", "e", "--date", "2024-01-01", "--hours", "-1"],
            "-1.0 is not in the range",
        ),
        (["simulate"], "give --demo DIR, or --engine FILE and --output FILE"),
        (["status", "--unknown"], "No such option"),
    ],
)
def test_wrong_usage_is_exit_code_2(tmp_path: Path, arguments: list[str], said: str) -> None:
    ran = CommandLine(tmp_path)(*arguments)
    assert (ran.code, ran.out) == (2, "")
    assert said in ran.err
    assert "Try 'vibetrend" in ran.err
    assert not (tmp_path / "logbook").exists()


def test_a_name_typed_wrong_is_not_obeyed_by_the_terminal(tmp_path: Path) -> None:
    ran = CommandLine(tmp_path)("status", "\x1b[31mred\u202e.csv")
    assert ran.code == 2
    assert "red\\u202e.csv" in ran.err
    assert "\x1b" not in ran.err


def test_it_is_a_module_too(tmp_path: Path) -> None:
    run = CommandLine(tmp_path)
    ran = run.process("engine", "list")
    assert (ran.code, ran.out, ran.err) == (0, run("engine", "list").out, "")
    assert run.process("engine", "show", "x").code == 1


def test_the_demo_s_logbook_is_a_temporary_one(tmp_path: Path) -> None:
    said = CommandLine(tmp_path)("demo", "--help").flat
    assert "[default: a temporary one]" in said
    assert "VIBETREND_LOGBOOK" not in said
