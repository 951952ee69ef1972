"""Hours, dampers and renewals of an engine, with recordings and without. All invented."""

import datetime as dt
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from invented_life import ENGINE
from measured_life import baseline, check_up, engine_book

from vibetrend.checkup.records import EngineRecord
from vibetrend.checkup.standing import standing, to_json
from vibetrend.cli.status import exit_code
from vibetrend.engine import Engine
from vibetrend.installation import belt_content, details_content
from vibetrend.logbook import Logbook

FITTED = dt.date(2024, 6, 1)
TODAY = dt.date(2026, 6, 20)  # 250 h a year since: 3620 h


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    """A logbook that knows the engine and no damper."""
    with engine_book(tmp_path) as opened:
        yield opened


def fitted(book: Logbook, **more: Any) -> None:
    book.start_installation("main", date=FITTED, hours=3120, **more)


def read(book: Logbook, date: dt.date, shown: float) -> None:
    book.add_meter_reading("main", date=date, shown=shown)


def where_it_stands(book: Logbook, today: dt.date = TODAY) -> EngineRecord:
    (found,) = standing(book, ["main"], today=today)
    told = json.loads(json.dumps(to_json([found]), allow_nan=False))
    assert told["engines"][0]["hours"] == found.status["hours"]  # all of it can be written
    return found


# With no recording at all


def test_an_engine_of_which_nothing_is_known(book: Logbook) -> None:
    found = where_it_stands(book)
    assert found.status["hours"] is None
    assert (found.status["hours_date"], found.status["meter_hours"]) == (None, None)
    assert (found.hours_log, found.installation_record, found.earlier_installations) == (
        (),
        None,
        (),
    )
    assert (found.next_recording, found.meter_offset) == (None, 0.0)
    assert found.status["installation"] is None
    assert found.renewal is not None
    assert found.renewal.state == found.status["renewal"]["state"] == "unknown"


def test_the_meter_alone_tells_hours_and_use(book: Logbook) -> None:
    read(book, FITTED, 3120)
    read(book, dt.date(2026, 6, 1), 3620)
    found = where_it_stands(book)
    assert (found.status["hours"], found.status["hours_date"]) == (3620, "2026-06-01")
    assert found.status["renewal"]["state"] == "unknown"  # no damper is known
    assert found.status["renewal"]["hours_per_year"] == pytest.approx(250, rel=1e-3)  # 730 days
    assert found.status["next_recording_hours"] == 3620  # to begin with
    assert found.next_recording is not None
    assert found.next_recording.middle == TODAY


def test_an_owner_who_only_wants_the_record_gets_the_renewal(book: Logbook) -> None:
    fitted(book)
    read(book, dt.date(2026, 6, 1), 3620)
    found = where_it_stands(book)
    due = found.status["renewal"]
    assert (due["state"], due["due_date"], due["due_hours"]) == ("ok", "2030-06-01", 7120)
    assert (due["first"], due["first_certain"]) == ("date", True)  # 14 years to the hours
    assert due["hours_per_year_told"] == "from 2 readings over 2.0 years"
    assert due["hours_per_year_low"] < 250 < due["hours_per_year_high"]
    assert due["due_hours_date"] == "2040-05-28"  # 3500 h at 500 h in 730 days: 5110 days
    # 500 h in 730 days make 1000.7 h in the 1461 days left
    assert found.renewal.expected_hours == pytest.approx(3620 + 1461 * 500 / 730)
    assert [each.what for each in found.hours_log] == ["installation", "reading"]


def test_the_meter_alone_makes_it_overdue(book: Logbook) -> None:
    fitted(book)
    read(book, dt.date(2026, 6, 1), 7119)
    assert exit_code([where_it_stands(book)]) == 0
    read(book, dt.date(2026, 6, 2), 7120)
    found = where_it_stands(book)
    assert (found.status["renewal"]["state"], found.status["renewal"]["first"]) == (
        "overdue",
        "hours",
    )
    assert exit_code([found]) == 4


def test_nothing_but_a_damper_of_today(book: Logbook) -> None:
    fitted(book)
    found = where_it_stands(book, FITTED)
    assert found.status["renewal"]["state"] == "ok"
    assert found.status["renewal"]["first"] is None  # nobody knows the use yet
    assert found.status["next_recording_hours"] == 3120


def test_an_engine_without_limits(tmp_path: Path) -> None:
    text = 'name = "main"\ncylinders = 4\n'
    with Logbook.open(tmp_path / "bare") as book:
        book.put_engine(text, Engine.parse(text))
        fitted(book)
        read(book, dt.date(2026, 6, 1), 3620)
        found = where_it_stands(book)
    assert found.status["renewal"]["state"] == "unknown"
    assert found.status["renewal"]["hours_per_year"] == pytest.approx(250, rel=1e-3)
    assert found.renewal.expected_hours is None


# True hours


def test_a_new_meter_changes_what_is_shown_and_not_what_is_due(book: Logbook) -> None:
    fitted(book)
    book.change_meter("main", date=dt.date(2025, 6, 1), before=3400, after=0, what="replaced")
    read(book, dt.date(2026, 6, 1), 220)
    found = where_it_stands(book)
    assert (found.status["hours"], found.status["meter_hours"]) == (3620, 220)
    assert found.meter_offset == 3400
    assert found.status["renewal"]["due_hours"] == 7120
    assert [(each.what, each.hours, each.meter_hours) for each in found.hours_log] == [
        ("installation", 3120, 3120),
        ("change", 3400, 0),
        ("reading", 3620, 220),
    ]


def test_reading_the_meter_puts_no_check_up_off(book: Logbook) -> None:
    fitted(book)
    baseline(book)
    check_up(book, dt.date(2024, 10, 1), 3200)
    before = where_it_stands(book)
    assert before.status["state"] == "no-change-seen"
    assert before.status["next_recording_hours"] == 3400  # 200 h on; common practice, no source
    assert before.status["hours"] == 3200

    read(book, dt.date(2025, 6, 1), 3330)
    moved = where_it_stands(book)
    assert (moved.status["hours"], moved.status["next_recording_hours"]) == (3330, 3400)
    assert moved.next_recording is not None
    assert moved.next_recording.early is not None
    assert moved.next_recording.middle is not None
    assert dt.date(2025, 6, 1) < moved.next_recording.early < moved.next_recording.middle
    assert moved.status["next_recording_date"] == moved.next_recording.middle.isoformat()

    read(book, dt.date(2026, 6, 1), 3500)
    late = where_it_stands(book)
    assert (late.status["hours"], late.status["next_recording_hours"]) == (3500, 3400)
    assert late.status["next_recording_date"] == TODAY.isoformat()  # now


def test_hours_told_before_the_present_damper_tell_the_use_too(book: Logbook) -> None:
    for year in range(3):
        read(book, dt.date(2021 + year, 6, 1), 2200 + 300.0 * year)
    fitted(book)
    due = where_it_stands(book, FITTED).status["renewal"]
    assert due["first"] == "date"
    assert due["hours_per_year_told"].startswith("from 4 readings over 3.0 years")


# The damper's own record


def test_years_count_from_the_day_it_was_made_where_the_maker_says_so(book: Logbook) -> None:
    details = details_content(
        part="A-1", serial="77", made_on=dt.date(2023, 2, 1), counts_from="made"
    )
    fitted(book, details=details)
    found = where_it_stands(book)
    due = found.status["renewal"]
    assert (due["due_date"], due["made_on"]) == ("2029-02-01", "2023-02-01")
    assert found.installation_record is not None
    assert found.installation_record.details.part == "A-1"
    told = found.status["installation"]
    assert (told["date"], told["hours"], told["as_found"]) == ("2024-06-01", 3120, False)
    assert told["details"]["serial"] == "77"


def test_an_entry_that_cannot_be_read_closes_nothing_and_is_told(book: Logbook) -> None:
    fitted(book, details=details_content(part="A-1"))
    made = details_content(made_on=dt.date(2020, 6, 10), counts_from="made")
    book.add_entry("main", "details", date=FITTED, content={**made, "alloy": "of a later version"})
    found = where_it_stands(book)
    assert found.installation_record is not None
    assert found.installation_record.details.part == "A-1"
    (told,) = found.installation_record.unreadable
    assert "holds 'alloy', which is not known here" in told
    assert found.status["installation"]["missing"][0] == told
    assert "cannot be read" in found.status["renewal"]["remarks"][0]  # its age may be wrong


def test_a_damper_found_has_years_once_it_is_known_when_it_was_made(book: Logbook) -> None:
    fitted(book, as_found=True)
    assert where_it_stands(book).status["renewal"]["state"] == "unknown"
    made = details_content(made_on=dt.date(2020, 6, 10))
    book.add_entry("main", "details", date=dt.date(2024, 7, 1), content=made)
    due = where_it_stands(book).status["renewal"]
    assert (due["state"], due["due_date"], due["due_hours"]) == ("overdue", "2026-06-10", None)
    assert "its own hours are not known" in due["remarks"][0]


def test_a_new_damper_begins_anew_and_the_earlier_record_stays(book: Logbook) -> None:
    fitted(book, details=details_content(serial="1"))
    book.add_entry(
        "main",
        "belt",
        date=dt.date(2024, 6, 2),
        content=belt_content("alternator", stage="as-installed", tension=140, unit="lbf"),
    )  # common practice, no source
    book.start_installation(
        "main", date=dt.date(2026, 1, 10), hours=3500, details=details_content(serial="2")
    )
    found = where_it_stands(book)
    assert found.installation_record is not None
    assert found.installation_record.details.serial == "2"
    assert found.installation_record.readings == ()
    assert found.status["renewal"]["due_hours"] == 7500
    (earlier,) = found.earlier_installations
    assert (earlier.date, earlier.hours, earlier.as_found) == (FITTED, 3120, False)
    assert (earlier.until, earlier.until_hours) == (dt.date(2026, 1, 10), 3500)
    assert earlier.record.details.serial == "1"
    (reading,) = earlier.record.readings
    assert reading.state == "limit-unknown"  # the engine file has no limit, and none is assumed
    (told,) = found.status["earlier_installations"]
    assert (told["until"], told["details"]["serial"]) == ("2026-01-10", "1")


@pytest.mark.parametrize(
    ("then", "now", "due"),
    [
        ("renew_hours = 4000", "renew_hours = 9000", (7120, None)),  # what was frozen decides
        ("", "renew_hours = 9000\nrenew_years = 6", (12120, "2030-06-01")),  # written in later
        ("renew_hours = 4000", "renew_hours = 9000\nrenew_years = 6", (7120, "2030-06-01")),
        ("renew_years = 6", "", (None, "2030-06-01")),
    ],
)
def test_the_makers_figures_are_those_of_the_fitting_and_those_missing_then(
    tmp_path: Path, then: str, now: str, due: tuple[float | None, str | None]
) -> None:
    head = ENGINE.split("renew_hours")[0]
    with Logbook.open(tmp_path / "figures") as book:
        book.put_engine(head + then, Engine.parse(head + then))
        fitted(book)
        book.put_engine(head + now, Engine.parse(head + now))
        told = where_it_stands(book).status["renewal"]
    assert (told["due_hours"], told["due_date"]) == due
