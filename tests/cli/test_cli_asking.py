"""Questions at a terminal, and the answers that hold for a whole check-up."""

import re
from pathlib import Path
from typing import Any

import click
import pytest
from command_line import CommandLine

from vibetrend.cli import asking
from vibetrend.logbook import Logbook


class Terminal:
    """Stands in for a terminal: answers typed one after the other."""

    def __init__(self, *typed: str) -> None:
        self.typed = list(typed)
        self.asked: list[str] = []

    def prompt(self, text: str, **options: Any) -> Any:
        self.asked.append(text)
        return options["type"].convert(self.typed.pop(0), None, None)


@pytest.fixture
def ran(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path).with_installation()


def at(monkeypatch: pytest.MonkeyPatch, *typed: str) -> Terminal:
    terminal = Terminal(*typed)
    monkeypatch.setattr(asking, "is_terminal", lambda: True)
    monkeypatch.setattr(click, "prompt", terminal.prompt)
    return terminal


def circumstances(ran: CommandLine) -> list[dict[str, Any]]:
    with Logbook.open(ran.folder / "logbook") as book:
        (series,) = book.series("main")
        return list(book.recordings(series.id)["circumstances"])


def test_a_terminal_asks_once_for_what_is_missing(
    ran: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    terminal = at(monkeypatch, "1080", "3130", "off", "low", "afloat", "")
    clips = [ran.clip(f"{seed}.csv", seed=seed).name for seed in (1, 2)]
    added = ran("add", *clips, "--engine", "main", "--date", "2024-06-03")
    assert added.code == 0, added.err
    assert len(terminal.asked) == 6
    assert re.search("rpm", terminal.asked[0])
    stated = {"other_engine": "off", "alternator_load": "low", "lying": "afloat"}
    assert circumstances(ran) == [stated, stated]


def test_nothing_is_asked_that_was_stated(
    ran: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    terminal = at(monkeypatch, "on")
    added = ran(
        "add", ran.clip().name, "--engine", "main", "--date", "2024-06-03", "--rpm", 1080,
        "--hours", 3130, "--other-engine", "off", "--alternator-load", "low", "--lying", "ashore",
    )  # fmt: skip
    assert added.code == 0, added.err
    assert len(terminal.asked) == 1
    assert circumstances(ran)[0]["shore_power"] == "on"


def test_without_a_terminal_a_clear_line_says_what_is_missing(ran: CommandLine) -> None:
    clip = ran.clip().name
    refused = ran("add", clip, "--engine", "main", "--hours", 3130)
    assert refused.code == 1
    assert "no speed is stated; add the gauge's reading with --rpm N" in refused.err


def test_what_one_recording_states_holds_for_its_check_up(ran: CommandLine) -> None:
    common = ("--engine", "main", "--date", "2024-06-03", "--rpm", 1080, "--hours", 3130)
    first, second, third = (ran.clip(f"{seed}.csv", seed=seed).name for seed in (1, 2, 3))
    assert ran("add", first, *common, "--coolant-c", 82, "--shore-power", "off").code == 0
    assert ran("add", second, *common, "--coolant-c", 85).code == 0
    assert ran("add", third, *common, "--visit", "another").code == 0
    assert circumstances(ran) == [
        {"coolant_c": 82.0, "shore_power": "off"},
        {"coolant_c": 85.0, "shore_power": "off"},
        {},
    ]
    assert ran("report", "--engine", "main", "--output", "page.html").code == 0
    page = (ran.folder / "page.html").read_text(encoding="utf-8")
    assert "coolant 82 °C, shore power off" in page


def test_circumstances_are_fixed_choices(ran: CommandLine) -> None:
    wrong = ran("add", ran.clip().name, "--engine", "main", "--shore-power", "some")
    assert wrong.code == 2
    ran.write("idle.toml", 'shore_power = "some"\n')
    wrong = ran("add", "idle.csv", "--engine", "main", "--rpm", 1080, "--hours", 3130)
    assert wrong.code == 1
    assert "shore_power is 'some'; write off or on" in wrong.err
