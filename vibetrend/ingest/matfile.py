"""Matlab files up to version 7: their bytes taken apart into variables.

Follows "MAT-File Format" as published by MathWorks (Level 4 and Level 5). Every length is checked
against the bytes that are there, so that damage ends in a ReadError; the readers at hand (scipy
1.17) end the whole program on some damaged files.
"""

import math
import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vibetrend.errors import ReadError
from vibetrend.ingest.typed import MOST_CELLS, too_long

Value = NDArray[np.generic] | str | tuple[str, ...]

MOST_VARIABLES = 10_000
LONGEST_TEXT = 1000  # characters
DEEPEST = 4  # structs within structs
_LEVEL_5 = {b"IM": "<", b"MI": ">"}  # bytes 126 and 127
_NUMBERS = {
    1: "i1", 2: "u1", 3: "i2", 4: "u2", 5: "i4", 6: "u4", 7: "f4", 9: "f8", 12: "i8", 13: "u8",
}  # fmt: skip
_TEXTS = {1: "latin-1", 2: "latin-1", 4: "utf-16", 16: "utf-8", 17: "utf-16"}
_MATRIX, _COMPRESSED = 14, 15
_CELL, _STRUCT, _OBJECT, _CHAR, _SPARSE, _FIRST_NUMERIC, _LAST_NUMERIC = 1, 2, 3, 4, 5, 6, 15
_CLASSES = {_OBJECT: "object", _SPARSE: "sparse matrix", 16: "function", 17: "object"}
_IS_COMPLEX = 0x0800
_LEVEL_4_NUMBERS = ("f8", "f4", "i4", "i2", "u2", "u1")
_LEVEL_4_HEADER = 20  # bytes


@dataclass(kw_only=True)
class Variables:
    """What a file holds: numbers, texts and lists of texts, by their places within structs."""

    values: list[tuple[tuple[str, ...], Value]] = field(default_factory=list)
    aside: list[tuple[str, str]] = field(default_factory=list)  # names and what they are
    whole: bool = True
    seen: int = 0

    def count_one(self) -> None:
        """Count a variable, be it of use or not.

        Raises
        ------
        ReadError
            If they become too many.
        """
        self.seen += 1
        if self.seen > MOST_VARIABLES:
            raise ReadError(
                f"more than {MOST_VARIABLES} variables; save the recording's own in a file"
            )


def is_level_5(head: bytes) -> bool:
    """Say whether a file that begins so has the layout of versions 5 to 7."""
    return head[126:128] in _LEVEL_5 and head[124:126] in (b"\0\1", b"\1\0")


def is_level_4(head: bytes) -> bool:
    """Say whether a file that begins so has the layout of version 4."""
    return _level_4_order(head) != ""


def variables(data: bytes) -> Variables:
    """Return the variables of a file.

    Raises
    ------
    ReadError
        If it is damaged, or unpacks to more than can be held.
    """
    found = Variables()
    try:
        if is_level_5(data):
            _read_level_5(data, found)
        else:
            _read_level_4(data, found)
    except struct.error as error:
        raise damaged() from error
    return found


def damaged() -> ReadError:
    """Return the error for a file that contradicts itself."""
    return ReadError("damaged as a Matlab file; copy it again, or save the data as CSV")


def _level_4_order(head: bytes) -> str:
    """Return the byte order of a version 4 header; "" if it is none."""
    for order in "<>":
        if len(head) < _LEVEL_4_HEADER:
            return ""
        form, rows, columns, imaginary, name_length = struct.unpack_from(f"{order}5i", head)
        name = head[_LEVEL_4_HEADER : _LEVEL_4_HEADER + max(0, name_length)]
        if (
            form // 1000 == (order == ">")
            and form // 100 % 10 == 0
            and form // 10 % 10 < len(_LEVEL_4_NUMBERS)
            and form % 10 < 3
            and rows >= 0
            and columns >= 0
            and imaginary in (0, 1)
            and re.fullmatch(rb"[A-Za-z]\w{0,62}\0", name)
        ):
            return order
    return ""


def _read_level_4(data: bytes, found: Variables) -> None:
    place = 0
    while place < len(data):
        order = _level_4_order(data[place : place + 100])
        if not order:
            raise damaged()
        found.count_one()
        form, rows, columns, imaginary, name_length = struct.unpack_from(f"{order}5i", data, place)
        place += _LEVEL_4_HEADER
        name = data[place : place + name_length - 1].decode("ascii")
        place += name_length
        kind = np.dtype(f"{order}{_LEVEL_4_NUMBERS[form // 10 % 10]}")
        size = rows * columns * kind.itemsize * (1 + imaginary)
        if place + size > len(data):
            found.whole = False
            return
        if form % 10 == 2 or imaginary:
            found.aside.append((name, "sparse matrix" if form % 10 == 2 else "complex numbers"))
        else:
            flat = np.frombuffer(data, kind, rows * columns, place)
            if form % 10 == 0:
                found.values.append(((name,), flat.reshape((rows, columns), order="F")))
            elif flat.size <= LONGEST_TEXT and rows == 1:
                letters = bytes(int(code) % 256 for code in flat)
                found.values.append(((name,), letters.decode("latin-1")))
        place += size


def _read_level_5(whole: bytes, found: Variables) -> None:
    order = _LEVEL_5[whole[126:128]]
    data = memoryview(whole)
    budget = MOST_CELLS * 8 + 2**20
    place = 128
    while place + 8 <= len(data):
        kind, size = struct.unpack_from(f"{order}2I", data, place)
        body = data[place + 8 : place + 8 + size]
        if len(body) < size:
            found.whole = False
            return
        place += 8 + size
        if kind == _COMPRESSED:
            body = memoryview(_unpacked(body, max(1, budget)))
            budget -= len(body)
            kind, size = struct.unpack_from(f"{order}2I", body)
            body = body[8 : 8 + size]
        if kind != _MATRIX:
            raise damaged()
        found.count_one()
        _Elements(body, order).add_matrix(found, ())


def _unpacked(packed: memoryview, most: int) -> bytes:
    unpacker = zlib.decompressobj()
    try:
        body = unpacker.decompress(packed, most)
    except zlib.error as error:
        raise damaged() from error
    if unpacker.unconsumed_tail:
        raise too_long()
    if not unpacker.eof:
        raise damaged()
    return body


@dataclass
class _Elements:
    """The data elements within one matrix, taken one after the other."""

    data: memoryview
    order: str
    place: int = 0

    def next(self) -> tuple[int, memoryview]:
        """Return type and bytes of the next element."""
        kind, size = struct.unpack_from(f"{self.order}2I", self.data, self.place)
        begin = self.place + 8
        if kind >> 16:  # four bytes or less are packed into the tag
            kind, size, begin = kind & 0xFFFF, kind >> 16, self.place + 4
            self.place += 8
        else:
            self.place = begin + size + -size % 8
        body = self.data[begin : begin + size]
        if len(body) < size or (begin + size > self.place):
            raise damaged()
        return kind, body

    def numbers(self) -> NDArray[np.generic]:
        """Return the next element's numbers."""
        kind, body = self.next()
        if kind not in _NUMBERS:
            raise damaged()
        form = np.dtype(f"{self.order}{_NUMBERS[kind]}")
        if len(body) % form.itemsize:
            raise damaged()
        return np.frombuffer(body, form)

    def integers(self) -> list[int]:
        """Return the next element's numbers, which are whole."""
        numbers = self.numbers()
        if numbers.dtype.kind == "f":
            raise damaged()
        return [int(number) for number in numbers]

    def text(self) -> str:
        """Return the next element's text."""
        kind, body = self.next()
        if kind not in _TEXTS:
            raise damaged()
        coding = _TEXTS[kind]
        if coding == "utf-16":
            coding = f"utf-16-{'le' if self.order == '<' else 'be'}"
        return bytes(body).decode(coding, errors="replace")

    def add_matrix(self, found: Variables, within: tuple[str, ...], name: str = "") -> None:
        """Add what this matrix holds; in a struct its name is that of the field."""
        flags = self.integers()
        sort = flags[0] & 0xFF if flags else 0
        if sort == 17:  # has no dimensions
            _, own = self.next()
            found.aside.append((name or bytes(own).decode("latin-1"), _CLASSES[sort]))
            return
        shape = self.integers()
        if len(shape) < 2 or min(shape) < 0:
            raise damaged()
        count = math.prod(shape)
        own_name = self.text()  # empty in a struct
        path = (*within, name or own_name)
        if sort in _CLASSES or flags[0] & _IS_COMPLEX:
            found.aside.append((".".join(path), _CLASSES.get(sort, "complex numbers")))
        elif _FIRST_NUMERIC <= sort <= _LAST_NUMERIC:
            flat = self.numbers()
            if flat.size != count:
                raise damaged()
            found.values.append((path, flat.reshape(shape, order="F")))
        elif sort == _CHAR:
            if shape[0] == 1 and count and (text := self.text()) and len(text) <= LONGEST_TEXT:
                found.values.append((path, text))
        elif len(path) > DEEPEST:
            found.aside.append((".".join(path), "deeper struct"))
        elif sort == _STRUCT:
            for at, inner, field_name in self._fields(found, path, count):
                inner.add_matrix(found, at, field_name)
        elif sort == _CELL:
            self._add_cells(found, path, count)
        else:
            raise damaged()

    def _fields(
        self, found: Variables, path: tuple[str, ...], count: int
    ) -> Iterator[tuple[tuple[str, ...], "_Elements", str]]:
        """Yield place, content and name of each field that holds anything."""
        widths = self.integers()
        _, joined = self.next()
        if len(widths) != 1 or widths[0] < 1:
            raise damaged()
        width = widths[0]
        names = [
            bytes(joined[i : i + width]).split(b"\0")[0].decode("latin-1")
            for i in range(0, len(joined), width)
        ]
        for number in range(count if names else 0):
            at = path if count == 1 else (*path, str(number + 1))
            for each in names:
                if (inner := self._matrix(found)) is not None:
                    yield at, inner, each

    def _add_cells(self, found: Variables, path: tuple[str, ...], count: int) -> None:
        """Add a cell array if all its cells are texts."""
        cells = Variables()
        for number in range(count):
            if (inner := self._matrix(found)) is not None:
                inner.add_matrix(cells, (), str(number))
        texts = tuple(value for _, value in cells.values if isinstance(value, str))
        if len(texts) == count > 0:
            found.values.append((path, texts))
        else:
            found.aside.append((".".join(path), "cell array"))

    def _matrix(self, found: Variables) -> "_Elements | None":
        found.count_one()
        kind, body = self.next()
        if kind != _MATRIX:
            raise damaged()
        return _Elements(body, self.order) if body else None
