"""Rounded tops and a zero that moves are found; engines, tones and waves are let pass."""

import functools
from dataclasses import replace

import numpy as np
import pytest

from vibetrend.engine import Engine
from vibetrend.orders.checks import check
from vibetrend.recording import FloatArray, Note, Recording
from vibetrend.simulate.record import record
from vibetrend.simulate.sensor import PHONE
from vibetrend.simulate.speed import Running
from vibetrend.units import STANDARD_GRAVITY

SEEDS = range(10)
RATE = 200.0


@functools.cache
def phone(seed: int, seconds: float = 30.0) -> Recording:
    rng = np.random.default_rng([95, seed])
    recording, _ = record(
        Engine(name="invented", cylinders=int(rng.choice([1, 3, 4, 6, 8]))),
        rpm=rng.uniform(600, 1500),
        seconds=seconds,
        rate=RATE,
        seed=seed,
        sensor=replace(PHONE, firing_rms=rng.uniform(0.1, 2.0)),
        running=Running(hunting_percent=rng.uniform(0, 1)),
        specimen=seed,
    )
    return recording


def parts(recording: Recording) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return times, gravity (3,) and vibration (n, 3)."""
    assert recording.samples is not None
    mean = recording.samples.mean(axis=0)
    return recording.time_s(), mean, recording.samples - mean


def tilted(gravity: FloatArray, degrees: float | FloatArray) -> FloatArray:
    """Turn gravity about an axis across it."""
    across = np.cross(gravity, [0.0, 0.0, 1.0])
    across /= np.linalg.norm(across)
    angle = np.radians(degrees)
    return gravity * np.cos(angle) + np.cross(across, gravity) * np.sin(angle)


def doubts(samples: FloatArray, recording: Recording) -> dict[str, Note]:
    """Return the notes by code, without those on the clock."""
    notes = check(Recording(samples, times=recording.times))
    return {note.code: note for note in notes if note.code != "clock"}


def test_phones_raise_no_doubt_at_any_length() -> None:
    found = [doubts(phone(s, t).samples, phone(s, t)) for s in SEEDS for t in (5.0, 30.0)]
    assert found == [{}] * 20


def test_rounded_tops_are_found() -> None:
    """The hyperbolic tangent, a common model of an amplifier driven too hard."""
    for seed in SEEDS:
        recording = phone(seed)
        _, gravity, vibration = parts(recording)
        driven = np.tanh(2 * vibration / vibration.std())
        assert doubts(driven + gravity, recording)["saturated"].severity == "warning"
        one_side = np.where(vibration > 0, driven * vibration.std() / 2, vibration)
        assert "saturated" in doubts(one_side + gravity, recording)


def test_tones_and_pulses_have_flat_tops_by_nature() -> None:
    time = np.arange(12_000) / 400
    tone = np.sin(2 * np.pi * 25.37 * time)
    noise = 1e-4 * np.random.default_rng(96).standard_normal(len(time))
    assert check(Recording(tone + noise, sample_rate=400)) == []
    pulses = np.tanh(30 * tone) + noise
    assert check(Recording(pulses, sample_rate=400, kind="other", unit="V")) == []


def test_a_phone_that_slipped_is_named_with_the_time() -> None:
    for seed in SEEDS:
        recording = phone(seed)
        time, gravity, vibration = parts(recording)
        late = (time > 18.2)[:, np.newaxis]
        notes = doubts(vibration + np.where(late, tilted(gravity, 4), gravity), recording)
        assert {code: note.severity for code, note in notes.items()} == {"moved": "warning"}
        assert "At about 18 s" in notes["moved"].message


@pytest.mark.parametrize("period_s", [3.0, 6.0])
def test_a_boat_that_rolls_raises_no_warning(period_s: float) -> None:
    for seed in SEEDS:
        recording = phone(seed)
        time, gravity, vibration = parts(recording)
        rolls = 3 * np.sin(2 * np.pi * time / period_s)
        swung = vibration + tilted(gravity, rolls[:, np.newaxis])
        found = doubts(swung, recording).values()
        assert [note for note in found if note.severity != "note"] == []


@pytest.mark.parametrize(("change", "found"), [(0.03, False), (0.5, True)])
def test_a_slow_drift_is_only_mentioned(change: float, found: bool) -> None:
    recording = phone(1)
    time, gravity, vibration = parts(recording)
    wandering = vibration + gravity + np.outer(change * time / time[-1], [0, 0, 1])
    notes = doubts(wandering, recording)
    assert set(notes) == ({"drift"} if found else set())
    if found:
        assert notes["drift"].severity == "note"
        assert "does not reach the orders" in notes["drift"].message


def test_a_drift_that_reaches_the_orders_is_a_warning() -> None:
    recording = phone(2)
    time, _, vibration = parts(recording)
    one = vibration[:, 0]
    notes = doubts(one + 60 * one.std() * np.exp(-time / 8), recording)
    assert notes["drift"].severity == "warning"


def test_an_overloaded_piezo_sensor_comes_back_slowly() -> None:
    """A bias jump: the amplifier's coupling lets the zero return with its time constant."""
    for seed in SEEDS:
        recording = phone(seed)
        time, _, vibration = parts(recording)
        one, since = vibration[:, 0], np.maximum(time - 12, 0)
        knocked = one + (time > 12) * 20 * one.std() * np.exp(-since / 1.5)
        note = doubts(knocked, recording)["saturated"]
        assert "came back" in note.message
        assert "At about 12 s" in note.message


def test_clipping_while_handled_is_no_reason_to_throw_all_away() -> None:
    recording = phone(3)
    time, gravity, vibration = parts(recording)
    handled = np.where((time < 1.5)[:, np.newaxis], np.clip(80 * vibration, -15, 15), vibration)
    note = doubts(handled + gravity, recording)["clipped"]
    assert note.severity == "warning"
    assert "begin or end" in note.message
    throughout = np.clip(vibration, -1.5 * vibration.std(), 1.5 * vibration.std())
    assert doubts(throughout + gravity, recording)["clipped"].severity == "unusable"


def test_a_constant_in_sound_is_a_note() -> None:
    noise = 0.05 * np.random.default_rng(97).standard_normal(48_000)
    assert check(Recording(noise + 0.01, sample_rate=8000, kind="sound")) == []
    (note,) = check(Recording(noise + 0.1, sample_rate=8000, kind="sound"))
    assert (note.code, note.severity) == ("offset", "note")
    assert "10 % of full scale" in note.message


def test_gravity_is_the_standard_one() -> None:
    """9.80665 m/s^2: BIPM, The International System of Units, 3rd CGPM 1901."""
    noise = 0.2 * np.random.default_rng(98).standard_normal((2000, 3))
    down = np.array([0, 0, STANDARD_GRAVITY])
    (note,) = check(Recording(noise + 1.06 * down, sample_rate=100))
    assert note.code == "gravity"
    assert check(Recording(noise + 1.04 * down, sample_rate=100)) == []
