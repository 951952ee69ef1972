"""A photo for the record: recognised by its content, seen to be whole, without its location."""

import datetime as dt
import io
import struct
import warnings
from dataclasses import dataclass
from typing import Any

from PIL import Image

from vibetrend.errors import ReadError
from vibetrend.ingest.phototags import PNG, without_location

LARGEST_PHOTO = 40 * 2**20  # bytes
SMALL_SIDE = 480  # pixels of a small picture's longer side
_QUALITY = 80
_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp", "AVIF": "image/avif"}
_HEIC = "image/heic"  # kept, but nothing here can unpack its pixels
_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_ORIENTATION, _EXIF, _TAKEN = 0x0112, 0x8769, 0x9003  # Exif: CIPA DC-008; DateTimeOriginal
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What brings a picture upright, by the tag of its orientation."""
_BROKEN = (
    OSError, SyntaxError, ValueError, EOFError, OverflowError, RuntimeError, struct.error,
)  # fmt: skip
"""What the picture library raises over a file that is cut short or damaged."""


@dataclass(frozen=True, eq=False)
class Photo:
    """A photo as it is to be kept."""

    content: bytes
    media_type: str  # e.g. "image/jpeg"
    located: bool  # the file told where it was taken, and this content does not any more
    taken: dt.date | None  # as the camera wrote it; None if it wrote none, or none that can be
    stamp: str  # what it wrote for that; empty if nothing
    has_small: bool  # `thumbnail` can show it


def checked(content: bytes, *, name: str, keep_location: bool = False) -> Photo:
    """Return a photo as it is to be kept: all of it, but for where it was taken.

    Parameters
    ----------
    content : bytes
        The whole file: JPEG, PNG, WebP, AVIF or HEIC. Its name's ending does not matter.
    name : str
        Begins the text of an error.
    keep_location : bool
        Keep where it was taken.

    Raises
    ------
    ReadError
        If it is empty, too large, no photo, damaged or has more pixels than can be unpacked.
    """
    if not content:
        raise ReadError(f"{name}: empty; copy the photo again")
    if len(content) > LARGEST_PHOTO:
        raise ReadError(
            f"{name}: larger than {LARGEST_PHOTO / 2**20:.0f} MB, the most a photo may have; make "
            f"it smaller first"
        )
    media_type = _media_type(content, name)
    stamp = "" if media_type == _HEIC else _look_at(content, name)
    kept = content if keep_location else without_location(content)
    return Photo(kept, media_type, kept != content, _day(stamp), stamp, media_type != _HEIC)


def thumbnail(content: bytes, *, side: int = SMALL_SIDE) -> bytes:
    """Return a small upright JPEG picture of a photo, without any tags.

    Parameters
    ----------
    side : int
        Pixels that its longer side has at most.

    Raises
    ------
    ReadError
        If there is none: the photo is damaged, or HEIC, which cannot be unpacked here.
    """
    if _media_type(content, "the photo") == _HEIC:
        raise ReadError("the photo is HEIC, which cannot be shown small; add it as JPEG")
    try:
        with warnings.catch_warnings(action="ignore"), _opened(content) as image:
            # A JPEG is unpacked no larger than needed: a fraction of the time and memory.
            image.draft("RGB", (2 * side, 2 * side))
            turned = _TURNS.get(_tag(image, _ORIENTATION))
            image.thumbnail((side, side))
            shown = image.convert("RGBA")
            if turned is not None:
                shown = shown.transpose(turned)
            bare = Image.new("RGB", shown.size, "white")
            bare.paste(shown, mask=shown.getchannel("A"))
    except (*_BROKEN, Image.DecompressionBombError) as error:
        raise ReadError("the photo is damaged or cut short; copy it again") from error
    target = io.BytesIO()
    bare.save(target, "JPEG", quality=_QUALITY, optimize=True)
    return target.getvalue()


def _media_type(content: bytes, name: str) -> str:
    if content.startswith(b"\xff\xd8\xff"):
        return _TYPES["JPEG"]
    if content.startswith(PNG):
        return _TYPES["PNG"]
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return _TYPES["WEBP"]
    if content[4:8] == b"ftyp":
        length = int.from_bytes(content[:4])
        brands = {content[k : k + 4] for k in (8, *range(16, min(length, 256), 4))}
        if b"avif" in brands:
            return _TYPES["AVIF"]
        if brands & _HEIC_BRANDS:
            _refuse_if_cut_short(content, name)
            return _HEIC
    raise ReadError(f"{name}: no photo; give a JPEG, PNG, WebP or HEIC file")


def _refuse_if_cut_short(content: bytes, name: str) -> None:
    """See that the boxes of a HEIC file, each with its length, end where the file ends."""
    place = 0
    while place < len(content):
        length, header = int.from_bytes(content[place : place + 4]), 8
        if length == 1:
            length, header = int.from_bytes(content[place + 8 : place + 16]), 16
        if length == 0:  # to the end of the file
            return
        if length < header or place + length > len(content):
            raise ReadError(f"{name}: the photo is damaged or cut short; copy it again")
        place += length


def _look_at(content: bytes, name: str) -> str:
    """See that a photo can be unpacked, and return the day its camera says it was taken, as text.

    Where the day is not known, blanks stand between colons (CIPA DC-008): that is no text.
    """
    try:
        with warnings.catch_warnings(action="ignore"), _opened(content) as image:
            stamp = str(_tag(image, _TAKEN, directory=_EXIF) or "")
            image.draft("RGB", (SMALL_SIDE, SMALL_SIDE))
            image.load()
    except Image.DecompressionBombError as error:
        raise ReadError(
            f"{name}: it has more pixels than can be unpacked safely; make it smaller first"
        ) from error
    except _BROKEN as error:
        raise ReadError(f"{name}: the photo is damaged or cut short; copy it again") from error
    return stamp[:10].strip(": \0")


def _day(stamp: str) -> dt.date | None:
    try:
        return dt.datetime.strptime(stamp, "%Y:%m:%d").date()
    except ValueError:
        return None


def _tag(image: Image.Image, tag: int, *, directory: int | None = None) -> Any:
    """Return the value of a tag; None where it is missing, or the tags are damaged."""
    try:
        found = image.getexif()
        return (found if directory is None else found.get_ifd(directory)).get(tag)
    except (*_BROKEN, TypeError, KeyError):
        return None


def _opened(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content), formats=tuple(_TYPES))
