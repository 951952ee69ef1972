"""Like engines beside each other; every number against a second route over the same tables."""

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.checkup.standing import to_json
from vibetrend.checkup.twins import side_by_side, to_dict
from vibetrend.cli.standing_words import standing_words
from vibetrend.engine import Engine
from vibetrend.installation import Renewal
from vibetrend.report import page
from vibetrend.trend import judge

TODAY, MADE_AT = dt.date(2026, 5, 1), dt.datetime(2026, 5, 1, 12)
ORDERS = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.5, 6.0)
INFO = {
    "id": 1, "position": "front cover", "device": "phone", "kind": "acceleration",
    "unit": "m/s^2", "codec": "", "condition": "warm", "manner": "steady", "speed_rpm": 1000.0,
    "baseline": "after-installation", "epoch": 0, "ended": None, "carried": None, "follows": None,
}  # fmt: skip


def history(*, seed: int, gain_db: float = 0.0, checkups: int = 6) -> pd.DataFrame:
    """Return three baseline days and some check-ups of three placements."""
    rng = np.random.default_rng(seed)
    rows = [
        {
            "recording": f"{visit}-{placement}", "visit": f"day {visit}",
            "hours": 100.0 + (5.0 * visit if visit < 3 else 180.0 * visit), "feature": "order",
            "order": order, "standard_error": 0.001, "baseline": visit < 3, "visible": True,
            "amplitude": 10 ** ((gain_db - order + rng.normal(0, 0.5)) / 20),
        }
        for visit in range(3 + checkups) for placement in range(3) for order in ORDERS
    ]  # fmt: skip
    return pd.DataFrame(rows)


def engine(name: str, table: pd.DataFrame, *, number: int = 1, **described: Any) -> EngineRecord:
    series = SeriesRecord(
        info=INFO | {"id": number}, verdict=judge(table), history=table, recordings=pd.DataFrame()
    )
    return EngineRecord(
        engine=Engine.model_validate({"name": name, "cylinders": 6} | described),
        status={"name": name, "state": series.verdict.state},
        installation_date=None, installation_hours=None, as_found=False, series=(series,),
        renewal=Renewal(state="unknown", due_date=None, due_hours=None, first=None),
    )  # fmt: skip


def told(record: EngineRecord, **info: Any) -> EngineRecord:
    """Return an engine whose series was recorded in another way."""
    (series,) = record.series
    return replace(record, series=(replace(series, info=series.info | info),))


@pytest.fixture(scope="module")
def port() -> EngineRecord:
    return engine("port", history(seed=1))


@pytest.fixture(scope="module")
def starboard() -> EngineRecord:
    return engine("starboard", history(seed=2, gain_db=4.0), number=2)


def level_db(record: EngineRecord, order: float) -> float:
    """Return the mean of the latest check-up's placements in dB, by hand."""
    table = record.series[0].history
    table = table[(table["order"] == order) & (table["visit"] == "day 8")]
    return float(20 * np.log10(table["amplitude"]).mean())


def test_latest_levels_and_their_difference(port: EngineRecord, starboard: EngineRecord) -> None:
    (found,) = side_by_side([port, starboard])
    assert (found.engines, found.series, found.unit) == (("port", "starboard"), (1, 2), "m/s^2")
    assert list(found.table["order"]) == list(ORDERS)
    for row in found.table.to_dict(orient="records"):
        first, second = level_db(port, row["order"]), level_db(starboard, row["order"])
        assert row["first"] == pytest.approx(10 ** (first / 20))
        assert row["second"] == pytest.approx(10 ** (second / 20))
        assert row["difference_db"] == pytest.approx(second - first)
    # 4 dB louder; eight orders of three placements of 0.5 dB on either side, three times that.
    assert found.common_db == pytest.approx(4.0, abs=3 * 0.5 * np.sqrt(2 / 24))


def test_each_change_is_that_of_the_engine_s_own_verdict(
    port: EngineRecord, starboard: EngineRecord
) -> None:
    (found,) = side_by_side([port, starboard])
    for name, record in (("first_change_db", port), ("second_change_db", starboard)):
        own = record.series[0].verdict.orders
        np.testing.assert_array_equal(found.table[name], own["change_db"])


def test_without_a_baseline_the_levels_stand_alone(port: EngineRecord) -> None:
    bare = engine("new", history(seed=3).assign(baseline=False))
    (found,) = side_by_side([port, bare])
    assert found.table["second_change_db"].isna().all()
    assert found.table["difference_db"].notna().all()
    assert to_dict(found)["rows"][0]["second_change_db"] is None


def test_a_recording_that_was_left_out_does_not_count(port: EngineRecord) -> None:
    table = history(seed=2)
    spoilt = table["recording"] == "8-1"
    rng = np.random.default_rng(9)
    table.loc[spoilt, "amplitude"] *= 10 ** (rng.normal(0, 8, spoilt.sum()) / 20)
    other = engine("other", table)
    verdict = other.series[0].verdict
    assert list(verdict.recordings.query("not used")["recording"]) == ["8-1"]
    (found,) = side_by_side([port, other])
    kept = table[(table["visit"] == "day 8") & ~spoilt & (table["order"] == 3.0)]
    expected = 10 ** (np.log10(kept["amplitude"]).mean())
    assert found.table.query("order == 3.0")["second"].iloc[0] == pytest.approx(expected)


@pytest.mark.parametrize(
    "described",
    [
        {"cylinders": 4},
        {"strokes": 2},
        {"layout": "vee", "bank_angle_deg": 90},
        {"firing_order": (1, 5, 3, 6, 2, 4)},
    ],
)
def test_engines_of_another_kind_are_not_compared(
    port: EngineRecord, described: dict[str, Any]
) -> None:
    assert side_by_side([port, engine("other", history(seed=2), **described)]) == []


@pytest.mark.parametrize(
    "info",
    [
        {"position": "rear"}, {"device": "other phone"}, {"kind": "velocity"}, {"unit": "m/s"},
        {"codec": "aac"}, {"manner": "run-up"}, {"condition": "cold"}, {"speed_rpm": 1041.0},
        {"speed_rpm": None},
    ],
)  # fmt: skip
def test_what_was_recorded_in_another_way_is_not_compared(
    port: EngineRecord, starboard: EngineRecord, info: dict[str, Any]
) -> None:
    assert side_by_side([port, told(starboard, **info)]) == []
    # 4 % is still the same speed, and an ended series is not.
    near = told(starboard, speed_rpm=1040.0)
    assert len(side_by_side([port, near])) == 1
    ended = replace(near, series=(replace(near.series[0], ended=True),))
    assert side_by_side([port, ended]) == []


def test_each_row_is_in_its_own_unit() -> None:
    """Acceleration is integrated to an overall velocity, in mm/s (orders/overall.py)."""
    table = history(seed=2)
    velocity = table[table["order"] == 1.0].assign(feature="overall: velocity", order=np.nan)
    both = engine("other", pd.concat([table, velocity]))
    due = {"state": "unknown", "due_date": None, "due_hours": None, "first": None}
    status = both.status | {"renewal": due, "hours": None, "next_recording_hours": None}
    recordings = (
        both.series[0]
        .history.drop_duplicates("recording")
        .assign(name="a.csv", sha256="", date=TODAY, rpm=1000.0, speed_rpm=1000.0, quality=None)
        .assign(speed_standard_error_rpm=0.1, speed_spread_percent=0.3, method_version=2)
    )
    recordings["overall"] = [[] for _ in range(len(recordings))]
    recordings["reading"] = [{} for _ in range(len(recordings))]
    shown = replace(both.series[0], recordings=recordings)
    both = replace(both, status=status, series=(shown,))
    (found,) = side_by_side([both, both])
    units = dict(zip(found.table["feature"], found.table["unit"], strict=True))
    assert units == {"order": "m/s^2", "overall: velocity": "mm/s"}
    *_, line = [
        one for one in standing_words([both, both], today=TODAY).splitlines() if "velocity " in one
    ]
    assert line.count(" mm/s ") == 2
    assert page([both, both], title="t", made_at=MADE_AT, twins=[found]).count(" mm/s</td>") == 2


def test_three_like_engines_are_each_compared_with_the_first(
    port: EngineRecord, starboard: EngineRecord
) -> None:
    third = engine("spare", history(seed=5))
    pairs = [found.engines for found in side_by_side([port, starboard, third])]
    assert pairs == [("port", "starboard"), ("port", "spare")]


def test_status_as_json_holds_them(port: EngineRecord, starboard: EngineRecord) -> None:
    (found,) = to_json([port, starboard])["side_by_side"]
    (expected,) = side_by_side([port, starboard])
    assert found == to_dict(expected)
    assert list(found["rows"][0]) == [
        *("feature", "order", "first", "second", "unit", "difference_db", "standard_error_db"),
        *("first_change_db", "second_change_db"),
    ]
    assert to_json([port])["side_by_side"] == []
