"""Sound files, by libsndfile: WAV, FLAC, OGG, MP3, AIFF, CAF, AU."""

from dataclasses import replace
from typing import BinaryIO

import soundfile

from vibetrend.errors import ReadError
from vibetrend.ingest import channels, chunks, container
from vibetrend.ingest.channels import Kept
from vibetrend.ingest.found import Found
from vibetrend.ingest.tags import Stated
from vibetrend.ingest.unseen import disk_errors_kept
from vibetrend.recording import Note

NAME = "sound (WAV, FLAC, OGG, MP3, AIFF, CAF)"

_STARTS = (b"fLaC", b"OggS", b"ID3", b"caff", b".snd", b"riff\x2e\x91\xcf\x11")
_MPEG_LAYER_3 = (0xFB, 0xFA, 0xF3, 0xF2, 0xE3, 0xE2)
_BLOCK = 2**14  # values; what follows the first damaged block is lost
_UNKNOWN = 2**40  # frames; so many are claimed where a header does not know


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

    Of a long steady recording only the middle is decoded and kept.

    Raises
    ------
    ReadError
        If it cannot be decoded, holds nothing, or a hint does not fit.
    """
    with disk_errors_kept(stream) as stream:
        return _decoded(stream, wanted)


def _decoded(stream: BinaryIO, wanted: Stated) -> Found:
    try:
        return _read(stream, wanted)
    except (soundfile.SoundFileError, OSError) as error:
        stream.seek(0)
        head = stream.read(8)
        stream.seek(0)
        if container.knows_codec_of(head):
            return container.read(stream, wanted)
        raise ReadError("damaged or cut short beyond use as sound; copy it again") from error


def _read(stream: BinaryIO, wanted: Stated) -> Found:
    with soundfile.SoundFile(stream) as file:
        rate, count = float(file.samplerate), int(file.channels)
        stored_as = channels.codec_words(f"{file.format} {file.subtype}", count)
        date = chunks.date_in(str(file.copy_metadata().get("date", "")))
        total = file.frames if 0 <= file.frames < _UNKNOWN else None
        kept = channels.channels(count, wanted)
        most, of_longer = channels.most_frames(rate, kept, wanted)
        long = total is not None and total > most
        room = most if total is None else of_longer if long else total
        first = (total - room) // 2 if total is not None else 0
        held = Kept(room, kept.columns)
        well = _fill(held, file, first)
    if first and not held.full:  # what lies behind damage is lost, so take what is before it
        held, first = Kept(room, kept.columns), 0
        stream.seek(0)
        with soundfile.SoundFile(stream) as file:
            _fill(held, file, first)
        well = False
    notes: tuple[Note, ...] = ()
    if held.full and (total is None or long):
        notes = (channels.shortened(rate, total=total, kept=held.count, first=first),)
    if not well or (total is not None and not held.full) or chunks.is_cut(stream):
        notes += (channels.CUT_SHORT,)
    found = channels.found(held.values(), rate, kept, wanted, notes=notes)
    return replace(found, codec=stored_as, date=chunks.broadcast_date(stream) or date)


def _fill(held: Kept, file: soundfile.SoundFile, first: int) -> bool:
    """Decode from frame `first` on until all there is room for is held; False if damaged."""
    try:
        if first:
            file.seek(first)
        while not held.full:
            frames = max(1, _BLOCK // file.channels)
            place = held.place(frames, file.channels)
            block = file.read(frames, dtype="float64", always_2d=True, out=place)
            if not len(block):
                break
            held.add(block)
    except soundfile.SoundFileError:
        if not held.count and not first:
            raise
        return False
    return True
