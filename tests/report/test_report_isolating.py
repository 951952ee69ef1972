"""Isolates that a text opens end with it (Unicode Standard Annex 9, BD9)."""

import pytest
from markupsafe import Markup

from vibetrend.report.isolating import closed
from vibetrend.report.words import series_name

OPEN, POP, OVERRIDE = "\u2067", "\u2069", "\u202e"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain", "plain"),
        (f"a{OPEN}b", f"a{OPEN}b{POP}"),
        (f"{OPEN}{OPEN}b{POP}", f"{OPEN}{OPEN}b{POP}{POP}"),
        (f"{OPEN}b{POP}", f"{OPEN}b{POP}"),
        (f"a{POP}b", "ab"),  # it would end the isolate of the element
        (f"{POP}{OPEN}b", f"{OPEN}b{POP}"),
    ],
)
def test_every_isolate_is_closed_and_none_that_is_not_open(text: str, shown: str) -> None:
    assert closed(text) == shown
    assert closed(closed(text)) == shown


def test_own_markup_and_what_is_no_text_pass() -> None:
    mine = Markup(f"<b>{OPEN}</b>")
    assert closed(mine) is mine
    assert closed(7) == 7


def test_a_position_turns_nothing_of_the_series_name() -> None:
    named = series_name({"position": f"front{OVERRIDE}", "kind": "sound", "speed_rpm": 900.0})
    assert OVERRIDE not in named
    assert named.endswith(" · sound · steady at 900 rpm")
