import datetime as dt
import hashlib
import math
from collections.abc import Iterator
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path

import pytest
from invented_logbook import ENGINE, add, book_with_engine, measured

from vibetrend.engine import Engine
from vibetrend.errors import LogbookError
from vibetrend.logbook import Logbook
from vibetrend.recording import Circumstances, Note, Source
from vibetrend.trend.rows import CIRCUMSTANCES


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with book_with_engine(tmp_path / "log") as opened:
        yield opened


def test_a_recording_comes_back_as_it_was_added(book: Logbook) -> None:
    content = b"time,acc\n0,1\n"
    kept = add(book, content, visit="first", hours=3151.5, baseline=True)
    assert kept.sha256 == hashlib.sha256(content).hexdigest()
    assert kept.id == kept.sha256[:10]
    assert (kept.name, kept.visit, kept.hours) == ("clip.csv", "first", 3151.5)
    assert (kept.date, kept.rpm) == (dt.date(2026, 5, 4), 1000.0)
    assert (kept.baseline, kept.before, kept.duplicate) == (True, False, False)
    assert book.find_recording("main", kept.sha256) == kept
    assert book.original(kept.sha256) == content
    result = measured(content).to_dict()
    assert result["recording"]["path"] == "/somewhere/clip.csv"  # which may name a person
    result["recording"]["path"] = "clip.csv"
    assert book.measurement(kept.id) == result


def test_an_original_lies_under_its_digest(book: Logbook) -> None:
    """SHA-256 of "abc": NIST FIPS 180-2, appendix B.1."""
    add(book, b"abc")
    rest = "7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert (book.folder / "originals" / "ba" / rest).read_bytes() == b"abc"


@pytest.mark.parametrize("path", ["C:\\fakepath\\clip.m4a", "/media/stick/clip.m4a", "clip.m4a"])
def test_only_the_file_name_is_kept(book: Logbook, path: str) -> None:
    measurement = measured(b"1")
    recording = replace(measurement.recording, source=Source(path, ""))
    assert add(book, b"1", replace(measurement, recording=recording)).name == "clip.m4a"


def test_the_same_content_twice_is_one_recording(book: Logbook) -> None:
    first = add(book, b"clip", hours=3150.0)
    again = add(book, b"clip", hours=3999.0, baseline=True)
    assert again == replace(first, duplicate=True)
    assert len(book.recordings(first.series_id)) == 1


def test_two_engines_may_have_the_same_content_each_with_its_own_id(book: Logbook) -> None:
    text = ENGINE.replace("main", "port")
    book.put_engine(text, Engine.parse(text))
    main, port = add(book, b"clip"), add(book, b"clip", engine="port", hours=10.0)
    assert not port.duplicate
    assert (main.id, port.id) == (main.sha256[:10], main.sha256[:11])
    assert book.measurement(port.id) == book.measurement(main.id)


def test_a_file_that_changed_while_it_was_read_is_refused(book: Logbook) -> None:
    with pytest.raises(LogbookError, match=r"/somewhere/clip\.csv: the file changed while"):
        add(book, b"longer now", measured(b"longer"))
    assert book.series("main") == []


def test_what_makes_no_sense_is_refused(book: Logbook) -> None:
    with pytest.raises(LogbookError, match="either part of the baseline or from before"):
        add(book, b"1", baseline=True, before=True)
    with pytest.raises(LogbookError, match=r"needs the check-up it belongs to; .*--visit"):
        add(book, b"1", visit=" ")
    with pytest.raises(LogbookError, match="engine 'port' is not in the logbook"):
        add(book, b"1", engine="port")
    assert list((book.folder / "originals").glob("??/*")) == []
    assert book.find_recording("main", hashlib.sha256(b"1").hexdigest()) is None


def test_a_check_up_is_of_one_day_and_may_run_past_midnight(book: Logbook) -> None:
    first = add(book, b"1", visit="X", date=dt.date(2026, 5, 4))
    add(book, b"2", visit="X", date=dt.date(2026, 5, 5))
    for day in (3, 6):  # each is two days from one of the two
        with pytest.raises(LogbookError, match=r"'X' holds recording \w+ of .*leave out --visit"):
            add(book, b"3", visit="X", date=dt.date(2026, 5, day))
    with pytest.raises(LogbookError, match=rf"holds recording {first.id} of 2026-05-04, and one"):
        add(book, b"3", visit="X", date=dt.date(2026, 6, 4))
    assert [len(book.recordings(series.id)) for series in book.series("main")] == [2]
    text = ENGINE.replace("main", "port")
    book.put_engine(text, Engine.parse(text))
    add(book, b"3", visit="X", date=dt.date(2026, 6, 4), engine="port")  # names are an engine's own


@pytest.mark.parametrize(
    ("date", "hours", "of_the_present"),
    [
        ((2026, 4, 30), 3120.0, False),
        ((2026, 5, 1), 3119.0, False),
        ((2026, 5, 1), 3120.0, False),  # recorded just before the job
        ((2026, 5, 1), 3121.0, True),
        ((2026, 5, 2), 3120.0, True),
        ((2026, 5, 2), 3119.0, True),
        ((2026, 4, 30), 3121.0, True),
    ],
)
def test_what_was_recorded_on_the_present_damper_is_not_of_the_one_before(
    book: Logbook, date: tuple[int, int, int], hours: float, of_the_present: bool
) -> None:
    book.start_installation("main", date=dt.date(2025, 5, 1), hours=2000.0)
    book.start_installation("main", date=dt.date(2026, 5, 1), hours=3120.0)
    said = "lies after the installation of 2026-05-01 at 3120 h, so it is not of the damper before"
    refused = pytest.raises(LogbookError, match=said) if of_the_present else nullcontext()
    with refused:
        add(book, b"1", date=dt.date(*date), hours=hours, before=True)
    assert len(book.series("main")) == (not of_the_present)


def test_unknown_ids_are_refused(book: Logbook) -> None:
    with pytest.raises(LogbookError, match="recording 'abc' is not in the logbook"):
        book.measurement("abc")
    for ask in (book.recordings, book.history, book.verdicts):
        with pytest.raises(LogbookError, match=r"series 7 is not in the logbook; .*status"):
            ask(7)
    with pytest.raises(LogbookError, match="64 hex digits are needed"):
        book.original("../../logbook.sqlite")


def test_a_damaged_or_lost_original_is_told(book: Logbook) -> None:
    kept = add(book, b"clip")
    path = book.folder / "originals" / kept.sha256[:2] / kept.sha256[2:]
    path.write_bytes(b"clap")
    with pytest.raises(LogbookError, match="is no longer what was kept; put it back from a backup"):
        book.original(kept.sha256)
    path.unlink()
    with pytest.raises(LogbookError, match=r"cannot be read \(no such file or directory\)"):
        book.original(kept.sha256)
    assert add(book, b"clip").duplicate  # adding it again puts the original back
    assert book.original(kept.sha256) == b"clip"


def test_recordings_of_a_series_are_listed_by_hours(book: Logbook) -> None:
    doubt = Note("gaps", "warning", "3 gaps")
    late = add(book, b"2", hours=3170.0)
    early = add(book, b"1", measured(b"1", rpm=1003.0, tag=None, quality=(doubt,)), before=True)
    table = book.recordings(late.series_id)
    assert list(table["recording"]) == [early.id, late.id]
    first = table.iloc[0]
    assert first["quality"] == [{"code": "gaps", "severity": "warning", "message": "3 gaps"}]
    assert math.isnan(first["rpm"])
    assert first["speed_rpm"] == 1003.0
    assert first["date"] == dt.date(2026, 5, 4)
    assert first["before"]
    assert str(first["added_at"].tz) == "UTC"
    assert table.iloc[1]["quality"] == []
    assert table.iloc[1]["meter_hours"] == 3170.0


def test_a_stated_speed_is_none_that_was_measured(book: Logbook) -> None:
    found = measured(b"1")
    kept = add(book, b"1", replace(found, speed=replace(found.speed, method="tag")))
    (row,) = book.recordings(kept.series_id).to_dict(orient="records")
    assert row["rpm"] == 1000.0
    assert math.isnan(row["speed_rpm"])


def test_a_history_has_a_row_for_each_feature(book: Logbook) -> None:
    series = add(book, b"1", measured(b"1", orders=2), baseline=True).series_id
    history = book.history(series)
    assert list(history["feature"]) == [
        "order", "order", "driven: alternator", "overall: 10-1000 Hz"
    ]  # fmt: skip
    assert list(history["order"])[:2] == [0.5, 1.0]
    assert history["order"].iloc[2:].isna().all()  # belts creep: a driven part is its name
    # As `invented_logbook` makes them; stored and read back as the same doubles.
    assert list(history["amplitude"]) == [0.05, 0.1, pytest.approx(0.22), 4.5]
    assert list(history["standard_error"])[:3] == [0.01] * 3
    assert math.isnan(history["standard_error"].iloc[3])
    assert list(history["floor"])[:3] == [0.005] * 3
    assert history["visible"].all()
    assert history["baseline"].all()
    assert set(history["rpm"]) == {1000.0}
    assert set(history["date"]) == {dt.date(2026, 5, 4)}
    assert history[["temperature_c", "velocity_mm_s"]].isna().all(axis=None)  # neither was known


def test_a_history_tells_coolant_and_velocity_where_they_are_known(book: Logbook) -> None:
    one = measured(b"1", orders=2, circumstances=Circumstances(coolant_c=82.5))
    one.orders["velocity_mm_s"] = [4.75, math.nan]
    one.driven["velocity_mm_s"] = 2.25
    series = add(book, b"1", one).series_id
    add(book, b"2", measured(b"2", orders=2), hours=3160.0)
    history = book.history(series)
    assert history["temperature_c"].dropna().tolist() == [82.5] * 4
    assert history["velocity_mm_s"].isna().tolist() == [False] + [True] * 7
    assert history["velocity_mm_s"].iloc[0] == 4.75


def test_a_history_tells_the_circumstances_that_the_judge_looks_at(book: Logbook) -> None:
    said = Circumstances(other_engine="off", lying="afloat")
    series = add(book, b"1", measured(b"1", orders=1, circumstances=said)).series_id
    add(book, b"2", measured(b"2", orders=1), hours=3160.0)
    history = book.history(series).drop_duplicates("recording")
    assert set(CIRCUMSTANCES) <= set(history.columns)
    assert history["other_engine"].tolist() == ["off", None]
    assert history["lying"].tolist() == ["afloat", None]
    assert history["shore_power"].tolist() == history["alternator_load"].tolist() == [None, None]


def test_what_cannot_be_compared_is_left_out_of_a_history(book: Logbook) -> None:
    spoilt = Note("too-short", "unusable", "2 s")
    good = add(book, b"good", measured(b"good"))
    add(book, b"bad", measured(b"bad", quality=(spoilt,)))
    before = add(book, b"before", before=True)
    zero = measured(b"zero")
    zero.orders["amplitude"] = [0.0, math.nan, 0.3]
    partly = add(book, b"zero", zero)
    history = book.history(good.series_id)
    counts = history["recording"].value_counts().to_dict()
    assert counts == {good.id: 5, partly.id: 3}
    assert len(book.recordings(good.series_id)) == 4
    only = book.history(good.series_id, before=True)
    assert set(only["recording"]) == {before.id}
    assert list(only.columns) == list(history.columns)


def test_an_empty_history_has_the_same_columns_and_types(book: Logbook) -> None:
    spoilt = Note("too-short", "unusable", "2 s")
    series = add(book, b"bad", measured(b"bad", quality=(spoilt,))).series_id
    empty = book.history(series)
    add(book, b"good")
    full = book.history(series)
    assert len(empty) == 0
    assert list(empty.columns) == list(full.columns)
    numbers = ["hours", "order", "amplitude", "standard_error", "floor", "rpm", "visible"]
    assert empty.dtypes[numbers].equals(full.dtypes[numbers])


def test_a_verdict_is_kept_when_it_says_something_new(book: Logbook) -> None:
    kept = add(book, b"1")
    series = kept.series_id
    learning = {"state": "learning", "orders": [{"order": 4.5, "change_db": None}]}
    book.keep_verdict(series, learning, "learning", newest=kept.id)
    book.keep_verdict(series, dict(reversed(learning.items())), "learning", newest=kept.id)
    changed = {"state": "changed", "orders": [{"order": 4.5, "change_db": 3.4}]}
    book.keep_verdict(series, changed, "changed")
    book.keep_verdict(series, learning, "learning")
    assert list(book.verdicts(series)["state"]) == ["learning", "changed", "learning"]
    assert book.verdicts(series)["made_at"].is_monotonic_increasing
    assert list(book.verdicts(series)["newest"]) == [kept.date, None, None]
    with pytest.raises(LogbookError, match="series 99 is not in the logbook"):
        book.keep_verdict(99, learning, "learning")
