"""Errors of a disk that a library must not see: within its callbacks they could not be raised."""

import contextlib
import os
from collections.abc import Iterator
from typing import Any, BinaryIO, cast


class _Ending:
    """A stream that ends where reading fails, and remembers why."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self.error: OSError | None = None

    def read(self, size: int = -1) -> bytes:
        try:
            return self._stream.read(size)
        except OSError as error:
            self.error = error
            return b""

    def readinto(self, into: Any) -> int:
        content = self.read(len(into))
        into[: len(content)] = content
        return len(content)

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        try:
            return self._stream.seek(offset, whence)
        except (OSError, ValueError):  # a damaged header sends it to before the beginning
            return self._stream.seek(0, os.SEEK_END)

    def tell(self) -> int:
        return self._stream.tell()


@contextlib.contextmanager
def disk_errors_kept(stream: BinaryIO) -> Iterator[BinaryIO]:
    """Give a stream for libraries that call back to read it: for them it ends at an error.

    Raises
    ------
    OSError
        At the end, if reading failed: whatever they made of it does not count.
    """
    ending = _Ending(stream)
    try:
        yield cast(BinaryIO, ending)
    finally:
        if ending.error is not None:
            raise ending.error
