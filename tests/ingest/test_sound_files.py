"""Sound files written by libsndfile and read back."""

import io
import zipfile
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.testing import assert_allclose

from vibetrend.errors import ReadError
from vibetrend.ingest import read

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
    ],
)
def test_refuses_hints_that_do_not_fit(
    hints: dict[str, object], message: str, tmp_path: Path
) -> None:
    with pytest.raises(ReadError, match=message):
        read(sound(tmp_path / "clip.wav"), **hints)  # type: ignore[arg-type]  # wrong on purpose
