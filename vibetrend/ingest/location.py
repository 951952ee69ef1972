"""Where in a text table a phone stored its location: bytes whose digits need not be kept.

Columns of latitude and longitude, and lines above the table that name them or hold a point as in
ISO 6709 (``+54.3213+010.1349/``).
"""

import contextlib
import re
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from vibetrend.errors import ReadError
from vibetrend.ingest.encoding import wide
from vibetrend.ingest.headings import heading
from vibetrend.ingest.layout import SPACES, Layout

Ranges = tuple[tuple[int, int], ...]

_LATITUDE = {
    "lat", "latitude", "latitud", "latitudine", "breitengrad", "breedtegraad", "bredde",
    "breddegrad", "bredd", "breddgrad",
}  # fmt: skip
_LONGITUDE = {
    "lon", "lng", "long", "longitude", "longitud", "longitudine", "langengrad", "laengengrad",
    "lengtegraad", "lengdegrad", "laengde", "langd", "langdgrad", "lange",
}  # fmt: skip
_PLACE = _LATITUDE | _LONGITUDE | {"gps", "coordinates", "koordinaten", "coordenadas", "standort"}
_NAMED = re.compile(
    rf"(?<![^\W\d_])(?:{'|'.join(sorted(_PLACE, key=len, reverse=True))}|location|ubicacion|"
    rf"ubicación|längengrad|längd)(?![^\W\d_])(?P<rest>[^\d\n]{{0,20}}\d{{1,3}} ?[.,°].*)",
    re.IGNORECASE,
)
_ISO_6709 = re.compile(
    r"[+-]\d{2,6}(?:\.\d+)?[+-]\d{3,7}(?:\.\d+)?(?:[+-]\d+(?:\.\d+)?)?(?:CRS\w+)?/"
)
_MOST_PLACES = 2_000_000
_UNIT = {"utf-16-le": "<u2", "utf-16-be": ">u2", "utf-32-le": "<u4", "utf-32-be": ">u4"}


def in_table(data: bytes, layout: Layout) -> Ranges:
    """Return the ranges, first byte and end, in `data` as it was stored; () if there are none.

    Raises
    ------
    ReadError
        If there are too many of them.
    """
    columns = _columns(layout)
    if columns and data.count(layout.newline.encode()) * len(columns) > _MOST_PLACES:
        raise ReadError(
            "holds a location in more rows than can be left out of what is kept; cut out a minute, "
            "or delete the columns of latitude and longitude"
        )
    lines = [line for line in layout.preamble if _NAMED.search(line) or _ISO_6709.search(line)]
    if not columns and not lines:
        return ()
    encoding, mark = wide(data)
    unit = np.dtype(_UNIT.get(encoding, "u1"))
    letters = np.frombuffer(
        data[: mark + (len(data) - mark) // unit.itemsize * unit.itemsize], dtype=unit, offset=mark
    )
    newline = ord(layout.newline)
    ends = np.flatnonzero(letters == newline)
    begins = np.concatenate([[0], ends + 1])
    ends = np.append(ends, len(letters))
    found = list(_above(letters, begins[: layout.start_line - 1], ends))
    if columns:
        first = layout.start_line - 1
        found += _below(letters, begins[first:], ends[first:], columns, layout)
    places = [(start, end) for start, end in found if start < end]
    return tuple(
        (mark + start * unit.itemsize, mark + end * unit.itemsize) for start, end in places
    )


def is_place(name: str) -> bool:
    """Say whether a column so named holds a location."""
    return bool(heading(name, "").words & _PLACE)


def _columns(layout: Layout) -> list[int]:
    words = [heading(*pair).words for pair in zip(layout.names, layout.units, strict=True)]
    if not any(each & _LATITUDE for each in words):
        return []
    return [column for column, each in enumerate(words) if each & (_LATITUDE | _LONGITUDE)]


def _above(
    letters: NDArray[np.unsignedinteger], begins: NDArray[np.intp], ends: NDArray[np.intp]
) -> Iterator[tuple[int, int]]:
    for start, end in zip(begins.tolist(), ends.tolist(), strict=False):
        line = _text(letters[start:end])
        with contextlib.suppress(UnicodeError):  # each byte is a letter so far
            if named := _NAMED.search(line.encode("latin-1").decode("utf-8")):
                prefix = named.string[: named.start("rest")]
                yield start + len(prefix.encode()), end
                continue
        if named := _NAMED.search(line):
            yield start + named.start("rest"), end
        for point in _ISO_6709.finditer(line):
            yield start + point.start(), start + point.end()


def _below(
    letters: NDArray[np.unsignedinteger],
    begins: NDArray[np.intp],
    ends: NDArray[np.intp],
    columns: list[int],
    layout: Layout,
) -> list[tuple[int, int]]:
    """Return where the fields of some columns stand in the rows."""
    width = len(layout.types)
    regular = np.zeros(len(begins), dtype=bool)
    found: list[tuple[int, int]] = []
    quote = ord(layout.quote)
    if layout.separator != SPACES and not (letters[begins[0] :] == quote).any():
        marks = np.flatnonzero(letters == ord(layout.separator))
        low, high = np.searchsorted(marks, begins), np.searchsorted(marks, ends)
        regular = high - low == width - 1
        rows = np.flatnonzero(regular)
        for column in columns:
            start = begins[rows] if column == 0 else marks[low[rows] + column - 1] + 1
            end = ends[rows] if column == width - 1 else marks[low[rows] + column]
            found += zip(start.tolist(), end.tolist(), strict=True)
    for row in np.flatnonzero(~regular).tolist():
        fields = _fields(_text(letters[begins[row] : ends[row]]), layout)
        found += [
            (int(begins[row]) + start, int(begins[row]) + end)
            for column, (start, end) in enumerate(fields)
            if column in columns
        ]
    return found


def _fields(line: str, layout: Layout) -> list[tuple[int, int]]:
    """Return where the fields of one line stand."""
    quote = re.escape(layout.quote)
    if layout.separator == SPACES:
        return [match.span() for match in re.finditer(rf"{quote}[^{quote}]*{quote}|\S+", line)]
    other = f"[^{re.escape(layout.separator)}{quote}]"
    pattern = rf"(?:^|{re.escape(layout.separator)})((?:{quote}[^{quote}]*{quote}?|{other}+)*)"
    return [match.span(1) for match in re.finditer(pattern, line)]


def _text(letters: NDArray[np.unsignedinteger]) -> str:
    # Letter by letter, so that places in it are places in the file.
    return "".join(map(chr, np.minimum(letters.astype(np.uint32), 0xD7FF).tolist()))
