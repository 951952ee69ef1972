"""What backups and exports, and logbooks made of them, have in common."""

import os
import re
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from vibetrend.errors import LogbookError
from vibetrend.hashing import digest
from vibetrend.logbook.database import reason
from vibetrend.logbook.described import Member
from vibetrend.whole_file import finish, unfinished

DATABASE = "logbook.sqlite"
ORIGINALS = "originals"
PRIVATE_FOLDER = 0o700

_DIGEST = re.compile("[0-9a-f]{64}")
_BLOCK = 2**20
_LONGEST_SAYING = 200


@dataclass(frozen=True)
class MadeAgain:
    """A logbook that was made from a backup or an export."""

    folder: Path
    made_at: str  # when the backup or the export was made, UTC
    recordings: int
    originals: int  # files: recordings and photos
    entries: int  # links of the chain
    head: str  # hash of the last one
    faults: tuple[str, ...]  # what is not right in it


class UnreadableError(LogbookError):
    """One original cannot be read; the others may be whole."""


def real(path: Path) -> Path:
    """Return where a path leads, links and all; of links in a circle, the path itself."""
    return Path(os.path.realpath(path))


def is_digest(value: object) -> bool:
    """Say whether a value is a SHA-256 as originals are named by."""
    return isinstance(value, str) and _DIGEST.fullmatch(value) is not None


def name_of(sha256: str) -> str:
    """Return the name of an original, by its digest, as the logbook's folder has it."""
    return f"{ORIGINALS}/{sha256[:2]}/{sha256[2:]}"


def lying(folder: Path) -> Iterator[tuple[str, Path]]:
    """Give digest and path of all that is named by a digest; what else lies there is not ours."""
    for path in sorted(folder.glob("??/*")):
        sha256 = f"{path.parent.name}{path.name}"
        if is_digest(sha256) and is_plain_file(path, within=folder):
            yield sha256, path


def is_plain_file(path: Path, *, within: Path) -> bool:
    """Say whether a path leads to a file through folders only: no link, no device, no pipe."""
    between = [path, *list(path.parents)[: len(path.relative_to(within).parts)]]
    return path.is_file() and not any(each.is_symlink() for each in between)


def read_through(path: Path) -> tuple[BinaryIO, Member]:
    """Open a file that can be read to its end, and return it with its size and digest.

    Raises
    ------
    UnreadableError
        If it cannot be.
    """
    try:
        file = path.open("rb")
        try:
            return file, measured(file)
        except BaseException:
            file.close()
            raise
    except OSError as error:
        raise UnreadableError(
            f"{path}: this original cannot be read ({reason(error)}); put it back from a backup"
        ) from error


def measured(content: BinaryIO) -> Member:
    """Return size and digest of a file, which is left rewound."""
    sha256 = digest(content)
    size = content.seek(0, os.SEEK_END)
    content.seek(0)
    return Member(size=size, sha256=sha256)


def put(content: BinaryIO, path: Path) -> None:
    """Put a file on the disk, in a folder that is made if needed."""
    path.parent.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)
    with unfinished(path.parent) as (stream, part):
        shutil.copyfileobj(content, stream, _BLOCK)
        finish(stream)
        part.rename(path)


def one_line(said: object) -> str:
    """Return what a library says, often on several lines and at length, for use in a sentence."""
    return " ".join(str(said).split())[:_LONGEST_SAYING]


def refuse_faults(
    faults: Sequence[str], *, damaged: bool, where: object, undone: str, instead: str
) -> None:
    """Refuse what is not right, unless it is wanted as it is.

    Raises
    ------
    LogbookError
        If it is so; tells the first fault, `undone` and what to do `instead`.
    """
    if faults and not damaged:
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        raise LogbookError(
            f"{where}: not all is right: {one_line(faults[0])}{more}; {undone}. {instead} with "
            f"--damaged"
        )


def make_parent(folder: Path, *, instead: str) -> None:
    """Make the folder that a folder is to lie in, private to the user.

    Raises
    ------
    LogbookError
        If it cannot be made.
    """
    try:
        real(folder).parent.mkdir(mode=PRIVATE_FOLDER, parents=True, exist_ok=True)
    except OSError as error:
        raise LogbookError(
            f"{folder}: the folder it is to lie in cannot be made ({reason(error)}); {instead}"
        ) from error
