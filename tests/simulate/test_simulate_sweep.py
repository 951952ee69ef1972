"""Sweeps: against a demodulation and eigenvalues of our own, and a swept oscillator integrated."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray
from scipy.linalg import eigh
from scipy.signal import lsim

from vibetrend.engine import Engine
from vibetrend.recording import Recording
from vibetrend.simulate import (
    MICROPHONE,
    PHONE,
    REFERENCE_C,
    Running,
    Sensor,
    SimulateError,
    SweepTruth,
    aged,
    steady_changes_db,
    sweep,
)
from vibetrend.simulate.speed import swept, time_grid
from vibetrend.simulate.sweep import swept_orders
from vibetrend.torsion import AGEING, Change, Crankshaft, excited_orders

Array = NDArray[np.float64]

INERTIA = [0.022, 0.042, 0.042, 0.042, 0.042, 0.042, 0.042, 1.15]
STIFFNESS = [9.2e5, 13e5, 13e5, 13e5, 13e5, 13e5, 15e5]
HUB, RING, RING_STIFFNESS = 0.015, 0.055, 56000
TOML = f"""\
# invented: no real engine
name = "invented"
cylinders = 6
firing_order = [1, 5, 3, 6, 2, 4]
idle_rpm = 700
fast_idle_rpm = 1080
rated_rpm = 2600
[damper]
type = "rubber"
hub_inertia_kg_m2 = {HUB}
ring_inertia_kg_m2 = {RING}
ring_stiffness_nm_rad = {RING_STIFFNESS}
ring_loss_factor = LOSS
[crankshaft]
inertias_kg_m2 = {INERTIA}
stiffnesses_nm_rad = {STIFFNESS}
loss_factor = CRANK
"""
ENGINE = Engine.parse(TOML.replace("LOSS", "0.18").replace("CRANK", "0.03"))
RINGING = Engine.parse(TOML.replace("LOSS", "0.03").replace("CRANK", "0.01"))
VISCOUS = Engine.parse('name = "v"\ncylinders = 6\n[damper]\ntype = "viscous"\n')

STEADY_HAND = Running(
    hunting_percent=0, drift_percent=0, cycle_noise_percent=0, breathing_percent=0
)
STILL = replace(MICROPHONE, firing_above_noise_db_hz=140.0, own_noise=0.0, mains_level=0.0)
UP: dict[str, Any] = {
    "start_rpm": 800.0,
    "end_rpm": 2400.0,
    "seconds": 20.0,
    "rate": 1500.0,
    "seed": 3,
}
SHORT: dict[str, Any] = {"seconds": 5.0}


def run(engine: Engine = ENGINE, **changed: Any) -> tuple[Recording, SweepTruth]:
    """Sweep as `UP` says, with some of it changed."""
    return sweep(engine, **(UP | changed))


def lowest_hz(stiffness_factor: float = 1.0) -> float:
    """Return the lowest natural frequency without losses by a matrix of our own."""
    mass = np.diag([RING, INERTIA[0] + HUB, *INERTIA[1:]])
    links = [RING_STIFFNESS * stiffness_factor, *STIFFNESS]
    springs = np.diag([*links, 0.0]) + np.diag([0.0, *links])
    springs -= np.diag(links, 1) + np.diag(links, -1)
    return float(np.sqrt(eigh(springs, mass, eigvals_only=True)[1]) / (2 * np.pi))


@pytest.mark.parametrize("stiffness", [0.8, 1.0, 1.25])
def test_twist_peaks_at_the_critical_speed(stiffness: float) -> None:
    """With few losses a peak lies at the natural frequency: within 0.5 %, two steps of speeds."""
    _, truth = run(RINGING, sensor=STILL, change=Change(stiffness_factor=stiffness))
    expected = lowest_hz(stiffness)
    assert truth.natural_frequencies_hz[0] == pytest.approx(expected, rel=1e-3)
    for order in (4.5, 6, 7.5):
        assert truth.peak_rpm(order) == pytest.approx(60 * expected / order, rel=5e-3)


def test_a_fit_at_the_true_angle_finds_the_truth() -> None:
    """Least squares of all orders over stretches in which speed changes by 2 %, no noise.

    What is left is what a peak comes late, and what amplitudes do within a stretch.
    """
    recording, truth = run(seconds=60.0, sensor=STILL, running=STEADY_HAND)
    assert recording.samples is not None
    for rpm in (1000.0, 1410.0, 1860.0, 2200.0):
        near = np.abs(truth.rpm / rpm - 1) < 0.01
        angle = 2 * np.pi * np.outer(truth.turns[near], truth.orders)
        waves = np.hstack([np.cos(angle), -np.sin(angle)])
        fitted = np.linalg.lstsq(waves, recording.samples[near, 0])[0] / np.sqrt(2)
        found = fitted[: truth.orders.size] + 1j * fitted[truth.orders.size :]
        expected = truth.amplitude[:, int(np.argmin(np.abs(truth.speed_rpm - rpm))), 0]
        strong = np.abs(expected) > 0.1 * np.abs(expected).max()
        assert strong.sum() >= 3
        assert_allclose(found[strong], expected[strong], rtol=0.05)


def test_a_swept_oscillator_comes_late() -> None:
    """Equation 1 against the equation of motion, integrated by scipy from rest."""
    natural, damping, seconds = 2 * np.pi * 25.0, 0.1, 12.0
    time = np.linspace(0, seconds, 60_001)
    rpm = 900 + (2100 - 900) * time / seconds  # order 1: 15 to 35 Hz
    turns = 15 * time + (35 - 15) * time**2 / (2 * seconds)
    _, integrated, _ = lsim(
        ([natural**2], [1, 2 * damping * natural, natural**2]), np.cos(2 * np.pi * turns), time
    )
    speeds = np.linspace(880.0, 2120.0, 2000)
    x = speeds / 60 * 2 * np.pi / natural
    steady = 1 / (1 - x**2 + 2j * damping * x) / np.sqrt(2)

    def felt(pace: float) -> Array:
        return swept_orders(
            turns, rpm, np.full(time.size, pace), np.array([1.0]), speeds,
            steady[np.newaxis, :, np.newaxis], np.ones((1, time.size)),
        )[:, 0]  # fmt: skip

    later = time > 2  # the start has died away
    slow, late = (
        np.sqrt(np.mean((felt(pace) - integrated)[later] ** 2)) for pace in (0.0, 1200 / seconds)
    )
    size = np.sqrt(np.mean(integrated[later] ** 2))
    assert late < 0.01 * size
    assert slow > 4 * late


def test_gain_moves_no_peak() -> None:
    plain, truth = run(sensor=STILL)
    louder, truth_louder = run(sensor=STILL, gain_db=-6.0206)
    assert plain.samples is not None
    assert louder.samples is not None
    assert_allclose(louder.samples, plain.samples / 2, atol=2 * STILL.step)
    assert truth_louder.peak_rpm(4.5) == truth.peak_rpm(4.5)
    assert_allclose(truth_louder.amplitude, truth.amplitude / 2, rtol=1e-5)


def test_warmth_softens_rubber() -> None:
    """0.5 % of stiffness for each degree C, unless the engine file says otherwise."""

    def at(damper_c: float, engine: Engine = ENGINE) -> float:
        recording, truth = run(engine, **SHORT, damper_c=damper_c)
        assert recording.circumstances.damper_c == damper_c
        return float(truth.natural_frequencies_hz[0])

    def softened(factor: float) -> float:
        change = Change(stiffness_factor=factor)
        return float(Crankshaft.of(ENGINE).with_change(change).damped_modes.frequency_hz[0])

    assert at(REFERENCE_C) == pytest.approx(softened(1.0), rel=1e-9)
    assert at(REFERENCE_C + 20) == pytest.approx(softened(0.995**20), rel=1e-9)
    lively = ENGINE.model_copy(
        update={"damper": ENGINE.damper.model_copy(update={"stiffness_percent_per_c": 1.0})}
    )
    assert at(REFERENCE_C - 10, lively) == pytest.approx(softened(0.99**-10), rel=1e-9)


@pytest.mark.parametrize("share", [0.3, 0.7])
@pytest.mark.parametrize("sensor", [PHONE, MICROPHONE], ids=["phone", "sound"])
def test_twist_has_the_share_asked_for(share: float, sensor: Sensor) -> None:
    """The median over the orders that drive the resonance and pass it from idle to rated."""
    wide: dict[str, Any] = {"start_rpm": 690.0, "end_rpm": 2600.0, "seconds": 5.0}
    _, truth = run(**wide, twist_share=share, sensor=sensor)
    fresh = Crankshaft.of(ENGINE)
    lowest = truth.natural_frequencies_hz[0]
    shares = []
    for order in excited_orders(fresh, ENGINE):
        if not 700 <= (rpm := 60 * lowest / order) <= 2600:
            continue
        at = int(order * 2) - 1, int(np.argmin(np.abs(truth.speed_rpm - rpm)))
        twist = np.linalg.norm(truth.twist[at])
        shares.append(twist / (twist + np.linalg.norm(truth.amplitude[at] - truth.twist[at])))
    assert np.median(shares) == pytest.approx(share, abs=0.02)  # speeds in steps of 0.2 %


def test_what_is_no_twist_stays_when_the_damper_ages() -> None:
    """Decoys and the rest of the engine know nothing of the damper, but for a ring's wobble."""
    _, new = run(**SHORT)
    _, old = run(**SHORT, change=aged("bond slipping"))
    ratio = np.linalg.norm(old.amplitude - old.twist, axis=2) / np.linalg.norm(
        new.amplitude - new.twist, axis=2
    )
    wobble = AGEING["bond slipping"].order_1_factor
    assert_allclose(ratio[1], wobble, rtol=1e-9)  # order 1
    assert_allclose(np.delete(ratio, 1, axis=0), 1, rtol=1e-9)
    assert steady_changes_db(aged("bond slipping")) == {1.0: pytest.approx(20 * np.log10(wobble))}


def test_ageing_goes_by_degrees() -> None:
    assert aged("rubber hardening", 0) == Change()
    assert aged("rubber hardening", 1) == AGEING["rubber hardening"]
    slip = AGEING["bond slipping"].ring_slip
    assert aged("bond slipping", 1).ring_slip == pytest.approx(slip)
    half, whole = (aged("rubber softening", degree).stiffness for degree in (0.5, 1))
    assert half**2 == pytest.approx(whole)


def test_a_hand_moves_unevenly_but_never_back() -> None:
    grid = time_grid(30.0)
    up = swept(grid, start_rpm=700, end_rpm=2500, hold_s=2, rng=np.random.default_rng(1))
    assert (np.diff(up) >= 0).all()
    assert_allclose(up[[0, -1]], [700, 2500])
    assert_allclose(up[grid < 2], 700)
    assert_allclose(up[grid > 28.01], 2500)
    straight = np.interp(grid, [2, 28], [700, 2500])
    assert 10 < np.abs(up - straight).max() < 300


def test_a_coasting_engine_slows_ever_more_slowly() -> None:
    grid = time_grid(20.0)
    down = swept(grid, start_rpm=2400, end_rpm=800, hold_s=0, rng=np.random.default_rng(1))
    assert_allclose(down[[0, -1]], [2400, 800])
    slowing = -np.gradient(down, grid)[1000:-1000]  # its corners are rounded
    assert (np.diff(slowing) < 1e-9).all()
    assert slowing[0] > 1.5 * slowing[-1]


def test_the_recording_says_what_the_gauge_showed() -> None:
    up, truth = run(**SHORT)
    assert (up.manner, up.kind, up.axes) == ("run-up", "acceleration", ("x", "y", "z"))
    assert up.rpm is not None
    assert up.end_rpm is not None
    assert up.rpm % 10 == up.end_rpm % 10 == 0
    assert up.end_rpm / up.rpm == pytest.approx(3, abs=0.03)  # it is off by one factor
    assert truth.rpm[0] == pytest.approx(800, rel=0.01)  # hunting
    assert_allclose(
        np.gradient(truth.turns, truth.time_s)[50:-50] * 60, truth.rpm[50:-50], rtol=0.02
    )
    down, _ = run(**SHORT, start_rpm=2400.0, end_rpm=800.0, sensor=MICROPHONE)
    assert (down.manner, down.kind, down.sample_rate) == ("coast-down", "sound", 1500)


def test_the_same_seed_is_the_same_sweep() -> None:
    one, two, other = (run(seconds=3.0, hold_s=0.5, seed=seed)[0] for seed in (1, 1, 2))
    assert one.samples is not None
    assert_array_equal(one.samples, np.asarray(two.samples))
    assert not np.array_equal(one.samples, np.asarray(other.samples))


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"end_rpm": 805.0}, "from 800 to 805 rpm is no sweep; let it end farther"),
        ({"start_rpm": -1.0}, "rpm is -1; a number above 0"),
        ({"end_rpm": float("nan")}, "end_rpm is nan; a number above 0"),
        ({"seconds": 4.0}, "two holds of 2 s leave nothing of 4 s"),
        ({"hold_s": -1.0}, "two holds of -1 s leave nothing"),
        ({"twist_share": 1.0}, "the twist's share is 1; a number from 0"),
        ({"change": Change(viscous_factor=0.5)}, "a ring on rubber: no fluid of it can age"),
        ({"engine": VISCOUS, "change": Change(ring_slip=0.1)}, "a ring in fluid: no rubber"),
        ({"changes_db": {99.0: 1.0}}, "order 99 is not simulated"),
    ],
)
def test_says_what_cannot_be_swept(changed: dict[str, Any], said: str) -> None:
    with pytest.raises(SimulateError, match=said):
        run(**(SHORT | changed))


def test_an_engine_that_never_meets_its_resonance_is_told() -> None:
    narrow = Engine.parse('name = "e"\ncylinders = 2\nidle_rpm = 2590\nrated_rpm = 2600\n')
    with pytest.raises(SimulateError, match="no order of this engine passes its crankshaft's"):
        sweep(narrow, start_rpm=2400, end_rpm=2600, seconds=5, rate=1500, seed=1)


@pytest.mark.parametrize(("kind", "degree"), [("rust", 1.0), ("bond slipping", -1.0)])
def test_an_unknown_ageing_is_told(kind: str, degree: float) -> None:
    with pytest.raises(SimulateError, match=r"choose rubber hardening|from 0 to 10 is needed"):
        aged(kind, degree)


def test_a_peak_outside_the_sweep_is_told() -> None:
    _, truth = run(**SHORT)
    with pytest.raises(SimulateError, match=r"order 1 does not pass 139 Hz between"):
        truth.peak_rpm(1)
