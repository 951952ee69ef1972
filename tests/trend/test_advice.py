"""The sentences of a verdict: the right ones, in order, each told once."""

import numpy as np
import pandas as pd
import pytest
from histories import ORDERS, history, one_order, scale

from vibetrend.engine import Engine
from vibetrend.trend import judge
from vibetrend.trend.advice import BLIND, CAUTIONS, EACH_ITS_OWN_WAY
from vibetrend.trend.guidance import _reach
from vibetrend.trend.noticeable import Noticeable
from vibetrend.trend.phrases import two_digits
from vibetrend.trend.states import sentence

ENGINE = Engine(name="invented", cylinders=6)
RAMP = one_order(3.0, lambda hours: max(hours - 500.0, 0.0) / 400.0)
JUMP = one_order(2.0, lambda hours: 4.5 * (hours > 1020.0))
LATEST = 30.0 + 12 * 180.0  # hours of the last of twelve check-ups


@pytest.fixture(scope="module")
def ramp():
    return history(checkups=12, drift=RAMP)


def _one(verdict, start: str) -> str:
    found = [line for line in verdict.advice if start in line]
    assert len(found) == 1, verdict.advice
    return found[0]


def test_most_urgent_first_and_cautions_last(ramp):
    said = judge(ramp, engine=ENGINE).advice
    starts = [
        sentence("changed"), "Order 3 rose by", "Order 3 may reach the limit", "Take the next",
        "The firing order", "To tell them apart", "That is what usually causes it", BLIND,
        *CAUTIONS,
    ]  # fmt: skip
    at = [next(i for i, line in enumerate(said) if line.startswith(each)) for each in starts]
    assert at == sorted(at)
    assert said[-3:] == list(CAUTIONS)


def test_change_is_told_in_decibels_times_scatter_and_pace(ramp):
    row = judge(ramp).orders.set_index("order").loc[3.0]
    told = _one(judge(ramp), "Order 3 rose by")
    assert f"rose by {row['change_db']:.1f} dB" in told
    assert f"to {10 ** (row['change_db'] / 20):.1f} times its baseline" in told
    assert f"usually scatters by {row['scatter_db']:.1f} dB" in told
    assert f"rises by about {row['slope_db_per_1000h']:.2g} dB per 1000 h" in told


def test_hours_to_the_limit_early_end_first_with_two_digits(ramp):
    row = judge(ramp).orders.set_index("order").loc[3.0]
    told = _one(judge(ramp), "may reach")
    starts = ("as early as ", "more likely in about ", "hardly later than in ")
    assert [told.index(each) for each in starts] == sorted(told.index(each) for each in starts)
    for end, start in zip(("_low", "", "_high"), starts, strict=True):
        hours = float(told.partition(start)[2].split()[0])
        assert hours <= row[f"hours_to_limit{end}"] < 1.1 * hours
    assert "(twice the baseline: our convention, no standard)" in told
    assert "The chance that it never gets there is" in told
    assert "our convention" not in " ".join(judge(ramp, limit_db=5.0).advice)


def test_nothing_is_foretold_beyond_the_renewal(ramp):
    row = judge(ramp).orders.set_index("order").loc[3.0]
    low, high = row["hours_to_limit_low"], row["hours_to_limit_high"]

    def told(left: float) -> str:
        return " ".join(judge(ramp, renewal_hours=LATEST + left).advice)

    assert told(high + 100) == " ".join(judge(ramp).advice)
    between = told((low + high) / 2)
    assert f"or not before the damper is due at {LATEST + (low + high) / 2:.0f} h (90" in between
    assert "is not expected to reach the limit" in told(low / 2)
    assert "No hours to the limit are told" in told(-100.0)
    assert "may reach" not in told(-100.0) + told(low / 2)


def test_jump_that_stayed_is_told_as_one():
    verdict = judge(history(drift=JUMP))
    assert "It came as a jump." in _one(verdict, "Order 2 rose by")
    assert "not seen to rise on" in _one(verdict, "towards the limit")


def test_fall_is_no_limit():
    verdict = judge(history(drift=lambda hours: -JUMP(hours)))
    assert _one(verdict, "A fall is never past the limit")
    assert not any("reach the limit" in line for line in verdict.advice)


def test_beyond_the_limit_the_maker_decides():
    verdict = judge(history(drift=lambda hours: 2 * JUMP(hours)))
    assert verdict.state == "past-limit"
    assert "our convention" in _one(verdict, "It stands beyond the limit of +6.0 dB")
    assert "maker's limits decide" in _one(verdict, "before long runs")


def test_small_in_absolute_terms():
    table = history(drift=lambda hours: 2 * JUMP(hours))
    table["velocity_mm_s"] = table["amplitude"]  # 0.2 to 0.6 mm/s
    engine = ENGINE.model_copy(update={"small_velocity_mm_s": 1.0})
    verdict = judge(table, engine=engine)
    assert verdict.state == "changed"
    assert _one(verdict, "small in absolute terms: below the 1 mm/s you set")
    assert not any("limit" in line for line in verdict.advice[:-1])


def _rested(table: pd.DataFrame, before: str, days: int) -> pd.DataFrame:
    """Date a history so that the engine lay still before one check-up."""
    first = table.groupby("visit")["hours"].first()
    gap = first[before] - first[first.index < before].iloc[-1] - 5.0
    late = table["visit"] >= before
    when = pd.Timestamp("2026-05-01") + pd.to_timedelta(table["hours"] / 3, unit="D").dt.round("D")
    return table.assign(
        hours=table["hours"] - gap * late, date=when + pd.to_timedelta(days * late, unit="D")
    )


def test_change_across_a_lay_up_is_told():
    table = _rested(history(checkups=9, drift=JUMP), "v08", 75)
    told = _one(judge(table), "ran under 20 h in")
    assert told.startswith("From about 930 h on the engine ran under 20 h in ")
    assert "the change in order 2 begins across that" in told
    assert any("because it began across a lay-up" in line for line in judge(table).advice)


def test_lay_up_without_a_finding_is_told_once_after_it():
    table = _rested(history(checkups=6), "v08", 75)
    assert _one(judge(table), "nothing moved across that")
    later = _rested(history(checkups=6), "v07", 75)
    assert not any("ran under" in line for line in judge(later).advice)


def test_ramp_that_starts_after_a_lay_up_did_not_begin_across_it():
    table = _rested(
        history(drift=one_order(3.0, lambda hours: max(hours - 560.0, 0) / 180)), "v05", 75
    )
    verdict = judge(table)
    since = verdict.orders.set_index("order").loc[3.0, "since_hours"]
    assert since == table.loc[table["visit"] == "v05", "hours"].iloc[0]  # where the lay-up ends
    assert not any("begins across" in line for line in verdict.advice)


def test_all_moved_names_phone_spot_mounts_and_what_to_type():
    verdict = judge(history(drift=lambda hours: 3.5 * (hours > 1000)))
    assert "All orders together rose by" in _one(verdict, "All orders together")
    told = _one(verdict, "--baseline")
    assert told.index("phone") < told.index("spot") < told.index("mounts")
    assert "--device or --position" in told
    assert "no order moved by itself" in _one(verdict, "Look first for the phone")


def test_recordings_left_out_for_one_reason_are_told_together():
    table = history().assign(rpm=1000.0)
    table.loc[table["visit"] == "v12", "rpm"] = 1045.0
    told = _one(judge(table), "not used")
    assert told.startswith("Recordings r120, r121, r122 are not used: its speed of 1045 rpm")


def test_speed_and_warmth_of_the_latest_check_up_count_as_evidence():
    table = history(drift=one_order(6.5, lambda hours: 4.5 * (hours > 1500)))
    late = table["hours"] > 1500
    table = table.assign(rpm=np.where(late, 1012.0, 1000.0))
    told = " ".join(judge(table, engine=ENGINE).advice)
    assert "because it ran 1.2 % faster than at the baseline" in told


def test_before_walking_away_the_baseline_says_what_more_of_it_buys():
    said = judge(history(checkups=0, baseline_days=1, placements=1)).advice
    told = next(line for line in said if line.startswith("What could be noticed as it is"))
    now, today, later = (
        float(told.split(before)[1].split()[0])
        for before in ("a jump of ", "bring that jump to ", "bring it to ")
    )
    assert now > today > later
    assert "Two more placements would bring that jump" in told
    assert "two more days would bring it" in told
    assert not any("The latest check-up has" in line for line in said)


def test_what_could_be_noticed_is_told_only_while_nothing_moved(ramp):
    assert _one(judge(history(checkups=4)), "What could be noticed now: a jump of")
    assert not any("could be noticed" in line for line in judge(ramp).advice)


def test_thin_baseline_says_what_it_costs():
    told = _one(judge(history(checkups=2, baseline_days=1)), "instead of three days")
    now, full = (float(told.split(before)[1].split()[0]) for before in ("jump of ", "would be "))
    assert now > full


def _again(table: pd.DataFrame, days: int, change: dict[float, float]) -> pd.DataFrame:
    """Look again a few hours after the latest check-up; from then on some orders stand higher."""
    latest = table["hours"].max()
    for day in range(1, days + 1):
        other = history(checkups=1, seed=20 + day)
        other = other[other["visit"] == "v03"].assign(visit=f"x{day}", hours=latest + 4.0 * day)
        table = pd.concat([table, other.assign(recording=other["recording"] + f"x{day}")])
    more = table["order"].map(change).fillna(0.0) * (table["hours"] >= latest)
    return table.assign(amplitude=table["amplitude"] * 10 ** (more / 20))


def test_one_gap_tells_no_ramp_and_no_hours():
    verdict = judge(_again(history(checkups=8), 1, {2.5: 5.0}), engine=ENGINE)
    row = verdict.orders.set_index("order").loc[2.5]
    assert row["state"] == "changed"
    assert np.isnan(row["steady_share"])
    assert np.isfinite(row["slope_db_per_1000h"])
    said = " ".join(verdict.advice)
    assert "It is too early to say whether it goes on rising." in said
    for each in ("per 1000 h", "from now", "gradually", "one check-up to the next", "a jump"):
        assert each not in said


def test_looked_again_counts_the_days_of_the_suspicion_only():
    soon = history(checkups=0)
    assert (soon["hours"] < 60).all()  # the baseline's days lie as close
    verdict = judge(_again(soon, 1, {}).pipe(_higher, "x1", 2.5, 5.0))
    assert verdict.state == "another-day"
    assert _one(verdict, "on another day, up to three days")
    for days, db, said in ((2, 1.6, "on another day, up to"), (4, 1.3, "again on three days")):
        verdict = judge(_again(history(checkups=7), days, {2.5: db}))
        assert verdict.state == "another-day"
        assert _one(verdict, said)


def _higher(table: pd.DataFrame, visit: str, order: float, db: float) -> pd.DataFrame:
    return scale(table, (table["visit"] == visit) & (table["order"] == order), db)


def test_half_orders_that_moved_alike_are_no_contradiction():
    drift = np.where(ORDERS % 1 > 0, 4.0, 0.0)
    table = history(drift=lambda hours: drift * (hours > 1000))
    verdict = judge(table, engine=ENGINE)
    assert verdict.state == "all-moved"
    assert verdict.each_its_own_way
    assert verdict.advice[0] == verdict.findings[0] == EACH_ITS_OWN_WAY
    said = " ".join(verdict.advice)
    assert "moved alike: look at" not in said
    assert "no order moved by itself" not in said
    assert "one cylinder (injection, compression) is possible too" in said
    single = judge(table, engine=ENGINE.model_copy(update={"cylinders": 1}))
    assert "one cylinder" not in " ".join(single.advice)


def test_suspicion_is_told_neither_as_moved_nor_as_stayed():
    table = _again(history(checkups=8), 2, {2.5: 5.0}).pipe(_higher, "x2", 3.0, 3.2)
    verdict = judge(table, engine=ENGINE)
    state = verdict.orders.set_index("order")["state"]
    assert (state[2.5], state[3.0]) == ("changed", "another-day")
    said = " ".join(verdict.advice).lower()
    assert "order 3 moved along" not in said
    assert "order 6 stayed" not in said  # of one kind with order 3
    assert "that most others stayed" in said


def test_all_together_came_as_a_jump_or_gradually_and_across_a_lay_up():
    jump = history(drift=lambda hours: 3.5 * (hours > 1000))
    assert "because it came from one check-up to the next" in " ".join(judge(jump).advice)
    rested = judge(_rested(jump, "v08", 75))
    assert "it began across a lay-up" in " ".join(rested.advice)
    ramp = judge(history(checkups=12, drift=lambda hours: max(hours - 500.0, 0.0) / 350.0))
    assert ramp.common_state == "all-moved"
    assert "because it came gradually" in _one(ramp, "seldom a part")


def test_days_that_differ_much_are_told():
    rng = np.random.default_rng(4)
    verdict = judge(history(drift=lambda _hours: rng.normal(0, 1.2, ORDERS.size)))
    told = _one(verdict, "Your days differ by")
    assert float(told.split("by ")[1].split()[0]) == pytest.approx(1.2, rel=0.15)
    assert "than usual (0.4 dB)" in told
    assert not any("Your days" in line for line in judge(history()).advice)


def test_few_orders_say_what_is_less_certain():
    told = _one(judge(history(orders=ORDERS[:5])), "Only 5 orders")
    assert "told apart less surely" in told
    assert "later" not in told


@pytest.mark.parametrize(
    ("value", "told"),
    [(1.0, "1.0"), (0.502, "0.50"), (0.0501, "0.050"), (9.94, "9.9"), (9.96, "10"), (13.4, "13"),
     (151.0, "151"), (0.0, "0")],
)  # fmt: skip
def test_two_digits_and_whole_numbers_from_ten_on(value, told):
    assert two_digits(value) == told


def test_no_jump_of_any_size():
    blind = Noticeable(
        placed=np.full((1, 1), np.inf), placement=np.array([0.75]), day=np.array([0.4]),
        usual=3.0, sharing=14, features=14,
    )  # fmt: skip
    assert _reach(blind).startswith("no jump of any size in one order, and a rise of 1 dB")


@pytest.mark.parametrize(
    "table",
    [
        history(checkups=4),
        history(checkups=0, baseline_days=1, placements=1),
        history(drift=lambda hours: JUMP(hours) + RAMP(hours)),
        history(drift=lambda hours: 3.5 * (hours > 1000) + JUMP(hours)),
        history(orders=ORDERS[:5]),
        scale(history(), pd.Series(range(14 * 39)) == 14 * 38 + 3, 8.0),
        history(drift=lambda hours: np.where(ORDERS % 1 > 0, 4.0, 0.0) * (hours > 1000)),
        history().assign(baseline=False),
    ],
)
def test_no_sentence_is_told_twice_and_each_is_one(table):
    said = judge(table, engine=ENGINE).advice
    assert len(said) == len(set(said))
    for line in said:
        assert line[0].isupper()
        assert line.endswith(".")
        assert "nan" not in line.split()
        assert "  " not in line
        assert ",." not in line
