"""What the frame of a sound file tells: whether its end is missing, and when it was made.

WAV and AIFF: EA IFF 85 and its Microsoft form; broadcast chunk: EBU Tech 3285; OGG: RFC 3533;
MP3: the count of bytes that coders put into an empty first frame; CAF: its specification.
"""

import datetime as dt
import os
import re
from collections.abc import Iterator
from typing import BinaryIO

_MOST_CHUNKS = 200
_BROADCAST_DATE = (320, 10)  # offset and length in the chunk "bext"
_LARGEST_PAGE = 65_307  # of OGG
_LAST_PAGE = 4  # flag in its header
_ANY_DATE = re.compile(r"((?:19|20)\d\d)\D?([01]\d)\D?([0-3]\d)")
_EARLIEST = 1990  # before it are clocks that were never set: 1904, 1970


def date_in(text: str) -> dt.date | None:
    """Return the date that a text of a file's own begins with; None if it has no clear one.

    Examples
    --------
    >>> date_in("2026-05-01T14:40:03+0200")
    datetime.date(2026, 5, 1)
    """
    match = _ANY_DATE.match(text.strip())
    try:
        found = dt.date(int(match[1]), int(match[2]), int(match[3])) if match else None
    except ValueError:
        return None
    return found if found and found.year >= _EARLIEST else None


def broadcast_date(stream: BinaryIO) -> dt.date | None:
    """Return the origination date of a WAV file with a broadcast chunk."""
    for name, start, size in _riff(stream):
        if name == b"bext" and size >= sum(_BROADCAST_DATE):
            stream.seek(start + _BROADCAST_DATE[0])
            return date_in(stream.read(_BROADCAST_DATE[1]).decode("latin-1"))
    return None


def is_cut(stream: BinaryIO) -> bool:
    """Say whether a sound file's frame promises more than is there."""
    size = stream.seek(0, os.SEEK_END)
    stream.seek(0)
    head = stream.read(12)
    if head[:4] in (b"RIFF", b"FORM"):
        promised = int.from_bytes(head[4:8], "little" if head[:4] == b"RIFF" else "big")
        # Recorders that never finished leave 0 or all ones.
        return promised not in (0, 2**32 - 1) and promised + 8 > size + 1
    if head[:4] == b"OggS":
        return _ogg_is_cut(stream, size)
    if head[:4] == b"caff":
        return _caf_is_cut(stream, size)
    if head[:3] == b"ID3" or head[:1] == b"\xff":
        return _mp3_is_cut(stream, size)
    return False


def _riff(stream: BinaryIO) -> Iterator[tuple[bytes, int, int]]:
    """Yield name, start and size of the chunks of a WAV file, as far as sizes are known."""
    stream.seek(0)
    head = stream.read(12)
    if head[:4] not in (b"RIFF", b"RF64") or head[8:] != b"WAVE":
        return
    place = 12
    for _ in range(_MOST_CHUNKS):
        stream.seek(place)
        head = stream.read(8)
        size = int.from_bytes(head[4:], "little")
        if len(head) < 8 or size == 2**32 - 1:
            return
        yield head[:4], place + 8, size
        place += 8 + size + size % 2


def _ogg_is_cut(stream: BinaryIO, size: int) -> bool:
    start = max(0, size - _LARGEST_PAGE - 1)
    stream.seek(start)
    tail = stream.read()
    page = tail.rfind(b"OggS")
    if page < 0 or len(tail) < page + 27:
        return True
    table = tail[page + 27 : page + 27 + tail[page + 26]]
    end = page + 27 + tail[page + 26] + sum(table)
    return not tail[page + 5] & _LAST_PAGE or end > len(tail)


def _caf_is_cut(stream: BinaryIO, size: int) -> bool:
    place = 8
    for _ in range(_MOST_CHUNKS):
        stream.seek(place)
        head = stream.read(12)
        if len(head) < 12:
            return place != size
        length = int.from_bytes(head[4:], "big", signed=True)
        if length < 0:  # a recorder's last chunk, of unknown size
            return False
        place += 12 + length
    return False


def _mp3_is_cut(stream: BinaryIO, size: int) -> bool:
    stream.seek(0)
    head = stream.read(10)
    start = 0
    if head[:3] == b"ID3" and len(head) == 10:
        start = 10 + sum(
            byte << shift for byte, shift in zip(head[6:], (21, 14, 7, 0), strict=True)
        )
    stream.seek(start)
    frame = stream.read(2048)
    for name in (b"Xing", b"Info"):
        at = frame.find(name)
        if at >= 0 and len(frame) >= at + 16:
            flags = int.from_bytes(frame[at + 4 : at + 8], "big")
            place = at + 8 + (4 if flags & 1 else 0)
            if flags & 2:
                return start + int.from_bytes(frame[place : place + 4], "big") > size
    return False
