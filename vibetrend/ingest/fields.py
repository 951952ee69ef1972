"""What one field of a text table holds: a number, a time, a date, nothing, or text."""

import math
import re
from typing import Literal

Field = Literal["number", "time", "date", "missing", "text"]

_SIGN, _POWER = r"[+\-−]?", r"(?:[eEdD][+-]?\d+)?"
_GROUP = r"['’\u00a0\u202f]"  # thousands, besides the mark that is not the decimal one
_NUMBER = {
    ".": re.compile(
        rf"{_SIGN}(?:\d+\.?\d*|\.\d+|\d{{1,3}}(?:,\d{{3}})+\.\d+|\d{{1,3}}(?:{_GROUP}\d{{3}})+(?:\.\d*)?){_POWER}"
    ),
    ",": re.compile(
        rf"{_SIGN}(?:\d+|\d*,\d+|\d{{1,3}}(?:\.\d{{3}})+,\d+|\d{{1,3}}(?:{_GROUP}\d{{3}})+(?:,\d*)?){_POWER}"
    ),
}
GROUPED = {
    ".": re.compile(r"[+-]?(?:0|[1-9]\d{0,2}(?:,\d{3})*)"),
    ",": re.compile(r"[+-]?(?:0|[1-9]\d{0,2}(?:\.\d{3})*)"),
}
"""Whole numbers with the mark between thousands that is not the decimal one, by the latter."""
LONGEST = 100
"""Letters of a field that may hold a number or a time; looking at long ones takes long."""
_WORD = r"[^\W\d_]"
_DATE = (
    r"(?:\d{1,4}[-./ ]){2}\d{1,4}"
    rf"|\d{{1,4}}\.?[-./ ]+(?:de +)?{_WORD}{{3,12}}\.?[-,./ ]+(?:de +)?\d{{2,4}}"
    rf"|{_WORD}{{3,12}}\.? +\d{{1,2}},? +\d{{4}}"
    r"|\d+ days?"
)
_OF_DAY = r"\d{1,2}:\d\d(?::\d\d)?(?:[.,:]\d+)?(?:\s*[APap]\.?[Mm]\.?)?"
_DOTTED = r"(?:[01]?\d|2[0-3])\.[0-5]\d\.[0-5]\d[.,]\d{1,9}"
DOTTED_TIME = re.compile(rf"((?:.*\D)?){_DOTTED}")
"""A time of day such as 23.59.59,995; without a fraction it may as well be a date."""
_CLOCK = re.compile(
    rf"(?:{_WORD}{{2,10}}\.?,? +)?(?:{_DATE})(?:,?[T ]+\d{{1,2}}:.*|[T ]+{_DOTTED})?"
    rf"|{_DOTTED}"
    rf"|{_OF_DAY}(?: *(?:Z|[+-]\d\d:?\d\d|[A-Z]{{3,5}}))?(?:,? +(?:{_DATE}))?"
    r"|\d{8}T\d{6}.*"
)
_MISSING = ("nan", "na", "n/a", "#n/a", "null", "none", "-", "--", "---", "?", "inf", "-inf")
MISSING = frozenset(
    ["", "NaN", "-Inf", *_MISSING, *map(str.upper, _MISSING), *map(str.title, _MISSING)]
)
"""How a missing value is written."""


def kind(field: str, decimal: str) -> Field:
    """Return what one field holds."""
    field = field.strip()
    if field in MISSING:
        return "missing"
    if len(field) > LONGEST:
        return "text"
    if _NUMBER[decimal].fullmatch(field):
        return "number"
    if not _CLOCK.fullmatch(field):
        return "text"
    is_time = ":" in field or "T" in field or DOTTED_TIME.fullmatch(field)
    return "time" if is_time else "date"


def number(field: str, decimal: str) -> float:
    """Return the number in a field, thousands separated or not; NaN if it is none.

    Examples
    --------
    >>> number("1.234,56", ",")
    1234.56
    """
    if len(field) > LONGEST or not _NUMBER[decimal].fullmatch(field):
        return math.nan
    plain = re.sub(rf"{_GROUP}|{re.escape(',.'.replace(decimal, ''))}", "", field)
    try:
        return float(re.sub("[dD]", "e", plain.replace(decimal, ".").replace("−", "-")))
    except OverflowError:
        return math.nan
