"""What the meter showed, what that is in all, and what cannot be (design: `--hours`)."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from invented_logbook import ENGINE, FITTED, FITTED_HOURS, add, book_with_engine

from vibetrend.engine import Engine
from vibetrend.errors import LogbookError
from vibetrend.hour_meter import MeterChange
from vibetrend.logbook import Logbook, MeterEntry, corrections, set_aside

CHANGED = dt.date(2026, 9, 1)
LAST = 3500.0  # what the old meter showed then
LATER = dt.date(2026, 10, 1)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    """A logbook with an installation and a recording soon after."""
    with book_with_engine(tmp_path / "log") as opened:
        opened.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        add(opened, b"1")  # 2026-05-04, 3150 h
        yield opened


def change(book: Logbook, **said: Any) -> MeterEntry:
    given: dict[str, Any] = {
        "date": CHANGED,
        "before": LAST,
        "after": 0.0,
        "what": "replaced",
    } | said
    return book.change_meter("main", **given)


def test_after_a_change_all_hours_taken_are_what_the_new_meter_shows(book: Logbook) -> None:
    change(book)
    recorded = add(book, b"2", date=LATER, hours=20.5)
    worked = book.add_work("main", date=LATER, hours=21.0, what="belt")
    fitted = book.start_installation("main", date=LATER, hours=22.0)
    read = book.add_meter_reading("main", date=LATER, shown=23.0)
    assert [each.hours for each in (recorded, worked, fitted, read)] == [
        3520.5, 3521.0, 3522.0, 3523.0
    ]  # fmt: skip
    assert [recorded.meter_hours, worked.meter_hours, fitted.meter_hours] == [20.5, 21.0, 22.0]
    assert read.shown == 23.0
    assert book.find_recording("main", recorded.sha256) == recorded
    assert book.installations("main")[-1] == fitted
    assert book.work("main")[-1].meter_hours == 21.0
    assert set(book.history(recorded.series_id)["hours"]) == {3150.0, 3520.5}


def test_a_used_meter_may_show_more_than_the_old_one(book: Logbook) -> None:
    change(book, after=9000.0)
    assert add(book, b"2", date=LATER, hours=9020.0).hours == 3520.0


def test_a_meter_that_rolled_over_counts_on(book: Logbook) -> None:
    change(book, date=dt.date(2026, 12, 1), what="rolled-over", before=3999.9)
    kept = book.add_meter_reading("main", date=dt.date(2027, 1, 1), shown=50.0)
    assert kept.hours == pytest.approx(4049.9)
    assert book.meter_changes("main") == [
        MeterChange(dt.date(2026, 12, 1), 3999.9, 0.0, "rolled-over")
    ]


def test_on_the_day_of_the_change_both_meters_may_be_read(book: Logbook) -> None:
    before = add(book, b"2", date=CHANGED, hours=LAST - 2)
    change(book)
    after = add(book, b"3", date=CHANGED, hours=1.5)
    assert [before.hours, after.hours] == [LAST - 2, LAST + 1.5]
    with pytest.raises(LogbookError, match="contradicts"):
        add(book, b"4", date=CHANGED, hours=900.0)  # neither showed it that day


def test_the_log_of_the_meter(book: Logbook) -> None:
    book.add_meter_reading("main", date=dt.date(2026, 8, 1), shown=3400.0)
    book.add_meter_reading("main", date=CHANGED, shown=LAST - 1)
    change(book, note=" by the yard ")
    book.add_meter_reading("main", date=LATER, shown=30.0)
    said = [(e.date, e.what, e.shown, e.after, e.note, e.hours) for e in book.meter("main")]
    assert said == [
        (dt.date(2026, 8, 1), "reading", 3400.0, None, "", 3400.0),
        (CHANGED, "reading", LAST - 1, None, "", LAST - 1),
        (CHANGED, "replaced", LAST, 0.0, "by the yard", LAST),
        (LATER, "reading", 30.0, None, "", LAST + 30),
    ]
    assert book.meter("main")[0].added_at.endswith("Z")


def test_everything_known_of_the_hours(book: Logbook) -> None:
    change(book)
    book.add_work("main", date=LATER, hours=10.0, what="mounts")
    book.add_meter_reading("main", date=dt.date(2026, 8, 1), shown=3400.0)
    said = [(e.date, e.hours, e.meter_hours, e.what) for e in book.known_hours("main")]
    assert said == [
        (FITTED, 3120.0, 3120.0, "installation"),
        (dt.date(2026, 5, 4), 3150.0, 3150.0, "recording"),
        (dt.date(2026, 8, 1), 3400.0, 3400.0, "reading"),
        (CHANGED, LAST, 0.0, "change"),
        (LATER, LAST + 10, 10.0, "work"),
    ]


def test_what_is_entered_again_is_one(book: Logbook) -> None:
    first = [change(book), book.add_meter_reading("main", date=LATER, shown=20.0)]
    again = [
        change(book, note="said again"), book.add_meter_reading("main", date=LATER, shown=20.0)
    ]  # fmt: skip
    assert [each.duplicate for each in (*first, *again)] == [False, False, True, True]
    assert book.meter("main") == first
    done = [book.add_work("main", date=LATER, hours=21.0, what="belt") for _ in range(2)]
    assert [each.duplicate for each in done] == [False, True]
    started = [book.start_installation("main", date=LATER, hours=22.0) for _ in range(2)]
    assert started[0] == started[1]
    assert len(book.installations("main")) == 2


def test_hours_that_run_back_are_refused_with_the_remedy(book: Logbook) -> None:
    with pytest.raises(
        LogbookError,
        match=r"^2026-10-01 at 20 h contradicts recording \w+ of 2026-05-04 at 3150 h: engine "
        r"hours only grow, .*correct --hours or --date\. If the meter was replaced or rolled over, "
        r"enter that first: vibetrend meter replace",
    ):
        add(book, b"2", date=LATER, hours=20.0)
    before = book.known_hours("main")
    for ask in (
        lambda: book.add_meter_reading("main", date=LATER, shown=20.0),
        lambda: book.add_work("main", date=LATER, hours=20.0, what="belt"),
        lambda: book.start_installation("main", date=LATER, hours=3140.0),
    ):
        with pytest.raises(LogbookError, match=r"contradicts recording .*vibetrend meter replace"):
            ask()
    assert book.known_hours("main") == before
    change(book)
    assert add(book, b"2", date=LATER, hours=20.0).hours == LAST + 20


def test_an_error_shows_what_was_typed_and_the_hours_in_all(book: Logbook) -> None:
    change(book)
    add(book, b"2", date=LATER, hours=20.0)
    with pytest.raises(
        LogbookError,
        match=r"2026-10-02 at 10 h on the meter \(3510 h in all\) contradicts recording \w+ of "
        r"2026-10-01 at 20 h on the meter \(3520 h in all\)",
    ):
        add(book, b"3", date=LATER + dt.timedelta(days=1), hours=10.0)
    with pytest.raises(LogbookError, match=r"previous one, 2026-05-01 at 3120 h; correct the date"):
        book.start_installation("main", date=dt.date(2026, 4, 1), hours=10.0)
    with pytest.raises(LogbookError, match=r"at 3400 h contradicts the meter change of 2026-09-01"):
        add(book, b"3", date=dt.date(2026, 8, 31), hours=3400.0)


def test_readings_of_the_meter_bind_too(book: Logbook) -> None:
    book.add_meter_reading("main", date=CHANGED, shown=3400.0)
    with pytest.raises(LogbookError, match=r"contradicts the meter reading of 2026-09-01 at 3400"):
        add(book, b"2", date=LATER, hours=3390.0)
    with pytest.raises(LogbookError, match="24 a day at most"):
        book.add_meter_reading("main", date=CHANGED + dt.timedelta(days=1), shown=3449.0)
    assert book.add_meter_reading(
        "main", date=CHANGED + dt.timedelta(days=1), shown=3448.0
    ).hours == 3448  # fmt: skip


@pytest.mark.parametrize(
    ("said", "why"),
    [
        (
            {"date": dt.date(2026, 5, 2)},  # the installation of the day before is at 3120 h
            r"meter change of 2026-05-02 at 3500 h would contradict the installation of 2026-05-01",
        ),
        ({"before": 3149.0}, r"change of 2026-09-01 at 3149 h would contradict recording \w+ of"),
        ({"before": 9000.0}, "would contradict .* 24 a day at most; correct --before, --after or"),
        ({"before": -1.0}, "-1 cannot be engine hours"),
        ({"after": float("nan")}, "nan cannot be engine hours"),
        ({"what": "rolled-over", "after": 3600.0}, "rolls over shows less than before, not 3600"),
        ({"what": "mended"}, "'mended' is no change of a meter"),
        ({"note": "two\nlines"}, "the note holds the control character"),
    ],
)
def test_a_change_that_cannot_be_is_refused_and_leaves_nothing(
    book: Logbook, said: dict[str, Any], why: str
) -> None:
    with pytest.raises(LogbookError, match=why):
        change(book, **said)
    assert book.meter("main") == []


@pytest.mark.parametrize("entered", ["recording", "work", "installation"])
def test_a_change_entered_late_corrects_what_was_made_after_it(book: Logbook, entered: str) -> None:
    """A used meter that shows more: nothing looked wrong until the change was told."""
    if entered == "recording":
        add(book, b"2", date=LATER, hours=4000.0)
    elif entered == "work":
        book.add_work("main", date=LATER, hours=4000.0, what="belt")
    else:
        book.start_installation("main", date=LATER, hours=4000.0)
    assert book.known_hours("main")[-1].hours == 4000.0
    assert change(book, after=3970.0).recounted == 1
    assert book.known_hours("main")[-1].hours == LAST + 30
    (told,) = corrections(book, "main")
    assert (told.what, told.was, told.now) == ("hours", 4000.0, LAST + 30)
    assert told.reason == "hour meter replaced on 2026-09-01"
    set_aside(book, ["meter-1"], reason="of another engine")
    assert book.known_hours("main")[-1].hours == 4000.0
    assert book.check().clean


def test_what_was_set_aside_comes_back_with_the_hours_that_count_now(book: Logbook) -> None:
    kept = add(book, b"2", date=LATER, hours=31.0 + LAST)
    set_aside(book, [kept.id], reason="x")
    change(book, after=LAST + 1)
    set_aside(book, [kept.id], reason="x", back=True)
    assert book.known_hours("main")[-1].hours == LAST + 30


def test_a_reading_alone_follows_a_change_entered_late(book: Logbook) -> None:
    """Only what was shown is kept of it, and that stays true."""
    read = book.add_meter_reading("main", date=LATER, shown=4000.0)
    assert read.hours == 4000.0
    change(book, after=3970.0)
    assert [each.hours for each in book.meter("main")] == [LAST, LAST + 30]
    # But not where it could then not be.
    with pytest.raises(LogbookError, match=r"with this change of the meter, the meter .* would"):
        change(book, date=dt.date(2026, 9, 20), before=3980.0, after=100.0)
    assert len(book.meter("main")) == 2


def test_changes_add_up_and_may_be_entered_in_any_order_while_nothing_depends_on_them(
    book: Logbook,
) -> None:
    change(book, date=dt.date(2027, 3, 1), before=4000.0, after=10.0)
    change(book, after=LAST + 100)
    assert [each.hours for each in book.meter("main")] == [LAST, 3900.0]
    assert add(book, b"2", date=dt.date(2027, 4, 1), hours=60.0).hours == 3950.0
    with pytest.raises(LogbookError, match=r"would contradict .*or enter an earlier change first"):
        change(book, date=dt.date(2027, 8, 1), before=8000.0)


def test_a_change_from_before_the_logbook_counts(tmp_path: Path) -> None:
    with book_with_engine(tmp_path) as book:
        change(book, date=dt.date(2019, 1, 1), before=5000.0)
        fitted = book.start_installation("main", date=FITTED, hours=300.0)
        assert (fitted.hours, fitted.meter_hours) == (5300.0, 300.0)
        again = book.start_installation("main", date=FITTED, hours=300.0)
        assert again == fitted


@pytest.mark.parametrize("shown", [-1.0, float("nan"), float("inf")])
def test_a_reading_that_is_no_number_of_hours_is_refused(book: Logbook, shown: float) -> None:
    with pytest.raises(LogbookError, match="cannot be engine hours; give a number from 0 up"):
        book.add_meter_reading("main", date=LATER, shown=shown)
    assert book.meter("main") == []


def test_each_engine_has_its_own_meter(book: Logbook) -> None:
    text = ENGINE.replace("main", "port")
    book.put_engine(text, Engine.parse(text))
    change(book)
    assert add(book, b"2", engine="port", date=LATER, hours=20.0).hours == 20.0
    for ask in (book.meter, book.meter_changes, book.known_hours):
        with pytest.raises(LogbookError, match="engine 'x' is not in the logbook"):
            ask("x")
