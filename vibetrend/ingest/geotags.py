"""Where in a sound or video file a phone wrote its location: bytes whose digits need not be kept.

Points as in ISO 6709 (``+54.3213+010.1349+012.5/``), which all of the usual boxes and tags hold
as text, and coordinates named as in Exif.
"""

import re
from typing import BinaryIO

_BLOCK = 2**20
_OVERLAP = 128  # bytes; no coordinates are longer
_POINT = re.compile(
    rb"[+-]\d{2,6}(?:\.\d{1,12})?[+-]\d{3,7}(?:\.\d{1,12})?(?:[+-]\d{1,6}(?:\.\d{1,12})?)?"
    rb"(?:CRS\w{1,20})?/"
    rb"|[+-]\d{2,6}\.\d{1,12}[+-]\d{3,7}\.\d{1,12}(?:[+-]\d{1,6}(?:\.\d{1,12})?)?"
    rb"|(?i:GPS_?|\b)(?i:latitude|longitude|altitude)[\"'>=: \0]{1,8}[-+\d.,/ ]{1,40}"
)


# Box `loci` (3GPP TS 26.244, 8.9): version and flags, language, name, role; then longitude,
# latitude and altitude as fixed-point numbers.
_BOX = re.compile(rb"loci\0\0\0\0..[^\0]{0,80}\0.", re.DOTALL)
_COORDINATES = 12  # bytes


def in_stream(
    stream: BinaryIO,
) -> tuple[tuple[tuple[int, int], ...], tuple[tuple[int, int], ...]]:
    """Return the ranges, first byte and end, of text and of numbers that tell a location."""
    found: dict[int, int] = {}
    numbers: dict[int, int] = {}
    stream.seek(0)
    start, tail = 0, b""
    while block := stream.read(_BLOCK):
        data = tail + block
        for match in _POINT.finditer(data):
            found[start + match.start()] = start + match.end()
        for match in _BOX.finditer(data):
            numbers[start + match.end()] = start + match.end() + _COORDINATES
        tail = data[-_OVERLAP:]
        start += len(data) - len(tail)
    return tuple(sorted(found.items())), tuple(sorted(numbers.items()))
