"""Writing a file that is ours: whole or not at all, and never over a foreign one."""

import os
import tempfile
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from vibetrend.errors import VibetrendError

_SIGNED_WITHIN = 2000  # bytes: where a file of ours names what it is


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of file that is written."""

    name: str  # e.g. "page"
    signature: bytes  # what every file of ours begins with, soon or at once
    option: str  # where another name is chosen


@dataclass(frozen=True, kw_only=True, eq=False)
class File:
    """A file that is yet to be written."""

    path: Path
    content: bytes
    kind: Kind


def write_all(files: Sequence[File]) -> None:
    """Write files; none of them where another file has the name of one.

    Raises
    ------
    VibetrendError
        If that is so, or one cannot be written.
    """
    for each in files:
        try:
            _refuse_a_foreign_file(each.path, each.kind)
        except OSError as error:
            raise _not_written(each.path, each.kind, error) from error
    for each in files:
        write(each.path, each.content, each.kind)


def file_name(name: str, *, longest: int = 80) -> str:
    """Return a name that any file system takes, of at most so many bytes."""
    plain = unicodedata.normalize("NFC", name)
    kept = "".join(each if each.isalnum() or each in "-_" else "_" for each in plain)
    return kept.encode()[:longest].decode(errors="ignore")


def write(target: Path, content: bytes, kind: Kind) -> None:
    """Write a file, its folder too; an older one of ours is replaced, no other file.

    Raises
    ------
    VibetrendError
        If it cannot be written, or another file has that name.
    """
    temporary: str | None = None
    try:
        _refuse_a_foreign_file(target, kind)
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:40]}.")
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).chmod(0o644)
        Path(temporary).replace(target)
    except OSError as error:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
        raise _not_written(target, kind, error) from error


def _not_written(target: Path, kind: Kind, error: OSError) -> VibetrendError:
    return VibetrendError(
        f"{target}: the {kind.name} cannot be written ({error.strerror or error}); choose "
        f"another {kind.option}, in a folder that may be written to"
    )


def _refuse_a_foreign_file(target: Path, kind: Kind) -> None:
    if not target.is_file():
        return
    with target.open("rb") as file:
        head = file.read(_SIGNED_WITHIN)
    if head and kind.signature not in head:
        raise VibetrendError(
            f"{target}: a file that is no {kind.name} of vibetrend has this name and is left "
            f"alone; choose another {kind.option}"
        )
