"""How a text table is laid out: encoding, separator, decimal mark, header, units, first row.

Every pair of separator and decimal mark is tried on the last lines of the file's head; the pair
that turns most fields into numbers or times wins. Everything else follows from that.
"""

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from vibetrend import units
from vibetrend.errors import ReadError, VibetrendError

Field = Literal["number", "time", "date", "missing", "text"]

HEAD = 64 * 1024  # bytes looked at
MOST_COLUMNS = 200
_MOST_LINES = 400
_SCORED_LINES = 100
SPACES = r"\s+"
# Earlier ones win ties. A comma may be both separator and decimal mark where fields are quoted.
_PAIRS = (
    *((separator, ".") for separator in ("\t", ";", ",", "|", SPACES)),
    *((separator, ",") for separator in ("\t", ";", ",", "|", SPACES)),
)
_NUMBER = {
    ".": re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"),
    ",": re.compile(r"[+-]?(?:\d+|\d*,\d+)(?:[eE][+-]?\d+)?"),
}
_CLOCK = re.compile(
    r"\d{1,2}:\d\d(?::\d\d.*)?(?:\s*[APap][Mm])?"
    r"|(?:\d{1,4}[-./ ]){2}\d{1,4}(?:[T ]+\d{1,2}:.*)?"
    r"|\d{1,4}[-. ]\w{3,4}[-. ]\d{1,4}(?:[T ]+\d{1,2}:.*)?"
)
MISSING = {"", "nan", "na", "n/a", "#n/a", "null", "none", "-", "--", "---", "?", "inf", "-inf"}
TIME_UNITS = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sek", "sekunden"), 1.0),
    **dict.fromkeys(("ms", "msec", "millis", "millisecond", "milliseconds"), 1e-3),
    **dict.fromkeys(("us", "µs", "μs", "usec", "micros", "microseconds"), 1e-6),
    **dict.fromkeys(("ns", "nsec", "nanos", "nanoseconds"), 1e-9),
    **dict.fromkeys(("min", "minutes"), 60.0),
}
"""Seconds in one unit of time, by how people write it."""


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Where a table's rows begin and how to take a row apart."""

    separator: str  # one character, or SPACES
    decimal: str
    quote: str
    types: tuple[Field, ...]  # of each column, by most of its fields
    names: tuple[str, ...]  # of each column; all "" without a header
    units: tuple[str, ...]  # from a row of units below the header; else ""
    preamble: tuple[str, ...]  # lines above the header
    start: int  # where the first row begins, bytes
    start_line: int  # its line, counted from 1
    long_integers: frozenset[int]  # columns whose digits a float64 cannot hold (epoch ns)

    def split(self, line: str) -> list[str]:
        """Return the fields of one line."""
        return _split(line, self.separator, self.quote)


def to_utf8(data: bytes) -> bytes:
    """Return text as UTF-8 without its byte order mark: BOM, else UTF-8, else cp1252."""
    for mark, encoding in (
        (b"\xef\xbb\xbf", "utf-8"),
        (b"\xff\xfe\x00\x00", "utf-32"),
        (b"\x00\x00\xfe\xff", "utf-32"),
        (b"\xff\xfe", "utf-16"),
        (b"\xfe\xff", "utf-16"),
    ):
        if data.startswith(mark):
            if encoding == "utf-8":
                return data[len(mark) :]
            return data.decode(encoding, errors="replace").encode()
    head = data[:1000]
    for odd, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        # Plain letters in UTF-16 have a zero byte each; a mark is often missing.
        if len(head) > 8 and head[odd::2].count(0) > 0.4 * len(head) > 9 * head[1 - odd :: 2].count(
            0
        ):
            return data.decode(encoding, errors="replace").encode()
    if data.isascii():
        return data
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.reason == "unexpected end of data":  # cut in the middle of a letter
            return data[: error.start]
        return data.decode("cp1252", errors="replace").encode()
    return data


def is_text(head: bytes) -> bool:
    """Say whether a file that begins so is text."""
    text = to_utf8(head).decode(errors="replace").rstrip("\0")
    # A glitch may leave a stray control character in a table; other formats are full of them.
    strange = len(re.findall(r"[\x00-\x08\x0b\x0e-\x1a\x1c-\x1f]", text))
    return bool(text.strip()) and strange <= len(text) / 200


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
    )


def kind(field: str, decimal: str) -> Field:
    """Return what one field holds."""
    field = field.strip()
    if field.lower() in MISSING:
        return "missing"
    if _NUMBER[decimal].fullmatch(field):
        return "number"
    if not _CLOCK.fullmatch(field):
        return "text"
    return "time" if ":" in field else "date"


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
    rows = [row for row in kinds if len(row) == width and "number" in row][-_SCORED_LINES:]
    types: list[Field] = []
    for column in range(width):
        seen = Counter(row[column] for row in rows if row[column] != "missing")
        types.append(seen.most_common(1)[0][0] if seen else "missing")
    return tuple(types)


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
        if not any(fields):
            continue
        numbers = sum(kind(field, decimal) in ("number", "time", "date") for field in fields)
        fits = width - 1 <= len(fields) <= width + 1 and (width > 1 or index == len(above) - 1)
        if not fits or numbers > len(fields) / 2 or len(block) == 2:
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
