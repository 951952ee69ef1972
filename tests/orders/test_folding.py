"""Orders above half the sampling rate: shown where surely theirs, never a true line's."""

import math

import numpy as np
import pytest
from invented_recordings import (
    HALF_ORDERS,
    MILD,
    STEADY,
    Made,
    Running,
    World,
    made,
    rows,
    turned,
)

from vibetrend.engine import Engine
from vibetrend.orders import Measurement, measure
from vibetrend.orders.signal import fold
from vibetrend.recording import FloatArray, Recording

SIX = Engine(name="invented", cylinders=6, fast_idle_rpm=1000)
SLOW = World(running=MILD, rate=100.0, belts=(1.9013,), mains_hz=0)  # no filter in the sensor


@pytest.mark.parametrize(
    ("hertz", "shown"), [(10, 10), (50, 50), (60, 40), (100, 0), (130, 30), (170, 30), (203.4, 3.4)]
)
def test_sampling_folds_about_every_half_of_its_rate(hertz: float, shown: float) -> None:
    assert fold(hertz, 100.0) == pytest.approx(shown)


@pytest.fixture(scope="module")
def uneven() -> list[tuple[Made, Measurement]]:
    truths = [made(SLOW, seed) for seed in (31, 32, 33)]
    return [(truth, measure(truth.recording, engine=SIX)) for truth in truths]


def test_wander_and_uneven_times_tell_folded_orders_apart(
    uneven: list[tuple[Made, Measurement]],
) -> None:
    """19 of 24 orders lie above 50 Hz: most are strong and clear enough to be told apart.

    4.5 standard errors are exceeded once in 150 000 times.
    """
    decibels = []
    for truth, measured in uneven:
        table = rows(measured).values()
        shown = [row for row in table if row["visible"] and row["frequency_hz"] > 50]
        assert len(shown) > 19 / 2
        for row in shown:
            true = truth.rms[row["order"]]
            assert abs(row["amplitude"] - true) < 4.5 * row["standard_error"]
            decibels.append(20 * math.log10(row["amplitude"] / true))
    assert np.median(np.abs(decibels)) < 0.25  # what is asked for


def test_folded_orders_say_where_they_are_seen(uneven: list[tuple[Made, Measurement]]) -> None:
    truth, measured = uneven[0]
    table, rate = rows(measured), truth.recording.mean_rate_hz
    for row in table.values():
        if row["frequency_hz"] > rate / 2:
            images = [abs(row["frequency_hz"] - n * rate) for n in range(5)]
            assert row["folded_hz"] == pytest.approx(min(images), abs=1e-6)
        else:
            assert row["folded_hz"] is None
    (note,) = [note for note in measured.quality if note.code == "aliased"]
    assert note.severity == "note"
    assert "lower bounds" in note.message
    shown = [f"{k:g}" for k, row in table.items() if row["visible"] and row["folded_hz"]]
    assert ", ".join(shown) in note.message


def filtered(running: Running, *, even: bool, order: float, by_crank: bool, seed: int) -> Recording:
    """Return what a sensor with a filter gives: a true line where `order` would be folded to."""
    world = World(running=running, rate=100.0)
    rng = np.random.default_rng(seed)
    times = np.arange(3000) / 100
    if not even:
        times = times + np.clip(0.1 * rng.standard_normal(3000), -0.49, 0.49) / 100
    crank = turned(times, world, rng)
    hertz = float((crank[-1] - crank[0]) / (times[-1] - times[0]))
    samples = 0.02 * rng.standard_normal((3000, 3))
    for k in HALF_ORDERS[HALF_ORDERS * hertz < 49]:
        samples += waves(k * crank, rng)
    shown = fold(order * hertz, 100.0)
    samples += waves(shown / hertz * crank if by_crank else shown * times, rng)
    if even:
        return Recording(samples, sample_rate=100.0, rpm=1010)
    return Recording(samples, times=times, rpm=1010)


def waves(turns: FloatArray, rng: np.random.Generator) -> FloatArray:
    vector = rng.standard_normal(3) + 1j * rng.standard_normal(3)
    return np.asarray(np.outer(np.exp(2j * np.pi * turns), vector).real)


@pytest.mark.parametrize("even", [True, False])
@pytest.mark.parametrize("by_crank", [True, False])
@pytest.mark.parametrize("running", [STEADY, MILD])
def test_a_true_line_is_never_taken_for_an_order(
    running: Running, by_crank: bool, even: bool
) -> None:
    recording = filtered(running, even=even, order=4.0, by_crank=by_crank, seed=32)
    measured = measure(recording, engine=SIX)
    above = [row for row in rows(measured).values() if row["frequency_hz"] > 50]
    assert len(above) == 19
    assert not any(row["visible"] for row in above)
    assert not [note for note in measured.quality if note.code == "aliased"]


def test_a_steady_engine_evenly_sampled_may_show_a_true_line() -> None:
    recording = filtered(STEADY, even=True, order=4.0, by_crank=False, seed=33)
    row = rows(measure(recording, engine=SIX))[4.0]
    assert row["reason"].startswith("above half the sampling rate, 50 Hz; seen folded to 32.2 Hz")
