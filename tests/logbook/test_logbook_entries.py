"""The record of an installation: entries that stay, of the damper that was on at the time."""

import datetime as dt
import hashlib
import io
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from invented_logbook import FITTED, FITTED_HOURS, add, book_with_engine

from vibetrend.errors import LogbookError
from vibetrend.logbook import Entry, Installation, Logbook
from vibetrend.logbook.entries import DAMAGED

RIM = {"surface": "rim", "readings": [0, 3.5, -2, 3], "unit": "thou", "closing": None}
RENEWED = dt.date(2028, 5, 1)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with book_with_engine(tmp_path / "log") as opened:
        yield opened


def fit(book: Logbook, date: dt.date = FITTED, hours: float = FITTED_HOURS) -> Installation:
    return book.start_installation("main", date=date, hours=hours)


def enter(book: Logbook, date: dt.date = FITTED, content: Any = RIM, kind: str = "runout") -> Entry:
    return book.add_entry("main", kind, date=date, content=content)


def test_an_entry_comes_back_as_it_was_entered(book: Logbook) -> None:
    fitted = fit(book)
    kept = enter(book)
    assert (kept.installation_id, kept.kind, kept.date) == (fitted.id, "runout", FITTED)
    assert kept.content == RIM
    assert kept.added_at.endswith("Z")
    assert book.entries("main") == book.entries("main", fitted.id) == [kept]


def test_entries_are_listed_by_date_then_as_they_were_added(book: Logbook) -> None:
    fit(book)
    dates = [FITTED + dt.timedelta(days=days) for days in (9, 0, 9)]
    kept = [enter(book, date, {"text": str(n)}, "note") for n, date in enumerate(dates)]
    assert book.entries("main") == [kept[1], kept[0], kept[2]]


@pytest.mark.parametrize(
    ("date", "which"),
    [(FITTED, 0), (RENEWED - dt.timedelta(days=1), 0), (RENEWED, 1), (dt.date(2030, 1, 1), 1)],
)
def test_an_entry_is_of_the_damper_that_was_on(book: Logbook, date: dt.date, which: int) -> None:
    dampers = [fit(book), fit(book, RENEWED, 6000.0)]
    kept = enter(book, date)
    assert kept.installation_id == dampers[which].id
    assert book.entries("main", dampers[which].id) == [kept]
    assert book.entries("main", dampers[1 - which].id) == []


def test_without_an_installation_then_there_is_no_record(book: Logbook) -> None:
    with pytest.raises(
        LogbookError,
        match=r"no installation on 'main' had begun by 2026-05-01; start it: vibetrend",
    ):
        enter(book)
    fit(book)
    with pytest.raises(
        LogbookError, match=r"began on 2026-05-01, after 2026-04-30; correct --date"
    ):
        enter(book, FITTED - dt.timedelta(days=1))
    with pytest.raises(LogbookError, match="engine 'port' is not in the logbook"):
        book.add_entry("port", "runout", date=FITTED, content=RIM)
    assert book.entries("main") == []


def test_a_damper_entered_late_takes_over_what_came_after_it(book: Logbook) -> None:
    """On its very day, what was there already is of the damper before: measured, then renewed."""
    old = fit(book)
    same_day, later = enter(book, RENEWED), enter(book, RENEWED + dt.timedelta(days=1))
    new = fit(book, RENEWED, 6000.0)
    assert [each.id for each in book.entries("main", old.id)] == [same_day.id]
    assert [each.id for each in book.entries("main", new.id)] == [later.id]
    assert enter(book, RENEWED + dt.timedelta(days=1)).duplicate
    assert enter(book, RENEWED).installation_id == new.id


def test_an_installation_ends_with_the_next(book: Logbook) -> None:
    assert fit(book).until is None
    fit(book, RENEWED, 6000.0)
    first, second = book.installations("main")
    assert (first.until, first.until_hours) == (RENEWED, 6000.0)
    assert (second.until, second.until_hours) == (None, None)


def test_the_same_twice_is_one_entry(book: Logbook) -> None:
    fit(book)
    first = enter(book)
    again = enter(book, content=dict(reversed(RIM.items())))
    assert (first.duplicate, again.duplicate, again.id) == (False, True, first.id)
    assert not enter(book, content=RIM | {"readings": [0, 3.5, -2, 4]}).duplicate
    assert not enter(book, FITTED + dt.timedelta(days=1)).duplicate
    assert not enter(book, kind="casing").duplicate
    assert enter(book).duplicate
    assert len(book.entries("main")) == 4


@pytest.mark.parametrize(
    ("kind", "one", "other"),
    [
        ("check", {"item": "key", "done": True}, {"item": "key", "done": False}),
        ("details", {"part": "A-1"}, {"part": "A-2"}),
        ("finish", {"missing": []}, {"missing": ["bolts"]}),
    ],
)
def test_where_the_newest_counts_one_may_return_to_what_was_said(
    book: Logbook, kind: str, one: dict[str, Any], other: dict[str, Any]
) -> None:
    fit(book)
    said = [enter(book, content=each, kind=kind).duplicate for each in (one, one, other, one)]
    assert said == [False, True, False, False]
    assert [each.content for each in book.entries("main")] == [one, other, one]


def test_checks_of_other_items_do_not_part_the_same_check(book: Logbook) -> None:
    fit(book)
    items = ["nose", "key", "nose", "key"]
    said = [enter(book, content={"item": i, "done": True}, kind="check").duplicate for i in items]
    assert said == [False, False, True, True]


def test_details_are_kept_with_the_start(book: Logbook) -> None:
    def start(part: str) -> Installation:
        return book.start_installation(
            "main", date=FITTED, hours=FITTED_HOURS, details={"part": part}
        )

    begun = start("A-1")
    assert [start("A-1"), start("A-2"), start("A-1")] == [begun] * 3
    parts = [each.content["part"] for each in book.entries("main", begun.id)]
    assert parts == ["A-1", "A-2", "A-1"]
    assert {each.kind for each in book.entries("main")} == {"details"}


def test_details_of_an_earlier_damper_of_that_day_stay_its_own(book: Logbook) -> None:
    found = book.start_installation("main", date=FITTED, hours=FITTED_HOURS, as_found=True)
    fitted = fit(book)
    book.start_installation(
        "main", date=FITTED, hours=FITTED_HOURS, as_found=True, details={"part": "old"}
    )
    assert len(book.entries("main", found.id)) == 1
    assert book.entries("main", fitted.id) == []


def test_details_that_cannot_be_kept_start_nothing(book: Logbook) -> None:
    with pytest.raises(LogbookError, match="control character"):
        book.start_installation("main", date=FITTED, hours=1.0, details={"notes": "two\nlines"})
    assert book.installations("main") == []


@pytest.mark.parametrize(
    ("content", "why"),
    [
        ({"tir": float("nan")}, "'tir' holds a number that cannot be kept; give a finite one"),
        ({"readings": [0.0, float("inf")]}, "'readings' holds a number that cannot be kept"),
        ({"count": 2**53}, "'count' holds a number"),
        ({"note": "red \x1b[31m"}, r"the text of 'note' holds the control character '\\x1b'"),
        ({"note": "\u202eturned"}, r"holds the control character '\\u202e'; write it as one plain"),
        ({"a": {"b": ["two\nlines"]}}, "the text of 'b' holds the control character"),
        ({"bell\a": 1}, "a key of the entry holds the control character"),
        ({"note": "x" * 501}, "the text of 'note' has 501 characters; shorten it to 500 at most"),
        ({"notes": ["x" * 500] * 50}, "bytes; 20000 are kept at most, so enter it in parts"),
        ({1: "one"}, "has the key 1, which is no text"),
        ({"when": FITTED}, "'when' holds a date, which cannot be kept"),
        ({"a": [[[[[[[[[0]]]]]]]]]}, "nested too deeply"),
    ],
)
def test_content_that_is_not_plain_is_refused(book: Logbook, content: Any, why: str) -> None:
    fit(book)
    with pytest.raises(LogbookError, match=why) as said:
        enter(book, content=content)
    assert str(said.value).isprintable()
    assert book.entries("main") == []


@pytest.mark.parametrize("text", ['{"surface": ', "[1]", "", "NaN"])
def test_a_damaged_entry_keeps_no_other_from_its_owner(book: Logbook, text: str) -> None:
    fit(book)
    damaged, sound = enter(book), enter(book, content={"surface": "face"})
    with closing(sqlite3.connect(book.folder / "logbook.sqlite")) as other, other:
        other.execute("UPDATE entry SET content = ? WHERE id = ?", (text, damaged.id))
    found = book.entries("main")
    assert found[0].content == {DAMAGED: text}
    assert found[1] == sound
    assert not enter(book).duplicate  # entered again it is there again


@pytest.mark.parametrize("kind", ["", "Run-out", "a b", "../x", "é", "x" * 41])
def test_a_kind_is_a_plain_word(book: Logbook, kind: str) -> None:
    fit(book)
    with pytest.raises(LogbookError, match="is no kind of entry"):
        enter(book, kind=kind)


def test_text_of_any_language_is_kept(book: Logbook) -> None:
    fit(book)
    text = "Öl: 12\N{NO-BREAK SPACE}l · 右 · می\u200cخواهم"
    assert enter(book, content={"text": text}, kind="note").content == {"text": text}
    assert book.entries("main")[0].content == {"text": text}


def test_a_photo_is_kept_like_an_original(book: Logbook) -> None:
    """SHA-256 of "abc": NIST FIPS 180-2, appendix B.1."""
    rest = "7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    fit(book)
    for again in (False, True):
        content = {"sha256": "ba" + rest}
        entry = book.add_entry(
            "main", "photo", date=FITTED, content=content, file=io.BytesIO(b"abc")
        )
        assert entry.duplicate == again
    with pytest.raises(LogbookError, match="is no kind of entry"):
        book.add_entry("main", "Photo", date=FITTED, content={}, file=io.BytesIO(b"refused"))
    assert len(list((book.folder / "originals").glob("??/*"))) == 1
    assert (book.folder / "originals" / "ba" / rest).read_bytes() == b"abc"
    assert book.original("ba" + rest) == b"abc"
    assert hashlib.sha256(b"abc").hexdigest() == "ba" + rest
    assert add(book, b"abc").sha256 == "ba" + rest  # may be a recording's too
