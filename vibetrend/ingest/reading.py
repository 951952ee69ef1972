"""Open a file, unpack it, let the reader that knows its content read it, put the tags together."""

import datetime as dt
import hashlib
import os
import stat
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from vibetrend.errors import ReadError
from vibetrend.ingest import archive, sound, table, tags
from vibetrend.ingest.found import Found
from vibetrend.ingest.tags import Stated
from vibetrend.recording import Kind, Manner, Note, Recording, Source


class Reader(Protocol):
    """What a reader module offers."""

    NAME: str

    def can_read(self, head: bytes) -> bool:
        """Say by its first bytes whether a file is of this format."""

    def read(self, data: bytes, wanted: Stated) -> Found:
        """Read it, or raise a ReadError that says what is wrong in it."""


READERS: tuple[Reader, ...] = (sound, table)
"""Asked in this order; text comes last because so much is text."""

_HEAD = 4096  # bytes shown to a reader

_OTHERS = (
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"\x89PNG", "a PNG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF document"),
    (b"\xd0\xcf\x11\xe0", "an office document; save the sheet as CSV"),
    (b"SQLite format 3", "a database"),
    (b"BZh", "packed with bzip2; unpack it first"),
    (b"\xfd7zXZ", "packed with xz; unpack it first"),
    (b"7z\xbc\xaf", "packed with 7z; unpack it first"),
    (b"Rar!", "packed with rar; unpack it first"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
)


def read(
    path: str | os.PathLike[str],
    *,
    rpm: float | None = None,
    hours: float | None = None,
    date: dt.date | str | None = None,
    position: str | None = None,
    device: str | None = None,
    condition: str | None = None,
    manner: Manner | None = None,
    kind: Kind | None = None,
    unit: str | None = None,
    columns: Sequence[str | int] | None = None,
    rate: float | None = None,
    full_scale: str | None = None,
) -> Recording:
    """Read a recording from a file: a text table or sound, plain or in a zip or gz file.

    What is stated here counts most, then a side file (``clip.toml`` beside ``clip.csv``), then
    columns such as ``rpm`` in the table, then the file's name (``idle_1000rpm_3120h_2026-05-01``),
    then the file's own recording date. What nobody states stays None or "".

    Parameters
    ----------
    path : path
        The file; its content decides what it is, not its name.
    rpm, hours, date, position, device, condition, manner
        Tags; None means not stated.
    kind, unit : str, optional
        What the samples are, where the file does not say; they overrule the file.
    columns : sequence of str or int, optional
        Names or numbers (from 1) of the columns or channels to use.
    rate : float, optional
        Hz, for tables without times.
    full_scale : str, optional
        For sound files that hold something else: what the value 1.0 stands for, e.g. ``"1 g"``.

    Raises
    ------
    ReadError
        If the file cannot be taken as a recording; one line that names file and remedy.
    """
    file = Path(path)
    options = tags.stated(
        {
            "rpm": rpm,
            "hours": hours,
            "date": date,
            "position": position,
            "device": device,
            "condition": condition,
            "manner": manner,
            "kind": kind,
            "unit": unit,
            "columns": columns,
            "rate": rate,
            "full_scale": full_scale,
        },
        where=str(file),
    )
    original = _content(file)
    side, _ = tags.beside(file)
    try:
        data, inner_name = archive.unpack(original, name=file.name)
        wanted = options.over(side)
        found = _reader_of(data).read(data, wanted)
        return _recording(
            found,
            wanted,
            names=(file.name, inner_name),
            source=Source(
                path=str(file),
                sha256=hashlib.sha256(original).hexdigest(),
                reading=wanted.reading(),
            ),
        )
    except ReadError as error:
        raise ReadError(f"{file}: {error}") from error


def _content(file: Path) -> bytes:
    try:
        status = file.stat()
        size, mode = status.st_size, status.st_mode
        wanted = stat.S_ISREG(mode) and size <= archive.LARGEST_FILE
        content = file.read_bytes() if wanted else b""
    except FileNotFoundError as error:
        raise ReadError(f"{file}: no such file; check the path") from error
    except OSError as error:
        reason = error.strerror or "unreadable"
        raise ReadError(f"{file}: cannot be read ({reason}); check path and rights") from error
    except ValueError as error:
        raise ReadError(f"{str(file)!r} cannot be a path; check it") from error
    if stat.S_ISDIR(mode):
        raise ReadError(f"{file}: a folder; give the recordings in it one by one")
    if not stat.S_ISREG(mode):
        raise ReadError(f"{file}: not a file; give the path of a recording")
    if size > archive.LARGEST_FILE:
        limit = archive.LARGEST_FILE // 2**20
        raise ReadError(f"{file}: larger than {limit} MB; cut out a minute of steady running")
    if not content:
        raise ReadError(f"{file}: empty; copy it again from the phone or logger")
    return content


def _reader_of(data: bytes) -> Reader:
    head = data[:_HEAD]
    for reader in READERS:
        if reader.can_read(head):
            return reader
    what = next((name for start, name in _OTHERS if head.startswith(start)), "an unknown format")
    known = " and ".join(reader.NAME for reader in READERS)
    raise ReadError(f"not a recording but {what}; readable are {known}")


def _recording(
    found: Found, wanted: Stated, *, names: tuple[str, str], source: Source
) -> Recording:
    named = tags.in_name(names[0]).over(tags.in_name(names[1]))
    final = wanted.over(found.stated).over(named).over(Stated(date=found.date))
    return Recording(
        found.samples,
        times=found.times,
        sample_rate=found.sample_rate,
        axes=found.axes,
        kind=found.kind,
        unit=found.unit,
        manner=final.manner or "steady",
        rpm=final.rpm,
        hours=final.hours,
        date=final.date,
        position=final.position or "",
        device=final.device or "",
        condition=final.condition or "",
        codec=found.codec,
        notes=(*found.notes, *_assumed(wanted, found.stated, named)),
        source=source,
    )


def _assumed(wanted: Stated, in_file: Stated, named: Stated) -> tuple[Note, ...]:
    notes: tuple[Note, ...] = ()
    for known, source, place in (
        (wanted, in_file, "the table's own columns"),
        (wanted.over(in_file), named, "the file name"),
    ):
        notes += tags.note_assumed(source.not_in(known), place)
    return notes
