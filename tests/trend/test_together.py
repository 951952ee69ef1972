"""What many orders did at one time, and what several that moved do to the rest."""

import datetime as dt

import numpy as np
import pytest
from histories import ORDERS, history, one_order

from vibetrend.trend import DOUBLED_DB, judge
from vibetrend.trend.bend import middle_spread

FOUR = np.isin(ORDERS, (0.5, 1.5, 2.5, 3.5))  # a cylinder that works unevenly


def _named(verdict) -> list[float]:
    moved = verdict.orders["state"].isin(["changed", "past-limit"])
    return verdict.orders.loc[moved, "order"].tolist()


@pytest.mark.parametrize("checkups", [4, 8, 16])
@pytest.mark.parametrize("baseline_days", [1, 3])
def test_four_orders_that_rise_together_are_named_and_no_other(checkups, baseline_days):
    """A third that moved neither hides among the rest nor drags it along, however long."""
    verdict = judge(
        history(
            checkups=checkups, baseline_days=baseline_days, drift=lambda h: 8.0 * FOUR * (h > 35)
        )
    )
    assert verdict.state == "past-limit"
    assert _named(verdict) == [0.5, 1.5, 2.5, 3.5]
    assert verdict.common_state == "no-change-seen"
    still = verdict.orders[~verdict.orders["order"].isin(_named(verdict))]
    # one day as baseline knows each level to 0.5 dB only
    assert still["change_db"].abs().max() < (0.6 if baseline_days == 3 else 1.2)


def test_another_phone_that_no_one_named_is_all_moved_and_no_order_s_change():
    leftover = np.random.default_rng(4).normal(0, 1.5, ORDERS.size)
    verdict = judge(history(checkups=12, drift=lambda h: (5.0 + leftover) * (h > 700)))
    assert verdict.state == verdict.common_state == "all-moved"
    assert verdict.each_its_own_way
    assert _named(verdict) == []


def test_half_of_the_orders_is_more_than_one_part():
    half = np.arange(ORDERS.size) % 2 == 0
    verdict = judge(history(checkups=8, drift=lambda h: 4.0 * half * (h > 700)))
    assert verdict.common_state == "all-moved"
    assert verdict.each_its_own_way


def test_one_order_far_beyond_many_that_moved_is_still_named():
    leftover = np.random.default_rng(4).normal(0, 0.8, ORDERS.size)
    drift = leftover + 12.0 * (ORDERS == 3.0)
    assert _named(judge(history(checkups=12, drift=lambda h: drift * (h > 700)))) == [3.0]


def test_middle_spread_of_normal_deviates_is_one():
    """Second route: the normal distribution itself, and a third that moved doubles it."""
    z = np.random.default_rng(1).standard_normal((9000, 3))
    # standard error of a median distance from 9000: 1.17 / sqrt(9000)
    assert middle_spread(z) == pytest.approx(1.0, abs=0.04)
    z[:3000] += 10.0
    # the median then lies at 3/4 of those that stayed, and half of all within 1.38 of it
    assert middle_spread(z) == pytest.approx(1.38 / 0.6745, abs=0.06)


def test_a_second_step_counts_from_the_first():
    """5 dB, and 3 dB more ten check-ups later: beyond the limit after two check-ups or three."""
    drift = one_order(3.0, lambda h: 5.0 * (h > 600) + 3.0 * (h > 2000))
    before, after = (judge(history(checkups=n, drift=drift)) for n in (10, 14))
    assert before.state == "changed"
    assert after.state == "past-limit"
    row = after.orders.set_index("order").loc[3.0]
    # three check-ups of 0.46 dB bear out where it stands now
    assert row["change_db"] == pytest.approx(8.0, abs=0.9)
    assert row["change_db"] > DOUBLED_DB


def test_two_check_ups_of_one_date_are_no_second_day():
    table = history(checkups=4, drift=one_order(3.0, lambda h: 6.5 * (h > 600)), every=200.0)
    day = {v: dt.date(2026, 5, 1) + dt.timedelta(days=9 * i) for i, v in
           enumerate(table["visit"].unique())}  # fmt: skip
    apart = judge(table.assign(date=table["visit"].map(day)))
    day["v06"] = day["v05"]
    once = judge(table.assign(date=table["visit"].map(day)))
    assert apart.state in ("changed", "past-limit")
    assert once.state == "another-day"


def test_what_a_recording_states_in_one_row_holds_for_all_of_it_in_any_order():
    table = history(checkups=6)
    stated = table.index % ORDERS.size == 0
    table["rpm"] = np.where(stated, np.where(table["visit"] == "v08", 1100.0, 1000.0), np.nan)
    table["shore_power"] = np.where(stated, np.where(table["visit"] == "v07", "on", "off"), None)
    for rows in (table, table.iloc[::-1], table.sample(frac=1, random_state=1)):
        left_out = judge(rows).recordings.set_index("visit")["why_not"]
        assert "1100 rpm" in left_out["v08"].iloc[0]
        assert left_out["v07"].iloc[0] == "shore power was on, at the baseline off"
