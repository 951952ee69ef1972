"""The spectrum of the recording page against sines and noise of known size."""

import numpy as np
import pytest

from vibetrend.orders.amplitude_spectrum import amplitude_spectrum
from vibetrend.recording import FloatArray, Recording

RATE = 400.0
TIME = np.arange(8000) / RATE  # 20 s


def uneven(seed: int) -> FloatArray:
    rng = np.random.default_rng(seed)
    return np.sort(TIME + rng.uniform(-0.4, 0.4, TIME.size) / RATE)


@pytest.mark.parametrize("hertz", [53.7, 60.0, 187.03])
@pytest.mark.parametrize("even", [True, False])
def test_a_sine_reads_its_rms(hertz: float, even: bool) -> None:
    """By the window's sum (Harris 1978); 0.3 % between two frequencies, 2 % of the gridding."""
    time = TIME if even else uneven(1)
    wave = np.sqrt(2) * np.cos(2 * np.pi * hertz * time + 0.4)
    samples = np.stack([0.6 * wave, 9.81 - 0.8 * wave], axis=1)  # 1.0 together
    stamps = {"sample_rate": RATE} if even else {"times": time}
    found = amplitude_spectrum(
        Recording(samples, **stamps), top_hz=199.0, piece_s=3.0, start_s=0.0, end_s=20.0
    )
    assert found is not None
    peak = int(found.amplitude.argmax())
    assert found.hertz[peak] == pytest.approx(hertz, abs=found.resolution_hz / 10)
    assert found.amplitude[peak] == pytest.approx(1.0, rel=0.004 if even else 0.02)
    assert (found.resolution_hz, found.pieces) == (pytest.approx(0.5), 12)


@pytest.mark.parametrize("even", [True, False])
def test_noise_reads_its_density(even: bool) -> None:
    """sqrt(1.5 S / T) for density S (Harris 1978, Table I: 1.5 bins).

    180 Hz by 20 s are 3600 cells; half-overlapped Hann pieces use nearly all of them: 1 %.
    """
    noise = np.random.default_rng(2).standard_normal(TIME.size)
    stamps = {"sample_rate": RATE} if even else {"times": uneven(3)}
    found = amplitude_spectrum(
        Recording(noise, **stamps), top_hz=199.0, piece_s=2.0, start_s=0.0, end_s=20.0
    )
    assert found is not None
    middle = (found.hertz > 10) & (found.hertz < 190)
    density = 2 / RATE
    assert np.mean(found.amplitude[middle] ** 2) == pytest.approx(1.5 * density / 2.0, rel=0.06)


def test_a_gap_does_not_change_the_scale() -> None:
    """The weights of the samples that are there are what it is divided by."""
    there = (TIME % 3 < 2.2) | (TIME > 15)
    wave = np.sqrt(2) * np.cos(2 * np.pi * 60 * TIME[there])
    found = amplitude_spectrum(
        Recording(wave, times=TIME[there]), top_hz=190.0, piece_s=4.0, start_s=0.0, end_s=20.0
    )
    assert found is not None
    assert found.amplitude.max() == pytest.approx(1.0, rel=0.02)


def test_a_fast_recording_is_thinned_out_without_loss() -> None:
    time = np.arange(240_000) / 48_000
    wave = np.sqrt(2) * np.cos(2 * np.pi * 199.5 * time)
    found = amplitude_spectrum(
        Recording(wave, sample_rate=48_000), top_hz=200.0, piece_s=2.0, start_s=0.0, end_s=5.0
    )
    assert found is not None
    assert found.amplitude.max() == pytest.approx(1.0, rel=0.004)


def test_one_shorter_than_a_piece_is_one_piece() -> None:
    found = amplitude_spectrum(
        Recording(np.cos(TIME[:400] * 300), sample_rate=RATE),
        top_hz=190.0, piece_s=4.0, start_s=0.0, end_s=1.0,
    )  # fmt: skip
    assert found is not None
    assert (found.pieces, found.piece_s) == (1, pytest.approx(1.0))


def test_what_rounded_stamps_take_is_given_back() -> None:
    """sinc(f step): stamps 1 ms apart of a clock that jitters leave 96 % at 150 Hz."""
    time = uneven(5)
    wave = np.sqrt(2) * np.cos(2 * np.pi * 150.3 * time)
    found = amplitude_spectrum(
        Recording(wave, times=np.round(time, 3)),
        top_hz=180.0, piece_s=3.0, start_s=0.0, end_s=20.0,
    )  # fmt: skip
    assert found is not None
    assert found.amplitude.max() == pytest.approx(1.0, rel=0.02)


def test_silence_has_none() -> None:
    silent = Recording(np.zeros(TIME.size), sample_rate=RATE)
    assert amplitude_spectrum(silent, top_hz=90, piece_s=2, start_s=0, end_s=20) is None


@pytest.mark.parametrize("count", [40, 800, 3000, 6000])
def test_hardly_any_samples_after_thinning_out_give_none(count: int) -> None:
    brief = Recording(np.arange(count) % 3, sample_rate=48_000)
    assert amplitude_spectrum(brief, top_hz=180, piece_s=1, start_s=0, end_s=1) is None


def test_hardly_any_samples_give_none() -> None:
    few = Recording(np.arange(40.0) % 3, sample_rate=RATE)
    assert amplitude_spectrum(few, top_hz=90, piece_s=1, start_s=0, end_s=0.05) is None
