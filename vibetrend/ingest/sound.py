"""Sound files, by libsndfile: WAV, FLAC, OGG, MP3, AIFF, CAF, AU."""

import datetime as dt
import io
import re
from typing import BinaryIO

import numpy as np
import soundfile

from vibetrend import units
from vibetrend.errors import ReadError, VibetrendError
from vibetrend.ingest.found import MOST_VALUES, Found
from vibetrend.ingest.headings import kind_of
from vibetrend.ingest.tags import Stated
from vibetrend.recording import FloatArray, Kind, Note

NAME = "sound (WAV, FLAC, OGG, MP3, AIFF)"

_CUT_SHORT = Note("truncated", "note", "the file is cut short; what is left of it was read")
_STARTS = (b"fLaC", b"OggS", b"ID3", b"caff", b".snd")
_MPEG_LAYER_3 = (0xFB, 0xFA, 0xF3, 0xF2, 0xE3, 0xE2)
_BLOCK = 2**14  # frames; what follows the first damaged block is lost


def can_read(head: bytes) -> bool:
    """Say whether a file that begins so is sound."""
    return (
        head.startswith(_STARTS)
        or (head[:4] in (b"RIFF", b"RIFX", b"RF64") and head[8:12] == b"WAVE")
        or (head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"))
        or (len(head) > 1 and head[0] == 0xFF and head[1] in _MPEG_LAYER_3)
    )


def read(stream: BinaryIO, wanted: Stated) -> Found:
    """Decode sound; `wanted.full_scale` makes it what a sensor put into a sound file.

    Raises
    ------
    ReadError
        If it cannot be decoded, holds nothing or too much, or a hint does not fit.
    """
    if wanted.rate is not None:
        raise ReadError("a sound file states its own sample rate; leave out rate")
    try:
        with soundfile.SoundFile(stream) as file:
            samples, whole = _samples(file)
            rate = float(file.samplerate)
            codec = f"{file.format} {file.subtype}"
            date = _date(str(file.copy_metadata().get("date", "")))
    except (soundfile.SoundFileError, RuntimeError, OSError) as error:
        raise ReadError("damaged or cut short beyond use as sound; copy it again") from error
    if len(samples) < 2:
        raise ReadError("a sound file without sound in it; record again")
    kind, unit, factor = _meaning(wanted)
    used, axes = _channels(samples.shape[1], kind, wanted.columns)
    return Found(
        samples=samples[:, used] * factor if factor != 1 else samples[:, used],
        sample_rate=rate,
        axes=axes,
        kind=kind,
        unit=unit,
        codec=codec,
        date=date,
        notes=() if whole and not _is_cut(stream) else (_CUT_SHORT,),
    )


def _samples(file: "soundfile.SoundFile") -> tuple[FloatArray, bool]:
    """Decode in blocks, and say whether it went well to the end.

    A header's length may be unknown or a lie, hence no trust in it beyond a first look.
    """
    too_long = ReadError(
        f"too long to hold at once (more than {MOST_VALUES / 1e6:.0f} million values); "
        f"cut out a minute of steady running"
    )
    if file.frames * file.channels > MOST_VALUES and file.frames < 2**40:
        raise too_long
    blocks: list[FloatArray] = []
    count, whole = 0, True
    while True:
        try:
            block = file.read(_BLOCK, dtype="float64", always_2d=True)
        except soundfile.SoundFileError:
            if not blocks:
                raise
            whole = False
            break
        if not len(block):
            break
        count += block.size
        if count > MOST_VALUES:
            raise too_long
        blocks.append(block)
    return np.concatenate(blocks) if blocks else np.zeros((0, file.channels)), whole


def _meaning(wanted: Stated) -> tuple[Kind, str, float]:
    """Return kind, unit and what the value 1.0 stands for in that unit."""
    if wanted.full_scale is None:
        if wanted.kind not in (None, "sound", "other") or wanted.unit not in (None, "1"):
            raise ReadError(
                "a sound file holds parts of full scale; to read it as "
                f"{wanted.kind or 'sound'} give full_scale, e.g. '1 g' or '2 Pa'"
            )
        return wanted.kind or "sound", "1", 1.0
    match = re.fullmatch(r"\s*([\d.]+(?:e[-+]?\d+)?)\s*(\S.*)", wanted.full_scale, re.IGNORECASE)
    try:
        value = float(match[1]) if match else 0.0
        unit = units.unit(match[2]) if match else None
    except (ValueError, VibetrendError):
        value, unit = 0.0, None
    if unit is None or not value > 0:
        raise ReadError(
            f"full_scale is {wanted.full_scale!r}; write a number and a unit, e.g. '1 g'"
        )
    heard_as: Kind = "sound" if unit.si in ("Pa", "1") else kind_of(unit)
    return wanted.kind or heard_as, unit.si, value * unit.factor


def _channels(
    count: int, kind: Kind, columns: tuple[str | int, ...] | None
) -> tuple[list[int], tuple[str, ...] | None]:
    """Return the channels to use, counted from 0, and the names of their axes."""
    if kind == "sound":
        names = {1: ["sound"], 2: ["left", "right"]}.get(
            count, [f"channel {i + 1}" for i in range(count)]
        )
    else:
        names = ["x", "y", "z"] if count <= 3 else [f"channel {i + 1}" for i in range(count)]
    used = []
    for column in columns if columns is not None else range(1, count + 1):
        text = str(column)
        index = names.index(text) if text in names else int(text) - 1 if text.isdecimal() else -1
        if not 0 <= index < count or index in used:
            raise ReadError(f"channel {column!r} is not one of {', '.join(names[:count])}")
        used.append(index)
    return used, tuple(names[i] for i in used)


def _date(text: str) -> dt.date | None:
    match = re.match(r"\d{4}-\d\d-\d\d", text)
    try:
        return dt.date.fromisoformat(match[0]) if match else None
    except ValueError:
        return None


def _is_cut(stream: BinaryIO) -> bool:
    # Bytes 4 to 8 hold what follows; recorders that never finished leave 0 or all ones.
    size = stream.seek(0, io.SEEK_END)
    stream.seek(0)
    data = stream.read(8)
    if data[:4] not in (b"RIFF", b"FORM"):
        return False
    promised = int.from_bytes(data[4:8], "little" if data[:4] == b"RIFF" else "big")
    return promised not in (0, 2**32 - 1) and promised + 8 > size + 1
