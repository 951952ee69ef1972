import math
from dataclasses import replace

import pytest

from vibetrend.report import words
from vibetrend.report.facts import Fact
from vibetrend.trend import STATES

FACT = Fact(
    feature="order", order=4.5, firing=False, state="changed", change_db=6.0206, scatter_db=0.5,
    evidence_z=6.0, since_hours=4250.0, slope_db_per_1000h=2.04, hours_to_limit=655.0,
    hours_to_limit_low=264.9, hours_to_limit_high=math.inf, probability_never=0.07, limit_db=6.0206,
    steady_share=0.9, noticeable_db=2.4, small=False, at_least=False, ended=False, now_hours=5000.0,
    renewal_hours=math.nan, renewal_by_date=False,
)  # fmt: skip


@pytest.mark.parametrize(
    ("value", "digits", "sign", "printed"),
    [
        (3.06, 1, True, "+3.1"),
        (-0.04, 1, True, "0.0"),
        (0.04, 1, True, "0.0"),
        (-0.26, 1, False, "-0.3"),
        (4250.4, 0, False, "4250"),
    ],
)
def test_fixed_digits(value: float, digits: int, sign: bool, printed: str) -> None:
    assert words.fixed(value, digits, sign=sign) == printed


def test_numbers_without_value() -> None:
    assert words.number(math.nan) == "–"
    assert words.number(None) == "–"
    assert words.number(math.inf) == "never"


@pytest.mark.parametrize(
    ("percent", "printed"),
    [(0.0, "&lt;1"), (0.4, "&lt;1"), (7.2, "7"), (99.4, "&gt;99"), (100.0, "&gt;99")],
)
def test_no_chance_is_told_as_certain(percent: float, printed: str) -> None:
    assert words.share(percent) == f'<data class="share" value="{percent!r}">{printed}</data>'
    assert words.share(math.nan) == "–"


@pytest.mark.parametrize(
    ("hours", "said"), [(264.9, "260"), (7.9, "7"), (1962.1, "1900"), (0, "0")]
)
def test_hours_ahead_are_rounded_down_to_two_digits(hours: float, said: str) -> None:
    assert words.about(hours) == f"{said}\xa0h"


def test_doubling_is_six_decibels() -> None:
    """20 lg 2 = 6.0206 dB, exact by definition of the decibel (IEC 60027-3)."""
    assert words.factor(6.0206) == "2.0 times"
    assert words.factor(-6.0206) == "0.50 times"
    assert words.moved(FACT) == "order 4.5 is up 6.0 dB, 2.0 times its baseline"
    assert words.beyond(FACT) == "12 times its usual scatter of 0.5 dB"


@pytest.mark.parametrize(
    ("share", "told"),
    [
        (0.9, " and rises by 2.0 dB per 1000\xa0h."),
        (0.5, "."),
        (0.0, ", in a jump."),
        (math.nan, "; it is too early to say whether it goes on rising."),
    ],
)
def test_bend_and_pace(share: float, told: str) -> None:
    fact = replace(FACT, since_hours=4247.0, steady_share=share)
    assert words.since(fact) == f"It left its level at about 4250\xa0h{told}"
    falls = replace(fact, change_db=-6.0, slope_db_per_1000h=-151.0)
    assert words.since(falls).endswith(
        told.replace("rises", "falls").replace("rising", "falling").replace("2.0", "151")
    )
    assert words.since(replace(FACT, since_hours=math.nan)) == ""


def test_early_end_comes_first_and_never_is_said() -> None:
    assert words.until_limit(FACT) == (
        "The limit of +6.0 dB could be reached as early as 260\xa0h from now, more likely in about "
        "650\xa0h, or never (90 % interval). Chance that it is never reached: 7 %."
    )
    far = replace(FACT, hours_to_limit_low=math.inf, hours_to_limit=math.inf)
    assert words.until_limit(far) == "The limit of +6.0 dB is not in sight."
    for untold in ({"state": "past-limit"}, {"steady_share": math.nan}, {"state": "another-day"}):
        assert words.until_limit(replace(FACT, **untold)) == ""


@pytest.mark.parametrize(
    ("renewal", "told"),
    [
        (7000.0, "as early as 260\xa0h from now, more likely in about 650\xa0h, or not before the "
         "damper is due at 7000\xa0h (90 % interval)."),
        (5400.0, "as early as 260\xa0h from now, or not before the damper is due at 5400\xa0h (90"),
        (5200.0, "is not expected before the damper is due at 5200\xa0h."),
        (4900.0, "No hours to the limit are told: the damper was due at 4900\xa0h."),
    ],
)  # fmt: skip
def test_no_hours_are_told_beyond_the_renewal(renewal: float, told: str) -> None:
    """Now at 5000 h, the limit at the earliest in 265 h, likely in 655 h."""
    fact = replace(FACT, renewal_hours=renewal)
    assert told in words.until_limit(fact)


def test_hours_that_are_only_expected_of_a_date_are_told_as_about() -> None:
    fact = replace(FACT, renewal_hours=7003.7, renewal_by_date=True)
    assert "not before the damper is due at about 7000\xa0h (90 %" in words.until_limit(fact)
    soon = replace(fact, renewal_hours=5203.7)
    assert words.until_limit(soon).endswith("before the damper is due at about 5200\xa0h.")


@pytest.mark.parametrize(
    ("hours", "left", "cell"),
    [
        (264.9, math.nan, '<data class="ahead" value="264.9">260</data>'),
        (264.9, 200.0, '<data class="ahead" value="264.9">renewal</data>'),
        (math.inf, 200.0, "never"),
        (math.nan, 200.0, "–"),
    ],
)
def test_hours_ahead_in_a_table(hours: float, left: float, cell: str) -> None:
    assert words.ahead(hours, left) == cell


def test_states_have_words_for_all_of_them() -> None:
    assert list(words.STATE_WORDS) == list(STATES)


@pytest.mark.parametrize(
    ("value", "said"),
    [("2028-05-01", "1 May 2028"), (None, "–"), ("some day", "some day")],
)
def test_dates(value: str | None, said: str) -> None:
    assert words.date(value) == said
