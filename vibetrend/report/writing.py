"""Writing a file that is ours: whole or not at all, and never over a foreign one."""

import os
import tempfile
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
        raise VibetrendError(
            f"{target}: the {kind.name} cannot be written ({error.strerror or error}); choose "
            f"another {kind.option}, in a folder that may be written to"
        ) from error


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
