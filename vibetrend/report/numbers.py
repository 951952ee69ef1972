"""Numbers in columns, as every table beside a chart has them."""

import math
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from vibetrend.report.words import NOTHING, fixed


@dataclass(frozen=True, kw_only=True)
class Column:
    """A heading of a table: a word and, beside it, a unit."""

    name: str
    unit: str = ""


@dataclass(frozen=True, kw_only=True)
class Row:
    """A row of numbers, its name before them and its words after them."""

    name: str
    cells: tuple[Markup, ...]
    tag: str = ""  # beside the name
    words: str | None = None
    faint: bool = False  # cannot be told from noise


@dataclass(frozen=True, kw_only=True)
class Table:
    """Numbers in columns."""

    first: str  # heading of the names
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    last: str = ""  # heading of the words; "" where there are none


def cell(value: Any, digits: int = 3) -> Markup:
    """Return a number with so many significant digits, a dash where it has no meaning."""
    if value is None or not math.isfinite(value):
        return Markup(NOTHING)
    form = Markup('<data value="{}">{}</data>')
    return form.format(repr(float(value)), f"{value:#.{digits}g}".rstrip(".") if value else "0")


def plus_minus(value: float, error: float, *, sign: bool = False) -> Markup:
    """Return a value with its standard error for a table; a dash where not known."""
    if not math.isfinite(value):
        return Markup(NOTHING)
    told, *rest = with_error(value, error, sign=sign).split()
    form = Markup('<data value="{}">{}</data>').format(repr(float(value)), told)
    return form + "\N{NO-BREAK SPACE}".join(["", *rest])


def with_error(value: float, error: float, *, sign: bool = False) -> str:
    """Return a value with its standard error, two digits of that, e.g. ``133.95 ± 0.40``."""
    if not (math.isfinite(error) and error > 0):
        return fixed(value, decimals(0.05 * abs(value)), sign=sign)
    digits = decimals(error)
    return f"{fixed(value, digits, sign=sign)} ± {fixed(error, digits)}"


def decimals(error: float) -> int:
    """Return the decimals at which a standard error has two digits."""
    if not 0 < error < math.inf:
        return 2
    return min(max(0, 1 - math.floor(math.log10(error))), 9)
