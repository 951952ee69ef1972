"""Which recordings end up in the same series (design: word list, 'series')."""

import datetime as dt
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from invented_logbook import ENGINE, FITTED, FITTED_HOURS, add, book_with_engine, measured

from vibetrend.engine import Engine
from vibetrend.errors import LogbookError
from vibetrend.logbook import Logbook


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with book_with_engine(tmp_path / "log") as opened:
        yield opened


def series_of(book: Logbook, content: bytes, **measurement: Any) -> int:
    return add(book, content, measured(content, **measurement)).series_id


def test_a_series_has_the_tags_of_its_first_recording(book: Logbook) -> None:
    number = series_of(book, b"1", codec="FLAC", kind="sound", condition="warm")
    (series,) = book.series("main")
    assert series.id == number
    assert (series.position, series.device, series.condition) == ("head", "phone", "warm")
    assert (series.kind, series.codec, series.manner) == ("sound", "FLAC", "steady")
    assert (series.unit, series.speed_rpm, series.epoch) == ("1", 1000.0, 0)
    assert series.installation is None


@pytest.mark.parametrize(
    "other",
    [
        {"position": "block"},
        {"device": "sensor"},
        {"condition": "cold"},
        {"kind": "velocity"},
        {"codec": "AAC"},
        {"kind": "other", "unit": "V"},
    ],
)
def test_one_different_tag_is_another_series(book: Logbook, other: dict[str, str]) -> None:
    first = series_of(book, b"1")
    assert series_of(book, b"2") == first
    assert series_of(book, b"3", **other) != first


def test_sound_in_pascal_is_not_compared_with_sound_in_full_scale(book: Logbook) -> None:
    full_scale = series_of(book, b"1", kind="sound", unit="1")
    assert series_of(book, b"2", kind="sound", unit="Pa") != full_scale


def test_speed_may_differ_by_four_percent_of_the_series(book: Logbook) -> None:
    first = series_of(book, b"1", tag=1000.0)
    assert series_of(book, b"2", tag=1040.0) == first
    assert series_of(book, b"3", tag=960.0) == first
    slower = series_of(book, b"4", tag=959.0)
    faster = series_of(book, b"5", tag=1041.0)
    assert len({first, slower, faster}) == 3
    assert [series.speed_rpm for series in book.series("main")] == [1000.0, 959.0, 1041.0]


def test_the_nearest_of_two_possible_series_is_taken(book: Logbook) -> None:
    first = series_of(book, b"1", tag=1000.0)
    second = series_of(book, b"2", tag=1050.0)
    assert series_of(book, b"3", tag=1024.0) == first
    assert series_of(book, b"4", tag=1026.0) == second


def test_the_stated_speed_holds_before_the_measured_one(book: Logbook) -> None:
    first = series_of(book, b"1", tag=1000.0, rpm=930.0)
    assert book.series("main")[0].speed_rpm == 1000.0
    assert series_of(book, b"2", tag=None, rpm=1003.0) == first
    assert series_of(book, b"3", tag=None, rpm=930.0) != first


def test_a_run_up_has_no_one_speed(book: Logbook) -> None:
    steady = series_of(book, b"0")
    first = series_of(book, b"1", manner="run-up", tag=None, rpm=1400.0)
    assert first != steady
    assert series_of(book, b"2", manner="run-up", tag=None, rpm=1700.0) == first
    assert book.series("main")[1].speed_rpm is None


def test_a_recording_of_no_known_speed_is_kept_apart(book: Logbook) -> None:
    known = series_of(book, b"1", tag=1000.0)
    unknown = series_of(book, b"2", tag=None, rpm=math.nan)
    assert unknown != known
    assert series_of(book, b"3", tag=None, rpm=math.nan) == unknown


def test_each_engine_has_its_own_series(book: Logbook) -> None:
    text = ENGINE.replace("main", "port")
    book.put_engine(text, Engine.parse(text))
    assert add(book, b"1").series_id != add(book, b"2", engine="port").series_id
    assert len(book.series("port")) == 1


@pytest.mark.parametrize(
    ("date", "hours", "which"),
    [
        (dt.date(2026, 4, 30), 3120.0, None),
        (dt.date(2026, 5, 1), 3119.0, None),
        (dt.date(2026, 5, 1), 3120.0, 0),
        (dt.date(2028, 5, 1), 5999.0, 0),
        (dt.date(2028, 4, 30), 6000.0, 0),
        (dt.date(2028, 5, 1), 6000.0, 1),
    ],
)
def test_the_latest_installation_reached_in_date_and_hours_counts(
    book: Logbook, date: dt.date, hours: float, which: int | None
) -> None:
    fitted = [
        book.start_installation("main", date=FITTED, hours=FITTED_HOURS),
        book.start_installation("main", date=dt.date(2028, 5, 1), hours=6000.0),
    ]
    kept = add(book, b"clip", date=date, hours=hours)
    series = {series.id: series for series in book.series("main")}[kept.series_id]
    assert series.installation == (None if which is None else fitted[which])


def test_hours_that_run_back_against_a_date_are_refused_and_nothing_is_kept(book: Logbook) -> None:
    kept = add(book, b"clip", date=dt.date(2026, 6, 1), hours=3300.0)
    for date, hours in ((dt.date(2026, 6, 2), 3299.0), (dt.date(2026, 5, 31), 3301.0)):
        with pytest.raises(LogbookError, match=rf"contradicts recording {kept.id} .*only grow"):
            add(book, b"other", date=date, hours=hours)
    assert len(book.recordings(kept.series_id)) == 1


def test_an_installation_entered_late_takes_over_what_was_recorded_since(book: Logbook) -> None:
    old = add(book, b"old", date=FITTED - dt.timedelta(days=9), hours=3000.0)
    since = add(book, b"since", baseline=True)
    assert since.series_id == old.series_id
    installation = book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
    before, after = book.series("main")
    assert (before.installation, after.installation) == (None, installation)
    assert list(book.recordings(before.id)["recording"]) == [old.id]
    assert list(book.recordings(after.id)["recording"]) == [since.id]
    found = book.find_recording("main", since.sha256)
    assert found is not None
    assert found.series_id == after.id
    assert found.baseline


def test_an_installation_entered_again_moves_nothing(book: Logbook) -> None:
    book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
    first = series_of(book, b"1", tag=1000.0)
    assert series_of(book, b"2", tag=1030.0) == first
    assert series_of(book, b"3", tag=1050.0) != first  # would have been nearer to 1030
    book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
    assert len(book.recordings(first)) == 2


def test_a_series_that_lost_all_its_recordings_is_not_listed(book: Logbook) -> None:
    empty = add(book, b"since").series_id
    book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
    assert [series.id for series in book.series("main")] != [empty]
    assert len(book.series("main")) == 1
    assert book.history(empty).empty
