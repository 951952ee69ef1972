"""One watch at a time for a folder: two would tell everything twice."""

import contextlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path

from vibetrend.errors import LogbookError

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl


@contextlib.contextmanager
def alone(path: Path) -> Iterator[None]:
    """Hold a lock file; the system lets go of it however the program ends.

    Raises
    ------
    LogbookError
        If another program holds it, or it cannot be written.
    """
    try:
        path.parent.mkdir(mode=0o700, exist_ok=True)
        handle = os.open(path, os.O_CREAT | os.O_RDWR, 0o600)
    except OSError as error:
        raise LogbookError(
            f"{path}: cannot be written ({error.strerror}); choose a folder you may write to with "
            f"--logbook"
        ) from error
    try:
        try:
            if sys.platform == "win32":
                msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
            else:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise LogbookError(
                "this folder is being watched already; end the other vibetrend watch first"
            ) from error
        yield
    finally:
        os.close(handle)
