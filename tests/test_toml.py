"""TOML: whatever is wrong with it is one kind of error (found by mutated inputs, `tests/fuzz`)."""

import tomllib

import pytest

from vibetrend import toml


def test_reads_what_the_standard_reader_reads() -> None:
    text = 'a = 1\nb = [1.5, "x"]\n[c]\nd = 2026-05-01\nlargest = 9223372036854775807\n'
    assert toml.loads(text) == tomllib.loads(text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a = ", "Invalid value"),
        ("a = " + "[" * 5000, "nested too deeply"),
        ("a = " + "{a = " * 5000, "nested too deeply"),
        ("a = " + "9" * 5000, "too many digits"),  # beyond Python's own limit
        ("a = 9223372036854775808", "too many digits"),  # 2^63; TOML 1.0: 64 bits, signed
        ("a = [[{b = 0x" + "f" * 5000 + "}]]", "too many digits"),
    ],
    ids=["no value", "lists", "tables", "digits", "65 bits", "hexadecimal"],
)
def test_says_what_is_wrong(text: str, said: str) -> None:
    with pytest.raises(tomllib.TOMLDecodeError, match=said):
        toml.loads(text)
