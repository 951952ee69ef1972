"""What full scale stands for, from recordings of a sound calibrator made in the test.

94 dB re 20 uPa are 1.0024 Pa rms (IEC 60942 and ISO 1683; 20e-6 * 10**4.7 = 1.00237).
"""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from vibetrend.errors import ReadError
from vibetrend.ingest import read
from vibetrend.ingest.calibrator import full_scale
from vibetrend.recording import FloatArray

RATE = 48_000
PASCAL_RMS = 1.0023744672545447


def tone(size: float, *, hertz: float = 1000.0, seconds: float = 5.0) -> FloatArray:
    time = np.arange(int(seconds * RATE)) / RATE
    return np.asarray(size * np.cos(2 * np.pi * hertz * time + 0.4))


def written(folder: Path, samples: FloatArray, subtype: str = "PCM_16", rate: int = RATE) -> Path:
    path = folder / "calibrator.wav"
    soundfile.write(path, samples, rate, subtype=subtype)
    return path


def pascals(path: Path) -> float:
    number, unit = full_scale(path).split()
    assert unit == "Pa"
    return float(number)


@pytest.mark.parametrize("hertz", [981.0, 999.37, 1000.0, 1004.99, 1019.0])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_a_clean_tone_is_exact(hertz: float, subtype: str, tmp_path: Path) -> None:
    found = pascals(written(tmp_path, tone(0.1, hertz=hertz), subtype))
    # Six digits are printed; rounding to 16 bit averages out over 240000 samples.
    assert found == pytest.approx(PASCAL_RMS * np.sqrt(2) / 0.1, rel=2e-5)


def test_what_it_says_makes_the_tone_94_db(tmp_path: Path) -> None:
    path = written(tmp_path, tone(0.05))
    recording = read(path, full_scale=full_scale(path))
    assert (recording.kind, recording.unit) == ("sound", "Pa")
    assert recording.samples is not None
    level = 20 * np.log10(np.sqrt(np.mean(recording.samples**2)) / 20e-6)
    assert level == pytest.approx(94.0, abs=0.001)


def test_noise_and_hum_below_the_tone_do_no_harm(tmp_path: Path) -> None:
    rng = np.random.default_rng(300)
    noisy = tone(0.1) + 0.003 * rng.standard_normal(5 * RATE) + tone(0.004, hertz=50.0)
    # Noise of 0.003 moves the amplitude of a block of 4800 samples by 6e-5 sd, of 50 by 9e-6.
    assert pascals(written(tmp_path, noisy)) == pytest.approx(14.1757, rel=2e-4)


def test_silence_before_and_after_is_left_out(tmp_path: Path) -> None:
    silence = np.zeros(RATE)
    path = written(tmp_path, np.concatenate([silence, tone(0.1), silence]))
    assert pascals(path) == pytest.approx(14.1757, rel=2e-5)


def test_channels_that_are_alike_or_empty_count_as_one(tmp_path: Path) -> None:
    one = tone(0.1)
    for other in (one, 0 * one):
        path = written(tmp_path, np.column_stack([one, other]))
        assert pascals(path) == pytest.approx(14.1757, rel=2e-5)
    with pytest.raises(ReadError, match=r"the channels differ by 6\.0 dB; keep only"):
        full_scale(written(tmp_path, np.column_stack([one, 0.5 * one])))


def breathing() -> FloatArray:
    time = np.arange(5 * RATE) / RATE
    return np.asarray(tone(0.1) * (1 + 0.02 * np.sin(2 * np.pi * 0.5 * time)))


@pytest.mark.parametrize(
    ("samples", "message"),
    [
        (tone(0.1, seconds=1.5), "not heard for 2 s on end; record 10 s"),
        (np.concatenate([tone(0.1, seconds=1.5), np.zeros(3 * RATE)]), "not heard for 2 s"),
        (tone(0.1, hertz=250.0), "the strongest tone is at 250 Hz, a calibrator's at 1000 Hz"),
        (tone(0.1, hertz=1030.0), "the strongest tone is at 1030 Hz"),
        (np.clip(tone(1.3), -1, 1), "cut off at full scale; record it again with less gain"),
        (np.clip(tone(0.13), -0.1, 0.1), "distorted"),
        (breathing(), r"level varies by 0\.3\d dB within 5 s; switch automatic gain off"),
        (tone(0.1) + tone(0.03, hertz=440.0), "more than one steady tone"),
        (0.1 * np.random.default_rng(301).standard_normal(5 * RATE), "tone"),
    ],
)
def test_refuses_what_is_no_calibrator(samples: FloatArray, message: str, tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=message) as raised:
        full_scale(written(tmp_path, samples, "FLOAT"))
    assert "calibrator.wav" in str(raised.value)
    assert "\n" not in str(raised.value)


def test_refuses_silence_and_slow_sampling(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=r"calibrator\.wav: .*not heard"):
        full_scale(written(tmp_path, np.zeros(5 * RATE)))
    with pytest.raises(ReadError, match="3000 samples per second are too few"):
        full_scale(written(tmp_path, tone(0.1), rate=3000))
