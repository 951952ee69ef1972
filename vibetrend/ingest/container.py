"""Sound in the containers of phones and cameras, by FFmpeg's libraries: M4A, MP4, MOV, WebM, AAC.

The format is told to the library by the content's own mark and nothing else is let in, so that a
playlist or a reference to another file is never followed.
"""

import contextlib
import datetime as dt
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import BinaryIO

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.container import InputContainer
from av.stream import Discard

from vibetrend.errors import ReadError
from vibetrend.ingest import channels, chunks, geotags
from vibetrend.ingest.channels import Kept
from vibetrend.ingest.found import Found
from vibetrend.ingest.tags import Stated
from vibetrend.ingest.unseen import disk_errors_kept
from vibetrend.recording import FloatArray, Note

NAME = "sound in phone and camera files (M4A, MP4, MOV, 3GP, WebM, AAC)"

_HEAD = 4096
_BOXES = (b"wide", b"mdat", b"moov", b"free", b"skip", b"pnot")
_MARKS = ((b"\x1aE\xdf\xa3", "matroska"), (b"#!AMR", "amr"), (b"caff", "caf"),
          (bytes.fromhex("3026b2758e66cf11"), "asf"))  # fmt: skip
# What each may be opened as, by the library's own names.
_LET_IN = {"mov": "mov,mp4,m4a,3gp,3g2,mj2", "matroska": "matroska,webm"}
_BRANDS = {b"M4A": "M4A", b"M4B": "M4A", b"M4P": "M4A", b"qt ": "MOV", b"3gp": "3GP", b"3g2": "3GP"}
_STORED_AS = {"aac": "ADTS", "amr": "AMR", "asf": "ASF", "caf": "CAF"}
_CODECS = {
    "alac": "ALAC", "opus": "Opus", "libopus": "Opus", "vorbis": "Vorbis", "libvorbis": "Vorbis",
    "mp3float": "MP3", "amrnb": "AMR NB", "amrwb": "AMR WB", "amr_nb": "AMR NB",
    "amr_wb": "AMR WB", "libopencore_amrnb": "AMR NB", "libopencore_amrwb": "AMR WB",
    "wmav1": "WMA 1", "wmav2": "WMA 2",
}  # fmt: skip
_PCM = {"s16": "PCM_16", "s24": "PCM_24", "s32": "PCM_32", "f32": "FLOAT", "f64": "DOUBLE"}
_DATES = ("com.apple.quicktime.creationdate", "creation_time", "date")  # local time before UTC
_RUN_UP_S = 0.25  # decoded and thrown away where decoding begins within a file: Opus needs 80 ms
_GAP_S = 0.1  # stamps in WebM are rounded to 1 ms; a jump beyond this is a loss
_ENDS_EARLY_S = 0.5
_MOST_PACKETS = 2_000_000  # half a day of sound
_MOST_LOST = 20_000  # packets without sound in them: several minutes


def can_read(head: bytes) -> bool:
    """Say whether a file that begins so is such a container."""
    return not head.startswith(b"caff") and _format(head) is not None


def knows_codec_of(head: bytes) -> bool:
    """Say whether a file that the reader of plain sound refused is worth a try: AAC in CAF is."""
    return head.startswith(b"caff")


def read(stream: BinaryIO, wanted: Stated) -> Found:
    """Decode the first sound track; pictures and all else in the file are left alone.

    Samples are counted; the stamps of a container, which may be rounded, only tell of gaps. Of a
    long steady recording only the middle is kept.

    Raises
    ------
    ReadError
        If there is no sound, it is locked or damaged beyond use, or a hint does not fit.
    """
    with disk_errors_kept(stream) as stream:
        return _decoded(stream, wanted)


def _decoded(stream: BinaryIO, wanted: Stated) -> Found:
    try:
        found = _read(stream, wanted)
    except ReadError:
        raise
    except (av.FFmpegError, ValueError, MemoryError) as error:  # texts in it count as ValueError
        raise ReadError("damaged or cut short beyond use as sound; copy it again") from error
    location, coordinates = geotags.in_stream(stream)
    return replace(found, location=location, coordinates=coordinates)


def _read(stream: BinaryIO, wanted: Stated) -> Found:
    container = _container(stream)  # now: moving the stream while it is open would confuse it
    with _opened(stream) as (opened, track):
        notes = _notes(opened)
        frames = _Frames(opened, track)
        first = frames.first()
        rate, count = first.sample_rate, first.layout.nb_channels
        kept = channels.channels(count, wanted)
        most, of_longer = channels.most_frames(rate, kept, wanted)
        held = Kept(most, kept.columns)
        long = not frames.gather(held)
        codec = channels.codec_words(f"{container} {_codec(track)}", count)
        date = _date(opened, track)
        if long:
            total = frames.total(held.count)
        elif frames.cut or frames.ends_s < _promised(opened, track) - _ENDS_EARLY_S:
            notes += (channels.CUT_SHORT,)
    if long:
        held.restart(of_longer)
        with _opened(stream) as (opened, track):
            begin = max(0, (total.frames - of_longer) // 2)
            frames = _Frames(opened, track, skip=total.packets_before(begin - _RUN_UP_S * rate))
            frames.gather(held, leave_out=int(_RUN_UP_S * rate))
        notes += (channels.shortened(rate, total=total.frames, kept=held.count, first=begin),)
    start, end = frames.longest()
    if end - start < held.count:
        notes += (_damaged(start / rate, end / rate),)
    found = channels.found(held.values(start, end), rate, kept, wanted, notes=notes)
    return replace(found, codec=codec, date=date)


@contextlib.contextmanager
def _opened(stream: BinaryIO) -> Iterator[tuple[InputContainer, AudioStream]]:
    """Open a container from its stream and choose the first sound track."""
    name = _format(_head(stream))
    assert name is not None
    options = {"format_whitelist": _LET_IN.get(name, name), "protocol_whitelist": "none"}
    try:
        opened = av.open(stream, format=name, container_options=options)
    except UnicodeDecodeError:  # a title in an old code page; versions that raise have the option
        stream.seek(0)
        opened = av.open(stream, format=name, container_options=options, metadata_errors="replace")
    with opened:
        assert isinstance(opened, InputContainer)  # versions differ in how they declare it
        if not opened.streams.audio:
            raise ReadError("no sound in it; record again with the microphone allowed")
        track = opened.streams.audio[0]
        if track.codec_context is None or not track.codec_context.codec.is_decoder:
            raise ReadError("its sound is coded in a way that is not known; save it as WAV or M4A")
        for other in opened.streams:
            if other is not track and hasattr(other, "discard"):  # only saves time
                other.discard = Discard.all
        yield opened, track


@dataclass(frozen=True)
class _Total:
    """How long a track is, about, and how its packets divide it."""

    frames: int
    packets: int

    def packets_before(self, frame: float) -> int:
        """Return how many whole packets lie before a frame."""
        return max(0, int(frame / self.frames * self.packets))


class _Frames:
    """The decoded sound of a track, without its first `skip` packets."""

    def __init__(self, opened: InputContainer, track: AudioStream, *, skip: int = 0) -> None:
        self._packets = opened.demux(track)
        self._skip = skip
        self._decoded = self._decode()
        self._first: AudioFrame | None = None
        self._breaks = [0]  # where something is missing before that frame
        self._end = 0
        self.ends_s = 0.0  # by the stamps, gaps included
        self.packets = 0
        self.cut = False

    def first(self) -> AudioFrame:
        """Return the first frame of sound, which is still to be gathered."""
        self._first = next((frame for frame in self._decoded if frame is not None), None)
        if self._first is None:
            raise ReadError(
                "its sound cannot be decoded: damaged, or locked by a licence; copy it again or "
                "save it as WAV"
            )
        return self._first

    def gather(self, held: Kept, *, leave_out: int = 0) -> bool:
        """Put sound into `held` but for its beginning; False if there is no room for all."""
        first, expected = self._first or self.first(), None
        fits = True
        for frame in itertools.chain([first], self._decoded):
            if frame is None:
                self._break(held.count)
                continue
            if (frame.sample_rate, frame.layout.nb_channels, frame.format.name) != (
                first.sample_rate, first.layout.nb_channels, first.format.name,
            ):  # fmt: skip
                self.cut = True
                break
            begins = frame.time
            if begins is not None and expected is not None and abs(begins - expected) > _GAP_S:
                self._break(held.count)
            expected = None if begins is None else begins + frame.samples / frame.sample_rate
            self.ends_s = max(self.ends_s + frame.samples / frame.sample_rate, expected or 0.0)
            values = _values(frame)
            if leave_out:
                values, leave_out = values[leave_out:], max(0, leave_out - len(values))
            fits = held.add(values)
            if not fits:
                break
        self._end = held.count
        return fits

    def total(self, gathered: int) -> _Total:
        """Count what is left, and return how long the track is if all packets are alike."""
        decoded = self.packets
        with contextlib.suppress(av.FFmpegError):  # a cut end
            for _ in self._packets:
                self.packets += 1
                if self.packets >= _MOST_PACKETS:
                    break
        return _Total(round(gathered / decoded * self.packets), self.packets)

    def longest(self) -> tuple[int, int]:
        """Return begin and end of the longest stretch of what was gathered that misses nothing."""
        return max(
            itertools.pairwise([*self._breaks, self._end]), key=lambda pair: pair[1] - pair[0]
        )

    def _break(self, place: int) -> None:
        self._breaks.append(place)

    def _decode(self) -> Iterator[AudioFrame | None]:
        """Yield frame by frame, None where a packet is lost; no more once too many are."""
        lost = 0
        try:
            for packet in self._packets:
                self.packets += 1
                if self.packets <= self._skip:
                    continue
                decoded: list[AudioFrame | None] = [None]
                with contextlib.suppress(av.FFmpegError):
                    decoded = [*packet.decode()]
                yield from decoded
                lost += decoded in ([], [None])
                if lost > _MOST_LOST:
                    self.cut = True
                    break
        except av.FFmpegError:
            self.cut = True


def _values(frame: AudioFrame) -> FloatArray:
    """Return a frame's samples as parts of full scale, shape (n, channels)."""
    stored = frame.to_ndarray()
    stored = stored.T if frame.format.is_planar else stored.reshape(-1, frame.layout.nb_channels)
    values: FloatArray = stored.astype(np.float64)
    if stored.dtype.kind == "u":
        values -= 128
    if stored.dtype.kind in "iu":
        values /= 2.0 ** (8 * stored.dtype.itemsize - 1)
    return values


def _head(stream: BinaryIO) -> bytes:
    stream.seek(0)
    head = stream.read(_HEAD)
    stream.seek(0)
    return head


def _format(head: bytes) -> str | None:
    """Return the library's name of a format, by its mark."""
    if head[4:8] == b"ftyp" or (head[4:8] in _BOXES and head[0] < 9):  # text has no such byte
        return "mov"
    for mark, name in _MARKS:
        if head.startswith(mark):
            return name
    return "aac" if _is_adts(head) else None


def _is_adts(head: bytes) -> bool:
    """Say whether two headers of raw AAC frames follow each other (ISO/IEC 13818-7, 6.2)."""
    if len(head) < 7 or head[0] != 0xFF or head[1] & 0xF6 != 0xF0:
        return False
    length = (head[3] & 3) << 11 | head[4] << 3 | head[5] >> 5
    following = head[length : length + 2]
    return length >= 7 and (following[:1] in (b"", b"\xff")) and following[1:2] in (b"", head[1:2])


def _container(stream: BinaryIO) -> str:
    head = _head(stream)
    name = _format(head) or ""
    if name == "matroska":
        return "WebM" if b"webm" in head[:64] else "MKA"
    if name == "mov":
        return _BRANDS.get(head[8:11], "MP4") if head[4:8] == b"ftyp" else "MOV"
    return _STORED_AS[name]


def _codec(track: AudioStream) -> str:
    context = track.codec_context
    if (profile := str(context.profile or "")).startswith("HE-AAC"):
        return profile
    name = context.name
    if name.startswith("pcm_"):
        return _PCM.get(name[4:7], name.upper())
    return _CODECS.get(name, name.upper())


def _date(opened: InputContainer, track: AudioStream) -> dt.date | None:
    for key in _DATES:
        for texts in (opened.metadata, track.metadata):
            if date := chunks.date_in(texts.get(key, "")):
                return date
    return None


def _promised(opened: InputContainer, track: AudioStream) -> float:
    """Return how long the header says that the sound is, seconds; 0 if it does not."""
    if track.duration is not None and track.time_base and opened.format.name.startswith("mov"):
        return float(track.duration * track.time_base)
    alone = len(opened.streams) == 1 and opened.format.name.startswith("matroska")
    return (opened.duration or 0) / av.time_base if alone else 0.0


def _notes(opened: InputContainer) -> tuple[Note, ...]:
    count = len(opened.streams.audio)
    if count == 1:
        return ()
    return (Note("tracks", "note", f"the file holds {count} sound tracks; the first was read"),)


def _damaged(start: float, end: float) -> Note:
    return Note(
        "truncated",
        "warning",
        f"the sound is damaged or has gaps; its longest whole stretch was read, "
        f"{start:.1f} to {end:.1f} s",
    )
