"""How the letters of a text are stored: UTF-8, UTF-16, UTF-32, with a mark or without, cp1252."""

import codecs
import io
import re
from collections.abc import Iterator

_MARKS = (
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe\x00\x00", "utf-32-le"),
    (b"\x00\x00\xfe\xff", "utf-32-be"),
    (b"\xff\xfe", "utf-16-le"),
    (b"\xfe\xff", "utf-16-be"),
)
_LOOKED_AT = 1000  # bytes
_BLOCK = 2**20
# A glitch may leave a stray control character in a table; other formats are full of them.
_STRANGE = re.compile(r"[\x00-\x08\x0b\x0e-\x1a\x1c-\x1f]")


def wide(data: bytes) -> tuple[str, int]:
    """Return the encoding if it is UTF-16 or UTF-32, else "", and the length of a mark."""
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return "" if encoding == "utf-8" else encoding, len(mark)
    head = data[:_LOOKED_AT]
    for odd, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        # Plain letters in UTF-16 have a zero byte each; a mark is often missing.
        zeros, others = head[odd::2].count(0), head[1 - odd :: 2].count(0)
        if len(head) > 8 and zeros > 0.4 * len(head) > 9 * others:
            return encoding, 0
    return "", 0


def to_utf8(data: bytes) -> bytes:
    """Return text as UTF-8 without its byte order mark: as marked, else UTF-8, else cp1252."""
    encoding, mark = wide(data)
    data = data[mark:] if mark else data
    if encoding:
        return _recoded(data, encoding)
    if data.isascii():
        return data
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for block in _blocks(data):
            decoder.decode(block)
    except UnicodeDecodeError:
        return _recoded(data, "cp1252")
    cut, _ = decoder.getstate()  # in the middle of a letter
    return data[: -len(cut)] if cut else data


def _recoded(data: bytes, encoding: str) -> bytes:
    decoder = codecs.getincrementaldecoder(encoding)(errors="replace")
    text = io.BytesIO()
    for block in _blocks(data):
        text.write(decoder.decode(block).encode())
    text.write(decoder.decode(b"", final=True).encode())
    return text.getvalue()


def _blocks(data: bytes) -> Iterator[bytes]:
    """Yield bytes by and by: as text they take up to four times the memory."""
    for start in range(0, len(data), _BLOCK):
        yield data[start : start + _BLOCK]


def is_text(head: bytes) -> bool:
    """Say whether a file that begins so is text."""
    text = to_utf8(head).decode(errors="replace").rstrip("\0")
    return bool(text.strip()) and len(_STRANGE.findall(text)) <= len(text) / 200
