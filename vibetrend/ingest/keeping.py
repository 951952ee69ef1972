"""What is kept of a file: its bytes, without a location that a phone put into them."""

import contextlib
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO

from vibetrend.errors import ReadError
from vibetrend.ingest import archive, content
from vibetrend.recording import Source

_BLOCK = 2**20
_NO_DIGITS = bytes.maketrans(b"123456789", b"000000000")


@contextlib.contextmanager
def kept_content(source: Source, *, with_location: bool) -> Iterator[tuple[BinaryIO, Source]]:
    """Open what is to be kept of the file a recording was read from, and describe it.

    Where the file tells a location, the digits of it are set to 0 in what is kept, which is
    then the unpacked content; everything else stays as it was.

    Raises
    ------
    ReadError
        If the file cannot be read any more or is not what was read.
    """
    file = Path(source.path)
    with content.opened(file) as stream:
        if content.digest(stream) != source.sha256:
            raise ReadError(f"{file}: it changed after it was read; wait until it has arrived")
        if with_location or not source.location:
            yield stream, source
            return
        inner, _ = archive.unpack(stream, name=file.name)
        with tempfile.TemporaryFile() as blanked:
            _copy_without(inner, blanked, source.location)
            yield blanked, replace(source, sha256=content.digest(blanked), location=())


def _copy_without(source: BinaryIO, target: BinaryIO, location: Sequence[tuple[int, int]]) -> None:
    """Copy a stream with the digits in some ranges of bytes set to 0."""
    ranges = sorted(location)
    begin = 0
    while block := source.read(_BLOCK):
        end = begin + len(block)
        changed = bytearray(block)
        for first, last in ranges:
            low, high = max(first, begin) - begin, min(last, end) - begin
            if low < high:
                changed[low:high] = changed[low:high].translate(_NO_DIGITS)
        target.write(changed)
        ranges = [each for each in ranges if each[1] > end]
        begin = end
