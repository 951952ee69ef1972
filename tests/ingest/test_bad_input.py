"""Every bad input ends in one plain line, never in another error, and soon."""

import contextlib
import gzip
import io
import time
import tracemalloc
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from vibetrend.errors import ReadError
from vibetrend.ingest import content, read

TABLE = "time (s),ax (m/s^2)\n" + "".join(f"{i / 100:.2f},{i % 9}.5\n" for i in range(200))
JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01" + bytes(range(256)) * 20


def zipped(*members: tuple[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", method) as packed:
        for name, content in members:
            packed.writestr(name, content)
    return buffer.getvalue()


def locked() -> bytes:
    data = bytearray(zipped(("clip.csv", TABLE.encode())))
    data[6] |= 1  # general purpose bit 0 of the local header: encrypted (APPNOTE 4.4.4)
    data[data.index(b"PK\x01\x02") + 8] |= 1  # and of the central directory
    return bytes(data)


def lying_zip() -> bytes:
    """Say in both headers that 50 MB of zeros are 1000 bytes."""
    data = bytearray(zipped(("clip.csv", b"\0" * 50_000_000)))
    data[22:26] = (1000).to_bytes(4, "little")
    central = data.index(b"PK\x01\x02")
    data[central + 24 : central + 28] = (1000).to_bytes(4, "little")
    return bytes(data)


def cell(row: int, text: str) -> bytes:
    lines = TABLE.split("\n")
    lines[row] = lines[row].split(",")[0] + "," + text
    return "\n".join(lines).encode()


def wav(samples: object = None) -> bytes:
    buffer = io.BytesIO()
    tone = np.sin(np.arange(8000) / 9) if samples is None else samples
    soundfile.write(buffer, tone, 8000, format="WAV", subtype="FLOAT")
    return buffer.getvalue()


def with_bytes(place: bytes, offset: int, new: bytes) -> bytes:
    """Change bytes of a zip file, counted from where its central directory or its end begins."""
    data = bytearray(zipped(("clip.csv", TABLE.encode())))
    start = data.index(place) + offset
    data[start : start + len(new)] = new
    return bytes(data)


PROSE = b"Dear all,\nthe engine was serviced on 3 May, see pages 4, 5 and 6.\nRegards\n"
BAD: dict[str, tuple[str, bytes | Callable[[], bytes], str]] = {
    "empty": ("clip.csv", b"", "empty"),
    "blank": ("clip.csv", b"\n \n", "unknown format"),
    "renamed picture": ("clip.csv", JPEG, "JPEG picture"),
    "office document": ("clip.csv", zipped(("[Content_Types].xml", b"<x/>")), "office document"),
    "prose": ("clip.csv", PROSE, "no table of numbers"),
    "markup": ("clip.csv", b"<html><body>1,2,3</body></html>\n" * 9, "no table of numbers"),
    "playlist": ("clip.csv", b"#EXTM3U\n#EXTINF:1,\n/etc/passwd\n", "playlist"),
    "other playlist": ("a.wav", b"ffconcat version 1.0\nfile '/etc/passwd'\n", "playlist"),
    "program": ("clip.csv", b"\x7fELF\x02\x01\x01\0" + b"\0" * 99, "a program"),
    "zeros": ("clip.wav", b"\0" * 5000, "unknown format"),
    "header alone": ("clip.csv", b"time,ax,ay,az\n", "no table of numbers"),
    "one row": ("clip.csv", b"time (s),ax (g)\n0.1,0.2\n", "no table of numbers"),
    "one column": ("clip.csv", b"0.1\n0.2\n0.3\n0.1\n" * 9, "give the sample rate in Hz with rate"),
    "no times": ("clip.csv", b"x,y,z\n" + b"0.1,0.2,9.8\n0.2,-.1,9.7\n" * 9, "with rate"),
    "same times": ("clip.csv", b"time (s),ax (g)\n" + b"1.5,0.2\n" * 50, "with rate"),
    "text among numbers": (
        "clip.csv", cell(118, "n0ne"), r"line 119, column 'ax \(m/s\^2\)' holds 'n0ne', a number",
    ),
    "text as time": (
        "clip.csv", TABLE.replace("0.70,", "soon,").encode(), r"line 72, column 'time \(s\)'",
    ),
    "locked zip": ("clip.zip", locked, "password"),
    "several in zip": ("clip.zip", zipped(("a.csv", b"1"), ("b.csv", b"2")), r"2 files \(a.csv"),
    "nothing in zip": ("clip.zip", zipped(), "no file"),
    "empty in zip": ("clip.zip", zipped(("a.csv", b"")), "empty"),
    "zip in zip": ("clip.zip", zipped(("a.zip", zipped(("a.csv", b"1")))), "archive within"),
    "damaged zip": ("clip.zip", zipped(("a.csv", TABLE.encode()))[:400], "damaged zip"),
    "zip bomb": ("clip.zip", lambda: zipped(("a.csv", b"\0" * 60_000_000)), "unpacks to 57 MB"),
    "lying zip bomb": ("clip.zip", lying_zip, "damaged zip"),
    # Found by mutated inputs; places in the headers: APPNOTE 4.3.12 and 4.3.16
    "zip with a place before the file": (
        "clip.zip", with_bytes(b"PK\5\6", 16, b"\xff\xff"), "damaged zip",
    ),
    "zip with a name that is no UTF-8": (
        "clip.zip", with_bytes(b"PK\1\2", 8, b"\0\x08") .replace(b"clip", b"\xff\xff\xff\xff"),
        "damaged zip",
    ),
    "zip without a name": (
        "clip.zip", zipped(("a", b"1"), ("b", b"2")).replace(b"a", b"\0"), r"2 files \(, b\)",
    ),
    "zip with odd names": (
        "clip.zip", zipped(("\x1b[2Ja", b"1"), ("\u202eb", b"2")), r"\(\\x1b\[2Ja, \\u202eb\)",
    ),
    "a last line without fields": ("clip.csv", b"0.1 0.2\n" * 20 + b"  ", "with rate"),
    "gz bomb": ("clip.csv.gz", lambda: gzip.compress(b"\0" * 60_000_000), "unpacks to"),
    "damaged gz": ("clip.csv.gz", gzip.compress(TABLE.encode())[:300], "damaged gz"),
    "damaged sound": ("clip.wav", b"RIFF\x10\0\0\0WAVE" + JPEG, "damaged or cut short"),
    "cut sound": ("clip.wav", lambda: wav()[:50], "damaged or cut short|without sound"),
    "cut FLAC": ("clip.flac", b"fLaC\0\0\0\x22" + b"\0" * 20, "damaged or cut short"),
    "sound without samples": ("clip.wav", lambda: wav(np.zeros(0)), "without sound"),
    "sound with not-a-number": ("clip.wav", lambda: wav(np.full(99, np.nan)), "not a number"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_says_in_one_line_what_is_wrong(case: str, tmp_path: Path) -> None:
    name, content, message = BAD[case]
    path = tmp_path / name
    path.write_bytes(content() if callable(content) else content)
    with pytest.raises(ReadError, match=message) as raised:
        read(path)
    text = str(raised.value)
    assert name in text
    assert "\n" not in text
    assert len(text) < 400 + len(str(path))


def test_names_what_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=r"absent\.csv: no such file"):
        read(tmp_path / "absent.csv")
    with pytest.raises(ReadError, match="a folder; give the recordings in it"):
        read(tmp_path)
    with pytest.raises(ReadError, match="cannot be a path"):
        read("clip\0.csv")


def test_a_bomb_costs_little_time_and_memory(tmp_path: Path) -> None:
    path = tmp_path / "clip.zip"
    path.write_bytes(zipped(("a.csv", b"\0" * 300_000_000)))
    tracemalloc.start()
    begin = time.perf_counter()
    with pytest.raises(ReadError, match="unpacks to"):
        read(path)
    elapsed, (_, peak) = time.perf_counter() - begin, tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert elapsed < 1
    assert peak < 50e6  # the cap for small archives is 4 MB; the file itself is 0.3 MB


def test_a_large_file_that_is_no_table_is_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "clip.csv"
    path.write_bytes(PROSE * 400_000)  # 30 MB
    begin = time.perf_counter()
    with pytest.raises(ReadError, match="no table of numbers"):
        read(path)
    assert time.perf_counter() - begin < 1


def test_refuses_more_than_the_largest_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(content, "LARGEST_FILE", 1000)
    path = tmp_path / "clip.csv"
    path.write_text(TABLE)
    with pytest.raises(ReadError, match="larger than"):
        read(path)


@pytest.mark.parametrize(
    ("hints", "message"),
    [
        ({"columns": ["axe (m/s^2)"]}, r"column 'axe \(m/s\^2\)' does not exist; did you mean 'ax"),
        ({"columns": [3]}, "column 3 does not exist"),
        ({"columns": []}, "columns is"),
        ({"unit": "furlong"}, "unit 'furlong' is not known"),
        ({"kind": "sound"}, "is not one of sound"),
        ({"kind": "noise"}, "kind is 'noise'; write one of acceleration"),
        ({"manner": "fast"}, "manner is 'fast'; write one of steady"),
        ({"rpm": -5}, "rpm is -5; it must be above 0"),
        ({"rpm": "fast"}, "rpm is 'fast'; a number is needed"),
        ({"hours": float("nan")}, "hours is nan"),
        ({"rate": 0}, "rate is 0; it must be above 0"),
        ({"date": "1 May"}, "date is '1 May'; write the date as year-month-day"),
        ({"full_scale": "1 g"}, "full_scale is for sound files"),
    ],
)
def test_refuses_hints_that_make_no_sense(
    hints: dict[str, object], message: str, tmp_path: Path
) -> None:
    path = tmp_path / "clip.csv"
    path.write_text(TABLE)
    with pytest.raises(ReadError, match=message) as raised:
        read(path, **hints)  # type: ignore[arg-type]  # wrong on purpose
    assert "clip.csv" in str(raised.value)


GOOD = (TABLE.encode(), zipped(("a.csv", TABLE.encode())), gzip.compress(TABLE.encode()), wav())


@settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    which=st.integers(0, len(GOOD) - 1),
    cut=st.floats(0, 1),
    flips=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), max_size=8),
)
def test_damage_is_read_or_refused_but_never_crashes(
    which: int, cut: float, flips: list[tuple[float, int]], tmp_path: Path
) -> None:
    data = bytearray(GOOD[which][: 1 + int(cut * len(GOOD[which]))])
    for place, value in flips:
        data[int(place * (len(data) - 1))] = value
    path = tmp_path / "clip.csv"
    path.write_bytes(data)
    try:
        recording = read(path)
    except ReadError:
        return
    assert recording.count >= 2


@settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(text=st.text(alphabet="0123456789.,;\t -+eE:\"'#\nxgZn\r\0é", max_size=300))
def test_any_text_is_read_or_refused(text: str, tmp_path: Path) -> None:
    path = tmp_path / "clip.csv"
    path.write_text(text)
    try:
        recording = read(path)
    except ReadError:
        return
    assert recording.count >= 2


@pytest.mark.parametrize(
    "piece", ["1", "20", ",", "T", "a", "1rpm", " #", "sample rate", "location"]
)
def test_a_long_line_is_not_looked_at_for_long(piece: str, tmp_path: Path) -> None:
    """Patterns that try every beginning of a run take time with its square: 18 s in the worst."""
    path = tmp_path / "clip.csv"
    long = piece * (60_000 // len(piece))
    begin = time.process_time()
    for text in (
        f"date: {long}\n{TABLE}",
        f"{long}x\n{TABLE}",
        TABLE.replace("ax", f"ax {long}", 1),
        TABLE + f"2.00,{long}x\n" + TABLE.partition("\n")[2].replace("0.", "3."),
    ):
        path.write_text(text)
        with contextlib.suppress(ReadError):
            read(path)
    assert time.process_time() - begin < 1.5
