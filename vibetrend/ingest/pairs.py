"""Lines in which every value has its name before it: ``x=0.1 y=0.2``, ``"x": 0.1, "y": 0.2``."""

import io
import re
from collections import Counter

from vibetrend.errors import ReadError
from vibetrend.ingest import location
from vibetrend.ingest.layout import HEAD

_BLOCK = 2**20  # bytes of text taken apart at once
_LONGEST = 8000  # bytes of a line; looking for names in long ones takes long
_VALUE = rb"[+-]?(?:\d++(?:[.,]\d++)?|[.,]\d++)(?:[eE][+-]?\d++)?|[Nn]a[Nn]"
_NAME = rb"[^\W\d][\w.]*+(?:[ ]?[\[(][^\[\]()=:]{1,20}[\])])?"
_IS = rb"[\"']?[ \t]*+[=:][ \t]*+"
_NEXT = rb"[ \t]*+[,;|]?[ \t]*+[\"']?"
_PAIR = re.compile(rb"(" + _NAME + rb")" + _IS + rb"(?:" + _VALUE + rb")(?=[\s,;|}]|$)")
_BEGIN, _END = rb"^[ \t{\"']*+", rb"[ \t,;|}]*+(?=\r?$)"


def taken_apart(text: bytes) -> tuple[bytes, tuple[str, ...]]:
    """Return the text with only the values in such lines, tabs between, and their names.

    All other text comes back as it is, without names. Lines keep their number.

    Raises
    ------
    ReadError
        If a location is among the values: it would be kept.
    """
    lines = [line for line in text[:HEAD].splitlines()[:-1] if line.strip()]
    if any(len(line) > _LONGEST for line in lines):
        return text, ()
    found = Counter(tuple(match[1] for match in _PAIR.finditer(line)) for line in lines)
    names, count = found.most_common(1)[0] if found else ((), 0)
    if not names or count <= len(lines) / 2:
        return text, ()
    pairs = _NEXT.join(re.escape(name) + _IS + rb"(" + _VALUE + rb")" for name in names)
    line = re.compile(_BEGIN + pairs + _END, re.MULTILINE)
    values = b"\t".join(rb"\g<%d>" % number for number in range(1, len(names) + 1))
    read = tuple(name.decode(errors="replace") for name in names)
    if not line.search(text[:HEAD]):
        return text, ()
    if any(map(location.is_place, read)):
        raise ReadError(
            "holds a location in lines from which it cannot be left out; delete latitude and "
            "longitude from it, or save it as CSV"
        )
    plain = io.BytesIO()  # by and by: each match takes memory
    start = 0
    while start < len(text):
        end = text.find(b"\n", start + _BLOCK) + 1 or len(text)
        plain.write(line.sub(values, text[start:end]))
        start = end
    return plain.getvalue(), read
