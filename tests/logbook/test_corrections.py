"""What was mistyped is corrected, and what was entered stays to be read."""

import datetime as dt
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from invented_logbook import FITTED, FITTED_HOURS, add, book_with_engine, measured

from vibetrend.errors import LogbookError
from vibetrend.logbook import Logbook, correct, corrections, listed, set_aside

DAY = dt.timedelta(days=1)
MAY = dt.date(2026, 5, 4)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with book_with_engine(tmp_path / "log") as opened:
        opened.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        yield opened
        assert opened.check().clean


def rows(book: Logbook) -> list[dict[str, Any]]:
    found = [book.recordings(each.id) for each in book.series("main")]
    return [row for table in found for row in table.to_dict(orient="records")]


def as_entered(book: Logbook, table: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(book.database.path)) as connection:
        return connection.execute(f"SELECT * FROM {table}").fetchall()


def test_hours_mistyped_no_longer_stand_in_the_way(book: Logbook) -> None:
    wrong = add(book, b"1", hours=3190.0)  # 3130 was meant
    with pytest.raises(LogbookError, match=f"contradicts recording {wrong.id}"):
        add(book, b"2", date=MAY + DAY, hours=3140.0)
    entered = as_entered(book, "recording")
    made = correct(book, [wrong.id], {"hours": 3130.0}, reason="a 9 for a 3", person="A. Example")
    assert [(each.of, each.what, each.was, each.now) for each in made] == [
        (wrong.id, "hours", 3190.0, 3130.0),
        (wrong.id, "meter_hours", 3190.0, 3130.0),
    ]
    assert not add(book, b"2", date=MAY + DAY, hours=3140.0).duplicate
    assert [row["hours"] for row in rows(book)] == [3130.0, 3140.0]
    assert [row["meter_hours"] for row in rows(book)] == [3130.0, 3140.0]
    (series,) = book.series("main")
    assert set(book.history(series.id)["hours"]) == {3130.0, 3140.0}
    assert as_entered(book, "recording")[0] == entered[0]  # not touched
    first = corrections(book, "main")[0]
    assert (first.reason, first.person, first.was) == ("a 9 for a 3", "A. Example", 3190.0)


def test_hours_that_cannot_be_are_refused_in_a_correction_too(book: Logbook) -> None:
    kept = add(book, b"1", hours=3130.0)
    add(book, b"2", date=MAY + DAY, hours=3140.0)
    with pytest.raises(LogbookError, match=r"contradict recording .* engine hours only grow"):
        correct(book, [kept.id], {"hours": 3150.0}, reason="x")
    with pytest.raises(LogbookError, match="cannot be engine hours"):
        correct(book, [kept.id], {"hours": -1.0}, reason="x")
    assert corrections(book, "main") == []


def test_what_counts_already_is_no_correction(book: Logbook) -> None:
    kept = add(book, b"1", hours=3130.0)
    assert correct(book, [kept.id], {"hours": 3130.0, "position": "head"}, reason="x") == []
    assert correct(book, [kept.id], {"hours": 3131.0}, reason="x")
    assert correct(book, [kept.id], {"hours": 3131.0}, reason="x") == []
    assert len(corrections(book, "main")) == 2


def test_the_newest_correction_counts(book: Logbook) -> None:
    kept = add(book, b"1", hours=3130.0)
    for hours in (3131.0, 3132.5, 3130.0):
        correct(book, [kept.id], {"hours": hours}, reason="x")
    assert [row["hours"] for row in rows(book)] == [3130.0]
    told = [(each.was, each.now) for each in corrections(book, "main") if each.what == "hours"]
    assert told == [(3130.0, 3131.0), (3131.0, 3132.5), (3132.5, 3130.0)]


def test_a_day_corrected_takes_its_check_up_along(book: Logbook) -> None:
    kept = add(book, b"1", hours=3130.0, visit="2026-05-04")
    named = add(book, b"2", hours=3130.0, visit="after the trip")
    correct(book, [kept.id], {"date": MAY - DAY}, reason="x")
    correct(book, [named.id], {"date": MAY - DAY}, reason="x")
    found = {row["recording"]: (row["date"], row["visit"]) for row in rows(book)}
    assert found == {
        kept.id: (MAY - DAY, "2026-05-03"),
        named.id: (MAY - DAY, "after the trip"),
    }


def test_a_check_up_still_holds_one_day(book: Logbook) -> None:
    add(book, b"1", hours=3130.0, visit="A")
    other = add(book, b"2", date=MAY + 9 * DAY, hours=3140.0, visit="B")
    with pytest.raises(LogbookError, match="check-up 'A' holds recording"):
        correct(book, [other.id], {"visit": "A"}, reason="x")
    correct(book, [other.id], {"visit": "C"}, reason="x")
    assert {row["visit"] for row in rows(book)} == {"A", "C"}


def test_another_position_is_another_series(book: Logbook) -> None:
    add(book, b"1", hours=3130.0)
    kept = add(book, b"2", measured(b"2", position="haed"), hours=3131.0)
    assert len(book.series("main")) == 2
    (made,) = correct(book, [kept.id], {"position": "head"}, reason="mistyped")
    assert (made.what, made.was, made.now) == ("position", "haed", "head")
    (series,) = book.series("main")
    assert len(book.recordings(series.id)) == 2


@pytest.mark.parametrize(
    ("was", "stated", "now"),
    [
        ({}, {"baseline": True, "before": False}, (True, False)),
        ({"baseline": True}, {"baseline": False, "before": False}, (False, False)),
        ({"baseline": True}, {"baseline": False}, (False, False)),
    ],
)
def test_a_mark_is_corrected(
    book: Logbook, was: dict[str, bool], stated: dict[str, bool], now: tuple[bool, bool]
) -> None:
    kept = add(book, b"1", hours=3130.0, **was)
    assert correct(book, [kept.id], stated, reason="x")
    (row,) = rows(book)
    assert (row["baseline"], row["before"]) == now


def test_marks_that_make_no_sense_are_refused(book: Logbook) -> None:
    kept = add(book, b"1", hours=3130.0)
    with pytest.raises(LogbookError, match="lies after the installation"):
        correct(book, [kept.id], {"before": True}, reason="x")
    with pytest.raises(LogbookError, match="either part of the baseline or from before"):
        correct(book, [kept.id], {"baseline": True, "before": True}, reason="x")


def test_an_installation_and_work_are_corrected(book: Logbook) -> None:
    add(book, b"1", date=MAY, hours=3150.0)
    work = book.add_work("main", date=MAY - DAY, hours=3140.0, what="mounts")
    assert book.series("main")[0].epoch == 1
    correct(book, ["work-1"], {"date": MAY + DAY, "hours": 3160.0}, reason="a day late")
    (series,) = book.series("main")
    assert series.epoch == 0  # the recording lies before the work now
    assert (book.work("main")[0].hours, work.hours) == (3160.0, 3140.0)
    correct(book, ["installation-1"], {"hours": 3119.0}, reason="x")
    assert book.installations("main")[0].hours == 3119.0
    with pytest.raises(LogbookError, match="its position cannot be corrected; hours, date can"):
        correct(book, ["work-1"], {"position": "head"}, reason="x")


def test_set_aside_is_used_for_nothing_and_comes_back(book: Logbook) -> None:
    kept = add(book, b"1", hours=3130.0)
    add(book, b"2", hours=3131.0)
    assert set_aside(book, [kept.id], reason="phone slipped").entries == (kept.id,)
    assert set_aside(book, [kept.id], reason="phone slipped").entries == ()
    assert [row["hours"] for row in rows(book)] == [3131.0]
    (series,) = book.series("main")
    assert set(book.history(series.id)["hours"]) == {3131.0}
    assert {each.label for each in book.known_hours("main")} == {"", rows(book)[0]["recording"]}
    again = add(book, b"1", hours=3130.0)
    assert (again.duplicate, again.set_aside) == (True, True)
    assert set_aside(book, [kept.id], reason="it had not", back=True).entries
    assert len(rows(book)) == 2
    assert [each.now for each in corrections(book, "main")] == [True, False]


def test_a_series_set_aside_as_a_whole_is_gone(book: Logbook) -> None:
    kept = add(book, b"1", hours=3130.0)
    set_aside(book, [kept.id], reason="x")
    assert book.series("main") == []


def test_what_was_contradicted_since_does_not_come_back(book: Logbook) -> None:
    kept = add(book, b"1", hours=3190.0)
    set_aside(book, [kept.id], reason="x")
    add(book, b"2", date=MAY + DAY, hours=3140.0)
    with pytest.raises(LogbookError, match="contradict recording"):
        set_aside(book, [kept.id], reason="x", back=True)
    assert len(rows(book)) == 1


def test_work_and_readings_are_set_aside(book: Logbook) -> None:
    add(book, b"1", date=MAY, hours=3150.0)
    book.add_work("main", date=MAY - DAY, hours=3140.0, what="mounts")
    book.add_entry("main", "note", date=MAY, content={"text": "dry"})
    set_aside(book, ["work-1"], reason="other engine")
    set_aside(book, ["entry-1"], reason="other engine")
    assert (book.work("main"), book.entries("main")) == ([], [])
    assert [each.epoch for each in book.series("main")] == [0]
    assert not book.add_work("main", date=MAY - DAY, hours=3140.0, what="mounts").duplicate


def test_a_change_of_the_meter_is_corrected_and_hours_with_it(book: Logbook) -> None:
    book.change_meter("main", date=FITTED + DAY, before=3125.0, after=5.0, what="replaced")
    kept = add(book, b"1", date=MAY, hours=10.0)
    assert kept.hours == 3130.0
    correct(book, ["meter-1"], {"shown": 3135.0, "after": 4.0}, reason="a 3 for a 2")
    assert [row["hours"] for row in rows(book)] == [3141.0]
    assert [each.hours for each in book.meter("main")] == [3135.0]
    with pytest.raises(LogbookError, match=r"would contradict the installation .*installation-1"):
        correct(book, ["meter-1"], {"shown": 3000.0}, reason="x")
    with pytest.raises(LogbookError, match="its hours cannot be corrected"):
        correct(book, ["meter-1"], {"hours": 3000.0}, reason="x")


def test_a_change_of_the_meter_is_set_aside_with_what_rests_on_it(book: Logbook) -> None:
    book.change_meter("main", date=FITTED + DAY, before=3125.0, after=5.0, what="replaced")
    kept = add(book, b"1", date=MAY, hours=10.0)
    with pytest.raises(LogbookError, match=r"with that set aside, recording .* would contradict"):
        set_aside(book, ["meter-1"], reason="that was the other engine's")
    done = set_aside(book, ["meter-1", kept.id], reason="that was the other engine's")
    assert (done.entries, done.recounted) == (("meter-1", kept.id), 1)
    set_aside(book, ["meter-1", kept.id], reason="it was ours", back=True)
    assert [row["hours"] for row in rows(book)] == [3130.0]


def test_two_changes_of_the_meter_do_not_both_come_back(book: Logbook) -> None:
    """One mistyped, set aside and entered again: used again, hours would count twice."""
    book.change_meter("main", date=FITTED + DAY, before=3125.0, after=0.0, what="replaced")
    set_aside(book, ["meter-1"], reason="mistyped")
    book.change_meter("main", date=FITTED + DAY, before=3126.0, after=0.0, what="replaced")
    add(book, b"1", date=MAY, hours=10.0)
    with pytest.raises(LogbookError, match=r"used again, .* would contradict"):
        set_aside(book, ["meter-1"], reason="x", back=True)
    assert [row["hours"] for row in rows(book)] == [3136.0]


def test_a_check_up_is_corrected_together(book: Logbook) -> None:
    """Three files with one mistyped --hours: one by one they would contradict each other."""
    three = [add(book, each, hours=3190.0, visit="spring").id for each in (b"1", b"2", b"3")]
    with pytest.raises(LogbookError, match=r"would contradict .* all their ids"):
        correct(book, three[:1], {"date": MAY - DAY, "hours": 3191.0}, reason="x")
    made = correct(book, three, {"date": MAY + 30 * DAY, "hours": 3130.0}, reason="a 9 for a 3")
    assert len(made) == 9
    assert {each.made_at for each in made} == {made[0].made_at}
    assert {(row["date"], row["hours"]) for row in rows(book)} == {(MAY + 30 * DAY, 3130.0)}
    with pytest.raises(LogbookError, match="is not in the logbook"):
        correct(book, [*three, "work-9"], {"hours": 3131.0}, reason="x")
    assert {row["hours"] for row in rows(book)} == {3130.0}  # all or none


def test_work_entered_again_does_not_come_back_twice(book: Logbook) -> None:
    book.add_work("main", date=MAY, hours=3140.0, what="mounts")
    set_aside(book, ["work-1"], reason="x")
    book.add_work("main", date=MAY, hours=3140.0, what="mounts")
    with pytest.raises(LogbookError, match=r"work-1: the same was entered again as work-2"):
        set_aside(book, ["work-1"], reason="x", back=True)


def test_a_blank_check_up_is_called_by_its_day(book: Logbook) -> None:
    kept = add(book, b"1", hours=3130.0, visit="spring")
    correct(book, [kept.id], {"visit": "  "}, reason="x")
    assert [row["visit"] for row in rows(book)] == ["2026-05-04"]
    assert correct(book, [kept.id], {"device": " phone "}, reason="x") == []


@pytest.mark.parametrize("rpm", [0.0, 1e9, float("nan"), float("inf")])
def test_a_speed_that_is_none_is_refused(book: Logbook, rpm: float) -> None:
    kept = add(book, b"1", hours=3130.0)
    with pytest.raises(LogbookError, match="is no speed of an engine"):
        correct(book, [kept.id], {"rpm": rpm}, reason="x")


def test_a_closed_baseline_stays_closed(book: Logbook) -> None:
    for day in range(3):
        for placement in range(3):
            content = b"%d-%d" % (day, placement)
            add(book, content, hours=3130.0 + day, date=MAY + day * DAY, baseline=True)
    later = [add(book, b"later-%d" % each, hours=3400.0, date=MAY + 90 * DAY) for each in range(3)]
    with pytest.raises(LogbookError, match="the baseline of this series is complete"):
        correct(book, [later[0].id], {"baseline": True, "before": False}, reason="x")


def test_an_installation_is_set_aside_only_without_a_record(book: Logbook) -> None:
    book.add_entry("main", "note", date=MAY, content={"text": "dry"})
    with pytest.raises(LogbookError, match=r"installation-1: its record holds entries \(1\); set"):
        set_aside(book, ["installation-1"], reason="x")
    set_aside(book, ["entry-1"], reason="x")
    add(book, b"1", hours=3130.0)
    set_aside(book, ["installation-1"], reason="x")
    assert book.installations("main") == []
    assert [each.installation for each in book.series("main")] == [None]


@pytest.mark.parametrize(
    "entry", ["3f2a91bc55", "work-9", "work-0", "boat-1", "", "installation-2"]
)
def test_an_entry_that_is_not_there_is_told(book: Logbook, entry: str) -> None:
    with pytest.raises(LogbookError, match="is not in the logbook; 'vibetrend logbook list'"):
        set_aside(book, [entry], reason="x")


def test_a_correction_needs_a_plain_reason(book: Logbook) -> None:
    kept = add(book, b"1")
    for reason in ("", "  "):
        with pytest.raises(LogbookError, match="needs its reason"):
            set_aside(book, [kept.id], reason=reason)
    with pytest.raises(LogbookError, match="control character"):
        correct(book, [kept.id], {"hours": 3151.0}, reason="a\nb")
    with pytest.raises(LogbookError, match=r"entry-1.* is not in|cannot be corrected"):
        correct(book, ["entry-1"], {"hours": 1.0}, reason="x")


def test_every_entry_is_listed_with_what_became_of_it(book: Logbook) -> None:
    one = add(book, b"1", hours=3130.0, baseline=True)
    other = add(book, b"2", hours=3131.0)
    book.add_work("main", date=MAY + DAY, hours=3140.0, what="belt", note="new")
    book.add_meter_reading("main", date=MAY + 2 * DAY, shown=3150.0)
    book.add_entry("main", "note", date=MAY, content={"text": "dry"})
    correct(book, [one.id], {"hours": 3129.0}, reason="x")
    set_aside(book, [other.id], reason="x")
    found = {each.id: each for each in listed(book, "main")}
    assert list(found) == ["installation-1", one.id, other.id, "entry-1", "work-1", "meter-1"]
    assert (found[one.id].hours, found[one.id].corrected, found[one.id].set_aside) == (
        3129.0, True, False,
    )  # fmt: skip
    assert (found[other.id].corrected, found[other.id].set_aside) == (False, True)
    assert found["work-1"].about == "belt: new"
    assert "baseline" in found[one.id].about
