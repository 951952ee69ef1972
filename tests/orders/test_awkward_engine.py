"""The estimator on recordings of a generator that shares nothing with it.

Amplitudes are compared with what the engine gave in that recording. Where cycles are uneven the
noise near an order is more than the white noise the bound is made of, so tolerances of amplitudes
are in the estimator's own standard errors (4: once in 16000) with a limit in dB beside it.
"""

from dataclasses import replace

import numpy as np
import pytest
from awkward_engine import FIRING, HUNTING, ORDERS, STEADY, Awkward, Drawn, drawn

from vibetrend.orders import Measurement, measure

EVEN = Awkward(uneven=0.0, misfires=0.0)


def in_db(found: float, true: float) -> float:
    return float(20 * np.log10(found / true))


def amplitudes(measured: Measurement) -> dict[float, tuple[float, float]]:
    table = measured.orders[measured.orders["visible"]]
    return {
        row.order: (row.amplitude, row.standard_error)
        for row in table[["order", "amplitude", "standard_error"]].itertuples()
    }


def flags(measured: Measurement) -> list[str]:
    return [note.code for note in measured.quality if note.severity != "note"]


def strong(truth: Drawn) -> list[float]:
    shown = ORDERS[ORDERS < 11]  # half the rate is order 11.5
    return [k for k in shown.tolist() if truth.rms[k] > 10 * truth.bound[k]]


@pytest.mark.parametrize("pulses", [False, True])
def test_its_two_truths_agree_where_nothing_is_random(pulses: bool) -> None:
    """Response times excitation, and least squares of what came out: two routes to one number.

    Hunting at 0.2 % past a resonance of 5 % damping lags by less than 1e-3 of an amplitude.
    """
    truth = drawn(replace(EVEN, pulses=pulses, seconds=20.0), 1)
    largest = max(truth.rms.values())
    for order in ORDERS.tolist():
        assert truth.rms[order] == pytest.approx(truth.process[order], rel=1e-3, abs=1e-4 * largest)


def test_cosines_in_white_noise_come_out_as_samples_say() -> None:
    """By hand: over whole turns at a steady speed an order is one bin of the DFT of the samples."""
    quiet = Awkward(
        pace=STEADY, pulses=False, mount=False, roll_off=0, belts=(), mains_hz=0, jitter=0,
        rpm=960.0, cn0_db=90.0,
    )  # fmt: skip
    truth = drawn(quiet, 2)
    spectrum = np.abs(np.fft.rfft(np.asarray(truth.recording.samples), axis=0)) / 12_000
    for order in ORDERS.tolist():  # 16 turns a second for 30 s
        line = np.sqrt(2 * (spectrum[round(order * 480)] ** 2).sum())
        # The cubic between points of the fine grid is exact on them: noise alone is left.
        assert line == pytest.approx(truth.rms[order], abs=5 * truth.bound[order])


@pytest.mark.parametrize(
    ("world", "seed", "ppm", "limit_db"),
    [
        (EVEN, 3, 10, 0.05),
        (Awkward(), 4, 30, 0.1),
        (Awkward(pace=HUNTING, drops=0.05), 20, 60, 0.1),
        (Awkward(rate=200.0, jitter=0.2), 4, 60, 0.1),
        (Awkward(rattle_db=6.0, whine=14.23, coloured=True, stamp_s=1e-3), 20, 60, 0.2),
    ],
    ids=["smooth pulses", "uneven cycles", "hunting, drops", "200 Hz", "rattle, coloured, 1 ms"],
)
def test_speed_firing_order_and_1x_are_right(
    world: Awkward, seed: int, ppm: float, limit_db: float
) -> None:
    """Limits: what is promised at 35 dB-Hz (0.03 dB, 5 ppm) is for pure orders in white noise;
    here misfires turn the crank's apparent angle and their noise stands beside each order.
    """
    truth = drawn(world, seed)
    measured = measure(truth.recording)
    assert measured.speed.rpm == pytest.approx(truth.rpm, rel=1e-6 * ppm)
    # Cylinders that are all alike make no half orders, which a two-stroke does not make either.
    assert set(flags(measured)) <= ({"speed-ambiguous"} if world is EVEN else set())
    found = amplitudes(measured)
    for order in (FIRING, 1.0):
        amplitude, error = found[order]
        assert abs(in_db(amplitude, truth.rms[order])) < limit_db
        assert amplitude == pytest.approx(truth.rms[order], abs=4 * error)


@pytest.mark.parametrize("away", [0.003, 0.03])
def test_another_engine_nearby_does_not_take_over(away: float) -> None:
    """10 dB weaker: its firing order adds up to a third of a cycle's amplitude, unless told apart.

    0.3 % away is 0.16 Hz at the firing order: three cycles of beat in 20 s.
    """
    truth = drawn(Awkward(second=away, seconds=20.0), 8)
    measured = measure(truth.recording)
    assert measured.speed.rpm == pytest.approx(truth.rpm, rel=1e-3)
    amplitude, _ = amplitudes(measured)[FIRING]
    harmless = abs(in_db(amplitude, truth.rms[FIRING])) < 0.5
    assert harmless or "other-engine" in flags(measured)


def test_an_engine_that_is_off_is_not_found() -> None:
    silence = Awkward(running=False, mains_hz=0, coloured=True, seconds=15.0)
    measured = measure(drawn(silence, 9).recording)
    assert "engine-not-running" in flags(measured)


def test_an_engine_that_stops_half_way_is_flagged() -> None:
    assert "speed-not-steady" in flags(
        measure(drawn(Awkward(seconds=20.0, stops_s=10.0), 10).recording)
    )


def test_strong_orders_are_within_their_intervals() -> None:
    """95 % of intervals should hold the truth; of 40, fewer than 85 % come once in 100."""
    inside = []
    for seed in (11, 12):
        truth = drawn(Awkward(pulses=False, seconds=20.0, cn0_db=45.0), seed)
        found = amplitudes(measure(truth.recording))
        for order in strong(truth):
            amplitude, error = found[order]
            inside.append(abs(amplitude - truth.rms[order]) < 1.96 * error)
    assert len(inside) > 30
    assert np.mean(inside) > 0.85
