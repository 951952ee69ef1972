"""What the cells of a table may hold, whoever wrote them."""

import math
import re
from typing import Any, Literal

import sqlalchemy as sa

Kind = Literal["integer", "number", "yes/no", "text"]

_INTEGER = re.compile(r"-?[0-9]{1,19}")
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?(e[-+]?[0-9]+)?")
_YES_NO = {"true": 1, "false": 0}
_NULL = r"\N"
_HALF_A_LETTER = re.compile(
    "[\ud800-\udfff]"
)  # how bytes that are no UTF-8 come out of the database


def kind_of(column: sa.Column[Any]) -> Kind:
    """Return what a column holds."""
    if isinstance(column.type, sa.Boolean):
        return "yes/no"
    if isinstance(column.type, sa.Float):
        return "number"
    return "integer" if isinstance(column.type, sa.Integer) else "text"


def wrong(column: sa.Column[Any], value: Any) -> str:
    """Say what is wrong with the type of a value as the database keeps it; "" if nothing."""
    kind = kind_of(column)
    if value is None:
        return "" if column.nullable else f"it is empty, {_NEEDED[kind]} is needed"
    if kind == "number" and type(value) is float and not math.isfinite(value):
        return f"{value} is no number that can be kept"
    if kind == "text" and isinstance(value, str) and _HALF_A_LETTER.search(value):
        return "it holds bytes that are no text"
    right = {"number": float, "text": str}.get(kind, int)
    if type(value) is not right or (kind == "yes/no" and value not in (0, 1)):
        return f"it holds {_shown(value)}, {_NEEDED[kind]} is needed"
    return ""


def as_text(column: sa.Column[Any], value: Any) -> str:
    """Return a value as it stands in a CSV file, from which it comes back to the last digit."""
    kind = kind_of(column)
    if kind == "text":
        if not column.nullable:
            return str(value)
        # Empty text and no text are two things, and CSV has one: see `HOW_TO_READ`.
        return _NULL if value is None else f"\\{value}" if value[:1] == "\\" else value
    if value is None:
        return ""
    if kind == "yes/no":
        return "true" if value else "false"
    return repr(value)


def from_text(column: sa.Column[Any], text: str) -> Any:
    """Return the value that a text of a CSV file stands for, as the database keeps it.

    Raises
    ------
    ValueError
        If it stands for none; says what is wrong.
    """
    kind = kind_of(column)
    if kind == "text":
        if not column.nullable:
            return text
        return None if text == _NULL else text.removeprefix("\\")
    value: float | str | None
    if not text:
        value = None
    elif kind == "yes/no":
        value = _YES_NO.get(text, text)
    elif kind == "number":
        value = float(text) if _NUMBER.fullmatch(text) else text
    else:
        value = int(text) if _INTEGER.fullmatch(text) else text
    return checked(column, value)


def checked(column: sa.Column[Any], value: Any) -> Any:
    """Return a value that has the type of its column.

    Raises
    ------
    ValueError
        If it has not; says what is wrong.
    """
    if fault := wrong(column, value):
        raise ValueError(fault)
    if kind_of(column) == "integer" and value is not None and not -(2**63) <= value < 2**63:
        raise ValueError(f"{value} is too large a number")
    return value


HOW_TO_READ = [
    "One file for each table, UTF-8; the first row names the columns.",
    "Numbers have a decimal point and all their digits: read as double precision they are the "
    "numbers of the logbook to the last bit.",
    "Times are UTC, dates and times as ISO 8601 has them.",
    "In CSV, a number or yes/no without a value is empty, yes/no is true or false, and texts may "
    "hold line breaks within their quotes.",
    r"In CSV, a text that may be missing and is missing is \N; one of those that begins with \ "
    r"has one more in front.",
    "originals/ holds each recording and photo as it was added, named by its SHA-256: the first "
    "two digits are the folder, the other 62 the file.",
]

_NEEDED: dict[Kind, str] = {
    "integer": "a whole number",
    "number": "a number",
    "yes/no": "true or false",
    "text": "a text",
}


def _shown(value: Any) -> str:
    text = ascii(value)
    return text if len(text) <= 40 else f"{text[:40]}..."
