import numpy as np
import pandas as pd
import pytest
from invented_report import history

from vibetrend.report.levels import levels


def used(table: pd.DataFrame) -> pd.DataFrame:
    names = table["recording"].drop_duplicates()
    return pd.DataFrame({"recording": names, "used": True})


def doubled(table: pd.DataFrame, rows: "pd.Series[bool]") -> pd.DataFrame:
    return table.assign(amplitude=table["amplitude"].where(~rows, 2 * table["amplitude"]))


@pytest.fixture(scope="module")
def flat() -> pd.DataFrame:
    """A history without any scatter: every change is 0 dB."""
    table = history(visits=6, bend_db_per_1000h=0.0)
    return table.assign(amplitude=1.0 + table["order"])


def test_flat_history_has_no_change(flat: pd.DataFrame) -> None:
    assert np.abs(levels(flat, used(flat)).visits["change_db"]).max() < 1e-12


def test_one_doubled_order_is_six_decibels_up_and_alone(flat: pd.DataFrame) -> None:
    """20 lg 2 = 6.0206 dB, by definition of the decibel."""
    last = flat["visit"] == flat["visit"].iloc[-1]
    found = levels(table := doubled(flat, last & (flat["order"] == 4.5)), used(table))
    assert found.latest("order", 4.5) == pytest.approx(20 * np.log10(2), abs=1e-12)
    assert found.latest("order", 3.0) == pytest.approx(0, abs=1e-12)
    assert np.abs(found.together["together_db"]).max() < 1e-12


def test_doubling_everything_is_everything_together(flat: pd.DataFrame) -> None:
    last = flat["visit"] == flat["visit"].iloc[-1]
    found = levels(table := doubled(flat, last), used(table))
    assert np.abs(found.visits["change_db"]).max() < 1e-12
    assert found.together["together_db"].iloc[-1] == pytest.approx(20 * np.log10(2), abs=1e-12)


def test_left_out_recording_does_not_move_its_checkup(flat: pd.DataFrame) -> None:
    one = flat["recording"] == flat["recording"].iloc[-1]
    table = doubled(flat, one & (flat["order"] == 4.5))
    judged = used(table)
    judged.loc[judged["recording"] == table["recording"].iloc[-1], "used"] = False
    found = levels(table, judged)
    assert found.latest("order", 4.5) == pytest.approx(0, abs=1e-12)
    assert found.placements["change_db"].max() == pytest.approx(20 * np.log10(2), abs=1e-12)


def test_without_baseline_there_is_no_change(flat: pd.DataFrame) -> None:
    found = levels(flat.assign(baseline=False), used(flat))
    assert found.placements.empty
    assert np.isnan(found.latest("order", 3.0))
