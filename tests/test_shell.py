"""A command that a person copies gives the shell the names as they are, and nothing to run."""

import shlex

import pytest

from vibetrend.shell import typed


@pytest.mark.parametrize(
    "text",
    ["main", "port engine", "it's", 'a "b"', "$(reboot)", "`reboot`", "a; reboot", "a\\b", "!!",
     "a\nb", "~", "*", "Öl 1", "-x", ""],
)  # fmt: skip
def test_a_shell_takes_it_as_one_word(text: str) -> None:
    """Python's shlex splits as a POSIX shell does."""
    assert shlex.split(f"vibetrend engine show {typed(text)} --json")[3:-1] == [text]


@pytest.mark.parametrize("text", ["$(reboot)", "a`b`", '"$(reboot)"', "!!"])
def test_what_a_shell_would_run_or_replace_stands_in_single_quotes(text: str) -> None:
    assert typed(text) == f"'{text}'"


def test_ordinary_words_stay_as_they_are_and_blanks_get_quotes_that_every_shell_takes() -> None:
    assert typed("reports/main.html") == "reports/main.html"
    assert typed("port engine") == '"port engine"'  # cmd.exe knows no single quotes
