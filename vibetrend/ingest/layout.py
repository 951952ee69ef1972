"""How a text table is laid out: separator, decimal mark, header, units, first row.

Every pair of separator and decimal mark is tried on the last lines of the file's head; the pair
that turns most fields into numbers or times wins. Everything else follows from that.
"""

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from vibetrend import units
from vibetrend.errors import ReadError, VibetrendError
from vibetrend.ingest.fields import GROUPED, Field, kind
from vibetrend.quoting import quoted

HEAD = 64 * 1024  # bytes looked at
MOST_COLUMNS = 200
_MOST_LINES = 400
_LONGEST_STATED = 300  # letters
_SCORED_LINES = 100
SPACES = r"\s+"
_RULER = re.compile(r"(?=.*[-=_]{3})[-=_+|:\s]++")  # a line drawn below headings
# Earlier ones win ties. A comma may be both separator and decimal mark where fields are quoted.
_PAIRS = (
    *((separator, ".") for separator in ("\t", ";", ",", "|", SPACES)),
    *((separator, ",") for separator in ("\t", ";", ",", "|", SPACES)),
)
TIME_UNITS = {
    **dict.fromkeys(
        ("s", "sec", "secs", "second", "seconds", "sek", "sekunde", "sekunden", "seconde",
         "secondes", "segundo", "segundos", "secondo", "secondi", "seconden", "sekund", "sekunder"),
        1.0,
    ),
    **dict.fromkeys(
        ("ms", "msec", "msecs", "millis", "millisecond", "milliseconds", "millisekunden",
         "millisecondes", "milisegundos", "millisecondi", "milliseconden", "millisekunder"),
        1e-3,
    ),
    **dict.fromkeys(
        ("us", "µs", "μs", "usec", "usecs", "micros", "microsecond", "microseconds",
         "mikrosekunden", "microsecondes", "microsegundos", "microsecondi", "mikrosekunder"),
        1e-6,
    ),
    **dict.fromkeys(("ns", "nsec", "nanos", "nanosecond", "nanoseconds", "nanosekunden"), 1e-9),
    **dict.fromkeys(("min", "minute", "minutes", "minuten"), 60.0),
}  # fmt: skip
"""Seconds in one unit of time, by how people write it."""


@dataclass(frozen=True, kw_only=True)
class Columns:
    """What a table says of its columns; each tuple but the last has one entry per column."""

    types: tuple[Field, ...]  # by most of its fields
    names: tuple[str, ...]  # all "" without a header
    units: tuple[str, ...]  # from a row of units below the header; else ""
    preamble: tuple[str, ...] = ()  # lines above the header
    decimal: str = "."

    def shown_above(self) -> list[str]:
        """Return the lines above the header without what of them is too long to state anything."""
        return [line[:_LONGEST_STATED] for line in self.preamble]

    def label(self, column: int) -> str:
        """Return how to speak of a column to a person."""
        name = self.names[column]
        return f"column {quoted(name)}" if name else f"column {column + 1}"


@dataclass(frozen=True, kw_only=True)
class Layout(Columns):
    """Where a text table's rows begin and how to take a row apart."""

    separator: str  # one character, or SPACES
    quote: str
    newline: str
    padded: bool  # whether separators have spaces behind them
    gaps: bool  # whether some numbers are missing
    start: int  # where the first row begins, bytes
    start_line: int  # its line, counted from 1
    long_integers: frozenset[int]  # columns whose digits a float64 cannot hold (epoch ns)
    grouped: frozenset[int]  # columns of whole numbers with a mark between thousands

    def split(self, line: str) -> list[str]:
        """Return the fields of one line."""
        return _split(line, self.separator, self.quote)


def sniff(text: bytes) -> Layout:
    """Work out the layout of a table from the beginning of its UTF-8 text.

    Raises
    ------
    ReadError
        If there is no table of numbers in it.
    """
    ends = [line.decode(errors="replace") for line in text[:HEAD].splitlines(keepends=True)]
    if len(text) > HEAD and len(ends) > 1:
        ends.pop()  # cut in the middle
    lines = [line.rstrip("\r\n") for line in ends[:_MOST_LINES]]
    quote = _quote(lines)
    separator, decimal, width = _best_pair(lines, quote)
    rows = [_split(line, separator, quote) for line in lines]
    kinds = [[kind(field, decimal) for field in row] for row in rows]
    types = _column_types(kinds, width)
    grouped = _grouped(rows, kinds, width, decimal)
    for column in grouped:
        types = (*types[:column], "number", *types[column + 1 :])
        for row, of_row in zip(rows, kinds, strict=True):
            if column < len(row) and GROUPED[decimal].fullmatch(row[column]):
                of_row[column] = "number"
    first = next((i for i, row in enumerate(kinds) if _is_row(row, types)), None)
    if first is None or sum(_is_row(row, types) for row in kinds) < 2:
        raise no_table()
    names, unit_row, header = _header(lines[:first], types, separator, quote, decimal)
    if len(names) < width and len(rows[first]) == width:
        # Programs that write a row number often leave its name out; else the last field is spare.
        spare = all(row[-1] == "missing" for row in kinds[first:] if len(row) == width)
        fill = [""] * (width - len(names))
        names, unit_row = (
            (names + fill, unit_row + fill) if spare else (fill + names, fill + unit_row)
        )
    long_integers = {
        column
        for row in rows[first:]
        for column, field in enumerate(row)
        if column < width and re.fullmatch(r"\d{16,19}", field)
    }
    return Layout(
        separator=separator,
        decimal=decimal,
        quote=quote,
        types=types,
        names=tuple(names[:width]),
        units=tuple(unit_row[:width]),
        preamble=tuple(lines[:header]),
        start=sum(len(line.encode()) for line in ends[:first]),
        start_line=first + 1,
        long_integers=frozenset(long_integers),
        grouped=grouped,
        newline="\n" if any(line.endswith("\n") for line in ends) else "\r",
        padded=separator != SPACES and any(separator + " " in line for line in lines[first:]),
        gaps=any(
            field == "missing" and of_column == "number"
            for row in kinds[first:]
            for field, of_column in zip(row, types, strict=False)
        ),
    )


def is_unit(text: str) -> bool:
    """Say whether a header field is a unit and nothing else."""
    plain = text.strip().strip("[]()").strip()
    if plain in TIME_UNITS:
        return True
    try:
        units.unit(plain)
    except VibetrendError:
        return False
    return not plain.isdigit()


def no_table() -> ReadError:
    """Return the error for text that holds no table."""
    return ReadError(
        "text, but no table of numbers was found in it; give a table with one row per sample"
    )


def _split(line: str, separator: str, quote: str) -> list[str]:
    if separator == SPACES:
        line, separator = line.replace("\t", " ").strip(), " "
    try:
        parts = next(
            csv.reader([line], delimiter=separator, quotechar=quote, skipinitialspace=True), []
        )
    except csv.Error as error:
        raise no_table() from error
    return [part.strip() for part in parts]


def _quote(lines: Sequence[str]) -> str:
    single = sum(bool(re.search(r"(?:^|[,;|\s])'[^']*'(?:$|[,;|\s])", line)) for line in lines)
    return "'" if single > sum('"' in line for line in lines) else '"'


def _best_pair(lines: Sequence[str], quote: str) -> tuple[str, str, int]:
    """Return separator, decimal mark and number of columns."""
    sample = [line for line in lines if line.strip()][-_SCORED_LINES:]
    best, chosen = 0.0, None
    for separator, decimal in _PAIRS:
        if separator not in ("\t", SPACES) and not any(separator in line for line in sample):
            continue  # one column, as for the tab before it
        rows = [_split(line, separator, quote) for line in sample]
        if separator == "," and _looks_like_decimal_commas(rows):
            continue
        kinds = [[kind(field, decimal) for field in row] for row in rows]
        widths = Counter(len(row) for row in kinds if "number" in row)
        if not widths:
            continue
        width, _ = max(widths.items(), key=lambda entry: (entry[1], entry[0]))
        score = sum(
            sum(field in ("number", "time", "date") for field in row) - row.count("text")
            for row in kinds
            if len(row) == width and "number" in row
        )
        if score > best and width <= MOST_COLUMNS:
            best, chosen = score, (separator, decimal, width)
    if chosen is None:
        raise no_table()
    return chosen


def _looks_like_decimal_commas(rows: Sequence[Sequence[str]]) -> bool:
    # One column such as "-0,153": two whole numbers, the first of them minus nought.
    pairs = [row for row in rows if len(row) == 2 and all(re.fullmatch(r"-?\d+", f) for f in row)]
    return (
        len(pairs) > len(rows) / 2
        and any(row[0] == "-0" for row in pairs)
        and not any(row[1].startswith("-") for row in pairs)
    )


def _column_types(kinds: Sequence[Sequence[Field]], width: int) -> tuple[Field, ...]:
    rows = [row for row in kinds if len(row) == width and "number" in row]
    types: list[Field] = []
    for column in range(width):
        seen = Counter(row[column] for row in rows[-_SCORED_LINES:])
        if set(seen) <= {"missing"}:
            seen = Counter(row[column] for row in rows)
        del seen["missing"]
        types.append(seen.most_common(1)[0][0] if seen else "missing")
    return tuple(types)


def _grouped(
    rows: Sequence[Sequence[str]], kinds: Sequence[Sequence[Field]], width: int, decimal: str
) -> frozenset[int]:
    """Return the columns whose numbers have a mark between thousands that is no decimal one.

    "999.505" may be either; only where all are such and one is like "1.000.000" it is certain.
    """
    sample = [
        row
        for row, of_row in zip(rows, kinds, strict=True)
        if len(row) == width and "number" in of_row
    ][-_MOST_LINES:]
    mark = "." if decimal == "," else ","
    found = set()
    for column in range(width):
        present = [row[column] for row in sample if kind(row[column], decimal) != "missing"]
        certain = any(field.count(mark) > 1 for field in present)
        if certain and all(GROUPED[decimal].fullmatch(field) for field in present):
            found.add(column)
    return frozenset(found)


def _is_row(row: Sequence[Field], types: Sequence[Field]) -> bool:
    return (
        len(row) == len(types)
        and "number" in row
        and all(
            field in (column, "missing") or column in ("text", "missing")
            for field, column in zip(row, types, strict=True)
        )
    )


def _header(
    above: Sequence[str], types: Sequence[Field], separator: str, quote: str, decimal: str
) -> tuple[list[str], list[str], int]:
    """Return names, units and the number of lines above both."""
    width = len(types)
    block: list[tuple[int, list[str]]] = []  # from the rows upward
    for index in range(len(above) - 1, -1, -1):
        line = re.sub(r"^\s*(?:#+|%+|//)\s*", "", above[index])
        fields = _split(line, separator, quote)
        if not any(fields) or _RULER.fullmatch(line):
            continue
        numbers = sum(kind(field, decimal) in ("number", "time", "date") for field in fields)
        fits = width - 1 <= len(fields) <= width + 1 and (width > 1 or index == len(above) - 1)
        states = fields[0].endswith((":", "=")) and numbers > 0  # "Points: 200"
        if not fits or numbers > len(fields) / 2 or states or len(block) == 2:
            break
        block.append((index, fields))
    if not block:
        return [""] * width, [""] * width, len(above)
    first_is_units = sum(map(is_unit, block[0][1])) * 2 >= sum(map(bool, block[0][1]))
    if not first_is_units:
        return block[0][1], [""] * len(block[0][1]), block[0][0]
    if len(block) == 1:
        return [""] * width, block[0][1] + [""] * (width - len(block[0][1])), block[0][0]
    names = block[1][1]
    return names, (block[0][1] + [""] * len(names))[: len(names)], block[1][0]
