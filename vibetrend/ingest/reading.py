"""Open a file, unpack it, let the reader that knows its content read it, put the tags together."""

import os
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO, Protocol, Unpack

from vibetrend.errors import ReadError
from vibetrend.ingest import (
    archive,
    container,
    content,
    matlab,
    parquet,
    sound,
    table,
    tags,
    universal,
)
from vibetrend.ingest.found import Found
from vibetrend.ingest.tags import Stated, Statements
from vibetrend.quoting import printable
from vibetrend.recording import Note, Recording, Source


class Reader(Protocol):
    """What a reader module offers."""

    NAME: str

    def can_read(self, head: bytes) -> bool:
        """Say by its first bytes whether a file is of this format."""

    def read(self, stream: BinaryIO, wanted: Stated) -> Found:
        """Read it, or raise a ReadError that says what is wrong in it."""


READERS: tuple[Reader, ...] = (sound, container, universal, matlab, parquet, table)
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


def read(path: str | os.PathLike[str], **stated: Unpack[Statements]) -> Recording:
    """Read a recording from a file: a table, sound or video, plain or in a zip or gz file.

    What is stated here counts most, then a side file (``clip.toml`` beside ``clip.csv``), then
    columns such as ``rpm`` in the table, then the file's name (``idle_1000rpm_3120h_2026-05-01``),
    then the file's own recording date. What nobody states stays None or "".

    Parameters
    ----------
    path : path
        The file; its content decides what it is, not its name.
    rpm, end_rpm, hours, date, position, device, condition, manner : optional
        Tags.
    coolant_c, damper_c, room_c : float, optional
        Temperatures, degrees Celsius.
    other_engine, alternator_load, lying, shore_power, automatic_gain : str, optional
        The choices of :class:`vibetrend.recording.Circumstances`.
    kind, unit : str, optional
        What the samples are, where the file does not say; they overrule the file. A unit may
        have a number: ``"0.0039 g"`` is what one count stands for.
    columns : sequence of str or int, optional
        Names or numbers (from 1) of the columns or channels to use.
    rate : float, optional
        Hz, for tables without times.
    full_scale : str, optional
        For sound files that hold something else: what the value 1.0 stands for, e.g. ``"1 g"``.
    sensitivity : str, optional
        What turns volts into the quantity, e.g. ``"100 mV/g"``.
    tacho_column : str or int, optional
        The column or channel of a tacho: a voltage, pulses, or edge times alone.
    teeth : str, optional
        Of the tacho's wheel, ``"118"``; with missing ones ``"60-2"``; ``"1"`` for a tape.
    poles, pulley_ratio : int, float, optional
        Instead of teeth, of an alternator whose phase terminal is the tacho.

    Raises
    ------
    ReadError
        If the file cannot be taken as a recording; one line that names file and remedy.
    """
    file = Path(path)
    options = tags.stated(stated, where=str(file))
    with (
        content.opened(file) as stream,
        content.hashed_meanwhile(file, stream) as sha256,
    ):
        side, _ = tags.beside(file)
        try:
            inner, inner_name = archive.unpack(stream, name=file.name)
            wanted = options.over(side)
            found = _reader_of(inner).read(inner, wanted)
            return _recording(
                found,
                wanted,
                names=(file.name, inner_name),
                source=Source(
                    path=str(file),
                    sha256=sha256(),
                    reading=wanted.reading(),
                    location=found.location,
                    coordinates=found.coordinates,
                ),
            )
        except ReadError as error:
            raise ReadError(f"{file}: {printable(str(error))}") from error


def _reader_of(stream: BinaryIO) -> Reader:
    head = stream.read(_HEAD)
    stream.seek(0)
    for reader in READERS:
        if reader.can_read(head):
            return reader
    what = next((name for start, name in _OTHERS if head.startswith(start)), "an unknown format")
    known = ", ".join(reader.NAME for reader in READERS)
    raise ReadError(f"not a recording but {what}; readable are: {known}")


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
        end_rpm=final.end_rpm,
        hours=final.hours,
        date=final.date,
        position=final.position or "",
        device=final.device or "",
        condition=final.condition or "",
        tacho=found.tacho,
        codec=_codec(found.codec, final),
        circumstances=final.circumstances(),
        notes=[
            replace(note, message=printable(note.message))  # it may quote the file
            for note in (*found.notes, *_assumed(wanted, found.stated, named))
        ],
        source=source,
    )


def _codec(stored_as: str, final: Stated) -> str:
    # Sound that was processed must never be compared with sound that was not.
    return f"{stored_as}, processed" if final.automatic_gain == "on" else stored_as


def _assumed(wanted: Stated, in_file: Stated, named: Stated) -> tuple[Note, ...]:
    notes: tuple[Note, ...] = ()
    for known, source, place in (
        (wanted, in_file, "the table's own columns"),
        (wanted.over(in_file), named, "the file name"),
    ):
        notes += tags.note_assumed(source.not_in(known), place)
    return notes
