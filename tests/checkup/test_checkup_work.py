"""Work, a damper before, another phone: what a series' own verdict cannot know."""

import datetime as dt
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from invented_life import FITTED, FITTED_HOURS, TODAY
from measured_life import ORDERS, baseline, check_up, engine_book, main_engine, measured

from vibetrend.checkup import judging
from vibetrend.checkup.records import SeriesRecord, Work
from vibetrend.checkup.standing import standing, to_json
from vibetrend.cli.standing_words import standing_words
from vibetrend.cli.status import exit_code
from vibetrend.logbook import Logbook
from vibetrend.recording import Circumstances
from vibetrend.report.facts import facts
from vibetrend.trend import Comparison, judge
from vibetrend.trend.priors import PRIOR_DAY_DB, PRIOR_PLACEMENT_DB

LATER, DAYS_AFTER = dt.date(2024, 10, 1), dt.date(2024, 10, 3)
DONE, DONE_HOURS = dt.date(2024, 10, 10), 3600.0
RISEN = {2.5: 5.0}


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    """A logbook with a new damper."""
    with engine_book(tmp_path) as opened:
        opened.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        yield opened


@pytest.fixture(scope="module")
def baseline_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook with a complete baseline; copied, never used, by the tests."""
    folder = tmp_path_factory.mktemp("baseline")
    with engine_book(folder) as opened:
        opened.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        baseline(opened)
    return folder / "logbook"


def risen_by_two_days(book: Logbook, **tags: Any) -> None:
    check_up(book, LATER, 3500, RISEN, **tags)
    check_up(book, DAYS_AFTER, 3504, RISEN, **tags)


def mounts(book: Logbook) -> None:
    book.add_work("main", date=DONE, hours=DONE_HOURS, what="mounts", note="all four")


def difference(comparison: Comparison | None, order: float) -> float:
    assert comparison is not None
    return float(comparison.rows.set_index("order")["difference_db"][order])


def by_phone(book: Logbook) -> dict[str, SeriesRecord]:
    return {each.info["device"]: each for each in main_engine(book).series}


# Work


def test_work_ends_a_series_and_the_engine_begins_anew(begun: Logbook) -> None:
    risen_by_two_days(begun)
    before = main_engine(begun)
    assert (before.status["state"], exit_code([before])) == ("changed", 4)

    mounts(begun)
    after = main_engine(begun)
    assert (after.status["state"], exit_code([after])) == ("no-baseline", 0)
    assert after.status["hours"] == DONE_HOURS  # the work tells them too
    assert after.status["next_recording_hours"] == DONE_HOURS  # now
    assert after.work == (Work(date=DONE, hours=DONE_HOURS, what="mounts", note="all four"),)
    (old,) = after.series  # nothing was recorded since, and yet it is ended
    assert (old.ended, old.info["ended"]) == (True, "work on 2024-10-10: mounts")
    assert old.verdict.to_dict() == before.series[0].verdict.to_dict()  # stays to be read
    assert list(begun.verdicts(old.info["id"])["state"])[-1] == "changed"


def test_the_step_across_work_is_shown_and_not_judged(begun: Logbook) -> None:
    risen_by_two_days(begun)
    mounts(begun)
    step = dict.fromkeys(ORDERS, 3.0) | {1.0: 7.0}
    baseline(begun, DONE, DONE_HOURS, RISEN | step | {2.5: RISEN[2.5] + 3.0})
    engine = main_engine(begun)
    assert (engine.status["state"], exit_code([engine])) == ("no-change-seen", 0)
    new, old = engine.series  # what is compared now comes first
    assert old.verdict.orders["hours_to_limit_low"].min() < 400  # and no longer presses
    assert engine.status["next_recording_hours"] == engine.status["hours"] + 200
    assert [each.info["epoch"] for each in engine.series] == [1, 0]
    assert (new.ended, new.info["ended"]) == (False, None)
    assert old.after_work is None
    assert new.after_work is not None
    assert (new.info["follows"], old.info["follows"]) == (old.info["id"], None)
    # Nine placements against three that scatter by 0.4 dB each and 0.5 dB in common.
    assert new.after_work.common_db == pytest.approx(3.0, abs=3 * 0.5 / 3**0.5)
    own = difference(new.after_work, 1.0) - new.after_work.common_db
    assert own == pytest.approx(4.0, abs=3 * 0.27)
    assert difference(new.after_work, 2.5) - new.after_work.common_db == pytest.approx(0, abs=0.81)


def test_the_step_is_from_the_last_check_up_before_to_the_first_after(begun: Logbook) -> None:
    """However few placements it has: what drifted before the work is no part of the step."""
    check_up(begun, LATER, 3500, {2.5: 4.0})
    check_up(begun, DAYS_AFTER, 3504, {2.5: 9.0}, placements=1)
    check_up(begun, DAYS_AFTER, 3504.5, {2.5: 9.0}, placements=1)  # of the same check-up
    mounts(begun)
    check_up(begun, dt.date(2024, 10, 11), 3601, placements=1)
    check_up(begun, dt.date(2024, 10, 11), 3601.5, placements=2)  # of the same check-up
    check_up(begun, dt.date(2024, 10, 20), 3610, {2.5: 9.0})
    new, _ = main_engine(begun).series
    assert new.after_work is not None
    assert new.after_work.against == DAYS_AFTER
    # Two placements against three that scatter by 0.4 dB each and 0.5 dB in common.
    assert difference(new.after_work, 2.5) == pytest.approx(-9.0, abs=3 * 0.64 * (5 / 6) ** 0.5)
    row = new.after_work.rows.set_index("order").loc[2.5]
    counts = PRIOR_PLACEMENT_DB**2 * (1 / 2 + 1 / 3) + 2 * PRIOR_DAY_DB**2
    assert row["standard_error_db"] == pytest.approx(counts**0.5)
    assert new.latest is not None
    assert new.latest.label == "the latest check-up, 3 recordings"


def test_the_latest_check_up_is_shown_whole(begun: Logbook) -> None:
    for hours in (3500.0, 3500.5):
        check_up(begun, LATER, hours, placements=1)
    (one,) = main_engine(begun).series
    assert one.latest is not None
    assert one.latest.label == "the latest check-up, 2 recordings"


def test_work_where_nothing_was_used_before_shows_no_step(book: Logbook) -> None:
    check_up(book, LATER, 3500, placements=2, unusable=True)
    mounts(book)
    check_up(book, dt.date(2024, 10, 11), 3601)
    new, old = main_engine(book).series
    assert (new.after_work, old.ended) == (None, True)


def test_two_works_without_a_recording_in_between_are_one_step(begun: Logbook) -> None:
    mounts(begun)
    begun.add_work("main", date=dt.date(2024, 10, 12), hours=3601, what="belt")
    begun.add_work("main", date=dt.date(2024, 10, 12), hours=3601, what="alignment")
    check_up(begun, dt.date(2024, 10, 13), 3602)
    new, old = main_engine(begun).series
    assert (new.info["epoch"], old.info["ended"]) == (2, "work on 2024-10-10: mounts")
    assert new.after_work is not None
    begun.add_work("main", date=dt.date(2024, 11, 12), hours=3700, what="exhaust")
    assert all(each.ended for each in main_engine(begun).series)
    assert main_engine(begun).status["state"] == "no-baseline"


def test_an_ended_series_does_not_ask_for_anything(begun: Logbook) -> None:
    check_up(begun, LATER, 3500, placements=1, unusable=True)
    assert main_engine(begun).status["state"] == "record-again"
    mounts(begun)
    baseline(begun, DONE, DONE_HOURS)
    engine = main_engine(begun)
    assert (engine.status["state"], engine.status["next_recording_hours"]) == (
        *("no-change-seen", DONE_HOURS + 15 + 200),
    )
    assert engine.series[1].verdict.state == "record-again"


# The damper before


def test_before_recordings_need_no_installation_and_are_set_beside_the_baseline(
    tmp_path: Path,
) -> None:
    with engine_book(tmp_path) as book:
        check_up(book, FITTED - dt.timedelta(days=3), 3110, {1.0: 8.0}, before=True)
        engine = main_engine(book)
        assert (engine.status["state"], engine.series) == ("no-baseline", ())
        assert engine.status["hours"] == 3110
        book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        baseline(book)
        (one,) = main_engine(book).series
    assert difference(one.before, 1.0) == pytest.approx(-8.0, abs=3 * 0.64 * (1 / 3 + 1 / 9) ** 0.5)


def test_before_recordings_never_reach_the_judge(
    begun: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    check_up(begun, LATER, 3500)
    alone = main_engine(begun)
    judged: list[set[str]] = []

    def listening(history: Any, **options: Any) -> Any:
        judged.append(set(history["visit"]))
        return judge(history, **options)

    monkeypatch.setattr(judging, "judge", listening)
    # Stated in both ways that could let them in: as early, and with the damper.
    for date, hours in ((FITTED, 3119.0), (FITTED, 3120.0)):
        check_up(begun, date, hours, {2.5: 9.0}, before=True)
    check_up(begun, FITTED, 3120.0, before=True, unusable=True, position="head")
    engine = main_engine(begun)
    assert judged == [{"2024-06-02", "2024-06-03", "2024-06-04", "2024-10-01"}]
    (one,) = engine.series  # the one spot that has nothing else is no series
    assert one.verdict.to_dict() == alone.series[0].verdict.to_dict()
    assert not one.recordings["before"].any()
    assert difference(one.before, 2.5) == pytest.approx(-9.0, abs=1.5)
    assert engine.status["state"] == "no-change-seen"


def test_without_them_it_is_the_last_check_up_on_the_damper_before(begun: Logbook) -> None:
    risen_by_two_days(begun)
    renewed = dt.date(2025, 1, 10)
    begun.start_installation("main", date=renewed, hours=3700)
    baseline(begun, renewed, 3700)
    (one,) = main_engine(begun).series
    assert difference(one.before, 2.5) == pytest.approx(-5.0, abs=3 * 0.64 * (1 / 3 + 1 / 9) ** 0.5)
    assert one.after_work is None

    check_up(begun, FITTED - dt.timedelta(days=3), 3110, {2.5: 20.0}, before=True)
    (one,) = main_engine(begun).series  # that was the damper before the one before
    assert difference(one.before, 2.5) == pytest.approx(-5.0, abs=1.3)

    check_up(begun, renewed, 3699, {2.5: 12.0}, before=True)
    (one,) = main_engine(begun).series
    assert difference(one.before, 2.5) == pytest.approx(-12.0, abs=1.3)


def test_a_damper_as_found_has_no_damper_before(tmp_path: Path) -> None:
    with engine_book(tmp_path) as book:
        check_up(book, FITTED - dt.timedelta(days=3), 3110)
        book.start_installation("main", date=FITTED, hours=FITTED_HOURS, as_found=True)
        baseline(book)
        assert [each.before for each in main_engine(book).series] == [None]


def test_the_damper_before_is_set_beside_the_first_baseline_only(book: Logbook) -> None:
    check_up(book, FITTED, 3119, before=True)
    check_up(book, FITTED, 3119, before=True, device="phone B")
    baseline(book)
    mounts(book)
    baseline(book, DONE, DONE_HOURS)
    baseline(book, DONE, DONE_HOURS, device="phone B")
    shown = {
        (each.info["device"], each.info["epoch"]): each.before is not None
        for each in main_engine(book).series
    }
    # The mounts are no part of the first; phone B has no other.
    assert shown == {("phone A", 0): True, ("phone A", 1): False, ("phone B", 1): True}


# Carried forward


def test_what_the_old_phone_found_is_carried_forward_in_words(begun: Logbook) -> None:
    risen_by_two_days(begun)
    baseline(begun, DAYS_AFTER, 3510, RISEN, device="phone B")
    found = by_phone(begun)
    said = found["phone B"].info["carried"]
    change = found["phone A"].verdict.orders.set_index("order")["change_db"][2.5]
    assert said == (
        "On the series before (phone A, valve cover, warm; last at 3504 h) order 2.5 had risen by "
        f"{change:.1f} dB: that change is not in this series' baseline, keep it in mind."
    )
    assert found["phone B"].verdict.advice[0] == said
    assert found["phone B"].verdict.state == "no-change-seen"  # words only
    assert found["phone A"].info["carried"] is None
    kept = begun.verdicts(found["phone B"].info["id"])
    assert len(kept) == 1


def test_nothing_found_is_nothing_carried(begun: Logbook) -> None:
    check_up(begun, LATER, 3500)
    check_up(begun, DAYS_AFTER, 3504, device="phone B")
    assert {each.info["carried"] for each in by_phone(begun).values()} == {None}


def test_what_is_found_once_the_new_series_has_begun_is_its_own_to_find(begun: Logbook) -> None:
    baseline(begun, dt.date(2024, 7, 1), 3200, device="phone B")
    for date, hours in ((LATER, 3500.0), (DAYS_AFTER, 3504.0)):
        for device in ("phone A", "phone B"):
            check_up(begun, date, hours, RISEN, device=device)
    found = by_phone(begun)
    assert {each.verdict.state for each in found.values()} == {"changed"}
    assert found["phone B"].info["carried"] is None


@pytest.mark.parametrize("apart", [{"manner": "run-up"}, {"kind": "sound", "unit": "1"}])
def test_another_manner_or_kind_carries_nothing(begun: Logbook, apart: dict[str, Any]) -> None:
    risen_by_two_days(begun)
    check_up(begun, DAYS_AFTER, 3510, device="phone B", **apart)
    assert by_phone(begun)["phone B"].info["carried"] is None


def test_work_stands_between_two_phones(begun: Logbook) -> None:
    risen_by_two_days(begun)
    mounts(begun)
    check_up(begun, DONE, DONE_HOURS, device="phone B")
    assert by_phone(begun)["phone B"].info["carried"] is None


def test_a_suspicion_and_what_all_did_are_carried_as_what_they_are(begun: Logbook) -> None:
    check_up(begun, LATER, 3500, RISEN)
    assert main_engine(begun).status["state"] == "another-day"
    check_up(begun, LATER, 3501, device="phone B")
    assert "dB (a suspicion, not confirmed)" in by_phone(begun)["phone B"].info["carried"]
    louder = dict.fromkeys(ORDERS, 6.0)
    baseline(begun, hours=FITTED_HOURS, position="head")
    for date, hours in ((LATER, 3500.0), (DAYS_AFTER, 3504.0)):
        check_up(begun, date, hours, louder, position="head")
    check_up(begun, DAYS_AFTER, 3506, device="phone C")
    said = by_phone(begun)["phone C"].info["carried"]
    assert said.count("On the series before") == 2
    assert "all orders together had risen by" in said


def test_many_orders_each_its_own_way_are_not_called_one_rise(
    begun: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The judge names this state; here only what is made of it is looked at."""

    def scattered(history: Any, **options: Any) -> Any:
        found = judge(history, **options)
        return replace(found, common_state="all-moved", each_its_own_way=True)

    monkeypatch.setattr(judging, "judge", scattered)
    check_up(begun, DAYS_AFTER, 3504, device="phone B")
    said = by_phone(begun)["phone B"].info["carried"]
    assert "many orders had moved, each its own way: that change" in said
    assert "together" not in said


def test_where_nothing_was_known_before_a_series_began_nothing_is_carried(book: Logbook) -> None:
    """Its first recording cannot be used, and its baseline is younger than the other's."""
    check_up(book, FITTED, FITTED_HOURS + 1, placements=1, unusable=True)
    baseline(book, device="phone B")
    baseline(book, FITTED + dt.timedelta(days=4), FITTED_HOURS + 20)
    risen_by_two_days(book)
    found = by_phone(book)
    assert found["phone B"].info["carried"] is None
    assert found["phone A"].verdict.state == "changed"


# What the judge refuses


def test_a_series_that_cannot_be_judged_does_not_hide_the_others(begun: Logbook) -> None:
    """Two check-ups across midnight under one name may turn hours and dates round."""
    later = DAYS_AFTER + dt.timedelta(days=1)
    for number, (date, hours, visit) in enumerate(
        [(DAYS_AFTER, 3500.0, "a"), (later, 3520.0, "a"), (later, 3505.0, "b")]
    ):
        content = f"{number}".encode()
        begun.add_recording(
            "main", io.BytesIO(content), measured(content, {}), visit=visit, hours=hours,
            date=date, baseline=False, before=False,
        )  # fmt: skip
    baseline(begun, device="phone B")
    engine = main_engine(begun)
    assert (engine.status["state"], exit_code([engine])) == ("no-change-seen", 0)
    states = {one.info["device"]: one.verdict.state for one in engine.series}
    assert states == {"phone A": "no-baseline", "phone B": "no-change-seen"}
    refused = engine.series[0].verdict
    assert refused.advice[0].startswith(
        "This series cannot be judged: check-up b has fewer engine hours (3505 h) than one of an "
        "earlier date; correct the hours or the date. What was mistyped can be"
    )
    printed = " ".join(standing_words([engine], today=TODAY).split())
    assert "- This series cannot be judged: check-up b has" in printed


# Circumstances


def test_a_check_up_with_the_other_engine_running_is_not_compared(book: Logbook) -> None:
    baseline(book, circumstances=Circumstances(other_engine="off"))
    check_up(book, LATER, 3500, {2.5: 9.0}, circumstances=Circumstances(other_engine="running"))
    check_up(book, DAYS_AFTER, 3504)  # nobody said
    (one,) = main_engine(book).series
    told = one.verdict.recordings.set_index("visit")
    running = told.loc[LATER.isoformat()]
    assert not running["used"].any()
    assert running["why_not"].str.contains("the other engine was running").all()
    assert told.drop(LATER.isoformat())["used"].all()


# Handed on


def test_the_judge_is_told_when_the_damper_is_due(
    book: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[Any] = []

    def listening(history: Any, **options: Any) -> Any:
        told.append((options["renewal_hours"], options["engine"].name))
        return judge(history, **options)

    monkeypatch.setattr(judging, "judge", listening)
    baseline(book)
    engine = main_engine(book)
    assert told == [(FITTED_HOURS + 4000, "main")]
    # 70 h in 100 days: six years of that, 2191 days, are fewer hours than the maker's 4000.
    check_up(book, FITTED + dt.timedelta(days=100), FITTED_HOURS + 70)
    engine = main_engine(book)
    assert told[1] == (pytest.approx(FITTED_HOURS + 0.7 * 2191), "main")
    assert engine.renewal.expected_hours == told[1][0]
    assert {fact.renewal_hours for fact in facts(engine.series[0], engine)} == {told[1][0]}
    assert engine.status["renewal"]["due_hours"] == FITTED_HOURS + 4000


def test_the_json_form_tells_it_all(book: Logbook) -> None:
    check_up(book, FITTED, 3119, before=True)
    baseline(book)
    mounts(book)
    baseline(book, DONE, DONE_HOURS)
    told = json.loads(json.dumps(to_json(standing(book, today=TODAY)), allow_nan=False))
    assert set(told) == {"engines", "side_by_side"}
    (engine,) = told["engines"]
    assert engine["work"] == [
        {"date": "2024-10-10", "hours": 3600.0, "what": "mounts", "note": "all four"}
    ]
    new, old = engine["series"]
    assert (new["epoch"], new["ended"], new["carried"], new["before"]) == (1, None, None, None)
    assert (old["epoch"], old["ended"], old["after_work"]) == (
        *(0, "work on 2024-10-10: mounts", None),
    )
    assert new["after_work"].pop("against") == "2024-06-04"
    for comparison in (new["after_work"], old["before"]):
        assert set(comparison) == {"rows", "common_db"}
        assert {row["order"] for row in comparison["rows"]} == set(ORDERS)
