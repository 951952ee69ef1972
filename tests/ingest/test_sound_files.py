"""Sound files written by libsndfile and read back."""

import datetime as dt
import io
import struct
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.testing import assert_allclose

from vibetrend.errors import ReadError
from vibetrend.ingest import channels, read
from vibetrend.recording import FloatArray

RATE = 8000
TONE = 0.5 * np.sin(2 * np.pi * 30 * np.arange(RATE) / RATE)
HALF_STEP_16 = 0.5 / 2**15


def sound(path: Path, samples: object = TONE, subtype: str = "PCM_16") -> Path:
    soundfile.write(path, samples, RATE, subtype=subtype)
    return path


@pytest.mark.parametrize("suffix", ["wav", "flac", "aiff"])
def test_lossless_formats_come_back_to_half_a_step(suffix: str, tmp_path: Path) -> None:
    recording = read(sound(tmp_path / f"clip.{suffix}"))
    assert recording.samples is not None
    assert_allclose(recording.samples[:, 0], TONE, atol=2 * HALF_STEP_16)
    assert recording.sample_rate == RATE
    assert (recording.kind, recording.unit, recording.axes) == ("sound", "1", ("sound",))
    assert recording.codec == f"{suffix.upper()} PCM_16"
    assert recording.notes == ()


@pytest.mark.parametrize(
    ("suffix", "subtype", "codec"),
    [("ogg", "VORBIS", "OGG VORBIS"), ("mp3", "MPEG_LAYER_III", "MP3 MPEG_LAYER_III")],
)
def test_lossy_formats_name_their_codec(
    suffix: str, subtype: str, codec: str, tmp_path: Path
) -> None:
    recording = read(sound(tmp_path / f"clip.{suffix}", subtype=subtype))
    assert recording.codec == codec
    assert recording.samples is not None
    # Coders change the level by a few per cent at most (common practice, no source).
    assert np.std(recording.samples) == pytest.approx(np.std(TONE), rel=0.1)


def test_content_decides_not_the_name(tmp_path: Path) -> None:
    path = sound(tmp_path / "clip.wav").rename(tmp_path / "clip.csv")
    assert read(path).codec == "WAV PCM_16"


def test_two_channels_are_left_and_right(tmp_path: Path) -> None:
    path = sound(tmp_path / "clip.wav", np.column_stack([TONE, 0.1 * TONE]))
    assert read(path).axes == ("left", "right")
    for channel in (2, "right"):
        recording = read(path, columns=[channel])
        assert recording.axes == ("right",)
        assert recording.samples is not None
        assert_allclose(recording.samples[:, 0], 0.1 * TONE, atol=2 * HALF_STEP_16)
    with pytest.raises(ReadError, match="channel 3 is not one of left, right"):
        read(path, columns=[3])


@pytest.mark.parametrize(
    ("full_scale", "kind", "unit", "factor"),
    [
        ("1 g", "acceleration", "m/s^2", 9.80665),
        ("10 m/s^2", "acceleration", "m/s^2", 10.0),
        ("2 Pa", "sound", "Pa", 2.0),
        ("500 mV", "other", "V", 0.5),
    ],
)
def test_full_scale_says_what_one_stands_for(
    full_scale: str, kind: str, unit: str, factor: float, tmp_path: Path
) -> None:
    """Factors: NIST SP 811, appendix B (exact)."""
    recording = read(sound(tmp_path / "clip.wav", subtype="FLOAT"), full_scale=full_scale)
    assert (recording.kind, recording.unit) == (kind, unit)
    assert recording.samples is not None
    # 24 bits of mantissa in a 32-bit float (IEEE 754)
    assert_allclose(recording.samples[:, 0], TONE * factor, rtol=2**-23, atol=1e-12)


def test_three_channels_of_acceleration_are_three_axes(tmp_path: Path) -> None:
    path = sound(tmp_path / "clip.wav", np.column_stack([TONE] * 3))
    assert read(path, full_scale="2 g", kind="acceleration").axes == ("x", "y", "z")


def test_a_cut_file_gives_what_is_there_and_says_so(tmp_path: Path) -> None:
    path = sound(tmp_path / "clip.wav")
    path.write_bytes(path.read_bytes()[: 44 + RATE])  # half of the 2-byte samples
    recording = read(path)
    assert recording.count == RATE // 2
    assert [note.code for note in recording.notes] == ["truncated"]


def test_a_cut_flac_gives_the_blocks_that_are_whole(tmp_path: Path) -> None:
    noise = 0.1 * np.random.default_rng(60).standard_normal(10 * RATE)
    path = sound(tmp_path / "clip.flac", noise)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    recording = read(path)
    assert recording.samples is not None
    assert 0.25 * len(noise) < recording.count < 0.5 * len(noise)
    assert_allclose(recording.samples[:, 0], noise[: recording.count], atol=2 * HALF_STEP_16)
    assert [note.code for note in recording.notes] == ["truncated"]


def test_reads_sound_in_a_zip(tmp_path: Path) -> None:
    buffer = io.BytesIO()
    soundfile.write(buffer, TONE, RATE, format="FLAC")
    with zipfile.ZipFile(tmp_path / "clip.zip", "w") as packed:
        packed.writestr("clip_1000rpm.flac", buffer.getvalue())
    recording = read(tmp_path / "clip.zip")
    assert (recording.codec, recording.rpm) == ("FLAC PCM_16", 1000)


@pytest.mark.parametrize(
    ("hints", "message"),
    [
        ({"kind": "acceleration"}, "to read it as acceleration give full_scale"),
        ({"full_scale": "loud"}, "full_scale is 'loud'; write a number and a unit"),
        ({"full_scale": "0 g"}, "full_scale is '0 g'"),
        ({"full_scale": "1 g", "kind": "sound"}, "is not one of sound"),
        ({"rate": 100}, "leave out rate"),
        ({"sensitivity": "100 mV/g"}, "say how many volts full scale is"),
        (
            {"full_scale": "1 g", "sensitivity": "100 mV/g"},
            "leave one out, or give full_scale in V",
        ),
        ({"full_scale": "1 V", "sensitivity": "loud"}, "is not a number of volts per unit"),
        ({"tacho_column": 2, "teeth": "1"}, "channel 2 is not one of channel 1"),
        ({"tacho_column": "9" * 5000}, "is not one of channel 1"),
        ({"tacho_column": 1, "columns": [1], "teeth": "1"}, "leave it out of columns"),
    ],
)
def test_refuses_hints_that_do_not_fit(
    hints: dict[str, object], message: str, tmp_path: Path
) -> None:
    with pytest.raises(ReadError, match=message):
        read(sound(tmp_path / "clip.wav"), **hints)  # type: ignore[arg-type]  # wrong on purpose


NOISE = 0.2 * np.random.default_rng(61).standard_normal((3000, 2))
LOSSLESS = [
    ("wav", "WAV", "PCM_24", 2**-23),
    ("wav", "WAV", "PCM_32", 2**-31),
    ("wav", "WAV", "FLOAT", 2**-24),
    ("wav", "WAV", "DOUBLE", 0.0),
    ("wav", "WAVEX", "PCM_24", 2**-23),
    ("rf64", "RF64", "PCM_16", 2**-15),
    ("w64", "W64", "PCM_24", 2**-23),
    ("flac", "FLAC", "PCM_24", 2**-23),
    ("aiff", "AIFF", "PCM_24", 2**-23),
    ("caf", "CAF", "PCM_16", 2**-15),
    ("caf", "CAF", "ALAC_16", 2**-15),
    ("au", "AU", "PCM_24", 2**-23),
]


@pytest.mark.parametrize(("suffix", "kind", "subtype", "step"), LOSSLESS)
def test_every_lossless_path_is_exact(
    suffix: str, kind: str, subtype: str, step: float, tmp_path: Path
) -> None:
    """What soundfile itself reads from the path, and what was written to a step of rounding."""
    path = tmp_path / f"clip.{suffix}"
    soundfile.write(path, NOISE, RATE, format=kind, subtype=subtype)
    recording = read(path)
    assert recording.samples is not None
    assert_allclose(recording.samples, soundfile.read(path)[0], atol=0)
    assert_allclose(recording.samples, NOISE, atol=max(step, 1e-15))
    assert recording.codec == f"{kind} {subtype}, stereo"
    assert recording.axes == ("left", "right")
    assert recording.notes == ()


def test_a_written_value_comes_back_within_a_millionth() -> None:
    steps = np.round(NOISE * 2**23) / 2**23  # what 24 bits can hold
    buffer = io.BytesIO()
    soundfile.write(buffer, steps, RATE, format="FLAC", subtype="PCM_24")
    found = channels_of(buffer.getvalue())
    assert np.abs(found - steps).max() < 1e-9


def channels_of(content: bytes) -> FloatArray:
    from vibetrend.ingest import sound as reader
    from vibetrend.ingest.tags import Stated

    samples = reader.read(io.BytesIO(content), Stated()).samples
    assert samples is not None
    return samples


def test_six_channels_are_counted(tmp_path: Path) -> None:
    path = sound(tmp_path / "clip.wav", np.column_stack([TONE] * 6))
    recording = read(path)
    assert recording.codec == "WAV PCM_16, 6 channels"
    assert recording.axes[-1] == "channel 6"


# When it was recorded


def with_chunk(content: bytes, name: bytes, body: bytes) -> bytes:
    """Put a chunk before the samples of a WAV file."""
    added = name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)
    whole = content[:12] + added + content[12:]
    return whole[:4] + struct.pack("<I", len(whole) - 8) + whole[8:]


def broadcast(date: bytes) -> bytes:
    """EBU Tech 3285: description 256, originator 32, its reference 32, date 10, time 8 bytes."""
    return b"idle".ljust(256, b"\0") + b"\0" * 64 + date + b"14:40:03" + b"\0" * 264


@pytest.mark.parametrize(
    ("date", "expected"),
    [
        (b"2026-05-01", dt.date(2026, 5, 1)),
        (b"2026:05:01", dt.date(2026, 5, 1)),
        (b"\0" * 10, None),
        (b"1904-01-01", None),
        (b"2026-15-41", None),
    ],
)
def test_a_broadcast_chunk_tells_the_date(
    date: bytes, expected: dt.date | None, tmp_path: Path
) -> None:
    path = sound(tmp_path / "clip.wav")
    path.write_bytes(with_chunk(path.read_bytes(), b"bext", broadcast(date)))
    recording = read(path)
    assert (recording.count, recording.date) == (RATE, expected)


@pytest.mark.parametrize("suffix", ["wav", "flac", "ogg"])
def test_a_comment_tells_the_date(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"clip.{suffix}"
    with soundfile.SoundFile(path, "w", RATE, 1) as file:
        file.date = "2026-05-01"
        file.write(TONE)
    assert read(path).date == dt.date(2026, 5, 1)


# Files that end too soon


@pytest.mark.parametrize(
    ("suffix", "subtype"), [("ogg", "VORBIS"), ("ogg", "OPUS"), ("mp3", "MPEG_LAYER_III")]
)
def test_a_cut_lossy_file_says_so(suffix: str, subtype: str, tmp_path: Path) -> None:
    noise = 0.1 * np.random.default_rng(62).standard_normal(10 * RATE)
    path = sound(tmp_path / f"clip.{suffix}", noise, subtype)
    assert read(path).notes == ()
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    recording = read(path)
    assert 0.2 * len(noise) < recording.count < 0.7 * len(noise)
    assert [note.code for note in recording.notes] == ["truncated"]


# Long files


def long_file(path: Path, seconds: int, rate: int = RATE) -> Path:
    """Write stereo sound whose level says which second it is, exactly in 16 bit."""
    with soundfile.SoundFile(path, "w", rate, 2, subtype="PCM_16") as file:
        for second in range(seconds):
            block = np.full((rate, 2), second / 2**15)
            block[:, 1] *= -1
            file.write(block)
    return path


@pytest.mark.parametrize("suffix", ["wav", "flac"])
def test_of_a_long_file_the_middle_is_kept(suffix: str, tmp_path: Path) -> None:
    seconds = 1 + channels.MOST_STEADY_VALUES // (2 * RATE)
    recording = read(long_file(tmp_path / f"clip.{suffix}", seconds))
    assert recording.samples is not None
    assert recording.duration_s == 120
    first = recording.samples[0, 0] * 2**15
    assert first == (seconds - 120) // 2
    assert recording.samples[-1, 0] * 2**15 == first + 120
    assert_allclose(recording.samples[:, 1], -recording.samples[:, 0], atol=0)
    (note,) = recording.notes
    assert (note.code, note.severity) == ("shortened", "note")
    assert note.message == f"the file is {seconds} s long; only its middle 120 s were read"


def test_a_run_up_is_kept_whole(tmp_path: Path) -> None:
    seconds = 1 + channels.MOST_STEADY_VALUES // (2 * RATE)
    recording = read(long_file(tmp_path / "clip.flac", seconds), manner="run-up")
    assert (recording.duration_s, recording.notes) == (seconds, ())


def test_a_long_file_that_is_cut_gives_its_beginning(tmp_path: Path) -> None:
    path = long_file(tmp_path / "clip.flac", 1000)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])
    recording = read(path)
    assert recording.samples is not None
    assert recording.samples[0, 0] == 0
    assert [note.code for note in recording.notes] == ["shortened", "truncated"]
    assert "only its first 120 s were read" in recording.notes[0].message


# What a sensor or a tacho put into a sound file


def test_volts_and_a_sensitivity_give_the_quantity(tmp_path: Path) -> None:
    """Full scale of 2.5 V at 100 mV/g is 25 g."""
    path = sound(tmp_path / "clip.wav", subtype="DOUBLE")
    recording = read(path, full_scale="2.5 V", sensitivity="100 mV/g")
    assert (recording.kind, recording.unit) == ("acceleration", "m/s^2")
    assert recording.samples is not None
    assert_allclose(recording.samples[:, 0], TONE * 25 * 9.80665, rtol=1e-12)


def test_a_tacho_channel_is_no_axis(tmp_path: Path) -> None:
    """Pulses at 17 a second, one a turn: 1020 rpm."""
    seconds = np.arange(3 * RATE) / RATE
    pulses = 0.8 * (seconds * 17 % 1 < 0.2) - 0.3
    tone = np.tile(TONE, 3)
    path = sound(tmp_path / "clip.wav", np.column_stack([tone, pulses]))
    for name in (2, "right"):
        recording = read(path, tacho_column=name, teeth="1")
        assert recording.axes == ("left",)
        assert recording.samples is not None
        assert_allclose(recording.samples[:, 0], tone, atol=2 * HALF_STEP_16)
        assert recording.tacho is not None
        # Edges are found to half a sample of 8 kHz.
        assert_allclose(np.diff(recording.tacho.edge_times), 1 / 17, atol=1.5 / RATE)
        assert recording.tacho.teeth_per_turn == 1
    alone = read(path, columns=[1], tacho_column=2, teeth="1")
    assert (alone.axes, alone.tacho is not None) == (("left",), True)


def test_three_axes_beside_a_tacho_keep_their_names(tmp_path: Path) -> None:
    pulses = 0.5 * (np.arange(RATE) / RATE * 17 % 1 < 0.2)
    path = sound(tmp_path / "clip.wav", np.column_stack([pulses, TONE, TONE, TONE]))
    recording = read(path, full_scale="2 g", tacho_column=1, teeth="1")
    assert recording.axes == ("x", "y", "z")


def test_a_file_of_a_tacho_alone(tmp_path: Path) -> None:
    pulses = 0.5 * (np.arange(RATE) / RATE * 17 % 1 < 0.2)
    recording = read(sound(tmp_path / "clip.wav", pulses), tacho_column=1, teeth="1")
    assert recording.samples is None
    assert recording.tacho is not None


# Damage: only a ReadError or a recording, and soon


def spoiled(content: bytes, seed: int, *, flips: int = 300) -> Iterator[bytes]:
    """Yield a file cut at 20 places, then with bytes turned around at random."""
    for part in np.linspace(0.02, 0.98, 20):
        yield content[: int(part * len(content))]
    rng = np.random.default_rng(seed)
    for _ in range(flips):
        data = bytearray(content)
        # Half of them in the first bytes, where a file says what it is.
        reach = len(data) if rng.random() < 0.5 else min(len(data), 400)
        for place in rng.integers(0, reach, int(rng.integers(1, 6))):
            data[place] ^= int(rng.integers(1, 256))
        yield bytes(data)


@pytest.mark.parametrize(
    ("kind", "subtype"),
    [("WAV", "PCM_16"), ("FLAC", "PCM_16"), ("OGG", "VORBIS"), ("MP3", "MPEG_LAYER_III")],
)
def test_no_damage_gives_another_error(kind: str, subtype: str, tmp_path: Path) -> None:
    buffer = io.BytesIO()
    noise = 0.1 * np.random.default_rng(63).standard_normal((20_000, 2))
    soundfile.write(buffer, noise, RATE, format=kind, subtype=subtype)
    path = tmp_path / "clip.bin"
    lengths: list[int] = []
    refusals: list[str] = []
    begin = time.monotonic()
    for content in spoiled(buffer.getvalue(), 64):
        path.write_bytes(content)
        try:
            recording = read(path, full_scale="1 Pa")
        except ReadError as error:
            refusals.append(str(error))
        else:
            lengths.append(recording.count)
    assert len(refusals) > 5
    assert len(lengths) > 5
    assert max(len(text) for text in refusals) < 400 + len(str(path))
    assert not any("\n" in text for text in refusals)
    assert min(lengths) >= 2
    assert time.monotonic() - begin < 60


def test_a_cut_header_prints_nothing(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """It sends the library to before the beginning, and errors in there land on the terminal."""
    path = tmp_path / "clip.aiff"
    path.write_bytes(b"FORM\0\0\0\0AIFFCOMM\0\0\0\x12\0\2")
    with pytest.raises(ReadError, match="damaged or cut short beyond use as sound"):
        read(path)
    assert capfd.readouterr().err == ""
