"""Reading a backup file; nothing it says is believed before it is checked."""

import contextlib
import hashlib
import re
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, BinaryIO

from vibetrend.errors import LogbookError
from vibetrend.logbook import described
from vibetrend.logbook.copies import DATABASE, ORIGINALS, one_line
from vibetrend.logbook.database import reason
from vibetrend.logbook.described import Manifest

MANIFEST = "manifest.json"

LARGEST_RATIO = 200
"""Times a backup's size that what it unpacks to may have; tables of numbers pack 3 to 20 times."""

_SMALL = 4 * 2**20  # below this no ratio is dangerous
_BLOCK = 2**20
_NAMES = re.compile(
    rf"{re.escape(MANIFEST)}|{re.escape(DATABASE)}|{ORIGINALS}/[0-9a-f]{{2}}/[0-9a-f]{{62}}"
)
_LOCKED = 0x1 | 0x40  # flag bits: encrypted, strongly encrypted
_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    LookupError,
    OverflowError,
    RuntimeError,  # NotImplementedError too
    ValueError,
)
"""What the library raises where a zip file is damaged or odd."""


class Packed:
    """An open backup whose list of members is as it has to be; get one with `opened`."""

    def __init__(self, path: Path, archive: zipfile.ZipFile, size: int) -> None:
        """Check the members' names and sizes, and what the manifest says of them."""
        self.path = path
        self._archive = archive
        self._members = self._listed()
        text = self._read_manifest()
        self.manifest = described.read(text, Manifest, where=str(path), what="backup")
        self._compare()
        if self.total > max(_SMALL, LARGEST_RATIO * size):
            raise LogbookError(
                f"{path}: this file unpacks to {self.total / 1e6:.0f} MB, which no backup of its "
                f"size does; use another backup"
            )

    @property
    def total(self) -> int:
        """Bytes of all members together."""
        return sum(each.size for each in self.manifest.members.values())

    @property
    def originals(self) -> list[str]:
        """Names of the originals in it."""
        return sorted(self.manifest.members.keys() - {DATABASE})

    def copy(self, name: str, target: BinaryIO | None = None) -> None:
        """Unpack a member, checked against its size and digest; without a target only check it.

        Raises
        ------
        LogbookError
            If it is not what the manifest says.
        """
        stated = self.manifest.members[name]
        found, left = hashlib.sha256(), stated.size
        with contextlib.closing(self._open(name)) as stream:
            while True:
                with self._reading(name):
                    block = stream.read(_BLOCK)
                if not block:
                    break
                left -= len(block)
                if left < 0:  # before it fills the disk
                    break
                found.update(block)
                if target is not None:
                    target.write(block)
        if left != 0 or found.hexdigest() != stated.sha256:
            raise self._damaged(name, "its content is not what was put in")

    def _listed(self) -> dict[str, zipfile.ZipInfo]:
        members: dict[str, zipfile.ZipInfo] = {}
        for each in self._archive.infolist():
            name = each.orig_filename
            kind = stat.S_IFMT(each.external_attr >> 16)
            fault = ""
            if not _NAMES.fullmatch(name) or each.filename != name:
                fault = "has no place in a backup"
            elif name in members:
                fault = "is in it twice"
            elif kind not in (0, stat.S_IFREG):
                fault = "is no plain file"
            elif each.flag_bits & _LOCKED:
                fault = "is locked with a password"
            elif each.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                fault = "is packed in an unusual way"
            if fault:
                raise LogbookError(
                    f"{self.path}: {name[:80]!a} {fault}, so this is no backup that vibetrend "
                    f"made; use another backup"
                )
            members[name] = each
        for name in (MANIFEST, DATABASE):
            if name not in members:
                raise LogbookError(
                    f"{self.path}: {name} is missing in it, so this is no backup that vibetrend "
                    f"made; use another backup"
                )
        return members

    def _read_manifest(self) -> bytes:
        with contextlib.closing(self._open(MANIFEST)) as stream, self._reading(MANIFEST):
            text = stream.read(described.LARGEST + 1)
        if len(text) > described.LARGEST:
            raise self._damaged(MANIFEST, "it is too large")
        return text

    def _compare(self) -> None:
        stated = self.manifest.members
        if differing := stated.keys() ^ (self._members.keys() - {MANIFEST}):
            name = min(differing)
            words = "is missing in it" if name in stated else "is not in its manifest"
            raise LogbookError(
                f"{self.path}: {name[:80]!a} {words}, so this backup is damaged; use another backup"
            )
        for name, each in stated.items():
            if self._members[name].file_size != each.size:
                raise self._damaged(name, "its size is not what was put in")

    def _open(self, name: str) -> IO[bytes]:
        with self._reading(name):
            return self._archive.open(self._members[name])

    @contextlib.contextmanager
    def _reading(self, name: str) -> Iterator[None]:
        try:
            yield
        except _BROKEN as error:
            raise self._damaged(name, str(error)) from error
        except OSError as error:
            raise self._damaged(name, reason(error)) from error

    def _damaged(self, name: str, why: str) -> LogbookError:
        return DamagedMemberError(
            f"{self.path}: {name} in it is damaged ({one_line(why)}); use another backup"
        )


class DamagedMemberError(LogbookError):
    """One member of a backup is damaged; the others may be whole."""


@contextlib.contextmanager
def opened(path: Path) -> Iterator[Packed]:
    """Give an open backup.

    Raises
    ------
    LogbookError
        If it cannot be read or is no backup.
    """
    with contextlib.ExitStack() as stack:
        try:
            if not path.is_file():
                what = "is no file" if path.exists() else "does not exist"
                raise LogbookError(f"{path}: this {what}; name the file of a backup")
            file = stack.enter_context(path.open("rb"))
            size = path.stat().st_size
            archive = stack.enter_context(zipfile.ZipFile(file))
        except LogbookError:
            raise
        except OSError as error:
            raise LogbookError(
                f"{path}: the backup cannot be read ({reason(error)}); copy it to this computer "
                f"and try again"
            ) from error
        except _BROKEN as error:
            raise LogbookError(
                f"{path}: this is no backup, or only part of one; copy it again, or use another "
                f"backup"
            ) from error
        yield Packed(path, archive, size)
