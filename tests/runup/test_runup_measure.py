"""A sweep measured: order curves against what is true of them, tables, doubts."""

import json
from dataclasses import replace

import numpy as np
import pytest
from invented_sweeps import HALF_ORDERS, Resonance, Sweep, Swept, swept
from numpy.testing import assert_allclose
from numpy.typing import NDArray

import vibetrend as vt
from vibetrend.engine import Engine
from vibetrend.errors import MeasureError
from vibetrend.orders import Measurement
from vibetrend.recording import FloatArray, Recording, Tacho
from vibetrend.runup import measure
from vibetrend.runup.maps import frequency_map, order_map

GENERATOR_SET = Engine.of(
    {"name": "set", "cylinders": 4, "generator": {"frequency_hz": 50, "poles": 4}}
)


def codes(measured: Measurement) -> set[str]:
    return {note.code for note in measured.quality}


def deviations(made: Swept, measured: Measurement, *, least: float = 4.0) -> FloatArray:
    """Return how many standard errors each value is off that should stand out of the noise."""
    table = measured.runup
    off = []
    for order in HALF_ORDERS.tolist():
        rows = table[table["order"] == order]
        truth = made.rms(order, rows["speed_rpm"].to_numpy())
        error = rows["standard_error"].to_numpy()
        clear = truth > least * error
        off.append(((rows["amplitude"].to_numpy() - truth) / error)[clear])
    return np.concatenate(off)


def curve(measured: Measurement, order: float) -> tuple[FloatArray, FloatArray]:
    rows = measured.runup[measured.runup["order"] == order]
    return rows["speed_rpm"].to_numpy(), rows["amplitude"].to_numpy()


CLEAN = Sweep(seconds=45)


@pytest.fixture(scope="module")
def clean() -> tuple[Swept, Measurement]:
    made = swept(CLEAN, 1)
    return made, measure(made.recording)


def test_curves_lie_where_they_should(clean: tuple[Swept, Measurement]) -> None:
    off = deviations(*clean)
    assert off.size > 1500
    # 95 % of normal deviates lie within 1.96; neighbours share noise, so that it scatters
    assert 0.90 < np.mean(np.abs(off) < 1.96) < 0.98
    assert abs(np.mean(off)) < 0.1


def test_the_peak_lies_at_the_resonance(clean: tuple[Swept, Measurement]) -> None:
    made, measured = clean
    rpm, amplitude = curve(measured, 3.0)
    truth = made.rms(3.0, rpm)
    # grid steps of 1 %; the window takes (0.18 * 0.025)^2 / (2 * 0.05^2) = 0.4 % of the height
    assert rpm[np.argmax(amplitude)] == pytest.approx(rpm[np.argmax(truth)], rel=0.011)
    assert amplitude.max() == pytest.approx(truth.max(), rel=0.02)


def test_the_phase_turns_over_it(clean: tuple[Swept, Measurement]) -> None:
    """By half a turn from well below to well above."""
    _, measured = clean
    assert measured.phase_reference == "order 3"
    rows = measured.runup[measured.runup["order"] == 3.0]
    phase = np.unwrap(rows["phase_deg"].to_numpy(), period=360)
    rpm = rows["speed_rpm"].to_numpy()
    turned = np.interp(2300, rpm, phase) - np.interp(1500, rpm, phase)
    # of 1 / (1 - r^2 + 2j 0.05 r) from r = 0.75 to 1.15: -9.7 to -160.4 degrees; the strongest
    # order draws the angle along by a few hundredths of a turn
    assert turned == pytest.approx(-150.7, abs=40)


def test_tables_and_json(clean: tuple[Swept, Measurement]) -> None:
    made, measured = clean
    table = measured.runup
    assert {"order", "speed_rpm", "amplitude", "standard_error"} <= set(table.columns)
    assert (measured.orders.empty, measured.driven.empty, measured.others.empty) == (True,) * 3
    assert not measured.overall.empty
    speed = measured.speed
    assert speed.method == "harmonics"
    assert np.diff(speed.track["time_s"]).max() < 0.12
    assert made.speed_error_percent(*speed.track.to_numpy().T) < 0.1
    found = json.loads(json.dumps(measured.to_dict()))
    assert len(found["runup"]) == len(table)
    assert not measured.unusable


@pytest.mark.parametrize(
    "world",
    [
        pytest.param(Sweep(seconds=15), id="15 s"),
        pytest.param(Sweep(start_rpm=2300, end_rpm=800), id="coast-down"),
        pytest.param(Sweep(hold_s=(4.0, 4.0)), id="holds"),
        pytest.param(Sweep(rate=400, jitter=0.2, axes=3, cn0_db=40), id="uneven times"),
        pytest.param(Sweep(mains_hz=50), id="mains at half of the firing order"),
        pytest.param(Sweep(belts=(1.9013, 2.3718)), id="belts"),
        pytest.param(Sweep(kind="sound", rate=8000, axes=1), id="sound"),
        pytest.param(Sweep(teeth=60, cn0_db=30), id="tacho"),
    ],
)
def test_errors_stated_are_those_made(world: Sweep) -> None:
    made = swept(world, 7)
    measured = measure(made.recording)
    off = deviations(made, measured)
    assert off.size > 300
    assert 0.87 < np.mean(np.abs(off) < 1.96) < 0.99
    assert measured.speed.method == ("tacho" if world.teeth else "harmonics")


def test_a_mains_line_that_orders_cross_is_told_from_them() -> None:
    """50 Hz crosses order 3 at 1000 rpm, order 2.5 at 1200 rpm: no bump is left there."""
    made = swept(Sweep(mains_hz=50, mains_db=0.0, cn0_db=50), 9)
    measured = measure(made.recording)
    for order, rpm in ((3.0, 1000.0), (2.5, 1200.0), (2.0, 1500.0)):
        speeds, amplitude = curve(measured, order)
        near = np.abs(speeds / rpm - 1) < 0.03
        truth = made.rms(order, speeds[near])
        assert_allclose(amplitude[near], truth, rtol=0.15)


def passed(ratio: FloatArray) -> NDArray[np.complex128]:
    """Return 1e-4 turns through an oscillator of damping ratio 0.05."""
    return np.asarray(1e-4 / (1 - ratio**2 + 0.1j * ratio.astype(complex)))


def test_a_tacho_alone_gives_the_crank_s_own_speed() -> None:
    """Order 4.5 of the angle passes a resonance at 100 Hz: 1333 rpm."""
    made = swept(Sweep(hunting=0.002, cycle_noise=0.0, seconds=40), 3)
    hertz = made.hertz
    swing = passed(4.5 * hertz / 100)
    wave = 2 * np.pi * 4.5 * made.turns
    angle = made.turns + swing.real * np.cos(wave) - swing.imag * np.sin(wave)
    edges = np.interp(np.arange(1, int(60 * angle[-1])) / 60, angle, made.time)
    edges += np.random.default_rng(3).normal(0, 2e-6, edges.size)
    recording = Recording(tacho=Tacho(edges, 60), manner="run-up", rpm=700, end_rpm=2400)
    measured = measure(recording)
    assert measured.speed.method == "tacho"
    assert "tooth-spacing" in codes(measured)
    rpm, amplitude = curve(measured, 4.5)
    crank = rpm / 60
    # 2 pi k a of the mean angular speed 2 pi f, rms
    size = np.abs(passed(4.5 * crank / 100))
    truth = (2 * np.pi) ** 2 * 4.5 * crank * size / np.sqrt(2.0)
    strong = truth > 0.3 * truth.max()
    assert_allclose(amplitude[strong], truth[strong], rtol=0.1)
    assert rpm[np.argmax(amplitude)] == pytest.approx(1333, rel=0.02)


def test_what_sampling_does_not_reach_is_said_and_left_out() -> None:
    made = swept(Sweep(rate=250, axes=3), 2)
    measured = measure(made.recording)
    note = next(note for note in measured.quality if note.code == "rate-too-low")
    assert note.severity == "warning"
    assert "At 250 samples per second nothing above 125 Hz can be seen" in note.message
    assert "(vibetrend crankshaft engine.toml says where)" in note.message
    hertz = measured.runup["order"] * measured.runup["speed_rpm"] / 60
    assert hertz.max() < 125


def test_a_fast_sweep_says_what_is_lost() -> None:
    measured = measure(swept(Sweep(seconds=10), 2).recording)
    note = next(note for note in measured.quality if note.code == "sweep-fast")
    assert "come out lower and wider" in note.message


@pytest.mark.parametrize(
    ("world", "code", "unusable"),
    [
        (Sweep(cn0_db=-30), "engine-not-running", True),
        (Sweep(start_rpm=1500, end_rpm=1505, tags=(0.5, 1.6)), "no-sweep", True),
        (Sweep(there_and_back=True, seconds=50, tags=(1.0, 3.4)), "sweep-both-ways", False),
        (Sweep(start_rpm=2400, end_rpm=700, tags=(0.29, 3.4), manner="run-up"),
         "sweep-other-way", False),
        (Sweep(tags=(1.2, 1.0)), "tag-contradicted", False),
        (Sweep(start_rpm=1000, end_rpm=1300), "sweep-short", False),
    ],
)  # fmt: skip
def test_doubts(world: Sweep, code: str, unusable: bool) -> None:
    measured = measure(swept(world, 1).recording)
    assert code in codes(measured)
    assert measured.unusable == unusable
    assert measured.runup.empty == unusable


def test_a_clean_sweep_raises_no_doubt_but_about_causes(
    clean: tuple[Swept, Measurement],
) -> None:
    assert {code for code in codes(clean[1]) if not code.startswith("resonance")} == set()


def test_generator_sets_coast_down_and_never_run_up() -> None:
    made = swept(Sweep(start_rpm=1500, end_rpm=500, seconds=20), 1).recording
    assert not measure(made, engine=GENERATOR_SET).runup.empty
    up = swept(Sweep(seconds=3), 1).recording
    with pytest.raises(MeasureError, match=r"governor holds 1500 rpm.*record it at that speed"):
        vt.measure(up, engine=GENERATOR_SET)


def test_sweeps_that_cannot_be_are_refused() -> None:
    made = swept(Sweep(seconds=2), 1).recording
    assert made.samples is not None
    short = replace(made, samples=made.samples[:200])
    with pytest.raises(MeasureError, match=r"the sweep is too short: 0\.2 s hold 8 turns at most"):
        measure(short)
    with pytest.raises(MeasureError, match=r"600 s at most are measured"):
        measure(Recording(np.zeros(700), sample_rate=1, manner="run-up", rpm=700, end_rpm=2000))
    late = Tacho(np.arange(200) / 100 + 50.0, 4)
    with pytest.raises(MeasureError, match="give both the same clock"):
        measure(replace(made, tacho=late))
    coarse = Tacho(np.cumsum(1 / np.linspace(12, 40, 800)), 1)
    with pytest.raises(MeasureError, match="too coarse for orders of the crank's speed"):
        measure(Recording(tacho=coarse, manner="run-up"))


def test_a_sweep_is_not_set_against_one_of_another_kind(clean: tuple[Swept, Measurement]) -> None:
    made, before = clean
    sound = replace(made.recording, kind="sound", unit="1")
    with pytest.raises(MeasureError, match="this sweep is sound in 1, the one to set it against"):
        measure(sound, baseline=[before])


def test_maps_show_orders_upright_and_resonances_level() -> None:
    made = swept(Sweep(resonances=(Resonance(100.0, 0.03),), cn0_db=55), 4)
    track = measure(made.recording).speed.track
    orders = order_map(made.recording, track)
    strongest = 2 * orders.place[np.argmax(orders.level_db, axis=0)]
    assert np.mean(np.abs(strongest - np.rint(strongest)) < 0.15) > 0.9
    hertz = frequency_map(made.recording, track)
    at = hertz.place[np.argmax(hertz.level_db, axis=0)]
    assert np.median(np.abs(at[hertz.speed_rpm < 2000] - 100)) < 10
    assert hertz.level_db.shape == (hertz.place.size, hertz.speed_rpm.size)
    assert hertz.level_db.max() == 0.0
