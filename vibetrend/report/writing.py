"""Writing files that are ours: all of them or none, and never over a foreign one."""

import hashlib
import os
import re
import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from vibetrend.errors import VibetrendError
from vibetrend.whole_file import clear_left_over, finish, sync_folder, unfinished

OF_ALL = "engines"
"""Name of the page of all engines; no engine's own page gets it."""

_SIGNED_WITHIN = 2000  # bytes: where a file of ours names what it is
_HASH_DIGITS = 8
_MODE = 0o666  # to be handed to others; the user's mask says to whom
_ORDINARY = re.compile(r"(?!-)[\w-]+")
# Devices of Windows, which no file there can be named after.
_TAKEN = re.compile(rf"con|prn|aux|nul|(com|lpt)[0-9¹²³]|{OF_ALL}|demo", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of file that is written."""

    name: str  # e.g. "page"
    signature: bytes  # what every file of ours begins with, soon or at once
    option: str  # where another name is chosen
    others: bytes = b""  # what a file of ours of any kind near to this begins with
    earlier: bytes = b""  # the signature that earlier versions gave this kind


@dataclass(frozen=True, kw_only=True, eq=False)
class File:
    """A file that is yet to be written."""

    path: Path
    content: bytes
    kind: Kind


def write_all(files: Sequence[File]) -> None:
    """Write files and their folders, all or none; older ones of ours are replaced, no other file.

    Raises
    ------
    VibetrendError
        If one cannot be written, another file has its name, or two files have one name.
    """
    # A link stays one: what it leads to is written.
    targets = [Path(os.path.realpath(each.path)) for each in files]
    with ExitStack() as begun:
        finished: list[Path] = []
        for at, (each, target) in enumerate(zip(files, targets, strict=True)):
            if target in targets[:at]:
                raise VibetrendError(
                    f"{each.path}: two files cannot have one name; choose another "
                    f"{each.kind.option}"
                )
            with _explained(each):
                _refuse_what_is_not_ours(each, target)
        for each, target in zip(files, targets, strict=True):
            with _explained(each):
                target.parent.mkdir(parents=True, exist_ok=True)
                clear_left_over(target.parent)
                file, temporary = begun.enter_context(unfinished(target.parent, mode=_MODE))
                file.write(each.content)
                finish(file)
            finished.append(temporary)
        for each, target, temporary in zip(files, targets, finished, strict=True):
            with _explained(each):
                temporary.replace(target)
                sync_folder(target.parent)


def file_name(name: str, *, longest: int = 80) -> str:
    """Return a name that any file system takes, of at most so many bytes.

    Letters, digits, ``-`` and ``_`` stay as they are. Wherever anything has to be altered, a short
    hash of the name goes behind it, so that no two names become one.
    """
    plain = unicodedata.normalize("NFC", name)
    ordinary = plain == name and _ORDINARY.fullmatch(name) and not _TAKEN.fullmatch(name)
    if ordinary and len(name.encode()) <= longest:
        return name
    kept = re.sub(r"(?:[^\w-]|_)+", "_", plain).strip("-_")
    begins = kept.encode()[: longest - _HASH_DIGITS - 1].decode(errors="ignore")
    digest = hashlib.sha256(name.encode(errors="surrogatepass")).hexdigest()
    return f"{begins}-{digest[:_HASH_DIGITS]}".lstrip("-")


def known(path: Path, signature: bytes) -> bool:
    """Return whether a file can be read and begins with a signature, soon or at once."""
    try:
        return path.is_file() and signature in _head(path)
    except OSError:
        return False


def _head(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(_SIGNED_WITHIN)


def _refuse_what_is_not_ours(each: File, target: Path) -> None:
    if not target.exists():
        return
    if not target.is_file():  # to replace a device would harm the computer
        raise VibetrendError(
            f"{each.path}: a folder or a device, no file; choose another {each.kind.option}"
        )
    head, kind = _head(target), each.kind
    if not head or any(sign and sign in head for sign in (kind.signature, kind.earlier)):
        return
    if kind.others and kind.others in head:
        what = f"a {kind.name} of another kind"
    else:
        what = f"a file that is no {kind.name} of vibetrend"
    raise VibetrendError(
        f"{each.path}: {what} has this name and is left alone; choose another {kind.option}"
    )


@contextmanager
def _explained(each: File) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise VibetrendError(
            f"{each.path}: the {each.kind.name} cannot be written ({error.strerror or error}); "
            f"choose another {each.kind.option}, in a folder that may be written to"
        ) from error
