"""The tables of sweeps: every row as it is kept, and only where there are sweeps."""

import csv
import io

import pandas as pd
import pytest
from invented_report import MADE_AT, engine_record, history, series
from invented_runups import ORDERS, SHIFT_PERCENT, curves, resonances, swept_engine

from vibetrend.report import tables
from vibetrend.report.sweep_tables import COLUMNS


def rows(name: str) -> list[dict[str, str]]:
    content = tables.tables([swept_engine("main", series(history()))])[name].decode()
    return list(csv.DictReader(io.StringIO(content)))


def test_an_engine_without_sweeps_has_no_such_tables() -> None:
    found = tables.tables([engine_record("main", series(history()))])
    assert not set(found) & set(COLUMNS)


def test_each_resonance_with_all_its_numbers() -> None:
    kept = resonances()
    found = rows("resonances.csv")
    assert len(found) == len(kept)
    for row, one in zip(found, kept.to_dict("records"), strict=True):
        assert row["series"] == "5"
        assert row["name"] == one["name"]
        for name in ("order", "frequency_hz", "damping_ratio", "height", "shift_percent"):
            told = float(row[name]) if row[name] else None
            assert told == (None if pd.isna(one[name]) else float(f"{one[name]:.6g}"))
    assert found[0]["orders_seen"] == "4.5 6"
    assert found[0]["unit"] == "m/s^2"


def test_the_curves_of_the_latest_and_of_the_baseline() -> None:
    found = pd.DataFrame(rows("runup.csv"))
    for which, shift in (("latest", SHIFT_PERCENT), ("baseline", 0.0)):
        mine = found[found["of"] == which]
        table = curves(shift, label="").table
        assert list(mine["order"].astype(float)) == list(table["order"])
        assert list(mine["amplitude"].astype(float)) == pytest.approx(
            list(table["amplitude"]), rel=1e-5
        )
        assert max(len(each.replace(".", "").lstrip("0")) for each in mine["amplitude"]) <= 6
    assert set(found["order"].astype(float)) == set(ORDERS)


def test_the_list_of_columns_names_them(tmp_path) -> None:  # type: ignore[no-untyped-def]
    *_, about = tables.files([swept_engine()], tmp_path, made_at=MADE_AT)
    text = about.content.decode()
    for name, columns in COLUMNS.items():
        assert name in text
        assert all(column in text for column in columns)
    *_, without = tables.files([engine_record()], tmp_path, made_at=MADE_AT)
    assert "runup.csv" not in without.content.decode()
