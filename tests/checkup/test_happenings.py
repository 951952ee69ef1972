"""The log of everything of an invented engine: nothing that was entered is missing in it."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from invented_life import ENGINE, FITTED, FITTED_HOURS
from measured_life import baseline, check_up, engine_book, main_engine, measured

from vibetrend.checkup.happenings import with_log
from vibetrend.checkup.records import Happening
from vibetrend.engine import Engine
from vibetrend.installation import (
    belt_content,
    bolt_content,
    check_content,
    details_content,
    finish_content,
    note_content,
    photo_content,
    runout_content,
)
from vibetrend.logbook import Logbook, keep_measurement, remeasurable

DAY = dt.timedelta(days=1)
LATER = FITTED + 100 * DAY


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with engine_book(tmp_path) as opened:
        yield opened


def fitted(book: Logbook) -> None:
    book.start_installation("main", date=FITTED, hours=FITTED_HOURS)


def log(book: Logbook, what: str = "") -> list[Happening]:
    (record,) = with_log(book, [main_engine(book)])
    return [each for each in record.happenings if what in ("", each.what)]


def test_an_engine_of_which_only_the_file_is_known(book: Logbook) -> None:
    (only,) = log(book)
    assert (only.what, only.words, only.hours) == ("engine file", "added", None)
    assert (dt.datetime.now().astimezone().date() - only.date).days in (0, 1)


def test_newest_first_each_with_true_and_meter_hours(book: Logbook) -> None:
    fitted(book)
    book.add_meter_reading("main", date=LATER, shown=3200)
    book.change_meter("main", date=LATER + DAY, before=3205, after=10, what="replaced", note="new")
    check_up(book, LATER + 5 * DAY, 20)
    book.add_work("main", date=LATER + 9 * DAY, hours=25, what="mounts", note="all four")
    found = [each for each in log(book) if each.hours is not None]
    assert [(each.what, each.hours, each.meter_hours) for each in found] == [
        ("work", 3220, 25),
        ("check-up", 3215, 20),
        ("meter", 3205, 10),
        ("meter", 3200, 3200),
        ("installation", FITTED_HOURS, FITTED_HOURS),
    ]
    assert (found[0].words, found[0].own) == ("mounts", "all four")
    assert found[2].words == "hour meter replaced: it showed 3205 h last, then 10 h"
    assert found[2].own == "new"
    # All that is known of the hours is in it, with the same two numbers.
    told = {(each.date, each.hours, each.meter_hours) for each in found}
    assert {(e.date, e.hours, e.meter_hours) for e in main_engine(book).hours_log} <= told


def test_every_entry_of_the_record_in_one_short_line(book: Logbook) -> None:
    fitted(book)
    rim = runout_content("rim", [0.0, 0.05, 0.0, -0.05], unit="mm", resolution=0.01, note="cold")
    photo = photo_content("ab" * 32, "nose.jpg", media_type="image/jpeg", bytes=5, caption="Nose")
    for kind, content in (
        ("details", details_content(part="DR-6", who="A. Example", notes="spare")),
        ("runout", rim),
        ("belt", belt_content("alternator", stage="after-run-in", tension=98, unit="lbf")),
        ("bolt", bolt_content("crankshaft", stages=["135 lbf ft"], recheck=True)),
        ("check", check_content("clean")),
        ("check", check_content("clearance", done=False, note="hose in the way")),
        ("photo", photo),
        ("note", note_content("second key fitted")),
        ("finish", finish_content(missing=["No run-out of the face."])),
    ):
        book.add_entry("main", kind, date=FITTED + DAY, content=content)
    found = [(e.what, e.words, e.own) for e in log(book) if e.date == FITTED + DAY][::-1]
    assert found == [
        ("details", "of the damper", "part DR-6, fitted by A. Example, spare"),
        ("reading", "run-out of rim: 0.10 mm", "cold"),
        ("reading", "tension of alternator, after run-in: 98 lbf", ""),
        ("reading", "torque of crankshaft, re-check: 135 lbf ft", ""),
        (
            "check",
            "done: crank nose, key and seal sleeve are clean, free of burrs and not worn",
            "",
        ),
        (
            "check",
            "not done: there is clearance all round when the crank is turned by hand",
            "hose in the way",
        ),
        ("photo", "kept as abababababab", "Nose"),
        ("note", "", "second key fitted"),
        ("finish", "record finished, 1 point of a careful record missing then", ""),
    ]


@pytest.mark.parametrize(
    ("kind", "content"),
    [
        ("check", {"item": "luck", "done": 7}),
        ("photo", {"name": "nose.jpg"}),
        ("note", {"text": 5}),
        ("details", {"part": 4}),
        ("runout", {"surface": "rim"}),
        ("of-later", {"a": 1}),
    ],
)
def test_an_entry_that_cannot_be_read_says_nothing_else(
    book: Logbook, kind: str, content: dict[str, object]
) -> None:
    fitted(book)
    book.add_entry("main", kind, date=FITTED + DAY, content=content)
    (found,) = [each for each in log(book) if each.date == FITTED + DAY]
    assert (found.words, found.own) == (f"an entry that cannot be read ({kind})", "")


def test_a_check_up_is_one_line_and_tells_what_was_left_out(book: Logbook) -> None:
    fitted(book)
    baseline(book)
    check_up(book, LATER, 3300, placements=2)
    check_up(book, LATER + DAY, 3310, unusable=True, placements=1)
    check_up(book, LATER + DAY, 3310, placements=2)
    found = [each.words for each in log(book, "check-up")]
    assert found[0] == "3 recordings, phone A, valve cover, acceleration, 1080 rpm; 1 left out"
    assert found[1] == "2 recordings, phone A, valve cover, acceleration, 1080 rpm"
    assert found[-1].endswith("1080 rpm, baseline")
    assert len(found) == 5


def test_the_end_of_a_damper_is_told_and_its_check_ups_stay(book: Logbook) -> None:
    fitted(book)
    check_up(book, LATER, 3300)
    book.start_installation("main", date=LATER + DAY, hours=3320)
    begun, was, _ = [e for e in log(book) if e.what in ("installation", "check-up")]
    assert (begun.words, begun.hours) == (
        f"damper fitted; the one before, fitted on {FITTED}, had run 200 h since then",
        3320,
    )
    assert (was.what, was.hours) == ("check-up", 3300)


def test_changes_of_the_engine_file_are_named_by_key(book: Logbook) -> None:
    text = ENGINE.replace("renew_hours = 4000", "renew_hours = 3500").replace(
        "renew_years = 6\n", ""
    )
    text = f"rated_rpm = 2600\n{text}"
    for each in (text, f"# a remark\n{text}"):
        book.put_engine(each, Engine.parse(each))
    remark, changed, added = log(book, "engine file")
    assert added.words == "added"
    assert changed.words == (
        "new: rated_rpm; changed: damper.renew_hours; taken out: damper.renew_years"
    )
    assert remark.words == "changed in its remarks or order alone"


def test_a_verdict_is_told_when_its_state_changes(book: Logbook) -> None:
    fitted(book)
    baseline(book)
    main_engine(book)
    for day in range(4):  # 9 dB: far beyond a scatter of half a dB
        check_up(book, LATER + day * DAY, 3300 + 5 * day, {2.5: 9.0})
        main_engine(book)
    found = log(book, "verdict")
    states = [each.states for each in reversed(found)]
    assert len(states[0]) == 1
    assert len(states) > 1
    # A chain: each begins where the one before ended, and none repeats itself.
    for before, after in pairwise(states):
        assert after[0] == before[-1] != after[-1]
    assert states[-1][-1] == main_engine(book).series[0].verdict.state
    assert any(f"recordings up to {LATER}" in each.words for each in found)


def test_the_same_state_again_is_no_happening(book: Logbook) -> None:
    fitted(book)
    baseline(book)
    for _ in range(3):
        main_engine(book)
    assert len(log(book, "verdict")) == 1


def test_measuring_again_is_told_and_is_the_reason_of_a_changed_state(book: Logbook) -> None:
    fitted(book)
    baseline(book)
    (series,) = book.series("main")
    book.keep_verdict(series.id, {"advice": []}, "no-change-seen")
    for kept in remeasurable(book):
        content = book.original(kept.sha256)
        keep_measurement(book, kept.id, replace(measured(content, {}), method_version=2))
    book.keep_verdict(series.id, {"advice": []}, "changed")
    book.keep_verdict(series.id, {"advice": []}, "another-day")
    told = log(book, "verdict")
    reasons = {each.states: each.words.rpartition("; ")[2] for each in told}
    assert reasons["no-change-seen", "changed"] == "measured again by method 2"
    assert sum("measured again" in each.words for each in told) == 1
    assert [each.words for each in log(book, "measured again")] == ["9 recordings, by method 2"]
