"""The line of every key, however the TOML is written."""

import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vibetrend.engine.places import Path, key_lines
from vibetrend.engine.writing import toml

AWKWARD = '''\
# name = "not here"
name = "a # b = [c]"          # 2
a.b . "c d" = 1               # 3
text = """                    # 4: one value over three lines
key = 5 \\""" ]
"""
raw = \'\'\'it\'s = "x"\'\'\'        # 7
list = [                      # 8
  1, # one                    # 9
  [2, 3], { x = 1, y.z = 2 }, # 10
]
day = 2026-05-01 07:32:00     # 12
[table]                       # 13
key = 'a"b'                   # 14
[[part]]                      # 15
name = "first"                # 16
[part.inside]                 # 17
key = 1                       # 18
[[part]]                      # 19
name = "second"               # 20
["quoted.table".'x']          # 21
key = -1e5                    # 22
'''


def paths(value: Any, before: Path = ()) -> list[Path]:
    """Return the path of everything in parsed TOML."""
    inside = value.items() if isinstance(value, dict) else enumerate(value)
    found = []
    for key, each in inside:
        here = (*before, str(key))
        found += [here, *(paths(each, here) if isinstance(each, dict | list) else [])]
    return found


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_awkward_toml(ending: str) -> None:
    lines = key_lines(AWKWARD.replace("\n", ending))
    assert set(lines) == set(paths(tomllib.loads(AWKWARD)))
    expected = {
        ("name",): 2, ("a",): 3, ("a", "b", "c d"): 3, ("text",): 4, ("raw",): 7, ("list",): 8,
        ("list", "0"): 9, ("list", "1", "1"): 10, ("list", "2", "y", "z"): 10, ("day",): 12,
        ("table",): 13, ("table", "key"): 14, ("part", "0"): 15, ("part", "0", "name"): 16,
        ("part", "0", "inside"): 17, ("part", "0", "inside", "key"): 18, ("part", "1"): 19,
        ("part", "1", "name"): 20, ("quoted.table", "x"): 21, ("quoted.table", "x", "key"): 22,
    }  # fmt: skip
    assert {path: lines[path] for path in expected} == expected


def test_nothing_is_nowhere() -> None:
    assert key_lines("") == key_lines("# only this") == {}


VALUES: Any = st.recursive(
    st.integers(-5, 5) | st.text(st.characters(codec="ascii"), max_size=8).filter(str.isprintable),
    lambda each: st.lists(each, max_size=3) | st.dictionaries(st.sampled_from("abc"), each),
    max_leaves=6,
)


@settings(max_examples=40, deadline=None)
@given(st.dictionaries(st.sampled_from(["a", "b-c", "d e", "é", '"', "f.g"]), VALUES, max_size=4))
def test_every_key_of_any_file_is_found_on_its_line(values: dict[str, Any]) -> None:
    text = "".join(f"{toml(key)} = {toml(value)}\n" for key, value in values.items())
    lines = key_lines(text)
    assert set(lines) == set(paths(tomllib.loads(text)))
    for number, key in enumerate(values, start=1):
        assert lines[(key,)] == number
