"""Writing a file that is whole at any moment, whatever happens to the power."""

import contextlib
import os
import re
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

ENDING = ".part"
"""Of the name a file has until it is whole; what a killed program left may be deleted."""

_UNFINISHED = re.compile(rf"\.[0-9a-f]{{16}}{re.escape(ENDING)}")

PRIVATE = 0o600
"""Mode of a file that only its owner may read."""


@contextlib.contextmanager
def written_whole(target: Path, *, mode: int = PRIVATE) -> Iterator[BinaryIO]:
    """Give a new file to write; it takes the place of `target` only once it is on the disk.

    After any error, and after an interruption, `target` is what it was before.

    Parameters
    ----------
    target : path
        In a folder that exists; what has this name is replaced.
    mode : int
        Who may read it at most; what the user's mask forbids stays forbidden.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    with unfinished(target.parent, mode=mode) as (file, path):
        yield file
        finish(file)
        path.replace(target)
    sync_folder(target.parent)


@contextlib.contextmanager
def unfinished(folder: Path, *, mode: int = PRIVATE) -> Iterator[tuple[BinaryIO, Path]]:
    """Give a new file in a folder and its path; it is deleted at the end unless it was renamed."""
    path = folder / f".{secrets.token_hex(8)}{ENDING}"
    handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, mode)
    try:
        with os.fdopen(handle, "w+b") as file, _held(file):
            yield file, path
    finally:
        with contextlib.suppress(OSError):  # what stays there may be deleted, and why is known
            path.unlink(missing_ok=True)


def clear_left_over(folder: Path) -> None:
    """Delete what killed programs left half-written in a folder; what is being written stays."""
    for path in folder.glob(f".*{ENDING}"):
        if not _UNFINISHED.fullmatch(path.name):
            continue
        with contextlib.suppress(OSError), contextlib.ExitStack() as looking:
            if os.name == "posix":  # who writes it has locked it; Windows deletes no open file
                _lock(looking.enter_context(path.open("rb")).fileno())
            path.unlink()


@contextlib.contextmanager
def _held(file: BinaryIO) -> Iterator[None]:
    """Lock a file until the end, closed or not, so that nobody takes it for one left over."""
    if os.name != "posix":
        yield
        return
    handle = os.dup(file.fileno())
    try:
        with contextlib.suppress(OSError):  # a disk without locks: nothing is cleared there
            _lock(handle)
        yield
    finally:
        os.close(handle)


def _lock(handle: int) -> None:
    import fcntl

    fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def finish(file: BinaryIO) -> None:
    """Put all of a file on the disk and close it."""
    file.flush()
    os.fsync(file.fileno())
    file.close()


def sync_folder(folder: Path) -> None:
    """Put a folder's list of names on the disk, where the system has a way to."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
