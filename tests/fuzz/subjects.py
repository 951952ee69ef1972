"""What the inputs of each target begin as: valid files, and words of each format."""

import gzip
import io
import os
import sys
from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import h5py
import numpy as np
import soundfile
import subjects_logbook
from campaign import Subject
from doors import (
    of_boxes,
    of_chunks,
    of_matlab,
    of_packed,
    of_parquet,
    of_png,
    of_sound,
    ogg_checksum,
    zipped,
)
from guard import CANARY
from mutation import Mutator

TESTS = Path(__file__).parents[1]
DEMO = TESTS.parent / "recordings_demo"
sys.path.append(str(TESTS / "ingest"))

import test_matlab_files as matlab_files  # noqa: E402
import test_parquet_files as parquet_files  # noqa: E402
import test_photo as photos  # noqa: E402
import test_universal_files as universal_files  # noqa: E402
import written_layouts  # noqa: E402
from foreign_layouts import LAYOUTS as FOREIGN  # noqa: E402
from more_foreign_layouts import LAYOUTS as MORE_FOREIGN  # noqa: E402
from written_sound import encoded, referring  # noqa: E402

RATE = 8000
NOISE = 0.2 * np.random.default_rng(8).standard_normal((1600, 2))
TONE = 0.3 * np.sin(2 * np.pi * 1000 * np.arange(3 * RATE) / RATE)
ELSEWHERE = f"/proc/self/cwd/{CANARY}"
HTTP = "http://127.0.0.1:@PORT/x.wav"


def _bytes(content: str | bytes) -> bytes:
    return content.encode() if isinstance(content, str) else content


def _tables() -> Iterable[bytes]:
    for content in written_layouts.LAYOUTS.values():
        yield _bytes(content)
    for layout in (*FOREIGN.values(), *MORE_FOREIGN.values()):
        yield _bytes(layout.content)
    lines = (DEMO / "single" / "main_1080rpm.csv").read_bytes().splitlines(keepends=True)
    yield b"".join(lines[:400])


def _sound(kind: str, subtype: str, samples: Any = NOISE) -> bytes:
    buffer = io.BytesIO()
    soundfile.write(buffer, samples, RATE, format=kind, subtype=subtype)
    content = bytearray(buffer.getvalue())
    if (peak := content.find(b"PEAK")) > 0:
        content[peak + 12 : peak + 16] = bytes(4)  # when it was made
    return bytes(content) if kind != "OGG" else _numbered_alike(content)


def _numbered_alike(content: bytearray) -> bytes:
    """Return an OGG file, its streams numbered 1 and not by chance (RFC 3533, section 6)."""
    starts = [at for at in range(len(content)) if content.startswith(b"OggS", at)]
    for start, end in pairwise([*starts, len(content)]):
        content[start + 14 : start + 18] = (1).to_bytes(4, "little")
        content[start + 22 : start + 26] = bytes(4)
        checksum = ogg_checksum(bytes(content[start:end]))
        content[start + 22 : start + 26] = checksum.to_bytes(4, "little")
    return bytes(content)


def _sounds() -> Iterable[bytes]:
    for kind, subtype in (
        *(("WAV", name) for name in ("PCM_16", "PCM_24", "FLOAT", "IMA_ADPCM", "ULAW")),
        *(("WAVEX", "PCM_16"), ("RF64", "PCM_16"), ("W64", "PCM_16"), ("AIFF", "PCM_16")),
        *(("AU", "PCM_16"), ("CAF", "PCM_16"), ("FLAC", "PCM_16"), ("FLAC", "PCM_24")),
        *(("OGG", "VORBIS"), ("OGG", "OPUS"), ("MP3", "MPEG_LAYER_III")),
    ):
        yield _sound(kind, subtype)
    wav = _sound("WAV", "PCM_16")
    comment = _chunk(b"ICMT", b"+54.3213+010.1349+012/\0")
    broadcast = _chunk(b"bext", b"a".ljust(320) + b"2026-05-01".ljust(282))
    place = _chunk(b"LIST", b"INFO" + comment)
    body = wav[8:36] + broadcast + place + wav[36:]
    yield b"RIFF" + len(body).to_bytes(4, "little") + body
    yield _encoded("caf", "aac")


def _chunk(name: bytes, body: bytes) -> bytes:
    return name + len(body).to_bytes(4, "little") + body + bytes(len(body) % 2)


def _encoded(container: str, codec: str, rate: int = 16_000, **more: Any) -> bytes:
    """Return what FFmpeg writes; nothing where it has no such encoder here."""
    try:
        samples = NOISE if rate > RATE else NOISE[:, :1]
        options = {"fflags": "+bitexact"} | more.pop("options", {})  # nothing by chance in it
        return encoded(samples, rate, container=container, codec=codec, options=options, **more)
    except (av.FFmpegError, ValueError, LookupError):
        return b""


def _containers() -> Iterable[bytes]:
    place = {"location": "+54.3213+010.1349/", "creation_time": "2026-05-01T10:20:03Z"}
    mp4 = _encoded("mp4", "aac", metadata=place)
    yield from (
        *(mp4, _encoded("ipod", "alac"), _encoded("mov", "pcm_s16le"), _encoded("3gp", "aac")),
        *(_encoded("webm", "libopus", 48_000), _encoded("matroska", "flac")),
        *(_encoded("matroska", "pcm_s24le"), _encoded("adts", "aac"), _encoded("asf", "wmav2")),
        *(_encoded("ipod", "aac", tracks=2), _encoded("mp4", "aac", video=True)),
        _encoded("ipod", "aac", options={"movflags": "frag_keyframe+empty_moov"}),
        referring(_encoded("mov", "pcm_s16le"), ELSEWHERE),
    )
    noise = np.random.default_rng(9).integers(0, 256, (40, 31), dtype=np.uint8)
    yield b"#!AMR\n" + b"".join(b"\x3c" + each.tobytes() for each in noise)  # RFC 4867, 5.3


def _universal() -> Iterable[bytes]:
    shake, step = universal_files.SHAKE, 1 / universal_files.RATE
    times = np.arange(shake.shape[1]) * step
    text, binary = universal_files.text_dataset, universal_files.binary_dataset
    yield universal_files.three()
    yield universal_files.three(binary)
    yield text(shake[0], times, form=4)
    yield binary(shake[0], times, order=2, form=4)
    yield binary(shake[0], times, times_as="d", form=4)
    yield universal_files.units_dataset(length=1e3, force=1.0) + text(shake[1], unit="NONE")


def _matlab() -> Iterable[bytes]:
    yield matlab_files.FILES["4"]
    for version in ("5", "7"):  # their first 116 bytes say when they were made
        yield b"MATLAB 5.0 MAT-file".ljust(116) + matlab_files.FILES[version][116:]


def _matlab_7_3() -> Iterable[bytes]:
    yield matlab_files.FILES["7.3"]
    yield matlab_files.saved_73({"t": matlab_files.T[:60], "acc": matlab_files.SHAKE[:60]})
    for elsewhere in (_linked, _stored_elsewhere):
        buffer = io.BytesIO()
        with h5py.File(buffer, "w", userblock_size=512) as file:
            elsewhere(file)
        data = bytearray(buffer.getvalue())
        data[:128] = matlab_files.FILES["7.3"][:128]
        yield bytes(data)


def _linked(file: "h5py.File") -> None:
    file["acc"] = h5py.ExternalLink(ELSEWHERE, "/acc")
    file["t"] = matlab_files.T[:60]


def _stored_elsewhere(file: "h5py.File") -> None:
    file.create_dataset("acc", (60,), "f8", external=[(ELSEWHERE, 0, 480)])


def _parquet() -> Iterable[bytes]:
    yield from parquet_files.FILES.values()
    for name in ("seconds", "with a zone", "timedelta", "text", "decimals", "epoch ms",
                 "date and time of day", "units in the fields' metadata"):  # fmt: skip
        yield parquet_files.saved(parquet_files.CLOCKS[name])


def _packed() -> Iterable[bytes]:
    table = _bytes(next(iter(written_layouts.LAYOUTS.values())))
    yield zipped([("idle_1000rpm_3120h_2026-05-01.csv", table)])
    yield zipped([("clip.wav", _sound("WAV", "PCM_16"))])
    yield zipped([("__MACOSX/._clip.csv", b"x"), ("log/clip.csv", table), ("log/", b"")])
    yield zipped([("../../clip.csv", table), ("b.csv", b"1,2\n")])
    yield zipped([("[Content_Types].xml", b"<x/>")])
    yield gzip.compress(table, mtime=0)
    yield gzip.compress(next(iter(parquet_files.FILES.values())), mtime=0)


def _playlists() -> Iterable[bytes]:
    for to in (ELSEWHERE, f"file://{ELSEWHERE}", HTTP, CANARY, f"concat:{ELSEWHERE}|{ELSEWHERE}"):
        for text in (
            f"#EXTM3U\n#EXT-X-VERSION:3\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\n{to}\n#EXT-X-ENDLIST\n",
            f'#EXTM3U\n#EXT-X-KEY:METHOD=AES-128,URI="{to}"\n#EXT-X-MAP:URI="{to}"\n#EXTINF:1,\n{to}\n',
            f"ffconcat version 1.0\nfile '{to}'\nduration 3\n",
            f"v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nu={to}\nc=IN IP4 127.0.0.1\nt=0 0\n"
            "m=audio @PORT RTP/AVP 0\na=rtpmap:0 PCMU/8000\n",
            f'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY e SYSTEM "{to}">]><MPD type="static">'
            f"<Period><AdaptationSet><BaseURL>{to}</BaseURL>&e;</AdaptationSet></Period></MPD>",
            f"[playlist]\nFile1={to}\nNumberOfEntries=1\n",
            f'<asx version="3.0"><entry><ref href="{to}"/></entry></asx>\n',
            f"[InternetShortcut]\nURL={to}\n",
        ):
            yield text.encode()
    for mark in (b"\0\0\0\x10ftypM4A \0\0\0\0", b"\x1aE\xdf\xa3", b"#!AMR\n", b"caff\0\x01\0\0"):
        yield mark + f"#EXTM3U\n#EXTINF:1,\n{ELSEWHERE}\n".encode()


def _measured() -> Iterable[bytes]:
    lines = (DEMO / "single" / "main_1080rpm.csv").read_bytes().splitlines(keepends=True)
    yield b"".join(lines[:1500])
    sound, rate = soundfile.read(DEMO / "single" / "charger_1300rpm.wav")
    buffer = io.BytesIO()
    soundfile.write(buffer, sound[: 4 * rate], rate, format="WAV", subtype="PCM_16")
    yield buffer.getvalue()
    turns = np.arange(8 * 1000) / 1000 * 18
    shake = np.cos(2 * np.pi * np.outer(turns, (0.5, 1, 3))) @ np.array([[1, 2], [3, 1], [2, 1]])
    tacho = 5.0 * (turns % 1 < 0.3)
    rows = np.column_stack([np.arange(8000) / 1000, shake.round(3), tacho])
    text = "\n".join(",".join(f"{value:g}" for value in row) for row in rows[:4000])
    yield f"time (s),ax (m/s^2),ay (m/s^2),tacho (V)\n{text}\n".encode()


def _calibrators() -> Iterable[bytes]:
    yield _sound("WAV", "PCM_16", TONE)
    yield _sound("FLAC", "PCM_16", np.column_stack([TONE, 0 * TONE]))
    yield _sound("WAV", "FLOAT", TONE + 0.001 * np.sin(np.arange(len(TONE))))


_TABLE_WORDS = tuple(
    text.encode()
    for text in (
        "time (s)", "ax (m/s^2)", "rpm", "hours", "date", "sample rate: 100 Hz", "1e999", "nan",
        "12:00:00", "2026-05-01T10:20:03.004Z", "31.12.9999", "1777630803004", "AM", "-", "NaN",
        "tacho", "latitude", "0x1F", "'", "T", ";;;;", "#", "1.797e308", "5e-324",
    )
)  # fmt: skip
_SOUND_WORDS = (b"data", b"fmt ", b"LIST", b"bext", b"OpusHead", b"caff", b"RF64")
_BOX_WORDS = (b"moov", b"mdat", b"url ", b"alis", b"stsd", b"http://127.0.0.1:@PORT/", b"moof")
_UNIVERSAL_WORDS = (b"    -1\n", b"    58\n", b"    58b", b"   164\n", b"NONE")
_ZIP_WORDS = (b"PK\3\4", b"PK\5\6", b"PK\1\2", b"PK\6\6", b"\x1f\x8b", b"../")
_LINKS = (ELSEWHERE.encode(), HTTP.encode(), b"subfile,,:", b"crypto:", b"concat:", b"data:")
_TAG_WORDS = (b"Exif\0\0", b"II*\0", b"MM\0*", b'GPSLatitude="', b"ftyp", b"eXIf", b"zTXt")
_NAME_WORDS = (
    b"rpm", b"1000rpm", b"hours", b"3120h", b"2026-05-01", b".zip", b".gz", b".toml", b"9" * 400,
)  # fmt: skip
_NAMES = (
    "idle_1000rpm_3120h_2026-05-01.csv", "600-1800rpm.csv", "rpm=1000 12.5hours 20260501.txt",
    "2026.05.01-1800rpm.csv.zip", "Leerlauf_1000 rpm_3120 hrs.csv", "a 99999rpm 999999h.csv",
    ".csv", "clip", "x" * 255, "clip.toml", "-rf", "CON.csv", "a\nb.csv", "\u202ecsv.exe",
)  # fmt: skip
_SIDE_FILE = """rpm = 1000
hours = 3120.5
date = 2026-05-01
position = "block, port side"
device = "phone"
condition = "warm"
manner = "steady"
coolant_c = 80
damper_c = 41.5
room_c = 30
other_engine = "off"
alternator_load = "low"
lying = "afloat"
shore_power = "off"
automatic_gain = "off"
"""
_HINTS = (
    'kind = "acceleration"\nunit = "0.0039 g"\ncolumns = ["ax (m/s^2)", 3]\n',
    'tacho_column = "tacho (V)"\nteeth = "60-2"\n',
    "tacho_column = 4\npoles = 12\npulley_ratio = 2.5\n", 'teeth = "36-2-1"\n',
    'full_scale = "1 g"\n', 'full_scale = "2.5 V"\nsensitivity = "100 mV/g"\n', "rate = 200.0\n",
    'kind = "other"\nunit = "V"\nsensitivity = "4 mV/(mm/s)"\ncolumns = [2]\n',
)  # fmt: skip
_KEYS = tuple(line.split(" = ")[0].encode() for line in _SIDE_FILE.splitlines())
_TOML = (
    b'"""', b"'''", b"[[a]]", b"[a.b]", b"= {", b"= [", b"1979-05-27T07:32:00Z", b"2026-02-30",
    b"0x" + b"f" * 5000, b"1" * 5000, b"1e400", b"true", b'"\\u0000"', b'"\\U0010ffff"',
    b"[" * 2000, b"a=" + b"{a=" * 500, b"\r", b'""', b"'" + b"x" * 3000 + b"'", b"07:32:00",
    b'"\\u202e"', b"inf", b"-nan", b'"\\n"', b"= [[[[]]]]", b"name", b"[mail]", b"[damper]",
    b"a.b.c = 1",
)  # fmt: skip
_RICH_ENGINE = """name = "main"
cylinders = 6
strokes = 4
firing_order = [1, 4, 2, 5, 3, 6]
firing_intervals_deg = [90, 150, 90, 150, 90, 150]
layout = "vee"
bank_angle_deg = 90
pins = "shared"
bank_numbering = "along"
idle_rpm = 600
fast_idle_rpm = 1080.5
rated_rpm = 2600
mounts = "resilient"
limit_db = 6.02
small_velocity_mm_s = 0.5
[[driven]]
name = "alternator"
crank_pulley_mm = 180
pulley_mm = 82
belt_length_mm = 1250
[[driven]]
name = "pump"
ratio = 1.32
[damper]
type = "viscous"
renew_hours = 4500
renew_years = 5
renew_source = "workshop manual, sheet 4"
[limits]
bolt_torque = { value = 100, tolerance = 5, unit = "N m", source = "manual, sheet 4" }
belt_tension_run_in = { min = 400, max = 500, unit = "N", source = "manual, sheet 5" }
runout.rim = { max = 0.5, unit = "mm", source = "manual, sheet 4" }
"""
_GENERATOR = 'name = "set"\ncylinders = 4\n[generator]\npoles = 4\nfrequency_hz = 50\n'
_SETTINGS = """[mail]
server = "mail.example.org"
port = 587
security = "starttls"
user = "a"
password = "b"
from = "boat@example.org"
to = ["a@example.org", "b@example.org"]
[shown]
velocity = "in/s"
length = "0.001 in"
torque = "lbf ft"
force = "lbf"
[card]
link = "https://example.org/"
"""
_TYPED = (
    "0.12", "240 mm", "1,5", "1,234", "-0.001 in", "135 lbf ft", "0,3,-2,3", "0,1; 0,2; -0,3",
    "1 2 3", "2026-05-01", "100 mV/g", "4 mV/(mm/s)", "0.0039 g", "m/s²", "[deg per second]",
    "1-5-3-6-2-4", "90, 150, 90, 150", "alternator=180/82 mm, belt 1250 mm", "4 poles, 50 Hz",
    "bolt_torque=135 lbf ft, workshop manual sheet 4", "runout rim = max 0.060 in, sheet 2",
    "belt_tension=105 to 140 lbf, sheet", "1e999", "1e999 mm", "thou", "N·m",
)  # fmt: skip


def _engines() -> Iterable[str]:
    yield from (_RICH_ENGINE, _GENERATOR)
    yield from ((DEMO / f"{name}.toml").read_text("utf-8") for name in ("main", "charger"))


def _photos() -> Iterable[bytes]:
    for kind in ("JPEG", "PNG", "WEBP", "AVIF"):
        yield photos.photo(kind)
    yield photos.big_endian()
    yield photos.heic(exif=b"\0\0\0\x06Exif\0\0" + photos.big_endian(), xmp=photos.XMP.encode())
    yield photos.photo("JPEG", xmp=photos.XMP.encode())


def subjects() -> dict[str, Subject]:
    """Return the subjects by their targets; what cannot be written here is left out."""
    words = Mutator(text=True)
    toml = replace(words, tokens=(*_TOML, *_KEYS))
    of_engine = replace(words, tokens=(*_TOML, *_keys_of(_RICH_ENGINE)))
    of_settings = replace(words, tokens=(*_TOML, *_keys_of(_SETTINGS)))
    made = (
        _subject("table", _tables(), replace(words, tokens=_TABLE_WORDS), 4),
        _subject("sound", _sounds(), Mutator(_SOUND_WORDS, door=of_sound), 2),
        _subject("container", _containers(), Mutator(_BOX_WORDS, door=of_boxes), 2),
        _subject("universal", _universal(), replace(words, tokens=_UNIVERSAL_WORDS), 3),
        _subject("matlab", _matlab(), Mutator(door=of_matlab), 4),
        _subject("matlab 7.3", _matlab_7_3(), Mutator((b"TREE", b"SNOD", b"HEAP", b"GCOL")), 2),
        _subject("parquet", _parquet(), Mutator((b"PAR1", b"PARE"), door=of_parquet), 2),
        _subject("archive", _packed(), replace(words, tokens=_ZIP_WORDS, door=of_packed), 3),
        _subject("playlist", _playlists(), replace(words, tokens=_LINKS), 1),
        _subject("measured", _measured(), replace(words, tokens=_TABLE_WORDS, door=of_chunks), 1),
        _subject("calibrator", _calibrators(), Mutator(door=of_sound), 1),
        _subject("name", _NAMES, replace(words, tokens=_NAME_WORDS), 3),
        _subject("side file", (_SIDE_FILE, *_HINTS), toml, 3),
        _subject("folder file", (f'engine = "main"\n{_SIDE_FILE}', _HINTS[0]), toml, 3),
        _subject("engine", _engines(), of_engine, 5),
        _subject("settings", (_SETTINGS, _SETTINGS.replace("user", "#")), of_settings, 3),
        _subject("photo", _photos(), Mutator(_TAG_WORDS, door=of_png), 3),
        _subject("typed", _TYPED, replace(words, tokens=tuple(map(str.encode, _TYPED))), 5),
    )
    return {each.target: each for each in made} | subjects_logbook.subjects()


def _subject(target: str, seeds: Iterable[str | bytes], mutator: Mutator, share: int) -> Subject:
    whole = (os.fsencode(each) if isinstance(each, str) else each for each in seeds)
    return Subject(target, tuple(filter(None, whole)), mutator, share)


def _keys_of(text: str) -> tuple[bytes, ...]:
    return tuple(line.split("=")[0].strip().encode() for line in text.splitlines())
