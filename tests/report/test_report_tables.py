"""Tables for other uses, read back by pandas and set beside what status --json prints."""

import csv
import datetime as dt
import io
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from invented_fitting import record, recorded
from invented_report import MADE_AT, engine_record, history, series, worked_on

from vibetrend.checkup.records import (
    Corrected,
    EngineRecord,
    KnownHours,
    PastInstallation,
    Work,
)
from vibetrend.checkup.standing import to_json
from vibetrend.report import tables
from vibetrend.report.columns import COLUMNS, OF_ORDERS, explained
from vibetrend.report.levels import levels

NAMES = list(COLUMNS)


def read(name: str, *engines: EngineRecord) -> pd.DataFrame:
    """Read one table back as others would; pandas' older C engine drops the last digit."""
    content = tables.tables(engines)[name]
    return pd.read_csv(io.BytesIO(content), engine="python", keep_default_na=False,
                       na_values=[""])  # fmt: skip


def as_json(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return rows as JSON has them: None for an empty cell."""
    return [
        {key: None if isinstance(value, float) and math.isnan(value) else value
         for key, value in row.items()}
        for row in table.to_dict(orient="records")
    ]  # fmt: skip


@pytest.fixture(scope="module")
def worked() -> EngineRecord:
    return worked_on()


def test_every_number_of_the_verdict_is_that_of_status_json(worked: EngineRecord) -> None:
    expected = [
        {"series": one["id"], **row}
        for one in to_json([worked])["engines"][0]["series"]
        for row in one["verdict"]["orders"]
    ]
    found = as_json(read("changes.csv", worked))
    assert len(found) == len(expected) == 36
    for row, wanted in zip(found, expected, strict=True):
        assert {key: row[key] for key in wanted} == wanted


def test_what_is_said_of_a_series_is_that_of_status_json(worked: EngineRecord) -> None:
    told = to_json([worked])["engines"][0]["series"]
    found = as_json(read("series.csv", worked))
    for row, one in zip(found, told, strict=True):
        verdict = one["verdict"]
        assert row["series"] == one["id"]
        assert row["common_change_db"] == verdict["common_change_db"]
        assert (row["state"], row["common_state"]) == (verdict["state"], verdict["common_state"])
        assert row["baseline_kind"] == one["baseline"]
        assert (row["unit"], row["speed_rpm"]) == (one["unit"], one["speed_rpm"])


def test_every_column_of_the_verdict_is_written() -> None:
    assert set(OF_ORDERS) == set(series(history(visits=4)).verdict.orders.columns)


def test_never_is_a_column_of_its_own() -> None:
    one = series(history(visits=4))
    orders = one.verdict.orders.copy()
    orders.loc[orders.index[:3], "hours_to_limit_high"] = [np.inf, np.nan, 120.25]
    content = tables.tables(
        [engine_record("main", replace(one, verdict=replace(one.verdict, orders=orders)))]
    )
    rows = list(csv.DictReader(io.StringIO(content["changes.csv"].decode())))
    told = [(row["hours_to_limit_high"], row["hours_to_limit_high_never"]) for row in rows[:3]]
    assert told == [("", "true"), ("", ""), ("120.25", "false")]
    assert not any("inf" in value or "nan" in value for row in rows for value in row.values())


def test_amplitudes_are_those_of_the_history(worked: EngineRecord) -> None:
    found = read("amplitudes.csv", worked)
    for one in worked.series:
        mine = found[found["series"] == one.info["id"]].reset_index(drop=True)
        kept = one.history.reset_index(drop=True)
        assert mine["amplitude"].tolist() == kept["amplitude"].tolist()
        assert mine["standard_error"].tolist() == kept["standard_error"].tolist()
        assert mine["noise_level"].tolist() == kept["floor"].tolist()
        assert mine["recording"].tolist() == kept["recording"].tolist()
        assert mine["date"].tolist() == [day.isoformat() for day in kept["date"]]
        assert mine["visible"].all()
        assert set(mine["unit"]) == {"m/s^2"}
        drawn = levels(one.history, one.verdict.recordings).placements
        both = mine.merge(drawn, on=["recording", "feature", "order"], suffixes=("", "_drawn"))
        assert len(both) == len(mine)
        assert both["change_db"].tolist() == both["change_db_drawn"].tolist()
        assert both["together_db"].tolist() == both["together_db_drawn"].tolist()


def test_what_was_not_seen_has_no_change() -> None:
    table = history(visits=5)
    hidden = (table["order"] == 2.0) & (table["visit"] == table["visit"].iloc[-1])
    table.loc[hidden, "visible"] = False
    found = read("amplitudes.csv", engine_record("main", series(table)))
    assert found["change_db"].isna().tolist() == hidden.tolist()
    assert found["visible"].tolist() == (~hidden).tolist()


def test_an_overall_value_has_its_own_unit() -> None:
    table = history(visits=4)
    extra = table[table["order"] == 1.0].assign(feature="overall: velocity", order=np.nan)
    one = series(pd.concat([table, extra], ignore_index=True))
    found = read("amplitudes.csv", engine_record("main", one))
    units = found.groupby("feature")["unit"].unique().map(list).to_dict()
    assert units == {"order": ["m/s^2"], "overall: velocity": ["mm/s"]}
    assert found.loc[found["feature"] != "order", "order"].isna().all()


def test_recordings_say_what_was_done_with_them(worked: EngineRecord) -> None:
    first = worked.series[1]
    found = read("recordings.csv", replace(worked, series=(first,)))
    assert found["sha256"].tolist() == first.recordings["sha256"].tolist()
    assert found["speed_rpm"].tolist() == first.recordings["speed_rpm"].tolist()
    assert found["quality"].dropna().tolist() == ["speed-not-steady"]
    judged = first.verdict.recordings.set_index("recording")
    for row in found.to_dict(orient="records"):
        assert row["used"] == judged.loc[row["recording"], "used"]
    assert not found["used"].all()
    assert found.loc[~found["used"], "why_not"].notna().all()


def test_readings_stand_as_they_were_read_beside_their_limit() -> None:
    kept = record()
    found = as_json(read("installation.csv", recorded(kept)))
    assert [row["value"] for row in found] == [
        each.quantity.value for each in kept.readings if each.quantity
    ]
    bolt = next(row for row in found if row["kind"] == "bolt")
    assert (bolt["value"], bolt["unit"], bolt["limit_value"], bolt["limit_unit"]) == (
        135.0, "lbf ft", 135.0, "lbf ft",
    )  # fmt: skip
    assert (bolt["damper_since"], bolt["state"]) == ("2026-05-01", "within")
    run_outs = [row for row in found if row["kind"] == "runout"]
    assert [row["date"] for row in run_outs] == ["2026-05-01", "2028-04-01"]
    assert run_outs[0]["person"] == "A. Example"
    assert run_outs[0]["instrument"] == "dial indicator"
    # TIR, mm: highest less lowest reading, held against 0.060 in.
    assert run_outs[1]["value"] == 0.3
    assert (run_outs[1]["limit_max"], run_outs[1]["limit_unit"]) == (0.060, "in")


def test_the_damper_before_keeps_its_readings() -> None:
    before = PastInstallation(
        date=dt.date(2020, 1, 2), hours=10.0, as_found=False, until=dt.date(2026, 5, 1),
        until_hours=3120.0, record=replace(record(), date=dt.date(2020, 1, 2)),
    )  # fmt: skip
    found = read("installation.csv", recorded(record(), earlier_installations=(before,)))
    count = len(record().readings)
    assert found["damper_since"].tolist() == ["2020-01-02"] * count + ["2026-05-01"] * count


def test_hours_belong_to_the_damper_of_that_day() -> None:
    before = PastInstallation(
        date=dt.date(2020, 1, 2), hours=10.0, as_found=False, until=dt.date(2026, 5, 1),
        until_hours=3120.0, record=record(),
    )  # fmt: skip
    log = tuple(
        KnownHours(date=day, hours=hours, meter_hours=hours - 5, what="reading")
        for day, hours in [(dt.date(2019, 1, 1), 5.5), (dt.date(2021, 1, 1), 500.0),
                           (dt.date(2026, 5, 1), 3120.0)]
    )  # fmt: skip
    found = as_json(
        read("hours.csv", recorded(None, earlier_installations=(before,), hours_log=log))
    )
    assert [row["damper_since"] for row in found] == [None, "2020-01-02", "2026-05-01"]
    assert [row["meter_hours"] for row in found] == [0.5, 495.0, 3115.0]


def test_corrections_are_written_with_who_when_and_why() -> None:
    made = Corrected(
        entry="work-3", about="mounts: all four", what="engine hours", was="3190", now="3125",
        reason="a 9 for a 2", person="", made_at="2026-11-28T08:14:59.902Z",
        date=dt.date(2026, 11, 28),
    )  # fmt: skip
    (row,) = as_json(read("corrections.csv", recorded(record(), corrections=(made,))))
    assert row == {
        "engine": "main", "damper_since": "2026-05-01", "entry": "work-3",
        "about": "mounts: all four", "what": "engine hours", "was": 3190, "now": 3125,
        "reason": "a 9 for a 2", "person": None, "made_at": "2026-11-28T08:14:59.902Z",
    }  # fmt: skip


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1", "－1"]
)  # fmt: skip
def test_no_text_is_taken_for_a_formula(text: str) -> None:
    """OWASP, CSV Injection: a cell that begins with one of these is run by spreadsheets."""
    done = Work(date=dt.date(2028, 1, 1), hours=-2.5, what="other", note=text)
    content = tables.tables([recorded(None, work=(done,))])["work.csv"].decode()
    (row,) = csv.DictReader(io.StringIO(content, newline=""))
    assert row["note"] == f"'{text}"
    assert row["hours"] == "-2.5"  # a number is left as it is


def test_any_text_comes_back_as_it_was() -> None:
    text = 'a "quoted", line\r\nand another; ü, \u05d0, \U0001f6e2 = 1'
    done = Work(date=dt.date(2028, 1, 1), hours=1.0, what="other", note=text)
    content = tables.tables([recorded(None, work=(done,))])["work.csv"]
    (row,) = csv.DictReader(io.StringIO(content.decode("utf-8"), newline=""))
    assert row["note"] == text


def test_half_a_letter_does_not_stop_it() -> None:
    done = Work(date=dt.date(2028, 1, 1), hours=1.0, what="other", note="a\ud800b")
    assert b"a?b" in tables.tables([recorded(None, work=(done,))])["work.csv"]


@pytest.mark.parametrize("name", NAMES)
def test_a_table_without_rows_has_its_columns(name: str) -> None:
    found = tables.tables([engine_record("main")])[name]
    assert found.decode() == ",".join(COLUMNS[name]) + "\r\n"
    assert found.startswith(tables.KIND.signature)


def test_each_column_is_explained_with_its_unit() -> None:
    text = " ".join(explained(MADE_AT).split())
    for name, columns in COLUMNS.items():
        assert f" {name} " in text
        for column, (unit, meaning) in columns.items():
            unit_said = f" [{unit}]" if unit not in ("", "1") else ""
            assert f" {column}{unit_said}: {meaning}" in text


def test_the_files_are_known_as_ours(tmp_path: Path) -> None:
    made = tables.files([engine_record("main")], tmp_path, made_at=MADE_AT)
    assert sorted(each.path.name for each in made) == sorted([*NAMES, "README.txt"])
    assert all(each.kind.signature in each.content[:2000] for each in made)
