"""Faults put into good recordings are found; good recordings raise no warning."""

import math
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from vibetrend.ingest import read
from vibetrend.orders.checks import check
from vibetrend.recording import Circumstances, FloatArray, Kind, Note, Recording, Tacho

RATE = 400.0
COUNT = 12_000  # 30 s
REAL = Path(__file__).parents[2].parent / "shared" / "data" / "real"


def stamps(rng: np.random.Generator, jitter: float = 0.1) -> FloatArray:
    """Return a phone's stamps: even ones plus jitter, as a share of the step."""
    even = np.arange(COUNT) + jitter * rng.standard_normal(COUNT)
    return np.maximum.accumulate(even) / RATE


def engine(rng: np.random.Generator, times: FloatArray, axes: int = 3) -> FloatArray:
    """Return an engine-like vibration: half orders of 1000 rpm with noise, gravity on z."""
    orders = np.array([0.5, 1, 1.5, 2, 3, 4.5, 6])
    angle = 2 * np.pi * 1000 / 60 * np.outer(times, orders)
    out = np.empty((len(times), axes))
    for axis in range(axes):
        amplitudes = rng.lognormal(-1.5, 1.0, len(orders))
        out[:, axis] = np.cos(angle + rng.uniform(0, 6.28, len(orders))) @ amplitudes
    out += rng.lognormal(-2, 0.7) * rng.standard_normal(out.shape)
    if axes == 3:
        out[:, 2] += 9.81 * rng.normal(1, 0.01)
    return out


def found(notes: list[Note]) -> dict[str, str]:
    return {note.code: note.severity for note in notes}


def warnings(notes: list[Note]) -> list[Note]:
    return [note for note in notes if note.severity != "note"]


def test_good_phone_recordings_raise_no_warning() -> None:
    """500 recordings, jitter 0 to 20 %, steps of 0.001 to 0.15 m/s^2, some stamps in ms.

    0 in 500 bounds the share of false warnings below 0.6 % with 95 % confidence (rule of three).
    """
    rng = np.random.default_rng(71)
    false = []
    for _ in range(500):
        times = stamps(rng, rng.uniform(0, 0.2))
        values = engine(rng, times)
        grain = math.exp(rng.uniform(math.log(1e-3), math.log(0.15)))
        values = np.round(values / grain) * grain
        if rng.random() < 0.3:
            times = np.round(times, 3)
        if rng.random() < 0.3:  # some samples were never delivered
            kept = rng.random(COUNT) > 0.003
            times, values = times[kept], values[kept]
        false += warnings(check(Recording(values, times=times)))
    assert false == []


def test_good_sound_raises_no_warning() -> None:
    rng = np.random.default_rng(72)
    times = np.arange(44_100 * 2) / 44_100
    for bits in (8, 16, 24):
        for _ in range(10):
            sound = engine(rng, times, axes=1)
            sound = np.round(sound * (0.7 / np.abs(sound).max()) * 2 ** (bits - 1)) / 2 ** (
                bits - 1
            )
            assert check(Recording(sound, sample_rate=44_100, kind="sound")) == []


@pytest.mark.parametrize("grain", [0.0, 1e-4, 0.02, 0.1])
def test_a_pure_sine_is_not_clipped(grain: float) -> None:
    for amplitude in np.linspace(1, 2, 23):
        sine = amplitude * np.sin(2 * np.pi * 25.37 * np.arange(COUNT) / RATE)
        if grain:
            sine = np.round(sine / grain) * grain
        assert check(Recording(sine, sample_rate=RATE)) == []


@pytest.mark.skipif(not REAL.is_dir(), reason="the real recordings are not here")
@pytest.mark.parametrize(
    "name",
    [
        "motor_1721rpm.csv.zip",
        "motor_1796rpm_hard.wav",
        "phone_v6_idle_start.csv",
        "piston_four_idle.wav",
        "genset_noload.txt.zip",
        "genset_coastdown.txt.zip",
    ],
)
def test_real_recordings_raise_no_warning(name: str) -> None:
    assert warnings(check(read(REAL / name))) == []


@pytest.mark.parametrize(
    ("quantile", "severity"),
    [(0.95, "unusable"), (0.99, "unusable"), (0.9994, "warning"), (0.999999, None)],
)
@pytest.mark.parametrize("grain", [0.0, 0.001, 0.02])
def test_finds_clipping_on_one_side_of_one_axis(
    quantile: float, severity: str | None, grain: float
) -> None:
    rng = np.random.default_rng(73)
    times = stamps(rng)
    values = engine(rng, times) + 0.4 * rng.standard_normal((COUNT, 3))
    if grain:
        values = np.round(values / grain) * grain
    rail = np.quantile(values[:, 1], quantile, method="higher")
    values[:, 1] = np.minimum(values[:, 1], rail)
    notes = check(Recording(values, times=times))
    assert found(notes).get("clipped") == severity
    if severity:
        assert any("y at " in note.message for note in notes)


def test_says_how_much_is_clipped() -> None:
    """A sine cut at sin(80 deg) on both sides is at a rail for 20 of 180 degrees, each."""
    phase = 2 * np.pi * 0.061803 * np.arange(200_000)  # never the same phase twice
    rail = math.sin(math.radians(80))
    notes = check(Recording(np.clip(np.sin(phase), -rail, rail), sample_rate=8000, kind="sound"))
    assert found(notes) == {"clipped": "unusable"}
    assert notes[0].message.startswith("5.6 % of the samples")  # 20 / 360, larger of two sides


def test_a_pulse_sensor_is_not_clipped() -> None:
    pulses = (np.sin(2 * np.pi * 30 * np.arange(COUNT) / RATE) > 0).astype(float)
    assert check(Recording(pulses, sample_rate=RATE, kind="other", unit="V")) == []


@pytest.mark.parametrize(
    ("seconds", "severity"),
    [(0.0, None), (0.02, "note"), (0.25, "warning"), (2.0, "warning"), (8.0, "unusable")],
)
def test_finds_missing_stretches(seconds: float, severity: str | None) -> None:
    rng = np.random.default_rng(74)
    times = stamps(rng)
    values = engine(rng, times)
    kept = (times < 11) | (times >= 11 + seconds)
    notes = check(Recording(values[kept], times=times[kept]))
    assert found(notes).get("gaps") == severity
    if seconds >= 0.25:
        assert f"longest stretch {seconds:.2g} s" in " ".join(note.message for note in notes)


@pytest.mark.parametrize(("seconds", "severity"), [(0.5, "warning"), (9.0, "unusable")])
@pytest.mark.parametrize("kind", ["acceleration", "sound"])
def test_finds_a_sensor_that_repeats_its_last_value(
    kind: Kind, seconds: float, severity: str
) -> None:
    rng = np.random.default_rng(75)
    values = engine(rng, np.arange(COUNT) / RATE)[:, :2]
    values[4000 : 4000 + int(seconds * RATE)] = values[4000]
    notes = check(Recording(values / 50, sample_rate=RATE, kind=kind))
    assert found(notes)["gaps"] == severity


def test_stamps_given_in_batches_lose_nothing() -> None:
    times = np.floor(np.arange(COUNT) / 10) * 10 / RATE
    notes = check(Recording(engine(np.random.default_rng(76), times, axes=2), times=times))
    assert found(notes) == {"clock": "warning"}
    assert "90 % of the stamps repeat" in notes[0].message


@pytest.mark.parametrize("jitter", [0.05, 0.1, 0.2])
def test_describes_ordinary_jitter_without_a_warning(jitter: float) -> None:
    rng = np.random.default_rng(77)
    times = (np.arange(COUNT) + rng.uniform(-1, 1, COUNT) * jitter * math.sqrt(3)) / RATE
    (note,) = check(Recording(engine(rng, times), times=times))
    assert (note.code, note.severity) == ("clock", "note")
    # A step is the difference of two stamps: its deviation is sqrt(2) times theirs.
    assert f"steps vary by {100 * math.sqrt(2) * jitter:.0f} %" in note.message
    assert "400 Hz" in note.message


def test_names_rounded_stamps() -> None:
    rng = np.random.default_rng(78)
    times = np.round(np.arange(COUNT) / 416.7, 3)
    (note,) = check(Recording(engine(rng, times), times=times))
    assert (note.code, note.severity) == ("clock", "note")
    assert "rounded to 1 ms" in note.message


def test_even_stamps_are_not_worth_a_word() -> None:
    times = np.round(np.arange(COUNT) / 12_000, 7)
    assert check(Recording(engine(np.random.default_rng(79), times), times=times)) == []


def test_warns_when_the_rate_changes_on_the_way() -> None:
    rng = np.random.default_rng(80)
    times = np.cumsum(np.where(np.arange(COUNT) < COUNT / 2, 1 / 400, 1 / 200))
    notes = check(Recording(engine(rng, times), times=times))
    assert found(notes) == {"clock": "warning"}
    assert "changes by 100 %" in notes[0].message


@pytest.mark.parametrize(
    ("gravity", "severity"),
    [(0.0, None), (0.3, None), (1.0, "warning"), (8.9, "warning"), (9.5, None), (10.1, None),
     (11.0, "warning"), (96.2, "warning")],
)  # fmt: skip
def test_weighs_gravity(gravity: float, severity: str | None) -> None:
    rng = np.random.default_rng(81)
    direction = np.array([0.36, 0.48, 0.8])  # of length 1
    values = 0.3 * rng.standard_normal((COUNT, 3)) + gravity * direction
    assert found(check(Recording(values, sample_rate=RATE))).get("gravity") == severity


def test_gravity_says_nothing_about_one_axis_or_sound() -> None:
    rng = np.random.default_rng(82)
    values = rng.standard_normal((COUNT, 3)) + 3
    assert check(Recording(values[:, 0], sample_rate=RATE)) == []
    assert check(Recording(values, sample_rate=RATE, kind="sound", unit="Pa")) == []


def test_finds_a_dead_axis_and_a_silent_recording() -> None:
    rng = np.random.default_rng(83)
    values = 0.2 * rng.standard_normal((COUNT, 2))
    values[:, 1] = 0.25
    notes = check(Recording(values, sample_rate=RATE))
    assert found(notes) == {"dead-axis": "warning"}
    assert notes[0].message.startswith("y never changes")
    assert found(check(Recording(values, sample_rate=RATE, kind="sound"))) == {"dead-axis": "note"}
    assert found(check(Recording(values[:, 1], sample_rate=RATE))) == {"silent": "unusable"}
    hiss = 1e-5 * rng.standard_normal(COUNT)
    assert found(check(Recording(hiss, sample_rate=RATE, kind="sound"))) == {"silent": "unusable"}


def test_tooth_times_alone_have_nothing_to_check() -> None:
    tacho = Tacho(edge_times=np.arange(100) / 60, teeth_per_turn=60)
    assert check(Recording(tacho=tacho)) == []


def best_of(recording: Recording, runs: int = 5) -> float:
    def once() -> float:
        begin = time.perf_counter()
        check(recording)
        return time.perf_counter() - begin

    return min(once() for _ in range(runs))


def test_is_cheap() -> None:
    rng = np.random.default_rng(84)
    times = stamps(rng)
    assert best_of(Recording(engine(rng, times), times=times)) < 0.01  # 30 s of a phone
    minute = Recording(0.1 * rng.standard_normal(60 * 48_000), sample_rate=48_000, kind="sound")
    assert best_of(minute) < 0.15


def test_copies_no_long_recording() -> None:
    """A minute in stereo is 46 MB; its slow copy is a sixth of that, the rest a tenth."""
    sound = 0.1 * np.random.default_rng(85).standard_normal((60 * 48_000, 2))
    recording = Recording(sound, sample_rate=48_000, kind="sound")
    tracemalloc.start()
    check(recording)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 46e6 * (1 / 6 + 1 / 10)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_finds_one_signal_on_two_axes(sign: float) -> None:
    rng = np.random.default_rng(86)
    values = engine(rng, stamps(rng))
    assert check(Recording(values, sample_rate=RATE)) == []
    values[:, 2] = sign * values[:, 0] + 9.81
    notes = check(Recording(values, sample_rate=RATE))
    assert found(notes) == {"same-axes": "warning"}
    assert notes[0].message.startswith("x and z hold the same signal")
    stereo = 0.1 * values[:, [0, 0]]
    assert found(check(Recording(stereo, sample_rate=RATE, kind="sound"))) == {"same-axes": "note"}


def test_two_microphones_beside_each_other_are_not_one() -> None:
    rng = np.random.default_rng(87)
    sound = engine(rng, np.arange(COUNT) / RATE, axes=1) / 50
    hiss = 0.01 * sound.std() * rng.standard_normal((COUNT, 2))
    assert check(Recording(sound + hiss, sample_rate=RATE, kind="sound")) == []


@pytest.mark.parametrize(
    ("milliseconds", "severity"), [(2, None), (8, "note"), (40, "note"), (150, "warning")]
)
def test_finds_short_dropouts_in_sound(milliseconds: int, severity: str | None) -> None:
    rng = np.random.default_rng(88)
    sound = 0.1 * rng.standard_normal(10 * 8000)
    sound[30_000 : 30_000 + 8 * milliseconds] = 0.0
    assert found(check(Recording(sound, sample_rate=8000, kind="sound"))).get("gaps") == severity


def test_coarse_steps_of_a_quiet_sound_are_no_dropouts() -> None:
    """An 8-bit hum of three steps rests for 15 ms at each of its tops."""
    hum = np.round(3 * np.sin(2 * np.pi * 12.7 * np.arange(80_000) / 8000)) / 128
    assert "gaps" not in found(check(Recording(hum, sample_rate=8000, kind="sound")))


def test_very_quiet_sound_is_doubted() -> None:
    rng = np.random.default_rng(89)
    for level, severity in ((1e-3, None), (1e-4, "warning")):
        sound = np.round(level * rng.standard_normal(80_000) * 2**15) / 2**15
        notes = check(Recording(sound, sample_rate=8000, kind="sound"))
        assert found(notes).get("quiet") == severity


def test_repeats_what_was_stated_of_the_day() -> None:
    rng = np.random.default_rng(90)
    values = 0.1 * rng.standard_normal(COUNT)
    stated = Circumstances(other_engine="running", shore_power="on", automatic_gain="on")
    vibration = Recording(values, sample_rate=RATE, circumstances=stated)
    assert found(check(vibration)) == {"other-engine": "warning", "mains": "note"}
    sound = Recording(values, sample_rate=RATE, kind="sound", circumstances=stated)
    assert found(check(sound)) == {
        "other-engine": "warning",
        "mains": "note",
        "processed-sound": "warning",
    }
    quiet = Circumstances(other_engine="off", shore_power="off", automatic_gain="off")
    assert check(Recording(values, sample_rate=RATE, circumstances=quiet)) == []
    tacho = Tacho(edge_times=np.arange(100) / 60, teeth_per_turn=60)
    assert found(check(Recording(tacho=tacho, circumstances=stated))) == found(check(vibration))
