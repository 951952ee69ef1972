"""A baseline closes after three complete days of three placements."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from invented_logbook import FITTED, FITTED_HOURS, add, book_with_engine, measured

from vibetrend.errors import LogbookError
from vibetrend.logbook import Logbook
from vibetrend.recording import Note

DAYS = [dt.date(2026, 5, 4), dt.date(2026, 5, 5), dt.date(2026, 5, 6)]
AFTER = dt.date(2026, 5, 7)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with book_with_engine(tmp_path / "log") as opened:
        opened.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        yield opened


def place(book: Logbook, date: dt.date, number: int, **tags: Any) -> int:
    content = f"{date} {number} {tags}".encode()
    stated = {"hours": 3150.0, "baseline": True} | {
        name: tags.pop(name) for name in ("hours", "baseline") if name in tags
    }
    return add(book, content, measured(content, **tags), date=date, **stated).series_id


def three_days(book: Logbook) -> int:
    return [place(book, date, number) for date in DAYS for number in range(3)][-1]


def test_a_fourth_day_is_refused_with_what_to_do_instead(book: Logbook) -> None:
    series = three_days(book)  # all files of the third day pass
    with pytest.raises(LogbookError) as refused:
        place(book, AFTER, 0)
    said = str(refused.value)
    assert "complete (2026-05-04 to 2026-05-06) and closed" in said
    for instead in ("leave out --baseline", "vibetrend work add", "--device", "--position"):
        assert instead in said
    assert len(book.recordings(series)) == 9  # nothing was kept
    with pytest.raises(LogbookError, match="closed"):  # nor a day from before the others
        place(book, FITTED, 0, hours=FITTED_HOURS)


def test_what_does_not_begin_a_fourth_day_is_accepted(book: Logbook) -> None:
    series = three_days(book)
    assert place(book, DAYS[0], 3) == place(book, DAYS[2], 3) == series
    content = f"{DAYS[2]} 3 {{}}".encode()
    assert add(book, content, baseline=True, date=AFTER, hours=3160.0).duplicate
    place(book, AFTER, 0, baseline=False)
    for other in ({"device": "new phone"}, {"position": "gearbox"}, {"tag": 1500.0}):
        assert place(book, AFTER, 0, **other) != series
    book.add_work("main", date=AFTER, hours=3160.0, what="mounts")
    assert place(book, AFTER, 1, hours=3161.0) != series


def test_a_day_with_too_few_usable_placements_is_not_complete(book: Logbook) -> None:
    spoilt = Note("too-short", "unusable", "2 s")
    for date in DAYS:
        for number in range(2):
            place(book, date, number)
        place(book, date, 2, quality=(spoilt,))
    place(book, AFTER, 0)


def test_a_placement_that_the_last_verdict_left_out_completes_no_day(book: Logbook) -> None:
    series = three_days(book)
    rows = book.recordings(series)["recording"]
    judged = [{"recording": name, "used": True} for name in rows]
    judged[1]["used"] = False
    book.keep_verdict(series, {"recordings": judged}, "learning")
    fourth = place(book, AFTER, 0)  # the judge still asks for one more day
    book.keep_verdict(fourth, {"recordings": []}, "no-change-seen")
    with pytest.raises(LogbookError, match="closed"):
        place(book, AFTER + dt.timedelta(days=1), 0)


def test_an_ordinary_check_up_ends_the_baseline(book: Logbook) -> None:
    place(book, FITTED, 0, hours=FITTED_HOURS + 1, baseline=False)  # one before it does not
    for number in range(3):
        series = place(book, DAYS[0], number)
    spoilt = Note("too-short", "unusable", "2 s")
    place(book, DAYS[1], 0, baseline=False, quality=(spoilt,))  # nor one that cannot be used
    place(book, DAYS[1], 1)
    place(book, AFTER, 0, baseline=False, hours=3160.0)
    place(book, DAYS[1], 2)  # but what was forgotten of its days
    kept = len(book.recordings(series))
    with pytest.raises(LogbookError) as refused:
        place(book, AFTER + dt.timedelta(days=1), 0, hours=3170.0)
    said = str(refused.value)
    assert "ended with the ordinary check-up of 2026-05-07 at 3160 h" in said
    for instead in ("leave out --baseline", "vibetrend work add", "--device", "--position"):
        assert instead in said
    with pytest.raises(LogbookError, match=r"ended .* 2026-05-01 at 3121 h"):
        # The baseline would begin there, and all that is in it would come late.
        add(book, b"0", date=FITTED, hours=FITTED_HOURS, visit="first", baseline=True)
    assert len(book.recordings(series)) == kept


def test_two_check_ups_of_one_date_are_one_day(book: Logbook) -> None:
    for date in DAYS:  # three placements on each date, in two check-ups
        for number in range(3):
            content = f"{date} {number}".encode()
            add(book, content, baseline=True, date=date, visit=f"{date} {number % 2}")
    with pytest.raises(LogbookError, match="complete"):
        place(book, AFTER, 0)


def test_a_date_with_two_complete_check_ups_is_no_second_day(book: Logbook) -> None:
    for date in DAYS[:2]:
        for number in range(6):
            content = f"{date} {number}".encode()
            add(book, content, baseline=True, date=date, visit=f"{date} {number % 2}")
    place(book, AFTER, 0)  # four check-ups, and yet only two days
