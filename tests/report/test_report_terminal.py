"""What the terminal prints of where engines stand, beside what the page shows."""

import datetime as dt
import math
from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import pandas as pd
import pytest
from invented_report import MADE_AT, engine_record, history, series, worked_on

from vibetrend.checkup.records import EngineRecord, SeriesRecord, Work
from vibetrend.checkup.twins import side_by_side
from vibetrend.cli.standing_words import filed_words, standing_words
from vibetrend.cli.words import measurement_words
from vibetrend.orders import Measurement
from vibetrend.quantities import ShownUnits, unit
from vibetrend.report.work import Mark
from vibetrend.trend.advice import BLIND, CAUTIONS


def printed(*records: EngineRecord) -> str:
    """Return the words on one line, as a person reads them."""
    text = standing_words(records, today=MADE_AT.date())
    return " ".join(text.replace("\xa0", " ").split())


@pytest.fixture(scope="module")
def bent() -> pd.DataFrame:
    return history()


def test_what_was_found_is_told_once(bent: pd.DataFrame) -> None:
    one = series(bent)
    found = (one.verdict.advice[0], "Order 4.5 rose by much.")
    advice = ["The latest recording has a fault.", *found, "Then do this.", BLIND, *CAUTIONS]
    told = replace(one, verdict=replace(one.verdict, advice=advice, findings=found))
    text = printed(engine_record("main", told))
    change = one.verdict.orders.query("order == 4.5")["change_db"].iloc[0]
    assert text.count(f"is up {change:.1f} dB") == 1  # the statement's words, not the advice's
    assert not [sentence for sentence in found if sentence in text]
    assert "- The latest recording has a fault. - Then do this." in text
    for sentence in (BLIND, *CAUTIONS):
        assert text.count(sentence) == 1


def test_the_judge_names_its_findings(bent: pd.DataFrame) -> None:
    one = series(bent)
    text = printed(engine_record("main", one))
    advice = one.verdict.advice
    assert one.verdict.findings == tuple(advice[: len(one.verdict.findings)])
    assert len(one.verdict.findings) == 3  # the state, what moved, when it may reach the limit
    for sentence in advice[3:]:
        assert sentence.replace("\xa0", " ") in text
    assert "Order 4.5 rose" not in text
    assert text.count("Order 4.5 is up") == 1
    bare = series(history(visits=2).assign(baseline=False))
    assert "Take a baseline: three placements" in printed(engine_record("main", bare))


def test_incomplete_baseline_says_that_later_check_ups_are_judged_all_the_same() -> None:
    text = printed(engine_record("main", series(history(visits=2))))
    assert "The baseline has 2 check-ups so far. Later check-ups are compared with it" in text
    assert "nothing is judged" not in text


@pytest.mark.parametrize(
    ("state", "told"),
    [
        ("another-day", "Next check-up: On another day. Within a week."),
        ("record-again", "Next check-up: Now. Take the latest recording again."),
        ("no-baseline", "Next check-up: Now. Take the baseline: three placements on each"),
        ("changed", "Next check-up: Now. The limit may be near."),
    ],
)
def test_when_to_record_next_while_a_question_is_open(
    bent: pd.DataFrame, state: str, told: str
) -> None:
    assert told in printed(asked_now(series(bent), state))


@pytest.mark.parametrize(
    ("placements", "told"),
    [
        (6, "On another day. One more day of three."),
        (4, "Now. Two more placements today (on a later day: another day of three instead), then"),
    ],
)
def test_what_a_baseline_lacks_is_told_by_the_judge_s_rule(placements: int, told: str) -> None:
    table = history(visits=2)
    kept = table["recording"].isin(table["recording"].unique()[:placements])
    assert f"Next check-up: {told}" in printed(asked_now(series(table[kept]), "learning"))


def asked_now(one: SeriesRecord, state: str) -> EngineRecord:
    record = engine_record("main", one)
    asked = {"state": state, "next_recording_hours": record.status["hours"]}
    return replace(record, status=record.status | asked)


def test_work_of_several_kinds_is_listed() -> None:
    def name(*kinds: str) -> str:
        works = tuple(Work(date=dt.date(2028, 4, 12), hours=1.0, what=w, note="") for w in kinds)
        return Mark(letter="A", works=works).name.partition(" on ")[0]

    assert name("mounts", "belt", "other", "belt") == "mounts, belt and other work"
    assert name("other", "mounts") == "mounts and other work"
    assert (name("belt"), name("other")) == ("belt", "other work")


def test_every_series_has_its_own_heading_and_verdict(bent: pd.DataFrame) -> None:
    quiet = series(history(bend_db_per_1000h=0.0, seed=11))
    other = replace(quiet, info=quiet.info | {"id": 2, "device": "new phone", "carried": "Before."})
    text = printed(engine_record("main", series(bent), other))
    first, second = text.index("old phone · acc"), text.rindex("new phone · acceleration")
    assert first < second
    assert "steady at 1000 rpm: changed." in text[first:second]
    assert "steady at 1000 rpm: no change seen. Change of each order" in text[second:]
    assert "No order has moved" in text[second:]
    assert "Before." in text[second:]


def test_the_verdict_before_a_work_is_told_last_and_its_advice_not_at_all() -> None:
    record = worked_on()
    text = printed(record)
    done = "mounts and injectors on 12 April 2028 at 5525 h"
    assert text.startswith("main ---- Idle trend: No change seen.")
    assert f"Last work: {done}." in text
    assert f"Step across the work: {done}. Clearly moved: order 2 (" in text
    last = record.series[1].history["date"].max()
    assert f"This is against the check-up of {last.day} {last:%B %Y}. What" in text
    old = text[text.index(f"Before the work ({done}): ") :]
    assert "steady at 1000 rpm: changed. Order 4.5 is up" in old
    assert "could be reached" not in old
    assert "Take the next check-up" not in old


def test_after_a_work_nothing_has_been_recorded_yet() -> None:
    record = worked_on()
    ended = replace(record, series=record.series[1:])
    done = "mounts and injectors on 12 April 2028 at 5525 h"
    assert f"No steady recording has been added since the work: {done}." in printed(ended)


def test_recordings_added_after_a_work_ask_for_a_new_baseline() -> None:
    record = worked_on()
    new, old = record.series
    bare = series(new.history.assign(baseline=False))
    waiting = replace(record, series=(replace(bare, info=new.info), old))
    said = " ".join(filed_words(waiting, {2}).split()).replace("\xa0", " ")
    assert "Compared with nothing: after the work, mounts and injectors on 12 April 2028" in said
    assert "--baseline" in said


@pytest.mark.parametrize(
    ("speed_rpm", "codec", "named"),
    [
        (None, "aac", "sound format (flac)"),  # a run-up has no one speed
        (1000.0, "aac", "sound format (flac)"),
        (1500.0, "flac", "speed (1000 rpm)"),
    ],
)
def test_what_keeps_a_recording_from_being_compared_is_named(
    bent: pd.DataFrame, speed_rpm: float | None, codec: str, named: str
) -> None:
    judged = series(bent)
    known = replace(judged, info=judged.info | {"codec": "flac"})
    if speed_rpm is None:
        known = replace(known, info=known.info | {"manner": "run-up", "speed_rpm": None})
    other = series(bent.assign(baseline=False))
    info = known.info | {"id": 2, "codec": codec, "speed_rpm": speed_rpm}
    said = filed_words(engine_record("main", known, replace(other, info=info)), {2})
    assert f"the baseline differs in {named}. State" in " ".join(said.split())


def test_measured_velocities_are_printed_in_the_unit_that_was_chosen() -> None:
    """25.4 mm/s are 1 in/s exactly (NIST SP 811)."""
    row = {
        "order": 3.0, "frequency_hz": 50.0, "amplitude": 8.0, "standard_error": 0.1,
        "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": 25.4, "visible": True,
        "reason": None, "phase_deg": math.nan, "phase_repeats_deg": math.nan,
    }  # fmt: skip
    unknown = row | {"order": 6.0, "velocity_mm_s": math.nan}
    none = pd.DataFrame(columns=[*row, "name", "follows"])
    measured = SimpleNamespace(
        speed=SimpleNamespace(rpm=1000.0, standard_error_rpm=0.1, spread_percent=0.2,
                              method="harmonics"),
        orders=pd.DataFrame([row, unknown]), driven=none, others=none, phase_reference=None,
        quality=[],
        recording=SimpleNamespace(source=None, samples=[0.0], kind="acceleration", duration_s=20.0,
                                  axes=("x",), mean_rate_hz=400.0),
    )  # fmt: skip
    cells = [
        [line.split() for line in words.splitlines() if line[:7].strip() in ("order", "3", "6")]
        for words in (
            measurement_words(cast(Measurement, measured)),
            measurement_words(cast(Measurement, measured), ShownUnits(velocity=unit("in/s"))),
        )
    ]
    assert [[line[6] for line in each] for each in cells] == [
        ["mm/s", "25.4", "–"], ["in/s", "1", "–"],
    ]  # fmt: skip


def test_side_by_side_prints_the_numbers_of_the_table(bent: pd.DataFrame) -> None:
    quiet = series(history(bend_db_per_1000h=0.0, seed=11))
    records = [engine_record("port", series(bent)), engine_record("starboard", quiet)]
    (found,) = side_by_side(records)
    lines = standing_words(records, today=MADE_AT.date()).splitlines()
    rows = {cells[0]: cells[1:] for line in lines if len(cells := line.split()) == 6}
    for row in found.table.to_dict(orient="records"):
        numbers = [float(cell) for cell in rows[f"{row['order']:g}"]]
        names = ("first", "second", "difference_db", "first_change_db", "second_change_db")
        for name, number in zip(names, numbers, strict=True):
            # Three digits of an amplitude, one decimal of a difference.
            near = {"rel": 5e-3} if name in ("first", "second") else {"abs": 0.0500001}
            assert number == pytest.approx(row[name], **near), (row["order"], name)
