"""Speed, warmth, rest and smallness: what may be compared, and what the conditions explain."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from histories import ORDERS, history, one_order

from vibetrend.engine import Engine
from vibetrend.trend import judge
from vibetrend.trend.conditions import SHARED, follow
from vibetrend.trend.history import arrange
from vibetrend.trend.scatter import Scatter

SCATTER = Scatter(placement=np.full(3, 0.6), day=np.full(3, 0.3), degrees=np.full(3, 30.0))
POOLED = np.ones(3, dtype=bool)


def test_slopes_are_least_squares_on_the_differences_between_visits():
    """Second route: with many visits and a strong slope the prior hardly counts; statsmodels."""
    rng = np.random.default_rng(1)
    visits = 200
    warmth = rng.normal(size=visits)
    level = warmth[:, None] * np.array([0.4, -0.2, 0.0]) + rng.normal(0, 0.3, (visits, 3))
    changes, conditions = level[:, None, :], warmth[:, None, None]
    effect, slopes = follow(changes, conditions, SCATTER, POOLED)
    for f in range(3):
        fit = sm.OLS(np.diff(level[:, f]), np.diff(warmth)[:, None]).fit(
            cov_type="fixed scale", cov_kwds={"scale": SHARED * 2 * (0.3**2 + 0.6**2)}
        )
        slope = effect[0, 0, f] / warmth[0]
        # the prior draws by (standard error / width)^2, one tenth of the largest slope
        assert slope == pytest.approx(fit.params[0], abs=0.05)
        assert np.sqrt(slopes.spread[f, 0, 0]) == pytest.approx(fit.bse[0], rel=0.1)


def test_what_is_not_known_of_the_conditions_explains_nothing():
    changes = np.random.default_rng(2).normal(size=(8, 3, 3))
    effect, slopes = follow(changes, np.full((8, 3, 2), np.nan), SCATTER, POOLED)
    assert not effect.any()
    assert not slopes.variance(slopes.off).any()


def test_a_step_is_not_taken_for_the_weather():
    """One jump between two visits is clipped, so that it makes no slope."""
    rng = np.random.default_rng(3)
    changes = rng.normal(0, 0.2, (20, 1, 3)) + 6.0 * (np.arange(20) >= 10)[:, None, None]
    warmth = rng.normal(size=20)[:, None, None]
    effect, _ = follow(changes, warmth, SCATTER, POOLED)
    # a difference clipped at three scatters among nineteen: 2.9 / 19 at a distance of 1 or so
    assert np.abs(effect).max() < 0.7


def _with_conditions(seed: int, *, told: bool) -> pd.DataFrame:
    """Return a quiet history whose levels follow the warmth, each order by its own slope."""
    rng = np.random.default_rng(seed)
    table = history(checkups=14, seed=seed)
    visits = table["visit"].unique()
    warmth = dict(zip(visits, rng.normal(0, 5, visits.size), strict=True))
    slope = dict(zip(ORDERS, rng.normal(0, 0.12, ORDERS.size), strict=True))  # dB per degree C
    off = table["visit"].map(warmth)
    table["amplitude"] *= 10 ** (off * table["order"].map(slope) / 20)
    return table.assign(temperature_c=75 + off) if told else table


def test_stated_warmth_is_taken_out_of_the_scatter():
    scatter = [
        np.median([judge(_with_conditions(s, told=told)).orders["scatter_db"] for s in range(3)])
        for told in (False, True)
    ]
    # 0.6 dB of warmth beside 0.46 dB of the rest make 0.76, less what the clip takes off
    assert scatter[0] > 0.6
    assert scatter[1] == pytest.approx(0.46, abs=0.05)


def test_far_from_the_baseline_s_warmth_is_not_compared():
    table = history(checkups=5).assign(temperature_c=75.0)
    table.loc[table["visit"] == "v05", "temperature_c"] = 45.0
    latest = judge(table[table["hours"] <= table.loc[table["visit"] == "v05", "hours"].max()])
    assert latest.state == "record-again"
    assert any("get to 75 degrees C, as at the baseline" in line for line in latest.advice)
    left_out = judge(table).recordings.set_index("visit")["why_not"]
    assert "45 degrees C" in left_out["v05"].iloc[0]
    assert (left_out.drop("v05") == "").all()


def test_another_state_of_the_day_is_not_compared():
    table = history(checkups=5)
    other = table["visit"].map({"v04": "running", "v06": None}).fillna("off")
    table["other_engine"] = other.where(table["visit"] != "v06", None)  # nobody said
    left_out = judge(table).recordings.set_index("visit")["why_not"]
    assert left_out["v04"].iloc[0] == "the other engine was running, at the baseline off"
    assert (left_out.drop("v04") == "").all()


def _risen(table: pd.DataFrame, order: float, db: float) -> pd.DataFrame:
    """Return a history in which an order rises out of the noise after 900 h."""
    out = table.assign(floor=0.02, visible=True)
    here = out["order"] == order
    out.loc[here, "amplitude"] = 0.03
    out.loc[here, "visible"] = False
    later = here & (out["hours"] > 900)
    out.loc[later, "amplitude"] = 0.02 * 3.5 * 10 ** (db / 20)
    out.loc[later, "visible"] = True
    return out


def test_an_order_that_rises_out_of_the_noise_has_risen_by_at_least_its_distance():
    verdict = judge(_risen(history(), 7.0, 8.0))
    row = verdict.orders.set_index("order").loc[7.0]
    assert row["state"] == "past-limit"
    assert row["change_db"] == pytest.approx(8.0, abs=0.5)  # the baseline's is a bound, no value
    assert any("a rise of it is larger than shown" in line for line in verdict.advice)
    # hardly above what the noise could hide: nothing is claimed
    assert judge(_risen(history(), 7.0, 0.5)).state == "no-change-seen"


def test_what_something_else_hid_is_not_judged():
    """An amplitude far above the noise that could not be seen had another line in its place."""
    table = _risen(history(), 7.0, 8.0)
    table.loc[(table["order"] == 7.0) & ~table["visible"], "amplitude"] = 0.15
    verdict = judge(table)
    assert verdict.state == "no-change-seen"
    assert 7.0 not in verdict.orders["order"].tolist()


def test_a_rise_that_is_small_in_absolute_terms_is_never_past_the_limit():
    table = history(drift=one_order(1.0, lambda hours: 9.0 * (hours > 700)))
    engine = Engine(name="invented", cylinders=6, small_velocity_mm_s=0.5)
    verdict = {v: judge(table.assign(velocity_mm_s=v), engine=engine) for v in (0.3, 0.7)}
    assert verdict[0.3].state == "changed"
    assert "small in absolute terms" in " ".join(verdict[0.3].advice)
    assert verdict[0.7].state == "past-limit"


def test_the_engine_s_own_limit_holds():
    table = history(drift=one_order(1.0, lambda hours: 9.0 * (hours > 700)))
    assert judge(table, engine=Engine(name="e", cylinders=6, limit_db=12.0)).state == "changed"
    assert judge(table, engine=Engine(name="e", cylinders=6, limit_db=8.0)).state == "past-limit"


def test_a_long_rest_is_known():
    table = history(checkups=4)
    start = dt.date(2026, 5, 1)
    day = {v: start + dt.timedelta(days=20 * i) for i, v in enumerate(table["visit"].unique())}
    day["v06"] += dt.timedelta(days=100)
    table["date"] = table["visit"].map(day)
    assert arrange(table, limit_db=6.0).lay_ups == []  # 180 h were run meanwhile
    table.loc[table["visit"] == "v06", "hours"] -= 170
    found = arrange(table, limit_db=6.0).lay_ups
    assert [(one.days, one.after_hours - one.before_hours) for one in found] == [(120, 10.0)]


@pytest.mark.parametrize("count", [2, 3])
def test_a_gain_that_two_or_three_orders_share_is_no_order_s_change(count):
    few = ORDERS[:count]
    gain = judge(history(orders=few, drift=lambda hours: 4.0 * (hours > 1000)))
    assert gain.state == gain.common_state == "all-moved"
    one = judge(history(orders=few, drift=lambda hours: 4.0 * (hours > 1000) * (few == 0.5)))
    assert one.state == "changed"
    assert one.orders.loc[one.orders["state"] == "changed", "order"].tolist() == [0.5]


def test_an_unevenly_warm_baseline_is_used_and_said():
    table = history(checkups=4)
    warmth = table["visit"].map({"v00": 45.0, "v01": 80.0, "v02": 62.0}).fillna(78.0)
    warmth[table["visit"] == "v05"] = 20.0
    verdict = judge(table.assign(temperature_c=warmth))
    used = verdict.recordings.set_index("visit")["used"]
    assert used.drop("v05").all()
    assert not used["v05"].any()
    assert any("45 to 80 degrees C" in line for line in verdict.advice)


def test_one_word_in_the_baseline_does_not_speak_for_all_of_it():
    table = history(checkups=3)
    said = table["recording"].map({"r000": "running", "r040": "off"})
    assert judge(table.assign(other_engine=said)).recordings["used"].all()


@pytest.mark.parametrize("how", ["not visible", "no row"])
def test_a_confirmed_change_is_not_lost_with_the_order(how):
    table = history(checkups=8, drift=one_order(2.5, lambda h: 8.0 * (h > 600)))
    gone = (table["order"] == 2.5) & (table["visit"] == "v10")
    hidden = table[~gone] if how == "no row" else table.assign(visible=~gone)
    verdict = judge(hidden)
    assert verdict.state == judge(table).state == "past-limit"
    assert any("could not be told from the noise level at the latest" in a for a in verdict.advice)
    # nothing was confirmed of order 4 before it went: it is not judged, and that is said
    quiet = judge(table.assign(visible=~((table["order"] == 4) & (table["visit"] == "v10"))))
    assert 4.0 not in quiet.orders["order"].tolist()
    assert any(line.startswith("Not judged") and "order 4" in line for line in quiet.advice)
