"""The whole path on short simulated recordings: file, measurement, logbook, verdict, exit code."""

import datetime as dt
import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from invented_life import (
    BASELINE,
    ENGINE,
    FITTED,
    RPM,
    TODAY,
    add,
    book,
    check_up,
    clip,
    main_engine,
    still,
    with_baseline,
)

from vibetrend.checkup.adding import measure_file
from vibetrend.checkup.records import EngineRecord
from vibetrend.checkup.standing import standing, to_json
from vibetrend.cli.standing_words import standing_words
from vibetrend.cli.status import exit_code
from vibetrend.engine import Engine
from vibetrend.errors import LogbookError, MeasureError, ReadError
from vibetrend.logbook import Logbook

LATER = dt.date(2024, 10, 1)
DAYS_AFTER = dt.date(2024, 10, 3)


@pytest.fixture(scope="module")
def baseline_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook with a complete baseline; copied, never used, by the tests."""
    folder = tmp_path_factory.mktemp("baseline")
    with_baseline(folder).close()
    return folder / "logbook"


def rows_by_order(engine: EngineRecord) -> dict[float, dict[str, Any]]:
    """Return what the first series' verdict says of each order."""
    rows = engine.series[0].verdict.to_dict()["orders"]
    return {row["order"]: row for row in rows if row["order"] is not None}


def test_an_engine_learns_and_then_stays(tmp_path: Path) -> None:
    states = []
    with book(tmp_path) as opened:
        for date, hours in BASELINE:
            check_up(opened, tmp_path, date, hours, baseline=True)
            states.append(main_engine(opened).status["state"])
        check_up(opened, tmp_path, LATER, 3500)
        engine = main_engine(opened)
    assert states == ["learning", "learning", "no-change-seen"]
    assert engine.status["state"] == "no-change-seen"
    assert exit_code([engine]) == 0
    assert engine.status["hours"] == 3500
    # Every few hundred hours; common practice, no source.
    assert 100 <= engine.status["next_recording_hours"] - 3500 <= 500
    (series,) = engine.series
    assert len(series.recordings) == 12
    assert series.verdict.recordings["used"].all()
    assert series.info["baseline"] == "after-installation"


def test_a_risen_order_is_called_on_the_second_day(begun: Logbook, tmp_path: Path) -> None:
    risen = {2.5: 5.0}
    check_up(begun, tmp_path, LATER, 3500, changes_db=risen)
    first_day = main_engine(begun)
    assert first_day.status["state"] == "another-day"
    assert first_day.status["next_recording_hours"] == 3500  # now
    assert exit_code([first_day]) == 3

    check_up(begun, tmp_path, DAYS_AFTER, 3504, changes_db=risen)
    second_day = main_engine(begun)
    assert second_day.status["state"] == "changed"
    assert exit_code([second_day]) == 4
    rows = rows_by_order(second_day)
    assert [order for order, row in rows.items() if row["state"] == "changed"] == [2.5]
    # Six placements against nine that scatter by 0.64 dB: 0.34 dB of uncertainty, three times.
    assert rows[2.5]["change_db"] == pytest.approx(5.0, abs=1.0)
    assert BASELINE[-1][1] <= rows[2.5]["since_hours"] <= 3500
    assert second_day.status["next_recording_hours"] <= 3504 + 200

    kept = begun.verdicts(second_day.series[0].info["id"])["state"]
    assert list(kept) == ["another-day", "changed"]
    assert main_engine(begun).status == second_day.status  # looking changes nothing
    assert len(begun.verdicts(second_day.series[0].info["id"])) == 2


def test_a_fallen_order_is_a_change_too(begun: Logbook, tmp_path: Path) -> None:
    for date, hours in ((LATER, 3500), (DAYS_AFTER, 3504)):
        check_up(begun, tmp_path, date, hours, changes_db={3.0: -5.0})
    engine = main_engine(begun)
    assert engine.status["state"] == "changed"
    assert rows_by_order(engine)[3.0]["change_db"] < -4


def test_everything_louder_alike_is_no_change_of_one_order(begun: Logbook, tmp_path: Path) -> None:
    """A phone that sits otherwise moves all orders; no order is blamed."""
    louder = {order / 2: 6.0 for order in range(1, 25)}
    for date, hours in ((LATER, 3500), (DAYS_AFTER, 3504)):
        check_up(begun, tmp_path, date, hours, changes_db=louder)
    engine = main_engine(begun)
    assert engine.status["state"] == "all-moved"
    assert exit_code([engine]) == 3


def test_an_unusable_latest_recording_is_to_be_taken_again(begun: Logbook, tmp_path: Path) -> None:
    added = add(begun, still(tmp_path / "still.csv"), LATER, 3500)
    assert {"engine-not-running"} <= {each["code"] for each in added.to_dict()["quality"]}
    engine = main_engine(begun)
    assert engine.status["state"] == "record-again"
    assert engine.status["next_recording_hours"] == 3500
    assert exit_code([engine]) == 3
    assert engine.series[0].verdict.state == "record-again"  # state and words say the same
    words = standing_words([engine], today=TODAY)
    assert "Record again now" in words
    assert "still.csv, cannot be used. No engine order near" in " ".join(words.split())

    check_up(begun, tmp_path, LATER, 3500)
    assert main_engine(begun).status["state"] == "no-change-seen"


def test_an_old_unusable_recording_added_late_does_not_ask_for_another(
    begun: Logbook, tmp_path: Path
) -> None:
    check_up(begun, tmp_path, LATER, 3500)
    add(begun, still(tmp_path / "still.csv"), dt.date(2024, 7, 1), 3200)
    assert main_engine(begun).status["state"] == "no-change-seen"


def test_a_first_recording_that_is_unusable_stops_nothing(tmp_path: Path) -> None:
    with book(tmp_path) as opened:
        add(opened, still(tmp_path / "still.csv"), LATER, 3500)
        assert main_engine(opened).status["state"] == "record-again"


def test_a_recording_from_before_is_kept_and_not_judged(begun: Logbook, tmp_path: Path) -> None:
    date, hours = FITTED - dt.timedelta(days=1), 3119.0
    add(begun, clip(tmp_path / "1.csv", seed=1), date, hours, before=True)
    add(begun, clip(tmp_path / "2.csv", seed=2), date, hours, before=True, position="top")
    assert main_engine(begun).status["state"] == "no-change-seen"


def test_before_any_installation_there_is_no_baseline(tmp_path: Path) -> None:
    with book(tmp_path, installed=False) as opened:
        check_up(opened, tmp_path, LATER, 3500)
        engine = main_engine(opened)
        assert engine.status["state"] == "no-baseline"
        assert exit_code([engine]) == 0
        assert engine.installation_date is None
        renewal = engine.status["renewal"]
        assert [renewal[key] for key in ("state", "due_date", "due_hours", "first")] == [
            *("unknown", None, None, None),
        ]
        assert engine.status["next_recording_hours"] == 3500


def test_an_engine_without_recordings(tmp_path: Path) -> None:
    with book(tmp_path, installed=False) as opened:
        engine = main_engine(opened)
    assert engine.status["state"] == "no-baseline"
    assert (engine.status["hours"], engine.status["next_recording_hours"]) == (None, None)
    assert engine.series == ()


def test_a_baseline_needs_an_installation(tmp_path: Path) -> None:
    with book(tmp_path, installed=False) as opened:
        path = clip(tmp_path / "1.csv", seed=1)
        with pytest.raises(
            LogbookError, match=r"belongs to an installation.*vibetrend installation start"
        ):
            add(opened, path, LATER, 3500, baseline=True)
        assert opened.series("main") == []  # nothing was kept


def test_a_baseline_from_before_the_installation_is_refused(tmp_path: Path) -> None:
    with book(tmp_path) as opened, pytest.raises(LogbookError, match=r"2024-05-31 at 3119 h"):
        add(opened, clip(tmp_path / "1.csv", seed=1), dt.date(2024, 5, 31), 3119, baseline=True)


def test_a_date_in_the_future_is_refused(tmp_path: Path) -> None:
    path = clip(tmp_path / "1.csv", seed=1)
    with book(tmp_path) as opened:
        with pytest.raises(ReadError, match=r"1\.csv: .*2025-06-02 is in the future; correct --d"):
            add(opened, path, TODAY + dt.timedelta(days=1), 3500)
        assert add(opened, path, TODAY, 3500).kept.date == TODAY


def test_hours_cannot_grow_faster_than_the_clock(begun: Logbook, tmp_path: Path) -> None:
    """116 days after the last recording at 3140 h are 2784 h at most."""
    with pytest.raises((LogbookError, ReadError), match="hours"):
        add(begun, clip(tmp_path / "1.csv", seed=1), LATER, 35_000)
    assert add(begun, clip(tmp_path / "2.csv", seed=2), DAYS_AFTER, 3504).kept.hours == 3504


@pytest.mark.parametrize("missing", ["rpm", "hours"])
def test_what_nobody_stated_is_asked_for(tmp_path: Path, missing: str) -> None:
    path = clip(tmp_path / "1.csv", seed=1)
    stated = {"date": LATER, "hours": 3500.0, "rpm": RPM} | {missing: None}
    with (
        book(tmp_path) as opened,
        pytest.raises(ReadError, match=rf"1\.csv: no .* stated; add .*--{missing} N"),
    ):
        add(opened, path, **stated)  # type: ignore[arg-type]  # one of them is missing


def test_without_a_date_it_was_today(tmp_path: Path) -> None:
    path = clip(tmp_path / "1.csv", seed=1)
    with book(tmp_path) as opened:
        added = add(opened, path, None, 3500)  # type: ignore[arg-type]  # what the test is about
    assert (added.kept.date, added.kept.visit) == (TODAY, "2025-06-01")


def test_the_same_content_twice_is_one_recording(tmp_path: Path) -> None:
    path = clip(tmp_path / "1.csv", seed=1)
    copy = shutil.copy(path, tmp_path / "other name.csv")
    with book(tmp_path) as opened:
        first = add(opened, path, LATER, 3500)
        second = add(opened, Path(copy), DAYS_AFTER, 3600)
        assert (first.kept.duplicate, second.kept.duplicate) == (False, True)
        assert second.kept.id == first.kept.id
        assert second.kept.hours == 3500  # nothing was overwritten
        (series,) = opened.series("main")
        assert len(opened.recordings(series.id)) == 1


def test_a_new_damper_begins_anew(begun: Logbook, tmp_path: Path) -> None:
    for date, hours in ((LATER, 3500), (DAYS_AFTER, 3504)):
        check_up(begun, tmp_path, date, hours, changes_db={2.5: 5.0})
    assert main_engine(begun).status["state"] == "changed"

    begun.start_installation("main", date=dt.date(2024, 11, 1), hours=3600)
    renewed = main_engine(begun)
    assert renewed.status["state"] == "no-baseline"  # the old baseline is not the new damper's
    assert renewed.status["hours"] == 3600
    assert renewed.status["renewal"]["due_hours"] == 7600
    assert renewed.status["renewal"]["due_date"] == "2030-11-01"

    states = []
    for day, at_hours in ((5, 3610.0), (6, 3614.0), (7, 3618.0)):
        check_up(begun, tmp_path, dt.date(2024, 11, day), at_hours, baseline=True)
        states.append(main_engine(begun).status["state"])
    assert states == ["learning", "learning", "no-change-seen"]
    assert main_engine(begun).installation_date == dt.date(2024, 11, 1)
    assert len(main_engine(begun).series) == 1
    assert len(begun.series("main")) == 2  # the old one is kept


def test_another_position_is_another_series(begun: Logbook, tmp_path: Path) -> None:
    check_up(begun, tmp_path, LATER, 3500, position="front casting")
    engine = main_engine(begun)
    assert [each.info["position"] for each in engine.series] == ["", "front casting"]
    assert [each.verdict.state for each in engine.series] == ["no-change-seen", "no-baseline"]
    assert engine.status["state"] == "no-change-seen"  # the worst of them


def test_a_renewal_overdue_is_an_exit_code(begun: Logbook, tmp_path: Path) -> None:
    add(begun, clip(tmp_path / "1.csv", seed=1), dt.date(2024, 12, 30), 7120)
    engine = main_engine(begun)
    assert engine.status["renewal"]["state"] == "overdue"
    assert engine.status["renewal"]["first"] == "hours"
    assert exit_code([engine]) == 4


def test_a_damper_as_found_has_no_known_age(tmp_path: Path) -> None:
    with book(tmp_path, installed=False) as opened:
        opened.start_installation("main", date=FITTED, hours=3120, as_found=True)
        check_up(opened, tmp_path, BASELINE[0][0], 3131, baseline=True)
        engine = main_engine(opened)
    assert engine.as_found
    assert engine.series[0].info["baseline"] == "as-found"
    assert engine.status["renewal"]["state"] == "unknown"


def test_the_engine_file_is_frozen_with_the_installation(begun: Logbook, tmp_path: Path) -> None:
    other = ENGINE.replace("renew_hours = 4000", "renew_hours = 9000")
    begun.put_engine(other, Engine.parse(other))
    assert main_engine(begun).status["renewal"]["due_hours"] == 7120
    add(begun, clip(tmp_path / "1.csv", seed=1), LATER, 3500)
    assert main_engine(begun).engine.damper.renew_hours == 4000


def test_several_engines_and_their_json(begun: Logbook) -> None:
    text = ENGINE.replace('"main"', '"charger"')
    begun.put_engine(text, Engine.parse(text))
    records = standing(begun, today=TODAY)
    assert [each.engine.name for each in records] == ["main", "charger"]
    told = json.loads(json.dumps(to_json(records), allow_nan=False))
    main = told["engines"][0]
    # design.md, section 4, `status --json`
    assert {
        *("name", "state", "hours", "next_recording_hours", "renewal", "work", "series"),
    } <= set(main)
    assert {"state", "due_date", "due_hours", "first"} <= set(main["renewal"])
    expected = {"id", "position", "device", "kind", "condition", "manner", "speed_rpm", "baseline"}
    assert expected | {"verdict"} <= set(main["series"][0])
    verdict = main["series"][0]["verdict"]
    assert {"state", "orders", "common_change_db", "common_state", "recordings", "advice"} == set(
        verdict
    )
    assert {
        *("feature", "order", "change_db", "scatter_db", "state", "evidence_z", "since_hours"),
        *("slope_db_per_1000h", "hours_to_limit", "hours_to_limit_low", "hours_to_limit_high"),
        "probability_never",
    } <= set(verdict["orders"][0])
    assert told["engines"][1]["state"] == "no-baseline"
    with pytest.raises(LogbookError, match=r"'chargr' is not in the logbook; did you mean 'charg"):
        standing(begun, ["chargr"], today=TODAY)


def test_measuring_names_the_file(tmp_path: Path) -> None:
    path = tmp_path / "short.csv"
    path.write_text("time (s),ax (m/s^2)\n0,1\n0.01,0\n0.02,1\n", encoding="utf-8")
    with pytest.raises(MeasureError, match="^" + re.escape(str(path)) + ": .* too short"):
        measure_file(path, rpm=RPM)
    measured = measure_file(clip(tmp_path / "1.csv", seed=1), rpm=RPM, engine=Engine.parse(ENGINE))
    # The true speed is drawn within a few parts in a thousand of the tag.
    assert measured.speed.rpm == pytest.approx(RPM, rel=0.02)
    assert measured.speed.tag_rpm == RPM
