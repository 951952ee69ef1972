"""Corrections in words: what was entered is still to be read, also of what was set aside."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from invented_life import FITTED, FITTED_HOURS
from measured_life import engine_book, main_engine

from vibetrend.checkup.corrected import entries_in_words, in_words, not_as_entered, with_corrections
from vibetrend.checkup.happenings import with_log
from vibetrend.checkup.records import Corrected, Kept
from vibetrend.installation import (
    casing_content,
    check_content,
    details_content,
    note_content,
    photo_content,
    runout_content,
)
from vibetrend.logbook import Correction, Logbook, set_aside

DAY = FITTED + dt.timedelta(days=1)
RIM = runout_content("rim", [0.0, 0.05, 0.0, -0.05], unit="mm", resolution=0.01)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with engine_book(tmp_path) as opened:
        opened.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        yield opened


@pytest.mark.parametrize(
    ("kind", "content", "said"),
    [
        ("runout", RIM, "run-out of rim: 0.10 mm"),
        ("runout", {**RIM, "note": "cold"}, "run-out of rim: 0.10 mm; cold"),
        ("casing", casing_content([90.0, 90.5, 90.25], unit="mm"),
         "spread of casing thickness: 0.5 mm; greatest casing thickness: 90.5 mm"),
        ("check", check_content("clean"),
         "check, done: crank nose, key and seal sleeve are clean, free of burrs and not worn"),
        ("note", note_content("second key fitted"), "note: second key fitted"),
        ("details", details_content(part="DR-6"), "details, of the damper; part DR-6"),
        ("photo", photo_content("ab" * 32, "nose.jpg", media_type="image/jpeg", bytes=5),
         "photo, kept as abababababab; nose.jpg"),
        ("runout", {"surface": "rim"}, "an entry that cannot be read (runout)"),
        ("check", {"item": "luck", "done": 7}, "an entry that cannot be read (check)"),
        ("of-later", {"a": 1}, "an entry that cannot be read (of-later)"),
    ],
)  # fmt: skip
def test_what_was_read_is_listed_and_stays_so_when_set_aside(
    book: Logbook, kind: str, content: dict[str, Any], said: str
) -> None:
    book.add_entry("main", kind, date=DAY, content=content)
    for aside in (False, True):
        (found,) = [each for each in entries_in_words(book, "main") if each.kind == "entry"]
        assert (found.id, found.about, found.set_aside) == ("entry-1", said, aside)
        set_aside(book, ["entry-1"], reason="wrong engine")


def test_two_readings_of_one_kind_can_be_told_apart(book: Logbook) -> None:
    for highest in (0.05, 0.11):
        content = runout_content("rim", [0.0, highest, 0.0, -0.05], unit="mm", resolution=0.01)
        book.add_entry("main", "runout", date=DAY, content=content)
    told = {each.id: each.about for each in entries_in_words(book, "main")}
    assert (told["entry-1"], told["entry-2"]) == (
        "run-out of rim: 0.10 mm", "run-out of rim: 0.16 mm",
    )  # fmt: skip


def test_table_and_log_tell_what_was_set_aside(book: Logbook) -> None:
    book.add_entry("main", "runout", date=DAY, content=RIM)
    set_aside(book, ["entry-1"], reason="wrong engine", person="A. Example")
    (record,) = with_corrections(book, [main_engine(book)])
    (made,) = record.corrections
    assert (made.entry, made.about, made.what, made.was, made.now) == (
        "entry-1", "run-out of rim: 0.10 mm", "set aside", "no", "yes",
    )  # fmt: skip
    (logged,) = with_log(book, [main_engine(book)])
    (line,) = [each.words for each in logged.happenings if each.what == "correction"]
    assert line == "entry-1 (run-out of rim: 0.10 mm): set aside was no, now yes"


def correction(what: str, was: object, now: object, millisecond: int) -> Correction:
    moment = f"2026-11-28T08:14:59.{millisecond}Z"
    return Correction("3f2a91bc55", what, was, now, "a 9 for a 2", "A. Example", moment)


def told(made: list[Correction]) -> list[tuple[str, str, str]]:
    found: list[Corrected] = list(in_words(made, {}))
    return [(each.what, each.was, each.now) for each in found]


def test_hours_that_the_meter_shows_too_are_told_once_whenever_each_was_kept() -> None:
    made = [
        correction("hours", 3190.0, 3125.0, 100),
        correction("meter_hours", 3190.0, 3125.0, 101),
    ]
    assert told(made) == [("engine hours", "3190", "3125")]


def test_other_hours_on_the_meter_are_told_beside() -> None:
    made = [correction("hours", 3190.0, 3125.0, 100), correction("meter_hours", 190.0, 125.0, 100)]
    assert told(made) == [("engine hours", "3190", "3125"), ("hours on the meter", "190", "125")]


def test_faults_are_counted_and_the_first_is_told() -> None:
    kept = Kept(entries=9, hash="af21", faults=("work 3: it was taken out", "x"), notes=())
    assert not_as_entered(kept) == (
        "Something in this logbook is not as it was entered (2): work 3: it was taken out. What "
        "rests on it cannot be trusted: vibetrend logbook check"
    )
    assert not_as_entered(Kept(entries=9, hash="af21", faults=(), notes=("clock",))) == ""
