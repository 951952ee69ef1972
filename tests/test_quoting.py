"""Other people's words within ours print, and are short."""

import pytest

from vibetrend.quoting import LONGEST, named, printable, quoted


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("ax (m/s²)", "ax (m/s²)"),
        ("a\tb\nc", r"a\tb\nc"),
        ("\x1b[2J", r"\x1b[2J"),
        ("\u202ecsv", r"\u202ecsv"),  # turns the direction of writing
        ("\udcff", r"\udcff"),  # half a letter, of a name that is no UTF-8
    ],
)
def test_what_does_not_print_is_written_out(text: str, shown: str) -> None:
    assert printable(text) == shown


def test_a_value_is_quoted_and_cut() -> None:
    assert quoted("it") == "'it'"
    assert quoted(["a", 1]) == "['a', 1]"
    assert quoted("x" * 500) == "'" + "x" * (LONGEST - 4) + "..."


def test_a_name_is_quoted_only_where_it_has_to_be() -> None:
    assert named("idle_rpm") == "idle_rpm"
    assert named("a\n") == r"'a\n'"
    assert named("") == "''"
    assert len(named("x" * 500)) == LONGEST
