"""What the first screen says of the damper's resonance, from facts of run-ups."""

import math
from dataclasses import replace
from typing import Any

import pytest
from invented_report import MADE_AT, engine_record
from invented_runups import swept
from parsed_page import Parsed, words_of

from vibetrend.report import page, words
from vibetrend.report.facts import Fact, facts
from vibetrend.report.statements import idle_trend, of_sweeps, resonance
from vibetrend.trend import judge
from vibetrend.trend.advice import BLIND
from vibetrend.trend.judge import COLUMNS

DOWN_DB = 20 * math.log10(0.965)  # -3.5 %, what 10 % less stiffness does (methods.md, part B)
CRANK = Fact(
    feature="resonance: crankshaft near 141 Hz frequency", order=math.nan, firing=False,
    state="no-change-seen", change_db=0.01, scatter_db=0.05, evidence_z=0.3, since_hours=math.nan,
    slope_db_per_1000h=0.0, hours_to_limit=math.nan, hours_to_limit_low=math.nan,
    hours_to_limit_high=math.nan, probability_never=math.nan, limit_db=math.nan,
    steady_share=math.nan, noticeable_db=0.23, small=False, at_least=False, ended=False,
    now_hours=5000.0, renewal_hours=math.nan, renewal_by_date=False, change_error_db=0.03,
)  # fmt: skip


def crank(quantity: str = "frequency", **changes: Any) -> Fact:
    feature = f"resonance: crankshaft near 141 Hz {quantity}"
    return replace(CRANK, feature=feature, **changes)


MOVED = crank(state="changed", change_db=DOWN_DB, since_hours=4200.0, steady_share=0.1)
MOUNT = replace(MOVED, feature="resonance: near 74 Hz frequency")


def test_no_run_up_is_said_to_be_none() -> None:
    said = resonance([])
    assert (said.words, said.text, said.state) == ("Not measured", BLIND, "not-measured")


def test_run_ups_that_show_no_resonance_of_the_crankshaft() -> None:
    still = replace(MOUNT, state="no-change-seen")
    for said in (resonance([still]), resonance([], none="None that counts.")):
        assert said.words == "Not seen"
        assert not said.more
    assert "no resonance that counts as the crankshaft's" in resonance([still]).text


@pytest.mark.parametrize(
    ("visits", "words_of_it", "told"),
    [
        (2, "None seen so far", "The sweeps so far do not show which resonance"),
        (6, "Not seen", "Run-ups show no resonance that counts"),
    ],
)
def test_none_is_not_final_while_the_baseline_is_not_complete(
    visits: int, words_of_it: str, told: str
) -> None:
    one = swept(visits=visits)
    table = one.history[~one.history["feature"].str.contains("crankshaft")]
    one = replace(one, history=table, verdict=judge(table))
    said = of_sweeps([(one, facts(one, engine_record("main", one)))])
    assert said.words == words_of_it
    assert said.text.startswith(told)


def test_a_series_of_sweeps_says_what_moved_as_the_first_screen_does() -> None:
    one = swept()
    one = replace(one, history=one.history.assign(telling_order=4.5))
    record = engine_record("main", one)
    found = facts(one, record)
    first, own = of_sweeps([(one, found)]), idle_trend(one, found, record)
    assert own.state == "changed"
    assert own.text == first.text
    assert own.text.startswith(
        "The crankshaft's resonance near 141 Hz (1880 rpm in order 4.5) has moved down 5"
    )
    assert "(rubber softer or warmer, or its bond failing)" in own.text
    told = words_of(Parsed(page([replace(record, series=(one,))], title="t", made_at=MADE_AT)))
    assert told.count(own.text) == 2  # on the first screen and under the series' heading


def test_what_moved_by_an_unknown_cause_comes_last() -> None:
    one = swept()
    table = one.history.copy()
    late = table["visit"] >= sorted(table["visit"].unique())[11]
    table.loc[late & table["feature"].eq("resonance: near 74 Hz frequency"), "amplitude"] *= 0.9
    one = replace(one, history=table, verdict=judge(table))
    record = engine_record("main", one)
    said = idle_trend(one, facts(one, record), record)
    assert said.text.startswith("The crankshaft's resonance near 141 Hz has moved down")
    assert any(line.startswith("Also: frequency of the resonance near 74 Hz") for line in said.more)


@pytest.mark.parametrize(
    ("state", "words_of_it", "told"),
    [
        ("no-baseline", "No baseline yet", "nothing to compare with"),
        ("learning", "Baseline not complete", "Three sweeps on each of three days"),
        ("no-change-seen", "No change seen",
         "The crankshaft's resonance near 141 Hz has not moved; a jump of its frequency by 2.7 %"),
    ],
)  # fmt: skip
def test_states_without_a_change(state: str, words_of_it: str, told: str) -> None:
    said = resonance([crank(state=state), crank("height", state=state, limit_db=6.02)])
    assert (said.words, said.state) == (words_of_it, state)
    assert told in said.text


def test_what_moved_is_told_in_per_cent_with_its_meaning() -> None:
    said = resonance([MOVED, crank("height"), crank("width")])
    assert said.words == "Changed"
    assert said.text == (
        "The crankshaft's resonance near 141 Hz has moved down 3.5 ± 0.3 % (rubber softer or "
        "warmer, or its bond failing): 6.2 times its usual scatter of 0.6 %."
    )
    assert said.more == ("It left its level at about 4200\xa0h, in a jump.",)


def test_a_suspicion_is_told_as_one() -> None:
    assert resonance([replace(MOVED, state="another-day")]).text.endswith("Not confirmed yet.")


def test_what_else_moved_stands_beside_it_and_an_unknown_cause_is_said() -> None:
    height = crank("height", state="changed", change_db=4.5, evidence_z=9.0, change_error_db=0.6)
    said = resonance([MOVED, height, MOUNT])
    # Of what is as bad the frequency comes first, however clear the others are.
    assert said.text.startswith("The crankshaft's resonance near 141 Hz has moved down")
    assert said.more[-2].startswith(
        "Also: the peak of the crankshaft's resonance near 141 Hz has risen by 4"
    )
    assert said.more[-1].endswith("its cause is unknown.")


def test_an_unknown_cause_alone_says_nothing_of_the_damper() -> None:
    said = resonance([MOUNT])
    assert (said.words, said.state) == ("Not seen", "not-measured")
    assert said.more == (
        "The resonance near 74 Hz has moved down 3.5 ± 0.3 %; its cause is unknown.",
    )


def test_a_temperature_that_hides_most_is_named() -> None:
    """0.076 dB are 0.9 %: what 5 degrees C do to the frequency."""
    assert resonance([crank()], warmth="Measure it.").more == ("Measure it.",)
    assert not resonance([crank()]).more
    one = swept()
    table = one.history.assign(shared_error=0.009 * one.history["amplitude"])
    verdict = judge(table)
    assert "uncertain temperature (0.9 %): measure it" in verdict.warmth
    assert verdict.warmth in verdict.advice
    assert verdict.warmth in of_sweeps([(replace(one, verdict=verdict), [crank()])]).more


def test_slopes_of_a_frequency_are_per_cent() -> None:
    ramp = replace(MOVED, steady_share=0.9, slope_db_per_1000h=20 * math.log10(0.98))
    assert words.since(ramp).endswith("and falls by 2.0 % per 1000\xa0h.")


def test_the_verdict_has_what_the_words_need() -> None:
    assert {"change_error_db", "shared_db"} <= set(COLUMNS)


def test_a_narrow_column_names_frequency_and_quantity() -> None:
    assert CRANK.short == "141 Hz frequency"
    assert MOUNT.short == "74 Hz frequency"
    assert CRANK.name == "frequency of the crankshaft's resonance near 141 Hz"
