import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest
from invented_logbook import ENGINE, FITTED, FITTED_HOURS, add, book_with_engine

from vibetrend.engine import Engine
from vibetrend.errors import LogbookError
from vibetrend.logbook import Logbook


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with book_with_engine(tmp_path / "log") as opened:
        yield opened


def put(book: Logbook, text: str) -> str:
    return book.put_engine(text, Engine.parse(text))


def test_an_engine_comes_back_as_it_was_put(book: Logbook) -> None:
    assert book.engine_names() == ["main"]
    assert book.engine_text("main") == ENGINE
    assert book.engine("main") == Engine.parse(ENGINE)


def test_a_changed_file_becomes_the_current_one(book: Logbook) -> None:
    changed = ENGINE + "rated_rpm = 2600\n"
    assert put(book, ENGINE) == "unchanged"
    assert put(book, changed) == "updated"
    assert book.engine("main").rated_rpm == 2600
    assert put(book, ENGINE) == "updated"  # back to the first is a change too
    assert book.engine("main").rated_rpm is None
    assert put(book, 'name = "genset"\ncylinders = 4\n') == "added"
    assert book.engine_names() == ["main", "genset"]


def test_every_file_of_an_engine_stays(book: Logbook) -> None:
    changed = ENGINE + "rated_rpm = 2600\n"
    put(book, changed)
    put(book, 'name = "genset"\ncylinders = 4\n')
    files = book.engine_files("main")
    assert [each.toml for each in files] == [ENGINE, changed]
    added = [dt.datetime.fromisoformat(each.added_at) for each in files]
    assert added == sorted(added)
    assert all(each.tzinfo is not None for each in added)
    with pytest.raises(LogbookError, match="is not in the logbook"):
        book.engine_files("none")


def test_an_unknown_engine_is_refused_with_the_names_there_are(book: Logbook) -> None:
    put(book, 'name = "genset"\ncylinders = 4\n')
    with pytest.raises(
        LogbookError, match=r"'mian' is not in .*did you mean 'main'.*main, genset.*engine add FILE"
    ):
        book.engine("mian")
    with pytest.raises(LogbookError, match=r"'x' is not in the logbook\. Known are main, genset"):
        book.series("x")


def test_an_empty_logbook_says_how_to_begin(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "log") as book:
        assert book.engine_names() == []
        with pytest.raises(LogbookError, match=r"holds no engine yet; .*engine add FILE"):
            book.engine("main")


def test_an_installation_freezes_the_engine_file(book: Logbook) -> None:
    started = book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
    put(book, ENGINE + "rated_rpm = 2600\n")
    assert book.installations("main") == [started]
    assert (started.date, started.hours, started.as_found) == (FITTED, FITTED_HOURS, False)
    assert started.engine == Engine.parse(ENGINE)


def test_starting_the_same_installation_twice_is_harmless(book: Logbook) -> None:
    started = book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
    put(book, ENGINE + "rated_rpm = 2600\n")
    assert book.start_installation("main", date=FITTED, hours=FITTED_HOURS) == started
    assert len(book.installations("main")) == 1


def test_a_new_damper_may_follow_a_found_one_at_the_same_hours(book: Logbook) -> None:
    found = book.start_installation("main", date=FITTED, hours=FITTED_HOURS, as_found=True)
    fitted = book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
    assert found.as_found
    assert not fitted.as_found
    add(book, b"after")
    assert book.series("main")[0].installation == fitted


@pytest.mark.parametrize(
    ("date", "hours"), [(FITTED - dt.timedelta(days=1), 4000.0), (dt.date(2027, 1, 1), 3119.9)]
)
def test_an_installation_before_the_previous_one_is_refused(
    book: Logbook, date: dt.date, hours: float
) -> None:
    book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
    with pytest.raises(
        LogbookError,
        match=f"at {date} and .* lies before the previous one, 2026-05-01 at 3120 h; correct",
    ):
        book.start_installation("main", date=date, hours=hours)
    assert len(book.installations("main")) == 1


@pytest.mark.parametrize("hours", [-1.0, float("nan"), float("inf")])
def test_what_cannot_be_hours_is_refused(book: Logbook, hours: float) -> None:
    with pytest.raises(LogbookError, match="cannot be engine hours; give a number from 0 up"):
        book.start_installation("main", date=FITTED, hours=hours)
    with pytest.raises(LogbookError, match="cannot be engine hours"):
        add(book, b"clip", hours=hours)
