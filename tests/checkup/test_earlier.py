"""The dampers before: their series stay to be read on page and tables, and decide nothing."""

import csv
import datetime as dt
import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from invented_life import FITTED, FITTED_HOURS, TODAY
from measured_life import baseline, check_up, engine_book, main_engine

from vibetrend.checkup.earlier import with_earlier
from vibetrend.checkup.happenings import with_log
from vibetrend.checkup.records import EngineRecord
from vibetrend.checkup.standing import to_json
from vibetrend.cli.standing_words import standing_words
from vibetrend.cli.status import exit_code
from vibetrend.logbook import Logbook
from vibetrend.report import page, tables

RISEN = {2.5: 5.0}
RENEWED, RENEWED_HOURS = dt.date(2025, 1, 10), 3700.0
MADE_AT = dt.datetime.combine(TODAY, dt.time(12))


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    """A logbook whose first damper's order 2.5 had risen when it was renewed."""
    with engine_book(tmp_path) as opened:
        opened.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        baseline(opened)
        check_up(opened, dt.date(2024, 10, 1), 3500, RISEN)
        check_up(opened, dt.date(2024, 10, 3), 3504, RISEN)
        assert main_engine(opened).status["state"] == "changed"
        opened.start_installation("main", date=RENEWED, hours=RENEWED_HOURS)
        yield opened


def whole(book: Logbook) -> EngineRecord:
    (found,) = with_log(book, with_earlier(book, [main_engine(book)]))
    return found


def cells(record: EngineRecord, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(tables.tables([record])[name].decode())))


def test_the_series_of_the_damper_before_stays_to_be_read(book: Logbook) -> None:
    (old,) = whole(book).earlier_series
    assert old.ended
    assert old.info["ended"] == "the damper was renewed on 2025-01-10 at 3700 h"
    assert old.damper is not None
    assert (old.damper.date, old.damper.until) == (FITTED, RENEWED)
    assert old.verdict.state == "changed"
    assert len(old.recordings) == 15


def test_it_decides_nothing_and_no_verdict_on_it_is_kept(book: Logbook) -> None:
    bare = main_engine(book)
    (old,) = whole(book).earlier_series
    kept = len(book.verdicts(old.info["id"]))
    found = whole(book)
    assert len(book.verdicts(old.info["id"])) == kept
    assert found.series == () == bare.series
    assert to_json([found]) == to_json([bare])
    assert exit_code([found]) == 0
    assert standing_words([found], today=TODAY) == standing_words([bare], today=TODAY)


def test_the_page_shows_it_folded_after_all_others(book: Logbook) -> None:
    baseline(book, RENEWED, RENEWED_HOURS)
    html = page([whole(book)], title="t", made_at=MADE_AT)
    begins = html.index('id="engine-1-before-1"')
    assert html.index('id="engine-1-series-1"') < begins
    assert "Ended: the damper was renewed on 10 January 2025 at 3700 h" in html[begins:]
    assert "On this earlier damper: changed" in html[begins:]
    folded = html[begins:].index("<summary>All that was concluded on this earlier damper")
    assert folded < html[begins:].index('id="engine-1-before-1-changes"')
    assert 'href="#engine-1-before-1">The damper until 10 January 2025</a>' in html


def test_the_tables_tell_which_damper(book: Logbook) -> None:
    baseline(book, RENEWED, RENEWED_HOURS)
    for name in ("series.csv", "changes.csv", "amplitudes.csv", "recordings.csv"):
        dampers = list(dict.fromkeys(row["damper_since"] for row in cells(whole(book), name)))
        assert dampers == [RENEWED.isoformat(), FITTED.isoformat()]


def test_of_several_dampers_the_latest_comes_first_each_with_what_ended_it(book: Logbook) -> None:
    baseline(book, RENEWED, RENEWED_HOURS)
    book.add_work("main", date=dt.date(2025, 2, 1), hours=3750, what="mounts")
    baseline(book, dt.date(2025, 2, 1), 3750)
    book.start_installation("main", date=dt.date(2025, 4, 1), hours=3800, as_found=True)
    found = "another damper was found on 2025-04-01 at 3800 h"
    record = whole(book)
    assert [each.info["ended"] for each in record.earlier_series] == [
        found,
        f"work on 2025-02-01: mounts; {found}",
        "the damper was renewed on 2025-01-10 at 3700 h",
    ]
    assert page([record], title="t", made_at=MADE_AT).count("On this earlier damper:") == 3
