"""A bad history gives one plain sentence, never a silent answer."""

import numpy as np
import pandas as pd
import pytest
from histories import history

from vibetrend.errors import JudgeError
from vibetrend.trend import judge


def _with(column: str, value: object) -> pd.DataFrame:
    table = history(checkups=2)
    table[column] = table[column].astype(object)
    table.loc[5, column] = value
    return table


@pytest.mark.parametrize(
    ("table", "match"),
    [
        (history(checkups=1).drop(columns=["hours", "baseline"]), "no column hours, baseline"),
        (history(checkups=1).iloc[:0], "no rows"),
        ([1, 2], "DataFrame is needed"),
        (_with("amplitude", 0.0), "order 3, has an amplitude that is not above 0"),
        (_with("amplitude", -1.0), "r000, order 3, has an amplitude that is not above 0"),
        (_with("amplitude", np.nan), "has an amplitude that is not above 0"),
        (_with("amplitude", np.inf), "has an amplitude that is not above 0"),
        (_with("amplitude", "loud"), "column amplitude .* no number"),
        (_with("hours", np.nan), "has no engine hours"),
        (_with("hours", 4.0), "r000 has more than one value of hours"),
        (_with("visit", "v02"), "r000 has more than one value of visit"),
        (_with("visit", None), "row 6 of the history has no visit"),
        (_with("recording", None), "row 6 of the history has no recording"),
        (_with("baseline", None), "row 6 of the history has no baseline"),
        (_with("baseline", "no"), "column baseline .* 'no'; give True or False"),
        (_with("order", np.nan), "whose order is nan"),
        (_with("standard_error", -0.1), "standard error below 0"),
        (pd.concat([history(checkups=1)] * 2), "is there twice"),
        (history(checkups=1).assign(series=["a", "b"] * 84), "more than one series.*a, b"),
        (history(checkups=1).assign(limit_db=-3.0), "limit_db that is not above 0"),
        (_with("amplitude", 1e-300), "amplitude that no sensor gives"),
        (_with("standard_error", 1e300), "impossible standard error"),
        (_with("hours", 1e300), "impossible engine hours"),
        (history(checkups=1).assign(rpm=0.0), "an rpm that is not above 0"),
        (history(checkups=1).assign(floor=-1.0), "a floor that is no noise level"),
        (history(checkups=1).assign(temperature_c=-400.0), "impossible temperature_c"),
        (history(checkups=1).assign(date="2026-13-45"), "has the date '2026-13-45'"),
        (_with("recording", [["r"]]), "column recording .* no label"),
        (history(checkups=1)[["recording", *history(checkups=1)]], "two columns recording"),
        (
            pd.concat(
                [
                    history(checkups=1).assign(rpm=1000.0)[:5],
                    history(checkups=1).assign(rpm=900.0)[5:],
                ]
            ),
            "more than one value of rpm",
        ),
    ],
)
def test_says_what_is_wrong(table, match):
    with pytest.raises(JudgeError, match=match):
        judge(table)


def test_refuses_a_limit_that_is_none():
    with pytest.raises(JudgeError, match="limit_db is 0"):
        judge(history(checkups=1), limit_db=0)


@pytest.mark.parametrize(
    "options",
    [{"limit_db": "6"}, {"limit_db": True}, {"renewal_hours": pd.NA}, {"renewal_hours": -1.0},
     {"engine": "main"}],
)  # fmt: skip
def test_refuses_options_of_another_kind(options):
    with pytest.raises(JudgeError, match=next(iter(options))):
        judge(history(checkups=1), **options)


def test_refuses_two_units_of_one_feature():
    table = history(checkups=1)
    table["unit"] = np.where(table["visit"] == "v03", "g", "m/s^2")
    with pytest.raises(JudgeError, match=r"order 0\.5 comes in two units"):
        judge(table)


def test_baseline_mark_after_an_ordinary_checkup_is_set_aside_and_said():
    table = history(checkups=3)
    expected = judge(table)
    table.loc[table["visit"] == "v04", "baseline"] = True
    verdict = judge(table)
    assert any("Check-up v04 is marked as baseline" in text for text in verdict.advice)
    pd.testing.assert_frame_equal(verdict.orders, expected.orders)


def test_refuses_hours_that_go_back():
    table = history(checkups=3)
    day = pd.Timestamp("2026-05-01")
    table["date"] = [day + pd.Timedelta(days=int(v[1:])) for v in table["visit"]]
    judge(table)
    table.loc[table["visit"] == "v04", "date"] = pd.Timestamp("2026-06-01")
    with pytest.raises(JudgeError, match=r"v04 has fewer engine hours .* earlier date"):
        judge(table)


def test_recording_before_the_baseline_is_left_out_and_said():
    table = history(checkups=3)
    early = table[table["visit"] == "v05"].assign(hours=0.0)
    table["hours"] += 100
    verdict = judge(pd.concat([table[table["visit"] != "v05"], early]))
    out = verdict.recordings[~verdict.recordings["used"]]
    assert set(out["visit"]) == {"v05"}
    assert set(out["why_not"]) == {"it was taken before the baseline"}
