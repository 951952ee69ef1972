"""One clock, no faster than needed."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.signal import firwin

from vibetrend.orders.overall import overall
from vibetrend.orders.signal import HEARD_HZ, middle, prepare, slowed
from vibetrend.recording import FloatArray, Recording


def jittered(seed: int, jitter: float) -> FloatArray:
    rng = np.random.default_rng(seed)
    off = np.clip(jitter * rng.standard_normal(12_000), -0.49, 0.49)
    return np.asarray((np.arange(12_000) + 0.5 + off) / 400)


@pytest.mark.parametrize("hertz", [8.3, 51.7, 199.0])
def test_decimated_sound_keeps_amplitude_and_time(hertz: float) -> None:
    time = np.arange(5 * 48_000) / 48_000
    sound = Recording(np.cos(2 * np.pi * hertz * time + 0.5), sample_rate=48_000, kind="sound")
    signal = prepare(sound, top_hz=200.0)
    assert signal.rate == pytest.approx(500.0)  # 200 Hz over the passband edge of 0.4
    assert signal.nyquist_hz == 24_000
    expected = np.cos(2 * np.pi * hertz * (signal.time + signal.start_s) + 0.5)
    off = signal.samples[:, 0] - expected
    off -= np.median(off)  # the mean was taken out before the ends were cut off
    assert np.abs(off).max() < 1e-4  # the filter's ripple is 1e-5


def test_what_lies_above_is_not_folded_back() -> None:
    time = np.arange(5 * 48_000) / 48_000
    sound = Recording(np.cos(2 * np.pi * 460 * time), sample_rate=48_000, kind="sound")
    signal = prepare(sound, top_hz=200.0)
    assert np.abs(signal.samples).max() < 1e-4  # would lie at 40 Hz


def test_slow_even_samples_stay_as_they_are() -> None:
    values = np.random.default_rng(100).normal([0, 0, 9.81], 1, (4000, 3))
    signal = prepare(Recording(values, sample_rate=400), top_hz=200.0)
    assert_allclose(signal.samples, values - values.mean(axis=0))
    assert_allclose(signal.time, np.arange(4000) / 400)
    assert (signal.even, signal.duration) == (True, 10.0)


def test_jittered_stamps_are_kept() -> None:
    times = jittered(101, 0.1)
    signal = prepare(Recording(np.zeros(times.size), times=times), top_hz=200.0)
    assert not signal.even
    assert_allclose(signal.time + signal.start_s, times)


def test_an_even_clock_rounded_to_milliseconds_is_put_straight() -> None:
    times = 100.0 + np.arange(12_000) / 416.67
    signal = prepare(Recording(np.zeros(times.size), times=np.round(times, 3)), top_hz=200.0)
    assert signal.even
    # 0.1 ms is a tenth of the rounding, and 0.02 of a cycle of order 12 at 1000 rpm.
    assert_allclose(signal.time + signal.start_s, times, atol=1e-4)


def test_rounding_costs_what_the_mean_of_its_phases_says() -> None:
    """Stamps rounded to 1 ms leave sinc(f / 1000): -0.32 dB at 150 Hz, -1.33 dB at 300 Hz."""
    times = np.round(jittered(102, 0.1) + 0.01 * np.sin(np.arange(12_000) / 100), 3)  # and wander
    signal = prepare(Recording(np.zeros(times.size), times=times), top_hz=200.0)
    assert not signal.even
    assert signal.stamp_step == pytest.approx(1e-3)
    lost = [20 * np.log10(signal.rounding_gain(hertz)) for hertz in (150.0, 300.0)]
    error = np.random.default_rng(103).uniform(-0.5e-3, 0.5e-3, 400_000)
    drawn = [20 * np.log10(np.cos(2 * np.pi * hertz * error).mean()) for hertz in (150.0, 300.0)]
    assert_allclose(lost, drawn, atol=0.01)  # sd of the mean of cosines: 0.003 dB


@pytest.mark.parametrize("even", [True, False])
def test_exact_stamps_lose_nothing(even: bool) -> None:
    times = jittered(104, 0.1)
    values = np.zeros(times.size)
    recording = Recording(values, sample_rate=400) if even else Recording(values, times=times)
    assert prepare(recording, top_hz=200.0).rounding_gain(300.0) == pytest.approx(1.0, abs=1e-9)


# Long sound, without a second copy of it


@pytest.mark.parametrize("count", [14, 1000, 2**16, 2**16 + 1, 200_001])
@pytest.mark.parametrize("every", [2, 13])
def test_slowing_down_block_by_block_is_one_convolution(count: int, every: int) -> None:
    """scipy's design of the filter by its window, numpy's convolution."""
    samples = np.random.default_rng(105).normal(9.81, 1, (count, 2))
    slow = slowed(Recording(samples, sample_rate=1000), top_hz=400 / every)
    assert slow.samples is not None
    taps = firwin(32 * every + 1, 1 / every, window=("kaiser", 10.06))
    middles = np.median(samples[:: 1 + count // 1000], axis=0)
    plain = np.stack([np.convolve(axis, taps) for axis in (samples - middles).T], axis=1)
    plain = plain[16 * every :][:count:every]
    assert_allclose(slow.samples, plain - plain.mean(axis=0), atol=2e-6)  # single precision


def test_only_even_samples_are_slowed_down() -> None:
    values = np.random.default_rng(106).normal(0.2, 1, (48_000, 1))
    fast = slowed(Recording(values, sample_rate=48_000, rpm=900), top_hz=200.0)
    assert (fast.count, fast.sample_rate, fast.rpm) == (500, 500.0, 900)
    for as_it_is in (
        Recording(values, sample_rate=999),
        Recording(values[:90], sample_rate=48_000),
        Recording(values, times=np.arange(48_000.0) / 48_000),
    ):
        assert slowed(as_it_is, top_hz=200.0) is as_it_is


def test_a_copy_slowed_down_before_gives_the_same() -> None:
    rng = np.random.default_rng(109)
    time = np.arange(4 * 48_000) / 48_000
    wave = np.cos(2 * np.pi * 150 * time + 0.5) + 0.1 * rng.standard_normal(len(time))
    sound = Recording(wave, sample_rate=48_000, kind="sound")
    slow = slowed(sound, top_hz=HEARD_HZ)
    at_once, again = prepare(sound, top_hz=200.0), prepare(slow, top_hz=200.0)
    assert_allclose(again.time + again.start_s, at_once.time + at_once.start_s)
    assert_allclose(again.samples, at_once.samples, atol=1e-4)  # two ripples of 1e-5
    assert overall(slow)["value"][0] == pytest.approx(overall(sound)["value"][0], rel=1e-4)


def test_the_middle_of_a_recording_and_its_tags_copy_no_samples() -> None:
    recording = Recording(np.random.default_rng(107).normal(size=(3000, 2)), sample_rate=100)
    assert recording.samples is not None
    for other in (replace(recording, rpm=900), middle(recording, seconds=10)[0]):
        assert other.samples is not None
        assert np.shares_memory(other.samples, recording.samples)
        assert not other.samples.flags.writeable
    part, begins = middle(recording, seconds=10)
    assert (part.count, begins) == (1000, 10.0)


@pytest.mark.parametrize("rate", [8000, 44_100, 48_000])
def test_the_overall_level_of_sound_is_that_of_all_samples(rate: int) -> None:
    rng = np.random.default_rng(108)
    time = np.arange(2**18 + 777) / rate
    wave = 0.2 * np.cos(2 * np.pi * 54 * time) + 0.1 * np.cos(2 * np.pi * 990 * time)
    samples = np.stack([wave, 0.5 * wave], axis=1) + 0.1 * rng.standard_normal((len(time), 2))
    hertz = np.fft.rfftfreq(len(time), 1 / rate)
    power = (np.abs(np.fft.rfft(samples, axis=0)) ** 2).sum(axis=1)[(hertz >= 2) & (hertz <= 1000)]
    expected = np.sqrt(2 * power.sum()) / len(time)  # Parseval
    found = overall(Recording(samples, sample_rate=rate, kind="sound"))["value"].iloc[0]
    # The filter's run-in at the ends and the last bins at 2 and 1000 Hz: below a thousandth.
    assert found == pytest.approx(expected, rel=1e-3)
