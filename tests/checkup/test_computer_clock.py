"""A clock that is wrong, or a date typed wrong: what was entered lies ahead of today."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest
from measured_life import engine_book

from vibetrend.checkup.records import EngineRecord
from vibetrend.checkup.standing import standing
from vibetrend.cli.standing_words import standing_words
from vibetrend.installation import note_content
from vibetrend.logbook import Logbook
from vibetrend.report import page
from vibetrend.report.calendar import calendar
from vibetrend.report.card import card

FITTED, LATEST = dt.date(2020, 6, 1), dt.date(2026, 11, 8)
WRONG = dt.date(2020, 1, 1)
SAID = (
    "This computer's clock says 1 January 2020, but records reach to 8 November 2026: set the "
    "clock, or find the entry whose date is wrong; until then the renewal counts from that day."
)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    """A logbook of a damper that the years allowed, six, have gone by for."""
    with engine_book(tmp_path) as opened:
        opened.start_installation("main", date=FITTED, hours=3120)
        opened.add_meter_reading("main", date=dt.date(2026, 10, 1), shown=4720)
        opened.add_entry("main", "note", date=LATEST, content=note_content("looked at"))
        yield opened


def stands(book: Logbook, today: dt.date) -> EngineRecord:
    (found,) = standing(book, ["main"], today=today)
    return found


def words(found: EngineRecord) -> str:
    """Return what the terminal shows, on one line."""
    return " ".join(standing_words([found], today=WRONG).split())


def test_all_counts_from_the_latest_record(book: Logbook) -> None:
    found, right = stands(book, WRONG), stands(book, LATEST)
    assert found.renewal.state == right.renewal.state == "overdue"
    assert found.renewal.remarks[1:] == right.renewal.remarks
    assert found.status["next_recording_date"] == right.status["next_recording_date"]


def test_it_is_told_wherever_it_matters(book: Logbook) -> None:
    found = stands(book, WRONG)
    made_at = dt.datetime.combine(WRONG, dt.time(12)).astimezone()
    assert words(found).count(SAID) == 1
    assert SAID in page([found], title="t", made_at=made_at).replace("&#39;", "'")
    entries = calendar([found], made_at=made_at).replace("\r\n ", "").replace("\\", "")
    assert "DTSTART;VALUE=DATE:20261108" in entries  # overdue: the day that counts as today
    assert entries.count(SAID) == 3  # by date, by hours, and of the next check-up
    assert SAID in card(found, made_on=WRONG).renewal.text


def test_a_clock_that_is_right_or_in_another_time_zone_is_not_doubted(book: Logbook) -> None:
    for today in (LATEST - dt.timedelta(days=1), LATEST, LATEST + dt.timedelta(days=400)):
        assert "clock" not in " ".join(stands(book, today).renewal.remarks)


def test_without_a_damper_it_is_told_too(tmp_path: Path) -> None:
    with engine_book(tmp_path / "bare") as bare:
        bare.add_meter_reading("main", date=LATEST, shown=100)
        assert SAID in words(stands(bare, WRONG))
