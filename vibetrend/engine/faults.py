"""What is wrong in an engine file, in plain words with key and line."""

import math
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel, ValidationError

from vibetrend.engine.places import Path, key_lines
from vibetrend.quoting import named, quoted

Tables = Mapping[str, type[BaseModel]]
"""What each table may hold, by its dotted name; "" is the top, ``*`` stands for any name."""

_LONGEST = 700  # characters of faults told at once; there is a next time


class ContradictionError(ValueError):
    """Values that do not go together, each fault with the key to look at first."""

    def __init__(self, *faults: tuple[Path, str]) -> None:
        super().__init__("; ".join(sentence for _, sentence in faults))
        self.faults = faults


def fault_words(error: ValidationError, tables: Tables, *, text: str = "") -> str:
    """Return each fault: its line in the text, the key, what stands there, what would be right.

    Not more of them than can be read, and how many more there are.
    """
    lines = key_lines(text)
    found = [
        (_line(path, lines), sentence)
        for fault in error.errors()
        for path, sentence in _faults(fault, tables)
    ]
    said = [
        f"line {line}: {sentence}" if line else sentence
        for line, sentence in sorted(found, key=lambda each: each[0])
    ]
    told = 1
    while told < len(said) and len("; ".join(said[: told + 1])) <= _LONGEST:
        told += 1
    more = [f"and {len(said) - told} more"] if told < len(said) else []
    return "; ".join([*said[:told], *more])


def _faults(fault: Any, tables: Tables) -> Iterator[tuple[Path, str]]:
    path: Path = tuple(str(step) for step in fault["loc"] if step != "[key]")
    if fault["type"] != "value_error":
        yield path, _plainly(fault, path, tables)
        return
    found = fault["ctx"]["error"]
    assert isinstance(found, ContradictionError), found
    for inside, sentence in found.faults:
        at = (*path, *inside)
        yield at, f"{_named(at)}: {sentence}" if path else sentence


def _line(path: Path, lines: Mapping[Path, int]) -> int:
    """Return the line of a key, or of the table it is missing from; 0 where there is none."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 0


def _named(path: Path) -> str:
    """Return how a key is called: ``damper.type``, ``driven part 2, ratio``."""
    head, rest = "", path
    if path[:1] == ("driven",) and len(path) > 1 and _is_number(path[1]):
        head, rest = f"driven part {int(path[1]) + 1}", path[2:]
    keys = ".".join(named(step) for step in rest if not _is_number(step))
    entries = [f"entry {int(step) + 1}" for step in rest if _is_number(step)]
    return ", ".join(part for part in (head, keys, *entries) if part)


def _is_number(step: str) -> bool:
    """Say whether a step of a path is the number of an entry; keys may be digits, too."""
    return step.isdecimal() and len(step) < 6


def _plainly(fault: Any, path: Path, tables: Tables) -> str:
    """Return what is wrong with one value; the types are those of pydantic."""
    name, limits = _named(path), fault.get("ctx", {})
    value = fault["input"]
    if isinstance(value, float) and not math.isfinite(value):
        return f"{name} is {value}: must be a number that can be written out"
    match fault["type"]:
        case "missing":
            return f"{name} is missing; add it{_such_as(path)}"
        case "extra_forbidden":
            return f"{name} is not a known key; {_meant(path, tables)}"
        case "literal_error":
            needed = f"must be {limits['expected']}"
        case "greater_than":
            needed = f"must be above {limits['gt']:g}"
        case "greater_than_equal":
            needed = f"must be {limits['ge']:g} or more"
        case "less_than":
            needed = f"must be below {limits['lt']:g}"
        case "less_than_equal":
            needed = f"must be {limits['le']:g} or less"
        case "multiple_of":
            needed = "must be an even number"
        case "float_type" | "float_parsing" | "finite_number":
            needed = "must be a number, such as 1.5"
        case "int_type" | "int_parsing" | "int_from_float" | "int_parsing_size":
            needed = "must be a whole number, such as 6"
        case "string_type":
            needed = "must be text in quotes"
        case "string_unicode":
            needed = "must be text that can be written as UTF-8"
        case "string_too_short":
            needed = "must not be empty"
        case "string_pattern_mismatch":
            needed = "line feeds and control characters are no name"
        case "tuple_type":
            tables_wanted = path[-1] == "driven"
            needed = "must be tables, [[driven]]" if tables_wanted else "must be a list, [1, 2, 3]"
        case "model_type" | "dict_type":
            needed = f"must be a table, {_table(path)}"
        case _:  # no model here asks for more; better said by the checker than not at all
            needed = str(fault["msg"])
    return f"{name} is {quoted(value)}: {needed}"


def _such_as(path: Path) -> str:
    examples = {
        "unit": ': the unit of its numbers, such as "mm" or "N m"',
        "source": ': where it stands written, such as "workshop manual, sheet 4"',
    }
    if path[0] == "driven" and path[-1] == "ratio":
        return ", or crank_pulley_mm and pulley_mm"
    return examples.get(path[-1], "")


def _inside(table: str) -> str:
    brackets = "[[driven]]" if table == "driven" else f"[{table.replace('*', 'NAME')}]"
    return f"in {brackets}" if table else "above the first [table]"


def _table(path: Path) -> str:
    if path[0] == "driven":
        return "[[driven]]"
    return f"[{'.'.join(path)}]"


def _meant(path: Path, tables: Tables) -> str:
    """Guess what an unknown key was meant to be."""
    key, here = path[-1], _table_name(path[:-1], tables)
    near = get_close_matches(key, list(tables[here].model_fields), n=1)
    if near:
        return f"did you mean {near[0]}?"
    for name, table in tables.items():
        if key in table.model_fields and name != here:
            return f"it belongs {_inside(name)}"
    elsewhere = {each: name for name, table in tables.items() for each in table.model_fields}
    if near := get_close_matches(key, list(elsewhere), n=1):
        return f"did you mean {near[0]} {_inside(elsewhere[near[0]])}?"
    return f"known are {', '.join(tables[here].model_fields)}"


def _table_name(path: Path, tables: Tables) -> str:
    name = ".".join(step for step in path if not _is_number(step))
    if name in tables:
        return name
    return f"{name.rpartition('.')[0]}.*"
