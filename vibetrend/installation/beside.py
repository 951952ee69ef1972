"""What stands in the record beside its readings: photos, notes, and that it was finished."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from vibetrend.errors import InstallationError
from vibetrend.installation.entered import Content, line


@dataclass(frozen=True, kw_only=True)
class Photo:
    """A picture, kept by its content."""

    entry_id: int
    date: dt.date
    sha256: str
    name: str
    caption: str
    media_type: str
    bytes: int
    person: str


@dataclass(frozen=True, kw_only=True)
class WrittenNote:
    """A remark of a person."""

    entry_id: int
    date: dt.date
    text: str
    person: str


@dataclass(frozen=True, kw_only=True)
class Finish:
    """The record was declared finished."""

    date: dt.date
    person: str
    note: str
    missing: tuple[str, ...]  # what it lacked then


def photo_content(
    sha256: str,
    name: str,
    *,
    media_type: str,
    bytes: int,  # noqa: A002  the key of the content
    caption: str = "",
    person: str = "",
) -> Content:
    """Return the content of an entry of kind ``photo``; the file itself is kept elsewhere.

    Raises
    ------
    InstallationError
        If a value is none that names a kept file.
    """
    digest = line(sha256, "the photo's SHA-256", needed=True)
    if len(digest) != 64 or set(digest) - set("0123456789abcdef"):
        raise InstallationError(f"the photo's SHA-256 is {digest!r}; it has 64 digits of 0 to f")
    if isinstance(bytes, bool) or not isinstance(bytes, int) or bytes < 1:
        raise InstallationError(f"the photo's size is {bytes!r} bytes; it must be a whole number")
    return {
        "sha256": digest,
        "name": line(name, "the photo's name", needed=True),
        "caption": line(caption, "the caption"),
        "media_type": line(media_type, "the photo's type"),
        "bytes": bytes,
        "person": line(person, "the person"),
    }


def note_content(text: str, person: str = "") -> Content:
    """Return the content of an entry of kind ``note``.

    Raises
    ------
    InstallationError
        If the text is empty or more than one line.
    """
    return {
        "text": line(text, "the note", needed=True),
        "person": line(person, "the person"),
    }


def finish_content(*, person: str = "", note: str = "", missing: Sequence[str] = ()) -> Content:
    """Return the content of an entry of kind ``finish``; `missing` is what the record lacks.

    Raises
    ------
    InstallationError
        If a text is none.
    """
    if isinstance(missing, str) or not isinstance(missing, Sequence):
        raise InstallationError(f"what is missing is {missing!r}; list it")
    lacking: list[Any] = [line(each, "what is missing") for each in missing]
    return {
        "person": line(person, "the person"),
        "note": line(note, "the note"),
        "missing": lacking,
    }
