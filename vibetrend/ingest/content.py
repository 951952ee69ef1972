"""A file's content: opened once, hashed, and seen to hold still while it is read."""

import contextlib
import errno
import os
import stat
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import BinaryIO

from vibetrend.errors import ReadError
from vibetrend.hashing import digest
from vibetrend.quoting import quoted

# What the system says of a disk that failed or was pulled.
_GONE = {errno.EIO, errno.ENODEV, errno.ENXIO, getattr(errno, "ESTALE", errno.EIO)}

LARGEST_FILE = 256 * 2**20  # bytes that are held at once, packed or unpacked


@contextlib.contextmanager
def opened(file: Path) -> Iterator[BinaryIO]:
    """Open a file for reading and see that it holds still until the block ends.

    Raises
    ------
    ReadError
        If it is missing, unreadable, empty, no file, or still being written.
    """
    try:
        mode = file.stat().st_mode  # before opening: a pipe would wait for someone to write
        if stat.S_ISDIR(mode):
            raise ReadError(f"{file}: a folder; give the recordings in it one by one")
        if not stat.S_ISREG(mode):
            raise ReadError(f"{file}: a device or a pipe, no file; give the path of a file")
        stream = file.open("rb")
    except FileNotFoundError as error:
        raise ReadError(f"{file}: no such file; check the path") from error
    except OSError as error:
        raise _unreadable(file, error) from error
    except ValueError as error:
        if isinstance(error, ReadError):
            raise
        raise ReadError(f"{quoted(str(file))} cannot be a path; check it") from error
    with stream:
        before = os.fstat(stream.fileno())
        if not before.st_size:
            raise ReadError(f"{file}: empty; copy it again from the phone or logger")
        try:
            yield stream
        except OSError as error:
            raise _unreadable(file, error) from error
        after = os.fstat(stream.fileno())
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        raise ReadError(f"{file}: still being written; wait until it has arrived, then try again")


def _unreadable(file: Path, error: OSError) -> ReadError:
    reason = error.strerror or "unreadable"
    if error.errno in _GONE:
        return ReadError(
            f"{file}: cannot be read ({reason}); see that its disk or stick is connected and "
            f"sound, then try again"
        )
    return ReadError(f"{file}: cannot be read ({reason}); check path and rights")


@contextlib.contextmanager
def hashed_meanwhile(file: Path, stream: BinaryIO) -> Iterator[Callable[[], str]]:
    """Hash an opened file while it is read, in a thread; what this yields waits for the SHA-256.

    Raises
    ------
    ReadError
        When waited for, if another file has taken this one's place.
    """

    def digest_of_file() -> str:
        with file.open("rb") as again:  # a place in it of its own
            if not os.path.samestat(os.fstat(again.fileno()), os.fstat(stream.fileno())):
                raise ReadError("still being written; wait until it has arrived, then try again")
            return digest(again)

    with ThreadPoolExecutor(1) as aside:
        yield aside.submit(digest_of_file).result


def whole(stream: BinaryIO) -> bytes:
    """Return all of a stream that is read at once, such as a table.

    Raises
    ------
    ReadError
        If it is larger than `LARGEST_FILE`.
    """
    size = stream.seek(0, os.SEEK_END)
    stream.seek(0)
    if size > LARGEST_FILE:
        raise ReadError(
            f"larger than {LARGEST_FILE / 2**20:.0f} MB; cut out a minute of steady running"
        )
    return stream.read()
