"""Work begins a new epoch of the same installation (design: word list, 'work')."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from invented_logbook import FITTED, FITTED_HOURS, add, book_with_engine, measured

from vibetrend.errors import LogbookError
from vibetrend.logbook import KeptRecording, Logbook, Work, schema

DONE = dt.date(2027, 3, 1)
HOURS = 4200.0


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    """A logbook with an installation that begins on `FITTED`."""
    with book_with_engine(tmp_path / "log") as opened:
        opened.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        yield opened


def work(book: Logbook, date: dt.date = DONE, hours: float = HOURS, **said: Any) -> Work:
    return book.add_work("main", date=date, hours=hours, **({"what": "mounts"} | said))


def epoch_of(book: Logbook, kept: KeptRecording) -> int:
    found = book.find_recording("main", kept.sha256)
    assert found is not None
    return {series.id: series.epoch for series in book.series("main")}[found.series_id]


@pytest.mark.parametrize(
    ("date", "hours", "epoch"),
    [
        (DONE - dt.timedelta(days=1), HOURS, 0),  # both must be reached, as for an installation
        (DONE, HOURS - 1, 0),
        (DONE, HOURS, 1),
        (DONE + dt.timedelta(days=9), HOURS + 50, 1),
    ],
)
def test_what_was_recorded_at_the_work_or_later_belongs_to_the_new_epoch(
    book: Logbook, date: dt.date, hours: float, epoch: int
) -> None:
    work(book)
    assert epoch_of(book, add(book, b"1", date=date, hours=hours)) == epoch


def test_work_entered_late_takes_over_what_was_recorded_since(book: Logbook) -> None:
    old = add(book, b"old", baseline=True)
    since = add(book, b"since", date=DONE, hours=HOURS + 2, baseline=True)
    assert since.series_id == old.series_id
    work(book, note=" all four ")
    before, after = book.series("main")
    assert (before.epoch, after.epoch) == (0, 1)
    assert before.installation == after.installation
    assert list(book.recordings(before.id)["recording"]) == [old.id]
    assert list(book.recordings(after.id)["recording"]) == [since.id]
    assert book.recordings(after.id)["baseline"].all()
    assert before.is_like(after)
    (kept,) = book.work("main")
    assert (kept.date, kept.hours, kept.what, kept.note) == (DONE, HOURS, "mounts", "all four")


def test_at_the_same_hours_what_was_added_first_comes_first(
    book: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The usual sequence in a yard: record, then change the mounts, then record again."""
    seconds = iter(range(60))
    monkeypatch.setattr(schema, "now", lambda: f"2027-03-02T10:00:{next(seconds):02}.000Z")
    last = add(book, b"1", date=DONE, hours=HOURS)
    next_day = add(book, b"2", date=DONE + dt.timedelta(days=1), hours=HOURS)
    done = work(book)
    first = add(book, b"3", date=DONE, hours=HOURS)
    assert [epoch_of(book, each) for each in (last, next_day, first)] == [0, 1, 1]
    work(book, what="belt")  # at that time too: it moves nothing
    book.start_installation("main", date=FITTED, hours=FITTED_HOURS)  # files all again
    assert [epoch_of(book, each) for each in (last, next_day, first)] == [0, 1, 1]
    assert done.ends_some


def test_work_says_whether_anything_ends_with_it(book: Logbook) -> None:
    assert not work(book).ends_some
    add(book, b"1", date=DONE, hours=HOURS + 2)
    assert not work(book, what="belt").ends_some  # at the same time: what is there came later
    assert work(book, DONE + dt.timedelta(days=9), HOURS + 9).ends_some
    assert not work(book, DONE + dt.timedelta(days=12), HOURS + 9).ends_some  # ended already


def test_work_says_what_lies_between_it_and_the_next(book: Logbook) -> None:
    assert work(book).until_next is None
    for number, day in enumerate((20, 30)):
        add(book, bytes([number]), date=DONE - dt.timedelta(days=day), hours=HOURS - 2 * day)
    early = DONE - dt.timedelta(days=25)
    assert work(book, early, HOURS - 50, what="belt").until_next == 1
    assert work(book, early, HOURS - 50, what="exhaust").until_next == 1  # at the same time
    assert work(book, DONE - dt.timedelta(days=10), HOURS - 20, what="belt").until_next == 0
    assert work(book).until_next is None  # it is still the last
    book.start_installation("main", date=DONE + dt.timedelta(days=9), hours=HOURS + 9)
    assert work(book).until_next == 0


@pytest.mark.parametrize(
    "odd", ["\x1b[31m", "\a", "new\nline", "\x9b", "\u202e", "\u2066", "\u2028", "\udc80"]
)
def test_a_note_is_one_plain_line(book: Logbook, odd: str) -> None:
    with pytest.raises(LogbookError, match=r"holds the control character .*one plain line") as said:
        work(book, note=f"four {odd} mounts")
    assert str(said.value).isascii()
    assert str(said.value).isprintable()
    assert book.work("main") == []


def test_a_note_has_500_characters_at_most(book: Logbook) -> None:
    with pytest.raises(LogbookError, match="the note has 501 characters; shorten it to 500"):
        work(book, note="x" * 501)
    plain = "Lager 4 · œuvre vive, Öl: 12\N{NO-BREAK SPACE}l, می\u200cخواهم "
    assert work(book, note=plain).note == plain.strip()
    assert work(book, what="belt", note="x" * 500).note == "x" * 500


def test_the_same_work_twice_is_one_entry_and_moves_nothing(book: Logbook) -> None:
    first = work(book)
    since = add(book, b"since", date=DONE, hours=HOURS)
    again = work(book)
    assert (first.duplicate, again.duplicate) == (False, True)
    assert len(book.work("main")) == 1
    assert (epoch_of(book, since), len(book.series("main"))) == (1, 1)


def test_injectors_are_kept_as_work_on_the_injection(book: Logbook) -> None:
    assert work(book, what="injectors").what == "injection"
    assert work(book, what="injection").duplicate


def test_all_kinds_of_work_are_kept(book: Logbook) -> None:
    """The kinds that issue and design name, and the exhaust."""
    kinds = [
        "mounts", "injection", "belt", "driven-part", "alignment", "overhaul", "lay-up",
        "exhaust", "other",
    ]  # fmt: skip
    assert [work(book, what=kind).what for kind in kinds] == kinds


def test_what_is_done_at_one_time_begins_one_epoch(book: Logbook) -> None:
    work(book)
    since = add(book, b"since", date=DONE, hours=HOURS)
    work(book, what="alignment")
    assert [each.epoch for each in book.work("main")] == [1, 1]
    assert epoch_of(book, since) == 1
    work(book, DONE + dt.timedelta(days=60), HOURS + 100, what="belt")
    assert [each.epoch for each in book.work("main")] == [1, 1, 2]
    assert epoch_of(book, since) == 1


def test_work_entered_late_before_other_work_comes_first(book: Logbook) -> None:
    kept = [
        add(book, b"0", date=dt.date(2026, 6, 1), hours=3200.0),
        add(book, b"1", date=dt.date(2026, 9, 1), hours=3600.0),
        add(book, b"2", date=DONE, hours=HOURS + 1),
    ]
    work(book)
    work(book, dt.date(2026, 8, 1), 3500.0, what="injectors")
    assert [each.what for each in book.work("main")] == ["injection", "mounts"]
    assert [epoch_of(book, each) for each in kept] == [0, 1, 2]


def test_a_new_damper_counts_its_epochs_anew(book: Logbook) -> None:
    work(book)
    later = dt.date(2028, 1, 10)
    new = book.start_installation("main", date=later, hours=5000.0)
    assert epoch_of(book, add(book, b"1", date=later, hours=5001.0)) == 0
    second = work(book, later + dt.timedelta(days=30), 5050.0)
    assert (second.epoch, second.installation_id) == (1, new.id)


def test_a_damper_entered_late_takes_the_work_over(book: Logbook) -> None:
    work(book)
    since = add(book, b"since", date=DONE, hours=HOURS)
    new = book.start_installation("main", date=dt.date(2026, 9, 1), hours=3600.0)
    assert [each.installation_id for each in book.work("main")] == [new.id]
    assert epoch_of(book, since) == 1


@pytest.mark.parametrize(
    ("said", "why"),
    [
        (
            {"date": FITTED - dt.timedelta(days=1), "hours": FITTED_HOURS},
            r"no installation on 'main' had begun by 2026-04-30",
        ),
        (
            {"date": FITTED, "hours": FITTED_HOURS - 1},
            "start it: vibetrend installation start --engine main",
        ),
        (
            {"date": dt.date(2026, 5, 3), "hours": 3151.0},
            r"contradicts recording \w+ of 2026-05-04",
        ),
        ({"date": DONE + dt.timedelta(days=1), "hours": HOURS - 1}, "contradicts the work of 2027"),
        ({"hours": 20_000.0}, "24 a day at most; correct --hours or --date"),
        ({"hours": float("nan")}, "nan cannot be engine hours"),
        ({"what": "paint"}, "'paint' is no kind of work; choose one of mounts, injection"),
    ],
)
def test_work_that_cannot_be_is_refused_and_leaves_nothing(
    book: Logbook, said: dict[str, Any], why: str
) -> None:
    add(book, b"1")  # 2026-05-04, 3150 h
    kept = work(book)
    with pytest.raises(LogbookError, match=why):
        work(book, **({"what": "belt"} | said))
    assert book.work("main") == [kept]


def test_a_recording_whose_hours_contradict_work_is_refused(book: Logbook) -> None:
    work(book)
    with pytest.raises(LogbookError, match=r"contradicts the work of 2027-03-01 at 4200 h"):
        add(book, b"1", date=DONE + dt.timedelta(days=1), hours=HOURS - 1)


def test_work_is_of_one_engine(book: Logbook) -> None:
    with pytest.raises(LogbookError, match="engine 'port' is not in the logbook"):
        book.add_work("port", date=DONE, hours=HOURS, what="mounts")
    with pytest.raises(LogbookError, match="engine 'port' is not in the logbook"):
        book.work("port")


@pytest.mark.parametrize(
    ("other", "alike"),
    [
        ({"tag": 1040.0}, True),  # the series' speed band, 4 %
        ({"tag": 1042.0}, False),
        ({"device": "sensor"}, False),
        ({"condition": "cold"}, False),
        ({"manner": "run-up", "tag": None}, False),
    ],
)
def test_series_are_alike_when_only_work_parts_them(
    book: Logbook, other: dict[str, Any], alike: bool
) -> None:
    add(book, b"1")
    work(book)
    add(book, b"2", measured(b"2", **other), date=DONE, hours=HOURS)
    before, after = book.series("main")
    assert before.is_like(after) == after.is_like(before) == alike
