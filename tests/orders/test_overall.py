"""Overall levels against Parseval and closed forms."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.signal import periodogram

from vibetrend.orders.overall import overall
from vibetrend.recording import FloatArray, Recording

RATE = 4000.0
TIME = np.arange(40_000) / RATE  # 10 s


def levels(samples: FloatArray, rate: float = RATE, unit: str = "m/s^2") -> dict[str, float]:
    table = overall(Recording(samples, sample_rate=rate, unit=unit))
    return dict(zip(table["name"], table["value"], strict=True))


@pytest.mark.parametrize(
    ("hertz", "mm_s"),
    [
        (8.333333333, 19.098593),
        (16.66666667, 9.549297),
        (25.0, 6.366198),
        (50.0, 3.183099),
        (100.0, 1.591549),
        (159.1549431, 1.0),
    ],
)
def test_velocity_of_1_m_s2(hertz: float, mm_s: float) -> None:
    """v = a / (2 pi f), exact. What leaks beyond 2 Hz of the end of 10 s: below 0.5 %."""
    found = levels(math.sqrt(2) * np.cos(2 * np.pi * hertz * TIME))
    assert_allclose(found["acceleration"], 1.0, rtol=0.005)
    assert_allclose(found["velocity"], mm_s, rtol=0.005)


def test_the_usual_point_of_a_calibrator() -> None:
    """10 m/s^2 rms at 1000 rad/s are 10 mm/s rms."""
    found = levels(10 * math.sqrt(2) * np.cos(1000 * TIME))
    assert_allclose(found["velocity"], 10.0, rtol=0.005)


def test_three_cosines_in_whole_periods_are_exact() -> None:
    """1 @ 25 Hz, 2 @ 50 Hz, 0.5 @ 75 Hz: rms sqrt(5.25 / 2), on two axes sqrt(2) of that."""
    wave = sum(
        size * np.cos(2 * np.pi * f * TIME + start)
        for f, size, start in [(25, 1.0, 0.0), (50, 2.0, 0.7), (75, 0.5, 1.9)]
    )
    one = levels(np.asarray(wave))["acceleration"]
    two = levels(np.stack([wave, wave], axis=1))["acceleration"]
    # Padding to a fast length leaks a little beyond 2 and 1000 Hz
    assert_allclose([one, two / math.sqrt(2)], 1.6201851746019651, rtol=1e-3)


def test_noise_equals_the_periodogram_in_the_band() -> None:
    """scipy's periodogram, summed from 2 to 1000 Hz: Parseval by another program."""
    noise = np.random.default_rng(80).standard_normal(TIME.size)
    hertz, density = periodogram(noise - noise.mean(), RATE, detrend=False)
    band = (hertz >= 2) & (hertz < 1000)
    power = density[band] * hertz[1]
    found = levels(noise)
    assert_allclose(found["acceleration"], math.sqrt(power.sum()), rtol=2e-3)
    # Velocity of white noise rests on the few bins near 2 Hz, where padding shifts the edge.
    speed = math.sqrt(np.sum(power / (2 * np.pi * hertz[band]) ** 2))
    assert_allclose(found["velocity"], 1000 * speed, rtol=0.05)


def test_uneven_samples_give_the_same() -> None:
    rng = np.random.default_rng(81)
    times = (np.arange(12_000) + rng.uniform(-0.1, 0.1, 12_000)) / 400
    wave = 2 * np.cos(2 * np.pi * 50 * times)
    table = overall(Recording(wave, times=times))
    assert table["value"].iloc[0] == pytest.approx(math.sqrt(2), rel=0.02)


def test_the_band_ends_where_sampling_does() -> None:
    slow = overall(Recording(np.cos(2 * np.pi * 50 * TIME), sample_rate=400))
    fast = overall(Recording(np.cos(2 * np.pi * 50 * TIME), sample_rate=RATE))
    assert slow["band_hz"].tolist() == [[2.0, 160.0]] * 2
    assert fast["band_hz"].tolist() == [[2.0, 1000.0]] * 2
    assert fast["unit"].tolist() == ["m/s^2", "mm/s"]


def test_a_constant_is_no_vibration() -> None:
    assert levels(np.full(TIME.size, 9.81))["acceleration"] == pytest.approx(0, abs=1e-9)


def test_units_are_converted() -> None:
    """1 g peak at 100 Hz are 15.60777 mm/s peak (exact: 9.80665 m/s^2)."""
    found = levels(np.cos(2 * np.pi * 100 * TIME), unit="g")
    assert_allclose(found["velocity"] * math.sqrt(2), 15.60777, rtol=2e-3)


def test_sound_has_no_velocity_and_a_short_clip_no_level() -> None:
    sound = Recording(np.cos(2 * np.pi * 50 * TIME), sample_rate=RATE, kind="sound")
    assert overall(sound)["name"].tolist() == ["sound"]
    assert overall(Recording(np.zeros(1000), sample_rate=RATE)).empty
