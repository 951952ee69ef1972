"""The original bytes of every recording, each kept under its SHA-256 and never changed."""

import contextlib
import io
import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from vibetrend.errors import LogbookError
from vibetrend.hashing import digest
from vibetrend.logbook.database import reason
from vibetrend.whole_file import ENDING, finish, sync_folder, unfinished

_BLOCK = 2**20


class Originals:
    """A folder of files named by their content: `ab/cdef...` for the digest `abcdef...`."""

    def __init__(self, folder: Path) -> None:
        """Keep originals in `folder`, which is made with the first."""
        self.folder = folder

    @contextlib.contextmanager
    def kept(self, sha256: str, content: BinaryIO) -> Iterator[None]:
        """Put bytes on the disk under their digest; within the context they are safe there.

        After an error within it, what was not there before is taken away again. One caller at a
        time, which the logbook's write lock sees to: what a killed one left
        half-written is cleared away first.

        Raises
        ------
        LogbookError
            If they cannot be written.
        """
        target = self._path(sha256)
        was_there = os.path.lexists(target)
        try:
            self._keep(sha256, content, target)
            yield
        except BaseException:
            if not was_there:
                with contextlib.suppress(OSError):  # a spare file does no harm
                    target.unlink(missing_ok=True)
            raise

    def _keep(self, sha256: str, content: BinaryIO, target: Path) -> None:
        try:
            for left_over in self.folder.glob(f"*{ENDING}"):
                left_over.unlink()
            if self._holds(target, sha256):
                return
            for folder in (self.folder, target.parent):
                folder.mkdir(mode=0o700, exist_ok=True)
            self._write(content, target)
        except OSError as error:
            raise LogbookError(
                f"{self.folder}: the original cannot be kept ({reason(error)}), so nothing was "
                f"added; see that the disk has space and may be written to, then try again"
            ) from error

    def read(self, sha256: str) -> bytes:
        """Return the bytes with this digest.

        Raises
        ------
        LogbookError
            If they are missing, or are no longer what was kept.
        """
        if not re.fullmatch("[0-9a-f]{64}", sha256):  # never a path
            raise LogbookError(f"{sha256!r} is no SHA-256 digest; 64 hex digits are needed")
        path = self._path(sha256)
        try:
            content = path.read_bytes()
        except OSError as error:
            raise LogbookError(
                f"{path}: this original cannot be read ({reason(error)}); put it back from a backup"
            ) from error
        if digest(io.BytesIO(content)) != sha256:
            raise LogbookError(
                f"{path}: this original is no longer what was kept; put it back from a backup"
            )
        return content

    def digests(self) -> set[str]:
        """Return the digests by which files are kept here, whole or not."""
        return {f"{each.parent.name}{each.name}" for each in self.folder.glob("??/*")}

    def fault(self, sha256: str) -> str:
        """Say what is wrong with the bytes of this digest, "" where nothing is."""
        path = self._path(sha256)
        try:
            with path.open("rb") as file:
                return "" if digest(file) == sha256 else "is no longer what was kept"
        except OSError as error:
            return f"cannot be read ({reason(error)})"

    def _path(self, sha256: str) -> Path:
        return self.folder / sha256[:2] / sha256[2:]

    def _holds(self, target: Path, sha256: str) -> bool:
        if not target.exists():
            return False
        with target.open("rb") as file:
            return digest(file) == sha256

    def _write(self, content: BinaryIO, target: Path) -> None:
        # Under its digest a file is always whole; unfinished ones all lie in the one folder.
        with unfinished(self.folder) as (file, path):
            shutil.copyfileobj(content, file, _BLOCK)
            finish(file)
            path.replace(target)
        for folder in (target.parent, self.folder):
            sync_folder(folder)
