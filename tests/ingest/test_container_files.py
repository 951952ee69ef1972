"""Sound in the containers of phones and cameras, written by PyAV and read back."""

import datetime as dt
import os
import time
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.testing import assert_allclose
from test_sound_files import spoiled
from written_sound import box, encoded, referring, with_longer_box

from vibetrend.errors import ReadError
from vibetrend.ingest import channels, read
from vibetrend.ingest.keeping import kept_content
from vibetrend.recording import FloatArray

RATE = 48_000
SECONDS = 3
TIME = np.arange(SECONDS * RATE) / RATE
TONES = {27.5: 0.1, 137.5: 0.15, 1000.0: 0.05}
TUNE = np.sum([a * np.cos(2 * np.pi * f * TIME + f) for f, a in TONES.items()], axis=0)
NOISE = np.round(0.2 * np.random.default_rng(400).standard_normal((9000, 2)) * 2**15) / 2**15
PLACE = "+54.3213+010.1349+012.500/"  # an invented berth


def amplitude(samples: FloatArray, hertz: float, *, first: int = 0) -> complex:
    """Return the complex amplitude of a tone by least squares; phase 0 is at the first sample."""
    moments = (np.arange(len(samples)) + first) / RATE
    tones = [np.exp(2j * np.pi * each * moments) for each in TONES]
    design = np.column_stack(
        [part for tone in tones for part in (tone.real, -tone.imag)] + [np.ones_like(moments)]
    )
    solution = np.linalg.lstsq(design, samples, rcond=None)[0]
    row = 2 * list(TONES).index(hertz)
    return complex(solution[row], solution[row + 1])


@pytest.mark.parametrize(
    ("container", "codec", "stored", "words", "step"),
    [
        ("ipod", "alac", "s16p", "M4A ALAC", 0.0),
        ("ipod", "alac", "s32p", "M4A ALAC", 2**-24),
        ("mov", "pcm_s16le", None, "MOV PCM_16", 0.0),
        ("mov", "pcm_s24le", None, "MOV PCM_24", 2**-24),
        ("mov", "pcm_f32be", None, "MOV FLOAT", 2**-24),
        ("mp4", "flac", "s16", "MP4 FLAC", 0.0),
        ("matroska", "flac", "s32", "MKA FLAC", 2**-24),
        ("matroska", "pcm_f32le", None, "MKA FLOAT", 2**-24),
        ("matroska", "pcm_s16le", None, "MKA PCM_16", 0.0),
        ("caf", "alac", "s16p", "CAF ALAC", 0.0),
        ("caf", "alac", "s32p", "CAF ALAC", 2**-24),
    ],
)
def test_lossless_codecs_are_exact(
    container: str, codec: str, stored: str | None, words: str, step: float, tmp_path: Path
) -> None:
    path = tmp_path / "clip.bin"
    path.write_bytes(encoded(NOISE, RATE, container=container, codec=codec, stored=stored))
    recording = read(path)
    assert recording.samples is not None
    assert_allclose(recording.samples, NOISE, atol=step)
    assert recording.codec == f"{words}, stereo"
    assert (recording.kind, recording.unit, recording.axes) == ("sound", "1", ("left", "right"))
    assert (recording.sample_rate, recording.notes) == (RATE, ())


@pytest.mark.parametrize(
    ("container", "codec", "words", "late"),
    [
        ("ipod", "aac", "M4A AAC", 0),
        ("mp4", "aac", "MP4 AAC", 0),
        ("mov", "aac", "MOV AAC", 0),
        ("3gp", "aac", "3GP AAC", 0),
        ("mp4", "libmp3lame", "MP4 MP3", 0),
        ("webm", "libopus", "WebM Opus", 0),
        ("matroska", "libopus", "MKA Opus", 0),
        ("mp4", "libopus", "MP4 Opus", 0),
        ("adts", "aac", "ADTS AAC", 1024),  # nothing in it says that a frame comes before
    ],
)
def test_lossy_codecs_keep_amplitude_and_place(
    container: str, codec: str, words: str, late: int, tmp_path: Path
) -> None:
    path = tmp_path / "clip.bin"
    path.write_bytes(encoded(TUNE, RATE, container=container, codec=codec, bit_rate=128_000))
    recording = read(path)
    assert (recording.codec, recording.axes, recording.notes) == (words, ("sound",), ())
    assert recording.samples is not None
    assert len(TUNE) <= recording.count < len(TUNE) + 4096  # coders fill up their last frame
    inner = recording.samples[RATE // 2 : RATE * 5 // 2, 0]
    for hertz, size in TONES.items():
        found = amplitude(inner, hertz, first=RATE // 2 - late) * np.exp(-1j * hertz)
        # LAME scales by 0.97 and rolls off below 30 Hz; the others stay within 1 %.
        assert abs(found) == pytest.approx(size, rel=0.06 if "MP3" in words else 0.02)
        # Half a sample; the Opus coder rejects DC below 3 Hz (from memory), which leads a little.
        leads = np.arctan(3 / hertz) if "Opus" in words else 0.0
        assert abs(np.angle(found) - leads) < 2 * np.pi * hertz / RATE * 0.5 + 0.02


def test_a_slow_voice_codec_is_read_where_it_can_be_written(tmp_path: Path) -> None:
    if "libopencore_amrnb" not in av.codecs_available:
        pytest.skip("this build writes no AMR")
    slow = 0.2 * np.cos(2 * np.pi * 300 * np.arange(16_000) / 8000)
    path = tmp_path / "clip.amr"
    path.write_bytes(encoded(slow, 8000, container="amr", codec="libopencore_amrnb"))
    recording = read(path)
    assert (recording.codec, recording.sample_rate) == ("AMR AMR NB", 8000)
    assert recording.duration_s == pytest.approx(2, abs=0.05)


def test_pictures_are_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    path.write_bytes(encoded(NOISE, RATE, container="mp4", codec="flac", video=True))
    recording = read(path)
    assert recording.samples is not None
    assert_allclose(recording.samples, NOISE, atol=1e-12)


def test_of_several_tracks_the_first_is_read(tmp_path: Path) -> None:
    path = tmp_path / "clip.mka"
    path.write_bytes(encoded(NOISE, RATE, container="matroska", codec="flac", tracks=2))
    recording = read(path)
    assert recording.samples is not None
    assert_allclose(recording.samples, NOISE, atol=1e-12)
    assert [(note.code, note.severity) for note in recording.notes] == [("tracks", "note")]


def test_what_a_sensor_put_into_a_video(tmp_path: Path) -> None:
    path = tmp_path / "clip.mov"
    path.write_bytes(encoded(NOISE, RATE, container="mov", codec="pcm_s16le"))
    recording = read(path, full_scale="2.5 V", sensitivity="100 mV/g", columns=["y"])
    assert (recording.kind, recording.axes) == ("acceleration", ("y",))
    assert recording.samples is not None
    assert_allclose(recording.samples[:, 0], 25 * 9.80665 * NOISE[:, 1], rtol=1e-12)


# When and where


@pytest.mark.parametrize(
    ("container", "metadata"),
    [
        ("ipod", {"creation_time": "2026-05-01T22:30:00Z"}),
        ("webm", {"creation_time": "2026-05-01T22:30:00Z"}),
    ],
)
def test_the_recording_time_gives_the_date(
    container: str, metadata: dict[str, str], tmp_path: Path
) -> None:
    codec = "libopus" if container == "webm" else "aac"
    path = tmp_path / "clip.bin"
    path.write_bytes(encoded(TUNE, RATE, container=container, codec=codec, metadata=metadata))
    assert read(path).date == dt.date(2026, 5, 1)
    assert read(path, date="2026-04-30").date == dt.date(2026, 4, 30)


def test_local_time_counts_more_than_universal(tmp_path: Path) -> None:
    metadata = {
        "creation_time": "2026-05-01T22:30:00Z",
        "com.apple.quicktime.creationdate": "2026-05-02T00:30:00+0200",
    }
    options = {"movflags": "use_metadata_tags"}
    path = tmp_path / "clip.mov"
    path.write_bytes(
        encoded(TUNE, RATE, container="mov", codec="aac", metadata=metadata, options=options)
    )
    assert read(path).date == dt.date(2026, 5, 2)


@pytest.mark.parametrize(
    ("container", "codec", "key", "options"),
    [
        ("mov", "aac", "location", {}),  # the box (c)xyz
        (
            "mov",
            "aac",
            "com.apple.quicktime.location.ISO6709",
            {"movflags": "use_metadata_tags"},
        ),
        ("webm", "libopus", "LOCATION", {}),
        ("matroska", "flac", "LOCATION", {}),
    ],
)
def test_a_location_is_found_blanked_and_never_told(
    container: str, codec: str, key: str, options: dict[str, str], tmp_path: Path
) -> None:
    content = encoded(
        TUNE, RATE, container=container, codec=codec, metadata={key: PLACE}, options=options
    )
    assert content.count(PLACE.encode()) == 1
    path = tmp_path / "clip.bin"
    path.write_bytes(content)
    recording = read(path)
    assert recording.source is not None
    ((first, end),) = recording.source.location
    assert content[first:end] == PLACE.encode()
    assert not any("54" in note.message or "010.1" in note.message for note in recording.notes)
    with kept_content(recording.source, with_location=False) as (kept, _):
        blanked = kept.read()
    assert b"+00.0000+000.0000+000.000/" in blanked
    assert PLACE.encode() not in blanked
    (tmp_path / "kept.bin").write_bytes(blanked)
    again = read(tmp_path / "kept.bin")
    assert_allclose(again.samples, recording.samples, atol=0)


def test_a_location_in_numbers_is_blanked_too(tmp_path: Path) -> None:
    """3GPP TS 26.244, 8.9: the box `loci` holds fixed-point numbers, no text."""
    content = encoded(TUNE, RATE, container="mp4", codec="aac", metadata={"location": PLACE})
    assert b"loci" in content
    path = tmp_path / "clip.mp4"
    path.write_bytes(content)
    recording = read(path)
    assert recording.source is not None
    with kept_content(recording.source, with_location=False) as (kept, _):
        blanked = kept.read()
    latitude = int(54.3213 * 2**16).to_bytes(4, "big")
    assert latitude in content
    assert latitude not in blanked
    assert len(blanked) == len(content)
    (tmp_path / "kept.mp4").write_bytes(blanked)
    assert_allclose(read(tmp_path / "kept.mp4").samples, recording.samples, atol=0)


# Long ones


@pytest.mark.parametrize(("container", "codec"), [("ipod", "aac"), ("webm", "libopus")])
def test_of_a_long_file_the_middle_is_kept(
    container: str, codec: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(channels, "MOST_STEADY_VALUES", 20 * RATE)
    monkeypatch.setattr(channels, "KEPT_S", 10.0)
    moments = np.arange(40 * RATE) / RATE
    rising = 0.4 * moments / 40 * np.cos(2 * np.pi * 137.5 * moments)
    path = tmp_path / "clip.bin"
    path.write_bytes(encoded(rising, RATE, container=container, codec=codec))
    recording = read(path)
    assert recording.samples is not None
    assert recording.duration_s == 10
    # The amplitude tells the place: from 15 s to 25 s, to the length of some packets.
    for part, expected in ((slice(RATE), 15.5), (slice(-RATE, None), 24.5)):
        size = np.sqrt(2 * np.mean(recording.samples[part] ** 2))
        assert size / 0.4 * 40 == pytest.approx(expected, abs=0.3)
    # And nothing is missing within: the phase goes on.
    parts = recording.samples[:, 0].reshape(-1, RATE // 10)
    carrier = np.exp(-2j * np.pi * 137.5 * np.arange(10 * RATE) / RATE).reshape(parts.shape)
    phases = np.angle((parts * carrier).sum(axis=1))
    assert np.abs(np.diff(np.unwrap(phases))).max() < 0.02
    (note,) = recording.notes
    assert (note.code, note.severity) == ("shortened", "note")
    assert note.message == "the file is 40 s long; only its middle 10 s were read"


def test_a_gap_ends_a_stretch(tmp_path: Path) -> None:
    """Two seconds are missing between stamps: what is longer without a gap is read."""
    first, second = encoded_with_gap(2.0), encoded_with_gap(0.0)
    for content, seconds, codes in ((first, 3.0, ["truncated"]), (second, 4.0, [])):
        path = tmp_path / "clip.mka"
        path.write_bytes(content)
        recording = read(path)
        assert recording.duration_s == pytest.approx(seconds, abs=0.1)
        assert [note.code for note in recording.notes] == codes


def encoded_with_gap(gap_s: float) -> bytes:
    """Write 1 s of sound and 3 s more, whose stamps are later by a gap."""
    import io

    buffer = io.BytesIO()
    with av.open(buffer, "w", format="matroska") as output:
        stream = output.add_stream("pcm_s16le", rate=RATE, layout="mono")
        for number in range(40):
            block = np.full((1, RATE // 10), 1000 + number, dtype=np.int16)
            frame = av.AudioFrame.from_ndarray(block, format="s16", layout="mono")
            frame.sample_rate = RATE
            frame.pts = number * RATE // 10 + (int(gap_s * RATE) if number >= 10 else 0)
            output.mux(stream.encode(frame))
        output.mux(stream.encode(None))
    return buffer.getvalue()


def test_a_cut_file_says_so(tmp_path: Path) -> None:
    content = encoded(TUNE, RATE, container="webm", codec="libopus")
    path = tmp_path / "clip.webm"
    path.write_bytes(content[: len(content) // 2])
    recording = read(path)
    assert 0.2 < recording.count / len(TUNE) < 0.6
    assert [note.code for note in recording.notes] == ["truncated"]


# Bad input


def test_a_reference_to_another_file_is_not_followed(tmp_path: Path) -> None:
    other, path = tmp_path / "secret.mov", tmp_path / "clip.mov"
    other.write_bytes(encoded(NOISE, RATE, container="mov", codec="pcm_s16le"))
    path.write_bytes(referring(other.read_bytes(), str(other)))
    # The reference is a good one: the library follows it where it is let to.
    follow = {"enable_drefs": "1", "use_absolute_path": "1"}
    here = Path.cwd()
    os.chdir("/")
    try:
        with av.open(str(path), container_options=follow) as opened:
            assert sum(frame.samples for frame in opened.decode(audio=0)) == len(NOISE)
        with pytest.raises(ReadError, match="its sound cannot be decoded"):
            read(path)
    finally:
        os.chdir(here)


@pytest.mark.parametrize("suffix", ["m4a", "mp4", "mov", "webm", "aac", "wav"])
def test_a_playlist_by_another_name_opens_nothing(suffix: str, tmp_path: Path) -> None:
    (tmp_path / "secret.mov").write_bytes(encoded(TUNE, RATE, container="mov", codec="aac"))
    path = tmp_path / f"clip.{suffix}"
    for text in (
        f"#EXTM3U\n#EXTINF:1,\n{tmp_path}/secret.mov\n",
        f"ffconcat version 1.0\nfile '{tmp_path}/secret.mov'\n",
    ):
        path.write_text(text)
        with pytest.raises(ReadError, match="a playlist"):
            read(path)
        # With a mark that lets it in, it is still no playlist.
        for mark in (b"\0\0\0\x08free", b"\0\0\0\x10ftypM4A \0\0\0\0", b"\x1aE\xdf\xa3"):
            path.write_bytes(mark + text.encode())
            with pytest.raises(ReadError, match=r"damaged or cut short|no sound in it"):
                read(path)


def test_a_video_without_sound(tmp_path: Path) -> None:
    import io

    buffer = io.BytesIO()
    with av.open(buffer, "w", format="mp4") as output:
        picture = output.add_stream("mpeg4", rate=25)
        picture.width = picture.height = 64
        output.mux(picture.encode(av.VideoFrame(64, 64, "yuv420p")))
        output.mux(picture.encode(None))
    path = tmp_path / "clip.mp4"
    path.write_bytes(buffer.getvalue())
    with pytest.raises(ReadError, match="no sound in it; record again with the microphone"):
        read(path)


def test_a_locked_track(tmp_path: Path) -> None:
    """A sample entry `drms` under a licence: its packets are scrambled."""
    content = bytearray(encoded(TUNE, RATE, container="ipod", codec="aac"))
    entry = content.index(b"mp4a", box(bytes(content), b"moov"))
    content[entry : entry + 4] = b"drms"
    start = box(bytes(content), b"mdat") + 8
    end = box(bytes(content), b"moov")
    scrambled = np.random.default_rng(401).integers(0, 256, end - start, dtype=np.uint8)
    content[start:end] = scrambled.tobytes()
    path = tmp_path / "clip.m4p"
    path.write_bytes(content)
    with pytest.raises(ReadError, match=r"locked by a licence|cannot be decoded|not known"):
        read(path)


@pytest.mark.parametrize(
    "content",
    [
        b"\0\0\0\x14ftypM4A \0\0\0\0isom",
        b"\0\0\0\x08wide\0\0\0\x08mdat",
        b"\x1aE\xdf\xa3\x80",
        b"\xff\xf1\x50\x80\x00\xff\xfc",
        b"#!AMR\n",
        bytes.fromhex("3026b2758e66cf11a6d900aa0062ce6c") + bytes(40),
        b"caff\0\x01\0\0",
    ],
)
def test_a_mark_and_nothing_more(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "clip.m4a"
    path.write_bytes(content)
    with pytest.raises(ReadError, match=r"clip\.m4a: .*(damaged|no sound|cannot be decoded)"):
        read(path)


def test_a_file_of_lost_packets_is_given_up_soon(tmp_path: Path) -> None:
    """Frames of AMR that hold nothing (RFC 4867, 5.3: type 15), a byte each: 16 MB took 80 s."""
    path = tmp_path / "clip.amr"
    path.write_bytes(b"#!AMR\n" + b"\x7c" * 2**22)
    begin = time.process_time()
    with pytest.raises(ReadError, match="its sound cannot be decoded"):
        read(path)
    assert time.process_time() - begin < 3


def test_text_that_looks_like_a_mark_is_text(tmp_path: Path) -> None:
    path = tmp_path / "clip.csv"
    path.write_text("the free table\n" + "".join(f"{i / 100:.2f},{i % 7}\n" for i in range(99)))
    assert read(path).count == 99


def test_a_title_in_an_old_code_page(tmp_path: Path) -> None:
    content = encoded(TUNE, RATE, container="ipod", codec="aac", metadata={"title": "Motor?"})
    path = tmp_path / "clip.m4a"
    path.write_bytes(content.replace(b"Motor?", b"Motor\xe4"))
    assert read(path).codec == "M4A AAC"


@pytest.mark.parametrize(
    ("container", "codec"),
    [("ipod", "aac"), ("ipod", "alac"), ("webm", "libopus"), ("adts", "aac")],
)
def test_no_damage_gives_another_error(container: str, codec: str, tmp_path: Path) -> None:
    noise = 0.1 * np.random.default_rng(402).standard_normal(RATE // 2)
    content = encoded(noise, RATE, container=container, codec=codec)
    path = tmp_path / "clip.bin"
    lengths: list[int] = []
    refusals: list[str] = []
    begin = time.monotonic()
    for spoilt in spoiled(content, 403):
        path.write_bytes(spoilt)
        try:
            recording = read(path)
        except ReadError as error:
            refusals.append(str(error))
        else:
            lengths.append(recording.count)
    assert len(lengths) > 5
    assert len(refusals) > 5 or container == "adts"  # raw frames begin anywhere
    assert max((len(text) for text in refusals), default=0) < 400 + len(str(path))
    assert not any("\n" in text for text in refusals)
    assert min(lengths) >= 2
    assert time.monotonic() - begin < 60


def test_helpers_change_what_they_say() -> None:
    content = encoded(NOISE, RATE, container="mov", codec="pcm_s16le")
    path = (b"moov", b"udta") if b"udta" in content else (b"moov",)
    place = box(content, *path)
    longer = with_longer_box(content, path[:-1], place, b"\0\0\0\x10free" + bytes(8))
    assert b"free" in longer
