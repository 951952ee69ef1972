"""A photo without the location that a phone wrote into it; pixels and all other tags stay.

Exif (CIPA DC-008, the same TIFF directories in JPEG, PNG, WebP and HEIC) points to its location
from tag 0x8825: the entry is taken out and what it pointed to set to 0, so that nothing moves.
In XMP, and in boxes of the film that some phones append, the digits are set to 0.
"""

import io
import re
import struct
import zlib
from collections.abc import Iterator

from vibetrend.ingest import geotags

PNG = b"\x89PNG\r\n\x1a\n"
_TIFF = re.compile(rb"II\*\0|MM\0\*")
_GPS = 0x8825
_ENTRY = 12  # bytes of an entry: tag, type, count, value or where it is
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
"""Bytes of one value by the TIFF type."""
_MOST_ENTRIES, _MOST_DIRECTORIES, _LARGEST_VALUE = 500, 8, 1 << 16

# GPSLatitude="54,19.2N", <exif:GPSLatitude>54,19.2N<, and the like.
_XMP = re.compile(rb"(?:GPS|Gps|gps)\w{0,40}\s{0,3}(?:=\s{0,3}[\"']|>)\s{0,20}([^<>\"']{1,80})")
_NO_DIGITS = bytes.maketrans(b"123456789", b"000000000")

# Chunks of a PNG file that hold text; pixels are in others, and are never looked into.
_TEXTS = (b"tEXt", b"zTXt", b"iTXt")
_LARGEST_TEXT = 1 << 23


def without_location(content: bytes) -> bytes:
    """Return a photo with what tells its location taken out; the same bytes if nothing does."""
    if content.startswith(PNG):
        return PNG + b"".join(_cleaned_chunk(*chunk) for chunk in _chunks(content))
    return _cleaned(content)


def _cleaned(content: bytes) -> bytes:
    data = bytearray(content)
    for match in _TIFF.finditer(content):
        _clean_exif(data, match.start(), "<" if match[0][:1] == b"I" else ">")
    for match in _XMP.finditer(content):
        data[slice(*match.span(1))] = match[1].translate(_NO_DIGITS)
    text, numbers = geotags.in_stream(io.BytesIO(content))
    for start, end in text:
        data[start:end] = data[start:end].translate(_NO_DIGITS)
    for start, end in numbers:
        data[start:end] = bytes(len(data[start:end]))
    return bytes(data)


def _clean_exif(data: bytearray, base: int, order: str) -> None:
    """Take the location out of the TIFF directories that begin at `base`, in place."""
    for directory in _directories(data, base, order):
        entries = _entries(data, directory, order)
        for place, (tag, _, _, value) in reversed([*enumerate(entries)]):
            if tag != _GPS:
                continue
            _clear(data, base, base + value, order)
            # What follows the entry, the offset of the next directory too, closes the gap.
            first, end = directory + 2 + _ENTRY * place, directory + 6 + _ENTRY * len(entries)
            data[first:end] = data[first + _ENTRY : end] + bytes(_ENTRY)
            entries.pop(place)
            struct.pack_into(order + "H", data, directory, len(entries))


def _directories(data: bytearray, base: int, order: str) -> Iterator[int]:
    place = base + 4
    seen: set[int] = set()
    while len(seen) < _MOST_DIRECTORIES and place + 4 <= len(data):
        (offset,) = struct.unpack_from(order + "I", data, place)
        directory = base + offset
        count = len(_entries(data, directory, order))
        if offset < 8 or directory in seen or not count:
            return
        seen.add(directory)
        yield directory
        # Read anew: the directory may be shorter now.
        place = directory + 2 + _ENTRY * len(_entries(data, directory, order))


def _entries(data: bytearray, directory: int, order: str) -> list[tuple[int, int, int, int]]:
    """Return a directory's entries: tag, type, count, value; none if it is no directory."""
    if directory + 2 > len(data):
        return []
    (count,) = struct.unpack_from(order + "H", data, directory)
    if count > _MOST_ENTRIES or directory + 2 + _ENTRY * count > len(data):
        return []
    found = [
        struct.unpack_from(order + "HHII", data, directory + 2 + _ENTRY * k) for k in range(count)
    ]
    return found if all(kind in _SIZES for _, kind, _, _ in found) else []


def _clear(data: bytearray, base: int, directory: int, order: str) -> None:
    """Set a directory and the values that it points to to 0."""
    entries = _entries(data, directory, order)
    for _, kind, count, value in entries:
        size = _SIZES[kind] * count
        if 4 < size <= _LARGEST_VALUE and base + value + size <= len(data):
            data[base + value : base + value + size] = bytes(size)
    end = min(len(data), directory + 2 + _ENTRY * len(entries))
    data[directory:end] = bytes(max(0, end - directory))


def _chunks(content: bytes) -> Iterator[tuple[bytes, bytes, bytes]]:
    """Yield name, data and checksum of each chunk of a PNG file; what is no chunk as it is."""
    place = len(PNG)
    while place < len(content):
        length = int.from_bytes(content[place : place + 4])
        name, end = content[place + 4 : place + 8], place + 8 + length
        if end + 4 > len(content):
            yield b"", content[place:], b""
            return
        yield name, content[place + 8 : end], content[end : end + 4]
        place = end + 4


def _cleaned_chunk(name: bytes, data: bytes, checksum: bytes) -> bytes:
    if name == b"eXIf":
        cleaned = _cleaned(data)
    elif name in _TEXTS:
        cleaned = _cleaned_text(name, data)
    else:
        cleaned = data
    if not name:
        return data
    if cleaned != data:
        checksum = zlib.crc32(name + cleaned).to_bytes(4)
    return len(cleaned).to_bytes(4) + name + cleaned + checksum


def _cleaned_text(name: bytes, data: bytes) -> bytes:
    """Return a text chunk, be it packed or written in hex digits, without a location."""
    keyword, _, rest = data.partition(b"\0")
    before, text = keyword + b"\0", rest
    packed = name == b"zTXt" or (name == b"iTXt" and rest[:1] == b"\x01")
    if name == b"zTXt":
        before, text = before + rest[:1], rest[1:]
    elif name == b"iTXt":  # two flags, a language, the keyword in it
        language, _, translated = rest[2:].partition(b"\0")
        word, _, text = translated.partition(b"\0")
        before += rest[:2] + language + b"\0" + word + b"\0"
    if packed:
        opener = zlib.decompressobj()
        try:
            text = opener.decompress(text, _LARGEST_TEXT)
        except zlib.error:
            return data
        if opener.unconsumed_tail:
            return data
    cleaned = _cleaned_hex(text) if keyword.startswith(b"Raw profile type") else _cleaned(text)
    if cleaned == text:
        return data
    return before + (zlib.compress(cleaned) if packed else cleaned)


def _cleaned_hex(text: bytes) -> bytes:
    """Return a profile written as its name, its length and hex digits, without a location."""
    head = re.match(rb"\s*[\w ]*\s+\d+\s", text)
    digits = b"".join(text[head.end() if head else 0 :].split())
    try:
        content = bytes.fromhex(digits.decode("ascii"))
    except ValueError:
        return text
    cleaned = _cleaned(content)
    if head is None or cleaned == content:
        return text
    return head[0] + cleaned.hex().encode() + b"\n"
