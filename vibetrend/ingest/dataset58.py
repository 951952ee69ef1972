"""Functions in universal files: dataset 58 in text and 58b in binary, and the units of 164.

Follows the formats as published by the University of Cincinnati, Structural Dynamics Research
Laboratory (UC-SDRL), universal file datasets 58 (with addenda A and B), 58b and 164. Records and
columns below are theirs.
"""

import math
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from vibetrend.errors import ReadError
from vibetrend.recording import FloatArray

_LINE = 1000  # bytes looked at in one go; a record has 80
_LINES = 20_000  # parsed at once
_GLUED = re.compile(rb"(?<=\d)(?=[+-]\d*\.\d)")  # between numbers that fill their fields


@dataclass(frozen=True, kw_only=True)
class Header:
    """The records before the data; texts are "" where the file says NONE."""

    title: str  # ID line 1
    created: str  # ID line 3
    function: int  # 1 for a time response
    node: int
    direction: int  # 1, 2, 3 for x, y, z; 4, 5, 6 about them; negative the other way
    double: bool
    complex: bool
    count: int
    even: bool
    start: float  # of an even abscissa
    step: float
    abscissa: int  # specific data type: 17 for time
    abscissa_unit: str
    ordinate: int  # specific data type: 12 for acceleration
    ordinate_unit: str


def datasets(stream: BinaryIO) -> Iterator[bytes]:
    """Yield the identifier record of each dataset, the stream standing behind it."""
    while True:
        skip(stream)
        while (line := stream.readline(_LINE)) and _is_delimiter(line):
            pass  # after damage, an end was taken for a beginning
        if not line:
            return
        yield line


def skip(stream: BinaryIO) -> None:
    """Go behind the next delimiter, or to the end."""
    for _ in _lines(stream):
        pass


def header(stream: BinaryIO) -> Header | None:
    """Read the eleven records before the data; None if the file ends within them.

    Raises
    ------
    ReadError
        If a number in them is none.
    """
    lines = [stream.readline(_LINE) for _ in range(11)]
    if not lines[-1].endswith(b"\n"):
        return None
    records = [line.decode("latin-1").rstrip() for line in lines]
    form = _whole(records[6][:10])
    count = _whole(records[6][10:20])
    if form not in (2, 4, 5, 6) or count < 0:
        raise _damaged()
    return Header(
        title=_text(records[0]),
        created=_text(records[2]),
        function=_whole(records[5][:5]),
        node=_whole(records[5][41:51]),
        direction=_whole(records[5][51:55]),
        double=form in (4, 6),
        complex=form in (5, 6),
        count=count,
        even=_whole(records[6][20:30]) == 1,
        start=_real(records[6][30:43]),
        step=_real(records[6][43:56]),
        abscissa=_whole(records[7][:10]),
        abscissa_unit=_text(records[7][47:67]),
        ordinate=_whole(records[8][:10]),
        ordinate_unit=_text(records[8][47:67]),
    )


def skip_data(stream: BinaryIO, identifier: bytes, head: Header) -> None:
    """Go behind the data that follow a header.

    Raises
    ------
    ReadError
        As :func:`real_data`, if they are binary.
    """
    if _is_binary(identifier):
        _, size = _binary_form(stream, identifier, head)
        stream.seek(size, os.SEEK_CUR)
    skip(stream)


def real_data(stream: BinaryIO, identifier: bytes, head: Header) -> tuple[FloatArray, bool]:
    """Read the data that follow a header, and say whether they are there to the end.

    Returns
    -------
    data : ndarray, shape (n,) or (n, 2)
        Values at an even abscissa, else abscissa and value.

    Raises
    ------
    ReadError
        If they are damaged or in a form no longer used.
    """
    if not _is_binary(identifier):
        return _text_data(stream, head)
    form, size = _binary_form(stream, identifier, head)
    block = stream.read(size)
    skip(stream)
    fields = np.frombuffer(block[: len(block) // form.itemsize * form.itemsize], dtype=form)
    with np.errstate(invalid="ignore"):  # some NaNs cannot be cast in silence
        columns = [fields[name].astype(np.float64) for name in fields.dtype.names or ()]
    data = columns[0] if head.even else np.column_stack(columns)
    return data, len(data) == head.count


def unit_factors(stream: BinaryIO) -> tuple[float, float] | None:
    """Read dataset 164: by what to divide lengths and forces to have them in m and N.

    None if it does not say.
    """
    stream.readline(_LINE)  # record 1: a code and words
    record = stream.readline(_LINE).decode("latin-1").upper().replace("D", "E")
    try:
        length, force = float(record[:25]), float(record[25:50])
    except ValueError:
        return None
    sound = 0 < length < math.inf and 0 < force < math.inf
    return (length, force) if sound else None


def _damaged() -> ReadError:
    return ReadError("a dataset 58 in it is damaged; copy the file again")


def _lines(stream: BinaryIO) -> Iterator[bytes]:
    """Yield lines up to a delimiter, which is taken too, or to the end."""
    while (line := stream.readline(_LINE)) and not _is_delimiter(line):
        yield line


def _is_delimiter(line: bytes) -> bool:
    return line[:6] == b"    -1" and not line[6:].strip()


def _is_binary(identifier: bytes) -> bool:
    return identifier[6:7].lower() == b"b"


def _whole(text: str) -> int:
    try:
        return int(text or "0") if text.strip() else 0
    except ValueError as error:
        raise _damaged() from error


def _real(text: str) -> float:
    try:
        value = float(text.upper().replace("D", "E")) if text.strip() else 0.0
    except ValueError as error:
        raise _damaged() from error
    if not math.isfinite(value):
        raise _damaged()
    return value


def _text(field: str) -> str:
    plain = field.strip()
    return "" if plain.upper() == "NONE" else plain


def _text_data(stream: BinaryIO, head: Header) -> tuple[FloatArray, bool]:
    width = 1 if head.even else 2
    needed = head.count * width
    blocks: list[FloatArray] = [np.zeros(0)]
    lines: list[bytes] = []
    have, ended = 0, False
    while have < needed and not ended:
        line = stream.readline(_LINE)
        ended = not line or _is_delimiter(line)
        if len(line) == _LINE:
            raise _damaged()
        if not ended:
            lines.append(line)
        elif not line:
            lines = lines[:-1]  # its last number may have lost digits
        if ended or len(lines) == _LINES or have + 6 * len(lines) >= needed:
            blocks.append(_numbers(lines))
            have += len(blocks[-1])
            lines = []
    if not ended and any(line.strip() for line in _lines(stream)):
        raise ReadError("a dataset 58 in it holds more values than it says; export it again")
    data = np.concatenate(blocks)[:needed]
    data = data[: len(data) // width * width]
    return data if head.even else data.reshape(-1, 2), len(data) == needed


def _numbers(lines: list[bytes]) -> FloatArray:
    text = b" ".join(lines).replace(b"D", b"E")
    try:
        return np.array(text.split(), dtype=np.float64)
    except ValueError:
        pass
    try:
        return np.array(_GLUED.sub(b" ", text).split(), dtype=np.float64)
    except ValueError as error:
        raise _damaged() from error


def _binary_form(
    stream: BinaryIO, identifier: bytes, head: Header
) -> tuple[np.dtype[np.void], int]:
    """Return the form of one datum and the bytes of them all; the stream stays where it was.

    The abscissa has single precision (addendum B), but some programs write it, or everything, in
    double precision whatever the header says. The delimiter's place tells.
    """
    order = {1: "<", 2: ">"}.get(_whole(identifier[7:13].decode("latin-1")))
    floating = _whole(identifier[13:19].decode("latin-1"))
    if floating in (1, 3):
        raise ReadError(
            "its numbers are in the form of computers before IEEE 754; export it as text (58)"
        )
    if order is None or floating not in (0, 2):
        raise _damaged()
    begin = stream.tell()
    left = stream.seek(0, os.SEEK_END) - begin
    forms = []
    for abscissa, value in ((4, 8 if head.double else 4), (8, 8)):
        values = [value] * (2 if head.complex else 1)
        sizes = values if head.even else [abscissa, *values]
        form = np.dtype([(f"f{i}", f"{order}f{size}") for i, size in enumerate(sizes)])
        forms.append((form, form.itemsize * head.count))
    for form, size in forms:
        stream.seek(begin + size)
        after = stream.read(100).lstrip(b"\r\n ")
        if after.startswith(b"-1") or size == left:
            stream.seek(begin)
            return form, size
    stream.seek(begin)
    form, size = forms[0]
    if size < left:
        raise _damaged()
    return form, left
