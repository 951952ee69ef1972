"""What is kept of a file: its bytes, without a location that a phone put into them."""

import contextlib
import itertools
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO

from vibetrend.errors import ReadError
from vibetrend.hashing import digest
from vibetrend.ingest import archive, content
from vibetrend.recording import Source

_BLOCK = 2**20
_NO_DIGITS = bytes.maketrans(b"123456789", b"000000000")
_NOTHING = bytes(256)


@contextlib.contextmanager
def kept_content(source: Source, *, with_location: bool) -> Iterator[tuple[BinaryIO, Source]]:
    """Open what is to be kept of the file a recording was read from, and describe it.

    Where the file tells a location, its digits or numbers are set to 0 in what is kept, which
    is then the unpacked content; everything else stays as it was.

    Raises
    ------
    ReadError
        If the file cannot be read any more or is not what was read.
    """
    file = Path(source.path)
    with content.opened(file) as stream:
        if digest(stream) != source.sha256:
            raise ReadError(f"{file}: it changed after it was read; wait until it has arrived")
        if with_location or not (source.location or source.coordinates):
            yield stream, source
            return
        inner, _ = archive.unpack(stream, name=file.name)
        with tempfile.TemporaryFile() as blanked:
            _copy_without(inner, blanked, source)
            kept = replace(source, sha256=digest(blanked), location=(), coordinates=())
            yield blanked, kept


def _copy_without(content_in: BinaryIO, target: BinaryIO, source: Source) -> None:
    """Copy a stream with everything that tells a location set to 0."""
    ranges = sorted(
        [(*each, _NO_DIGITS) for each in source.location]
        + [(*each, _NOTHING) for each in source.coordinates]
    )
    begin, place = 0, 0
    while block := content_in.read(_BLOCK):
        end = begin + len(block)
        changed = bytearray(block)
        while place < len(ranges) and ranges[place][1] <= begin:
            place += 1
        for first, last, into in itertools.islice(ranges, place, None):
            if first >= end:
                break
            low, high = max(first, begin) - begin, min(last, end) - begin
            changed[low:high] = changed[low:high].translate(into)
        target.write(changed)
        begin = end
