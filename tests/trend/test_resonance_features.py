"""Histories of run-ups: resonances alone, without a single order."""

import numpy as np
import pytest
from run_ups import CRANK, ERROR, MOUNT, step, sweeps

from vibetrend.errors import JudgeError
from vibetrend.trend import Verdict, judge, resonance
from vibetrend.trend.advice import BLIND, CAUTIONS
from vibetrend.trend.priors import REST_PLACEMENT_DB, prior_scatter
from vibetrend.trend.sweeps import IDLE_STAYS, LOOK_BEFORE_SWEEP, RUN_UP_CAUTIONS

FREQUENCY = f"resonance: {CRANK} frequency"
ONE = ("frequency",)


def row(verdict: Verdict, quantity: str = "frequency", name: str = CRANK) -> dict[str, object]:
    orders = verdict.orders.set_index("feature")
    return orders.loc[f"resonance: {name} {quantity}"].to_dict()


@pytest.mark.parametrize("names", [(CRANK,), (CRANK, MOUNT, "near 210 Hz")])
@pytest.mark.parametrize("quantities", [ONE, resonance.QUANTITIES])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_one_to_nine_features_that_stay_are_calm(names, quantities, seed):
    verdict = judge(sweeps(names=names, quantities=quantities, seed=seed))
    assert verdict.state == "no-change-seen"
    assert len(verdict.orders) == len(names) * len(quantities)
    assert np.isnan(verdict.common_change_db)
    told = " ".join(verdict.advice)
    for word in ("orders can be told", "order can be told", "All orders", BLIND, "placement"):
        assert word not in told
    assert verdict.advice[-5:] == [*RUN_UP_CAUTIONS, *CAUTIONS]
    assert "in a resonance's frequency, confirmed by a second day" in told


def test_ten_per_cent_less_stiffness_is_told_in_per_cent():
    """-10 % of stiffness are -3.5 % of frequency (ten-inertia model of methods.md, part B)."""
    verdict = judge(sweeps(drift=step("frequency", -0.035)))
    assert verdict.state == "changed"
    seen = row(verdict)
    assert seen["change_db"] == pytest.approx(20 * np.log10(0.965), abs=0.05)
    assert 0.01 < seen["change_error_db"] < 0.06  # sweeps to 0.5 %, a dozen on each side
    assert verdict.advice[1].startswith("The crankshaft's resonance near 141 Hz has moved down 3.")
    assert "rubber softer or warmer, or its bond failing" in verdict.advice[1]
    assert " dB" not in verdict.advice[1]
    assert {IDLE_STAYS, LOOK_BEFORE_SWEEP} <= set(verdict.advice)


def test_it_is_flagged_at_once_and_confirmed_on_a_second_day():
    flagged = judge(sweeps(checkups=3, drift=step("frequency", -0.035, after=500), shared=0.001))
    assert flagged.state == "another-day"
    assert any("three sweeps on another day, up to three days, after the same" in line
               for line in flagged.advice)  # fmt: skip
    assert LOOK_BEFORE_SWEEP in flagged.advice
    assert (
        judge(sweeps(checkups=4, drift=step("frequency", -0.035, after=500), shared=0.001)).state
        == "changed"
    )


def test_up_is_as_much_a_change_as_down():
    told = judge(sweeps(drift=step("frequency", 0.035))).advice
    assert "has moved up" in told[1]
    assert any("hardened with age" in line for line in told)


def test_the_telling_order_names_the_speed_where_a_person_meets_it():
    told = judge(sweeps(drift=step("frequency", -0.035)).assign(telling_order=4.5)).advice[1]
    assert told.startswith(  # 60 * 141 / 4.5
        "The crankshaft's resonance near 141 Hz (1880 rpm in order 4.5) has moved down"
    )
    for unknown in (np.nan, None, "none"):
        table = sweeps(drift=step("frequency", -0.035)).assign(telling_order=unknown)
        assert judge(table).advice[1].startswith("The crankshaft's resonance near 141 Hz has moved")


def test_resonances_of_unknown_cause_are_told_last():
    moved = {CRANK: -0.035, MOUNT: -0.06}
    table = sweeps(names=tuple(moved), drift=lambda of, what, hours: (
        moved[of] * (what == "frequency" and hours > 900)
    ))  # fmt: skip
    verdict = judge(table)
    assert abs(row(verdict, name=MOUNT)["evidence_z"]) > abs(row(verdict)["evidence_z"])
    assert verdict.advice[1].startswith("The crankshaft's resonance near 141 Hz has moved down")
    assert verdict.advice[2].startswith("Also moved: frequency of the resonance near 74 Hz -6.")


def test_why_a_resonance_is_not_judged_is_said_of_it_once():
    table = sweeps(names=(CRANK, MOUNT, "near 192 Hz"))
    of_192 = table["feature"].str.contains("192 Hz")
    table["visible"] = ~(of_192 & ~table["baseline"])
    told = [line for line in judge(table).advice if line.startswith("Not judged")]
    assert told == [
        "Not judged, because it is not reached or too weak in half of the sweeps of the baseline "
        "or of the latest check-up: the resonance near 192 Hz."
    ]
    new = sweeps(names=(CRANK, MOUNT))
    new["visible"] = ~(new["feature"].str.contains("74 Hz") & new["baseline"])
    assert sum("Resonance near 74 Hz stands out now" in line for line in judge(new).advice) == 1


def test_damping_lost_is_seen_in_height_and_width():
    """A halved loss factor: +4.5 dB and 0.52 to 0.64 of the width (methods.md, part B)."""
    lost = {"frequency": 0.0, "height": 10 ** (4.5 / 20) - 1, "width": 0.58 - 1}
    verdict = judge(sweeps(drift=lambda _name, quantity, hours: lost[quantity] * (hours > 900)))
    assert [row(verdict, each)["state"] for each in ("frequency", "height", "width")] == [
        "no-change-seen", "changed", "changed",
    ]  # fmt: skip
    told = " ".join(verdict.advice)
    assert "damps less" in told
    assert "because its " in told
    assert IDLE_STAYS not in told


def test_only_the_height_has_a_limit():
    verdict = judge(sweeps(drift=step("height", 1.6)))
    assert verdict.state == "past-limit"
    assert np.isfinite(row(verdict, "height")["limit_db"])
    for quantity in ("frequency", "width"):
        assert np.isnan(row(verdict, quantity)["limit_db"])
        assert np.isnan(row(verdict, quantity)["hours_to_limit"])


def test_unknown_cause_gets_no_damper_advice():
    verdict = judge(sweeps(names=(CRANK, MOUNT), drift=step("frequency", 0.04, name=MOUNT)))
    assert row(verdict, name=MOUNT)["state"] == "changed"
    assert verdict.advice[1].startswith("The resonance near 74 Hz has moved up")
    told = " ".join(verdict.advice[1 : verdict.advice.index(RUN_UP_CAUTIONS[0])])
    assert "hardened" not in told
    assert "index marks" not in told
    assert IDLE_STAYS not in told


def test_a_sweep_that_disagrees_is_taken_again():
    table = sweeps()
    wrong = (table["recording"] == table["recording"].max()) & (table["feature"] == FREQUENCY)
    table.loc[wrong, "amplitude"] *= 0.93
    verdict = judge(table)
    assert verdict.state == "record-again"
    assert (
        verdict.recordings["why_not"]
        .iloc[-1]
        .startswith(
            "it disagrees with its companions, most at frequency of the crankshaft's resonance"
        )
    )
    assert verdict.recordings["why_not"].iloc[-1].endswith(" %")
    assert "Sweep once more now, at the same pace between the same speeds." in verdict.advice


def test_what_a_day_shares_is_not_averaged_by_repeating():
    """The variance of a check-up is shared^2 + rest, of nine sweeps on a day as of three."""
    for each in (3, 9):
        seen = row(judge(sweeps(shared=0.02, each=each)))
        shared_db = 20 / np.log(10) * 0.02
        assert seen["shared_db"] == pytest.approx(shared_db, rel=0.1)  # amplitudes scatter by 2 %
        assert seen["scatter_db"] >= seen["shared_db"]


def test_an_unknown_temperature_hides_what_a_known_one_shows():
    shift = step("frequency", -0.035, after=1300)
    assert judge(sweeps(drift=shift, shared=0.001)).state == "another-day"
    hidden = sweeps(drift=shift)
    common = hidden["feature"] == FREQUENCY
    hidden["shared_error"] = np.where(common, 0.02 * hidden["amplitude"], np.nan)
    verdict = judge(hidden)
    assert verdict.state == "no-change-seen"
    assert any("uncertain temperature" in line for line in verdict.advice)
    assert row(verdict)["noticeable_db"] > 2 * row(judge(sweeps(shared=0.001)))["noticeable_db"]


def test_several_days_average_what_a_day_shares():
    """The baseline's error falls with its days: what can be noticed falls with it."""
    few, many = (row(judge(sweeps(shared=0.02, checkups=n))) for n in (2, 20))
    assert many["noticeable_db"] < few["noticeable_db"]


def test_baseline_of_run_ups_says_what_it_needs():
    verdict = judge(sweeps(checkups=0, baseline_days=2, each=2))
    assert verdict.state == "learning"
    assert any("one more sweep today" in line for line in verdict.advice)


def test_no_baseline_asks_for_sweeps():
    table = sweeps(checkups=2)
    table["baseline"] = False
    assert any("three sweeps" in line for line in judge(table).advice)


def test_a_sweep_has_no_speed_to_be_compared_by():
    table = sweeps()
    table["rpm"] = np.where(table["visit"] == table["visit"].max(), 1500.0, 1300.0)
    assert judge(table).recordings["used"].all()


def test_shared_error_that_is_none_is_refused():
    table = sweeps()
    table.loc[3, "shared_error"] = -1.0
    with pytest.raises(JudgeError, match="shared_error that is none"):
        judge(table)


def test_priors_follow_what_a_sweep_can_do():
    features = [f"resonance: {CRANK} {quantity}" for quantity in resonance.QUANTITIES]
    stated = np.array([True, False, False])
    noise = 20 / np.log(10) * np.array(list(ERROR.values()))
    placement, day = prior_scatter(features, usual=noise**2, stated=stated)
    assert placement == pytest.approx([np.hypot(noise[0], REST_PLACEMENT_DB), *noise[1:]], abs=0.01)
    blind_placement, blind_day = prior_scatter(features)
    assert blind_day[0] > day[0]  # what is not stated may be warmth
    assert (blind_placement > 0).all()


@pytest.mark.parametrize(
    ("change_db", "error_db", "told"),
    [
        (20 * np.log10(0.94), 0.09, "6 ± 1 %"),  # 0.09 dB of 0.94 are 1.0 %
        (20 * np.log10(0.965), 0.03, "3.5 ± 0.3 %"),
        (20 * np.log10(1.012), 0.001, "1.2 ± 0.1 %"),
        (20 * np.log10(1.012), np.nan, "1.2 %"),
    ],
)
def test_sizes_have_honest_digits(change_db, error_db, told):
    assert resonance.size(FREQUENCY, change_db, error_db) == told


def test_the_issue_sentence():
    told = resonance.has_moved(
        "resonance: crankshaft near 188.25 Hz frequency", 4.5, 20 * np.log10(0.94), rose=False,
        error_db=0.09,
    )  # fmt: skip
    assert told == (
        "the crankshaft's resonance near 188.25 Hz (2510 rpm in order 4.5) has moved down 6 ± 1 %"
    )


@pytest.mark.parametrize("change_db", [0.002, -0.002])
def test_nothing_has_no_sign_and_did_not_move(change_db):
    """0.002 dB of a frequency are 0.02 %."""
    assert resonance.signed(FREQUENCY, change_db) == "0.0 %"
    told = resonance.has_moved(FREQUENCY, np.nan, change_db, rose=False, error_db=0.05)
    assert told == "the crankshaft's resonance near 141 Hz stands where it did, by 0.0 ± 0.6 %"


def test_what_is_no_resonance_is_left_alone():
    assert resonance.parts("order") == ("", "")
    assert resonance.parts("driven: height") == ("", "")
    assert resonance.signed("order", 1.24) == "+1.2 dB"
