"""What the lines above a table state of all of it: sample rate or interval, unit, column names.

Only statements that can hardly mean something else; where two contradict each other, neither
counts.
"""

import math
import re
from dataclasses import replace

from vibetrend import units
from vibetrend.ingest import fields
from vibetrend.ingest.layout import TIME_UNITS, Columns, Layout

_IS = r"[\s\"':=;,|]*"  # between what is stated and its value
_NUMBER = r"(?P<number>\d[\d.,]*(?:e[+-]?\d+)?)"
_RATE = re.compile(
    r"(?:sampl\w*|abtast|échantillonnage|muestreo|campionamento|amostragem|data|output)"
    rf"(?:[\s_-]*(?:rate|freq\w*)\D{{0,30}}?|\D{{0,12}}?){_NUMBER}\s*(?P<unit>k?(?:hz|sps|s/s)|\W*$)",
    re.IGNORECASE,
)
# A number without Hz is a rate only where it is called one: "Samples: 200" is none.
_CALLED_RATE = re.compile(r"rate|fr[eé][qc]", re.IGNORECASE)
_INTERVAL = re.compile(
    r"^\W*(?:(?:(?:sampl\w*|scan|log\w*|data|time|x)[\s_-]*)?interval\w*|"
    r"sampl\w*[\s_-]*(?:period|step)|(?:time|x)[\s_-]*(?:step|increment)|(?:delta|Δ)[\s_-]*t|dt|"
    r"abtast(?:intervall|zeit|periode)|période d[e'’]\s?échantillonnage)"
    rf"(?:\s*[(\[](?P<before>[^\W\d]+)[)\]])?{_IS}{_NUMBER}[\s\"';,|]*(?P<unit>[^\W\d]+)?[\s\"';,|]*$",
    re.IGNORECASE,
)
_SMALLEST_HZ = 1e-6  # so slow is nothing that is recorded
_SLOWEST_HZ = 4.0  # anything slower is no interval of samples
_UNIT = re.compile(
    r"^\W*(?:(?:vertical|y|signal|data|values?|sensor|amplitude|channel|measurement|acceleration|"
    r"velocity|mess)[\s_-]*)?"
    r"(?:units?|einheit|unités?|unidad|unidade|unità|eenheid|enhed|enhet|yksikkö|単位|单位|단위|"
    r"единица)[\s\"':=;,|]+(?P<unit>[^\s\"';,|].*?)[\s\"';,|]*$",
    re.IGNORECASE,
)
_NAMES = re.compile(
    rf"^\W*(?:channels?|columns?|fields|axes|kanäle|spalten|achsen|canaux|colonnes|canales|"
    rf"columnas|canali|colonne|kanalen|kolommen|kanaler){_IS}(?P<names>.+)$",
    re.IGNORECASE,
)


def with_names(layout: Layout) -> Layout:
    """Return a layout whose columns have the names listed above it, if it has no header."""
    if any(layout.names):
        return layout
    for line in layout.shown_above():
        if match := _NAMES.match(line):
            names = tuple(name for name in re.split(r"[\s,;|/\"]+", match["names"]) if name)
            if len(names) == len(layout.types) and not any(map(str.isdecimal, names)):
                return replace(layout, names=names)
    return layout


def rate(columns: Columns) -> float | None:
    """Return the sample rate stated above a table, Hz, perhaps as the time between samples."""
    found = {
        each
        for line in columns.shown_above()
        for each in (_rate(line, columns.decimal), _by_interval(line, columns.decimal))
        if each is not None
    }
    # A time between samples has few digits.
    return min(found) if found and max(found) < 1.001 * min(found) else None


def unit(columns: Columns) -> str:
    """Return the unit of the values stated above a table; "" if there is none or several."""
    found = {
        text
        for line in columns.shown_above()
        if (match := _UNIT.match(line))
        and units.is_known(text := match["unit"].strip("[]()"))
        and text != "1"
    }
    return found.pop() if len(found) == 1 else ""


def _rate(line: str, decimal: str) -> float | None:
    match = _RATE.search(line)
    if match is None:
        return None
    named = match["unit"].strip(" \"',;|)").lower()
    if not named and not _CALLED_RATE.search(line):
        return None
    number = _number(match["number"], decimal) * (1000 if named.startswith("k") else 1)
    return number if number >= _SMALLEST_HZ else None


def _by_interval(line: str, decimal: str) -> float | None:
    match = _INTERVAL.match(line)
    factor = match and TIME_UNITS.get((match["unit"] or match["before"] or "").lower())
    if not match or not factor:
        return None  # 2.5 what?
    step = _number(match["number"], decimal) * factor
    return 1 / step if 0 < step <= 1 / _SLOWEST_HZ else None


def _number(text: str, decimal: str) -> float:
    """Return a number above a table, whose marks may be others than those in it."""
    text = text.rstrip(".,")
    if re.fullmatch(r"\d{1,3}(?:[.,]\d{3})+", text):  # thousands, or decimals
        text = text.replace("," if decimal == "." else ".", "")
    value = fields.number(text, decimal)
    if math.isnan(value):
        value = fields.number(text, "," if decimal == "." else ".")
    return 0.0 if math.isnan(value) else value
