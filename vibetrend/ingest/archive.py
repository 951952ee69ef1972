"""A packed file's one data file, taken out in memory; nothing is ever unpacked to disk."""

import gzip
import io
import lzma
import zipfile
import zlib
from pathlib import PurePosixPath
from typing import BinaryIO, Protocol

from vibetrend.errors import ReadError
from vibetrend.ingest import content

LARGEST_RATIO = 200  # text tables pack 3 to 20 times
_SMALL = 4 * 2**20  # below this no ratio is dangerous
_BLOCK = 2**20
_LONGEST_NAME = 100  # characters of it that are told
# What the unpackers raise over damage; places and names in it that cannot be are a ValueError.
_BROKEN = (zipfile.BadZipFile, EOFError, zlib.error, lzma.LZMAError, OSError, ValueError)
# What desktops add to a folder by themselves.
_DEBRIS = {".ds_store", "thumbs.db", "desktop.ini"}


def unpack(stream: BinaryIO, *, name: str) -> tuple[BinaryIO, str]:
    """Return the content of a zip or gzip file and its own name; another stream as it is.

    Raises
    ------
    ReadError
        If the archive is damaged, locked with a password, holds none or several files, holds
        another archive, or unpacks to more than is sensible.
    """
    head = stream.read(4)
    stream.seek(0)
    zipped = head in (b"PK\x03\x04", b"PK\x05\x06")
    if not zipped and not head.startswith(b"\x1f\x8b"):
        return stream, name
    data = content.whole(stream)
    if zipped:
        inner, name = _from_zip(data)
    else:
        inner, name = _from_gzip(data), name.removesuffix(".gz")
    if inner.startswith((b"PK\x03\x04", b"\x1f\x8b")) or inner[257:262] == b"ustar":
        raise ReadError("an archive within an archive; unpack it and give the recording itself")
    if not inner:
        raise ReadError("the file packed in it is empty; copy it again from the phone or logger")
    return io.BytesIO(inner), name


def _from_zip(data: bytes) -> tuple[bytes, str]:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            member = _only_member(archive)
            if member.flag_bits & 0x1:
                raise ReadError("locked with a password; unpack it and give the recording itself")
            if member.file_size > _limit(len(data)):
                raise _too_much(member.file_size)
            with archive.open(member) as stream:
                return _limited(stream, len(data)), member.filename
    except ReadError:
        raise
    except _BROKEN as error:
        raise ReadError("a damaged zip file; copy it again or give the file in it") from error
    except (NotImplementedError, RuntimeError) as error:
        raise ReadError("packed in an unusual way; unpack it, give the recording itself") from error


def _only_member(archive: zipfile.ZipFile) -> zipfile.ZipInfo:
    names = archive.namelist()
    if "[Content_Types].xml" in names or "content.xml" in names:
        raise ReadError("an office document, not a table of text; save the sheet as CSV")
    members = [
        entry
        for entry in archive.infolist()
        if not entry.filename.endswith("/")
        and not entry.filename.startswith("__MACOSX/")
        and PurePosixPath(entry.filename).name.lower() not in _DEBRIS
    ]
    if len(members) != 1:
        listed = ", ".join(entry.filename[:_LONGEST_NAME] for entry in members[:3])
        several = f"{len(members)} files ({listed}{' ...' if len(members) > 3 else ''})"
        raise ReadError(
            f"the zip file holds {several if members else 'no file'}; "
            f"pack exactly one recording, or give it unpacked"
        )
    return members[0]


def _from_gzip(data: bytes) -> bytes:
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(data)) as stream:
            return _limited(stream, len(data))
    except (EOFError, zlib.error, OSError) as error:
        raise ReadError("a damaged gz file; copy it again or give the file in it") from error


def _limit(packed: int) -> int:
    return min(content.LARGEST_FILE, max(_SMALL, LARGEST_RATIO * packed))


class _Stream(Protocol):
    def read(self, size: int, /) -> bytes: ...


def _limited(stream: _Stream, packed: int) -> bytes:
    """Read a stream block by block, so that a lying header costs no memory."""
    blocks, total = [], 0
    while block := stream.read(_BLOCK):
        total += len(block)
        if total > _limit(packed):
            raise _too_much(total)
        blocks.append(block)
    return b"".join(blocks)


def _too_much(size: int) -> ReadError:
    return ReadError(
        f"unpacks to {size / 2**20:.0f} MB or more, too much for a recording of this packed size; "
        f"unpack it and cut out a minute"
    )
