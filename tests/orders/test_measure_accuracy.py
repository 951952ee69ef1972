"""Accuracy against truth and variance bounds, over clocks, rates, speeds and kinds.

The bound of an amplitude is Kay's (Fundamentals of Statistical Signal Processing, ex. 3.14), the
bound of a constant speed Rife & Boorstyn's (IEEE Trans. IT-20, 1974), both in
`invented_recordings`.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest
from invented_recordings import FIRING, MILD, STEADY, WANDER, Made, World, made, rows
from scipy.stats import binom, chi2

from vibetrend.orders import Measurement, measure
from vibetrend.recording import FloatArray, Recording

RUNS = 8
CLEAR = 4.0  # bounds: an order weaker than that is pulled about by its own noise


@dataclass(frozen=True)
class Batch:
    """Recordings of one world, measured."""

    truths: list[Made]
    measured: list[Measurement]

    @classmethod
    def of(cls, world: World, *, seed: int, runs: int = RUNS) -> "Batch":
        truths = [made(world, 1000 * seed + run) for run in range(runs)]
        return cls(truths, [measure(truth.recording) for truth in truths])

    def __iter__(self) -> Iterator[tuple[Measurement, Made]]:
        return zip(self.measured, self.truths, strict=True)

    def speed_ppm(self) -> FloatArray:
        return np.array([1e6 * (m.speed.rpm / truth.rpm - 1) for m, truth in self])

    def speed_in_errors(self) -> FloatArray:
        return np.array([(m.speed.rpm - t.rpm) / m.speed.standard_error_rpm for m, t in self])

    def decibels(self, order: float) -> FloatArray:
        """Return 20 lg of an order's amplitude over the true one, for each recording."""
        ratios = [rows(m)[order]["amplitude"] / truth.rms[order] for m, truth in self]
        return np.asarray(20 * np.log10(ratios))

    def clear_orders(self) -> tuple[FloatArray, FloatArray]:
        """Return errors in bounds and in standard errors, of orders that stand out clearly."""
        bounds, errors = [], []
        for m, truth in self:
            table = rows(m)
            for order, true in truth.rms.items():
                row = table[order]
                if row["visible"] and true > CLEAR * truth.rms_bound:
                    bounds.append((row["amplitude"] - true) / truth.rms_bound)
                    errors.append((row["amplitude"] - true) / row["standard_error"])
        return np.array(bounds), np.array(errors)


def rms(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def largest_mean_square(count: int) -> float:
    """Return what a mean of `count` squares of unit variance exceeds once in a thousand."""
    return float(chi2.ppf(0.999, count)) / count


@pytest.fixture(scope="module")
def steady() -> Batch:
    return Batch.of(World(cn0_db=35, running=STEADY), seed=1)


@pytest.fixture(scope="module")
def wander() -> Batch:
    return Batch.of(World(cn0_db=35, running=WANDER), seed=2)


def test_speed_of_a_steady_engine_reaches_the_bound(steady: Batch) -> None:
    in_bounds = np.array([(m.speed.rpm - t.rpm) / t.rpm_bound for m, t in steady])
    assert rms(in_bounds) ** 2 < largest_mean_square(RUNS)
    stated = [m.speed.standard_error_rpm / t.rpm_bound for m, t in steady]
    # Noise levels of 24 orders on 3 axes and debiased amplitudes: a few per cent.
    assert np.abs(np.array(stated) - 1).max() < 0.1


def test_speed_of_a_wandering_engine_is_good_to_its_standard_error(wander: Batch) -> None:
    assert rms(wander.speed_in_errors()) ** 2 < largest_mean_square(RUNS)
    assert rms(wander.speed_ppm()) < 10  # an FFT of this world is 5900 ppm off


@pytest.mark.parametrize("world", ["steady", "wander"])
def test_firing_order_within_a_tenth_of_a_decibel(
    world: str, request: pytest.FixtureRequest
) -> None:
    """35 dB-Hz, 30 s: the bound is 8.69 sqrt(1 / (2 T CN0)) = 0.02 dB on one axis alone.

    Hunting by 1 % costs an FFT 7 dB here.
    """
    batch: Batch = request.getfixturevalue(world)
    assert np.abs(batch.decibels(FIRING)).max() < 0.1
    # 1x is up to 36 dB weaker; a median of 8
    assert abs(np.median(batch.decibels(1.0))) < 0.5


@pytest.mark.parametrize("world", ["steady", "wander"])
def test_amplitudes_of_clear_orders_scatter_as_the_bound_says(
    world: str, request: pytest.FixtureRequest
) -> None:
    bounds, _ = request.getfixturevalue(world).clear_orders()
    assert bounds.size > 120
    # Neighbouring lines inflate, and no unbiased estimate is below 1.
    assert 1 / 1.5 < rms(bounds) ** 2 < 1.15 * largest_mean_square(bounds.size)
    assert abs(np.mean(bounds)) < 4 / np.sqrt(bounds.size)


@pytest.mark.parametrize("world", ["steady", "wander"])
def test_intervals_of_95_percent_cover(world: str, request: pytest.FixtureRequest) -> None:
    """As many as a binomial of 95 % gives in 999 of 1000 batches."""
    _, errors = request.getfixturevalue(world).clear_orders()
    inside = int(np.sum(np.abs(errors) < 1.96))
    assert inside >= binom.ppf(1e-3, errors.size, 0.95)


def test_intervals_cover_when_amplitudes_breathe_by_5_percent() -> None:
    """Each amplitude is drawn anew each second; its mean over the recording is asked for."""
    batch = Batch.of(World(cn0_db=45, running=MILD, breathing=0.05), seed=3, runs=4)
    _, errors = batch.clear_orders()
    inside = int(np.sum(np.abs(errors) < 1.96))
    assert inside >= binom.ppf(1e-3, errors.size, 0.95)


def test_says_how_much_an_amplitude_breathes() -> None:
    """5 % drawn each second and joined by straight lines; seen in blocks of 2 s.

    Straight lines keep 2 / 3 of the variance, blocks of 2 s the mean of about 2: 2.9 to 3.5 %.
    """
    truth = made(World(cn0_db=60, running=MILD, breathing=0.05, levels_db=(0, 6), seconds=60), 120)
    still = made(World(cn0_db=60, running=MILD, levels_db=(0, 6), seconds=60), 120)
    seen = measure(truth.recording).orders["variation_percent"].median()
    assert seen == pytest.approx(3.2, abs=0.6)
    assert measure(still.recording).orders["variation_percent"].median() < 0.5


GOOD = World(cn0_db=45, running=MILD)


@pytest.mark.parametrize(
    "world",
    [
        pytest.param(replace(GOOD, jitter=0.0), id="even clock"),
        pytest.param(replace(GOOD, jitter=0.05), id="5 % jitter"),
        pytest.param(replace(GOOD, jitter=0.2), id="20 % jitter"),
        pytest.param(replace(GOOD, jitter=0.0, stamp_s=1e-3), id="even clock in ms"),
        pytest.param(replace(GOOD, gaps_s=((5, 5.3), (11, 12), (20, 21.5))), id="gaps"),
        pytest.param(replace(GOOD, rate=200.0), id="200 Hz"),
        pytest.param(replace(GOOD, rpm=611.0), id="slow"),
        pytest.param(replace(GOOD, axes=1), id="one axis"),
        pytest.param(replace(GOOD, tag_error=0.05), id="tag 5 % off"),
        pytest.param(replace(GOOD, seconds=10.0), id="10 s"),
    ],
)
def test_copes_with(world: World) -> None:
    """Two recordings of each: speed and every clear order within 5 standard errors."""
    batch = Batch.of(world, seed=4, runs=2)
    assert np.abs(batch.speed_ppm()).max() < 50
    bounds, errors = batch.clear_orders()
    assert bounds.size > 20
    assert np.abs(errors).max() < 5
    assert rms(bounds) < 2
    assert np.abs(batch.decibels(FIRING)).max() < 0.1


def test_copes_with_a_minute_of_sound() -> None:
    world = replace(GOOD, rate=48_000, jitter=0, seconds=60, axes=1, kind="sound")
    batch = Batch.of(world, seed=6, runs=1)
    assert abs(batch.speed_ppm()[0]) < 20
    bounds, errors = batch.clear_orders()
    assert bounds.size > 15
    assert np.abs(errors).max() < 5
    assert rms(bounds) < 2
    assert abs(batch.decibels(FIRING)[0]) < 0.1


def test_stamps_rounded_to_a_millisecond_keep_the_firing_order() -> None:
    """Rounding of 1 ms alone leaves sinc(0.3) at 300 Hz; at order 3 of 1017 rpm 0.04 dB.

    At order 10 it would be 0.44 dB: put right by what rounding leaves.
    """
    batch = Batch.of(replace(GOOD, jitter=0.1, stamp_s=1e-3, levels_db=(0, 3)), seed=5, runs=4)
    assert np.abs(batch.decibels(FIRING)).max() < 0.1
    assert abs(np.mean(batch.decibels(10.0))) < 0.1


def test_a_recording_faster_than_needed_tells_the_same_as_a_slow_one() -> None:
    """The same sine orders at 1 kHz and at 8 kHz, no noise: decimation changes nothing."""
    turns_per_s = 17.03
    found = []
    for rate in (1000.0, 8000.0):
        time = np.arange(int(20 * rate)) / rate
        angle = 2 * np.pi * turns_per_s * time
        wave = np.cos(3 * angle) + 0.1 * np.cos(angle + 1) + 0.01 * np.cos(9.5 * angle)
        wave = wave + 1e-5 * np.random.default_rng(121).standard_normal(time.size)
        recording = Recording(wave, sample_rate=rate, rpm=1000)
        found.append(rows(measure(recording)))
    for order, peak in ((3.0, 1.0), (1.0, 0.1), (9.5, 0.01)):
        for table in found:
            assert table[order]["amplitude"] * np.sqrt(2) == pytest.approx(peak, rel=2e-3)
