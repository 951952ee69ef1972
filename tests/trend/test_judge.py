"""What a verdict says of constructed histories whose truth is known."""

import json

import numpy as np
import pandas as pd
import pytest
from histories import ORDERS, history, one_order, scale

from vibetrend.engine import Engine
from vibetrend.trend import DOUBLED_DB, STATES, judge, sentence, worst

RAMP = one_order(3.0, lambda hours: max(hours - 500.0, 0.0) / 400.0)


def test_nothing_changed_is_no_change_seen():
    verdict = judge(history())
    assert verdict.state == "no-change-seen"
    assert set(verdict.orders["state"]) == {"no-change-seen"}
    assert verdict.orders["order"].tolist() == ORDERS.tolist()
    assert verdict.recordings["used"].all()


def test_ramp_in_one_order_is_named_with_its_size_and_onset():
    verdict = judge(history(checkups=12, drift=RAMP))
    assert verdict.state == "changed"
    changed = verdict.orders[verdict.orders["state"] == "changed"]
    assert changed["order"].tolist() == [3.0]
    row = changed.iloc[0]
    truth = (30 + 12 * 180 - 500) / 400
    # sd of one check-up is about 0.46 dB; the last few bear out the level now to about 0.3 dB.
    assert row["change_db"] == pytest.approx(truth, abs=0.9)
    assert row["slope_db_per_1000h"] == pytest.approx(2.5, abs=1.2)
    assert row["evidence_z"] > 4
    assert 100 < row["since_hours"] < 1100
    left = (DOUBLED_DB - truth) * 400
    assert row["hours_to_limit_low"] <= left <= row["hours_to_limit_high"]
    assert row["hours_to_limit_low"] <= row["hours_to_limit"] <= row["hours_to_limit_high"]


def test_fall_is_changed_and_never_past_limit():
    fall = one_order(4.5, lambda hours: -9.0 * (hours > 700))
    verdict = judge(history(drift=fall))
    assert verdict.state == "changed"
    row = verdict.orders.set_index("order").loc[4.5]
    assert row["evidence_z"] < 0
    assert row["change_db"] == pytest.approx(-9, abs=0.9)
    assert row["hours_to_limit"] == np.inf
    assert "fell by" in " ".join(verdict.advice)


def test_rise_beyond_the_limit_is_past_limit():
    verdict = judge(history(drift=one_order(1.0, lambda hours: 9.0 * (hours > 700))))
    assert verdict.state == "past-limit"
    assert verdict.orders.set_index("order").loc[1.0, "state"] == "past-limit"


def test_own_limit_of_a_feature_overrides():
    table = history(drift=one_order(1.0, lambda hours: 9.0 * (hours > 700)))
    table["limit_db"] = np.where(table["order"] == 1.0, 15.0, np.nan)
    assert judge(table).state == "changed"
    assert judge(table.drop(columns="limit_db"), limit_db=15.0).state == "changed"


def test_first_day_of_a_jump_asks_for_another_day_and_the_next_confirms():
    jump = one_order(2.5, lambda hours: 4.5 * (hours > 1500))
    first = history(checkups=9, drift=jump)  # the ninth check-up is the first after 1500 h
    assert judge(first).state == "another-day"
    second = first[first["visit"] == "v11"].copy()
    rng = np.random.default_rng(5)
    second["visit"], second["hours"] = "v12", second["hours"] + 2.0
    second["recording"] = second["recording"].str.replace("r11", "r12")
    second["amplitude"] *= 10 ** (rng.normal(0, 0.3, len(second)) / 20)
    verdict = judge(pd.concat([first, second]))
    assert verdict.state == "changed"
    assert verdict.orders.loc[verdict.orders["state"] == "changed", "order"].tolist() == [2.5]


def test_one_wild_day_in_the_past_does_not_warn():
    table = history(checkups=9)
    wild = scale(table, (table["visit"] == "v07") & (table["order"] == 2.0), 9.0)
    assert judge(wild).state == "no-change-seen"


def test_day_on_another_spot_is_left_out_and_named():
    table = history(checkups=9)
    spot = np.random.default_rng(8).normal(0, 3.0, ORDERS.size)
    for order, db in zip(ORDERS, spot, strict=True):
        table = scale(table, (table["visit"] == "v06") & (table["order"] == order), db)
    verdict = judge(table)
    assert verdict.state == "no-change-seen"
    left_out = verdict.recordings[~verdict.recordings["used"]]
    assert left_out["visit"].tolist() == ["v06"] * 3
    assert left_out["why_not"].str.contains("another spot").all()


def test_spike_in_one_placement_asks_to_record_again_until_it_is_done():
    table = history()
    spiked = scale(table, (table["recording"] == "r121") & (table["order"] == 2.0), 8.0)
    verdict = judge(spiked)
    assert verdict.state == "record-again"
    out = verdict.recordings[~verdict.recordings["used"]]
    assert out["recording"].tolist() == ["r121"]
    assert "order 2: +" in out["why_not"].iloc[0]
    again = table[table["recording"] == "r120"].assign(recording="r123")
    again["amplitude"] *= 10 ** (np.random.default_rng(2).normal(0, 0.5, len(again)) / 20)
    assert judge(pd.concat([spiked, again])).state == "no-change-seen"


def test_all_orders_together_are_all_moved_and_warn_of_no_order():
    verdict = judge(history(drift=lambda hours: 3.5 * (hours > 1000)))
    assert verdict.state == verdict.common_state == "all-moved"
    # three placements of 0.5 dB each at several check-ups; level from nine
    assert verdict.common_change_db == pytest.approx(3.5, abs=0.7)
    assert set(verdict.orders["state"]) == {"no-change-seen"}


def test_no_baseline():
    verdict = judge(history().assign(baseline=False))
    assert verdict.state == "no-baseline"
    assert np.isnan(verdict.common_change_db)
    assert not verdict.recordings["used"].any()


THEN = "today (on a later day: another day of three instead)"


@pytest.mark.parametrize(
    ("days", "placements", "missing"),
    [
        (1, 1, f"two more placements {THEN}, then two more days of three"),
        (2, 3, "one more day of three"),
        (3, 2, f"one more placement {THEN}, then two more days of three"),
    ],
)
def test_incomplete_baseline_says_what_is_missing(days, placements, missing):
    verdict = judge(history(checkups=0, baseline_days=days, placements=placements))
    assert verdict.state == "learning"
    assert f"The baseline still needs {missing}." in verdict.advice


def test_complete_baseline_alone_is_no_change_seen():
    assert judge(history(checkups=0)).state == "no-change-seen"


def test_later_checkups_on_a_thin_baseline_are_judged_and_it_says_what_that_costs():
    drift = one_order(3.0, lambda hours: 6.5 * (hours > 300))
    verdict = judge(history(baseline_days=1, drift=drift))
    assert verdict.state in ("changed", "past-limit")
    assert any("instead of three days" in line for line in verdict.advice)
    assert judge(history(baseline_days=1)).state == "no-change-seen"


def test_row_order_does_not_matter():
    table = history(drift=RAMP)
    mixed = table.sample(frac=1, random_state=3)
    assert judge(mixed).to_dict() == judge(table).to_dict()


def test_unit_does_not_matter():
    table = history(drift=RAMP)
    other = table.assign(
        amplitude=table["amplitude"] / 9.80665, standard_error=table["standard_error"] / 9.80665
    )
    one, two = judge(table), judge(other)
    assert one.state == two.state
    numbers = one.orders.select_dtypes("number").columns
    # rounding of a logarithm only
    np.testing.assert_allclose(two.orders[numbers], one.orders[numbers], rtol=1e-6, atol=1e-9)


def test_names_of_recordings_and_index_do_not_matter():
    table = history(drift=RAMP)
    other = table.set_index(np.arange(len(table)) + 7)
    other["visit"] = other["visit"].map({v: i for i, v in enumerate(sorted(set(table["visit"])))})
    pd.testing.assert_frame_equal(judge(other).orders, judge(table).orders)


def test_history_is_not_touched():
    table = history(checkups=2)
    before = table.copy(deep=True)
    judge(table)
    pd.testing.assert_frame_equal(table, before)


def test_every_verdict_carries_the_cautions_and_is_plain_json():
    for table in (history(checkups=0, baseline_days=1), history(drift=RAMP),
                  history().assign(baseline=False)):  # fmt: skip
        verdict = judge(table)
        text = " ".join(verdict.advice)
        assert "never proves that a damper is sound" in text
        assert "Stop the engine and isolate" in text
        assert "nearly blind to the damper's stiffness" in text
        assert verdict.state in STATES
        plain = json.loads(json.dumps(verdict.to_dict(), allow_nan=False))
        assert plain["state"] == verdict.state
        assert len(plain["orders"]) == len(verdict.orders)


def test_infinite_hours_are_null_in_json():
    verdict = judge(history())
    assert (verdict.orders["hours_to_limit"] == np.inf).all()
    assert {row["hours_to_limit"] for row in verdict.to_dict()["orders"]} == {None}


def test_order_that_rises_out_of_the_noise_is_named():
    table = history(checkups=3)
    table["visible"] = (table["order"] != 6.5) | (table["visit"] == "v05")
    verdict = judge(table)
    assert 6.5 not in verdict.orders["order"].tolist()
    assert any("Order 6.5 stands out now and did not at the baseline" in s for s in verdict.advice)
    assert not any("too weak" in sentence for sentence in verdict.advice)


def test_invisible_order_is_not_judged_and_named():
    table = history()
    table["visible"] = table["order"] != 6.5
    table.loc[~table["visible"], "amplitude"] = 0.0  # noise bias removed: nothing left
    verdict = judge(table)
    assert 6.5 not in verdict.orders["order"].tolist()
    expected = "Not judged, because too weak or above what these recordings can show: order 6.5."
    assert expected in verdict.advice


def test_speed_outside_the_band_is_not_compared_and_says_why():
    table = history().assign(rpm=1000.0)
    table.loc[table["recording"] == "r120", "rpm"] = 1045.0
    verdict = judge(table)
    row = verdict.recordings.set_index("recording").loc["r120"]
    assert not row["used"]
    assert "1045 rpm is more than 3 %" in row["why_not"]
    assert verdict.state == "record-again"
    assert judge(table.assign(rpm=np.where(table["rpm"] > 1000, 1029.0, 1000.0))).state == (
        "no-change-seen"
    )


def test_much_colder_checkup_is_noted():
    table = history().assign(temperature_c=80.0)
    table.loc[table["visit"] == "v12", "temperature_c"] = 50.0
    assert any("50 degrees C" in line for line in judge(table).advice)


def test_driven_line_and_overall_are_judged_by_the_same_code():
    table = history(drift=one_order(7.0, lambda hours: 5.0 * (hours > 900)))
    table["feature"] = np.where(table["order"] == 7.0, "driven: alternator", "order")
    creep = np.random.default_rng(4).uniform(2.36, 2.40, len(table))
    table["order"] = np.where(table["order"] == 7.0, creep, table["order"])
    verdict = judge(table)
    changed = verdict.orders[verdict.orders["state"] == "changed"]
    assert changed["feature"].tolist() == ["driven: alternator"]
    assert any("belt or bearings of the alternator" in line for line in verdict.advice)


def test_small_move_of_a_resonance_frequency_is_seen():
    """A critical speed that falls by 3.5 % is 0.31 dB: far beyond a frequency's own scatter."""
    rng = np.random.default_rng(6)
    rows = [
        {
            "recording": f"{v}-{p}", "visit": v, "hours": 150.0 * v, "order": 4.5,
            "feature": "resonance: first frequency", "standard_error": np.nan, "baseline": v < 3,
            "amplitude": 141.0 * (0.965 if v > 5 else 1.0) * (1 + rng.normal(0, 0.004)),
        }
        for v in range(9) for p in range(3)
    ]  # fmt: skip
    verdict = judge(pd.DataFrame(rows))
    assert verdict.state == "changed"
    assert verdict.orders.iloc[0]["change_db"] == pytest.approx(20 * np.log10(0.965), abs=0.08)
    assert np.isnan(verdict.orders.iloc[0]["hours_to_limit"])  # a frequency has no limit of ours


@pytest.mark.parametrize(("count", "said"), [(1, "cannot be taken out"), (3, "their median")])
def test_few_orders_are_judged_and_said(count, said):
    verdict = judge(history(orders=ORDERS[:count]))
    assert verdict.state == "no-change-seen"
    assert any(said in line for line in verdict.advice)


def test_engine_names_the_firing_order():
    engine = Engine(name="invented", cylinders=6)
    table = history(checkups=12, drift=RAMP)
    with_engine, without = judge(table, engine=engine), judge(table)
    assert any(line.startswith("The firing order and its multiples") for line in with_engine.advice)
    assert not any(line.startswith("The firing order and its multiples") for line in without.advice)
    pd.testing.assert_frame_equal(with_engine.orders, without.orders)


def test_states_are_ordered_mildest_first():
    assert worst(["changed", "learning", "another-day"]) == "changed"
    assert worst([]) == "no-baseline"
    assert all(sentence(state).endswith(".") for state in STATES)
