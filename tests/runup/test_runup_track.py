"""The speed through a sweep, found in the recording itself."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from invented_sweeps import Sweep, Swept, swept
from numpy.testing import assert_allclose

import vibetrend as vt
from vibetrend.engine import Engine
from vibetrend.orders.signal import prepare
from vibetrend.orders.teeth_track import tacho_track
from vibetrend.recording import FloatArray
from vibetrend.runup.best_path import best_path
from vibetrend.runup.found_track import Found, found_track
from vibetrend.runup.one_way import one_way, worth_telling
from vibetrend.runup.ratio import own_and_rivals
from vibetrend.runup.stated import stated_ends
from vibetrend.runup.track import track_of_tacho, track_through

REAL = Path(__file__).parents[2] / "../shared/data/real"

SIX = {"name": "main", "cylinders": 6}


def tracked(world: Sweep, seed: int, engine: Engine | None = None) -> tuple[Swept, Found, float]:
    """Return what was made, what was found, and how far off its speed is, per cent rms."""
    made = swept(world, seed)
    ends = stated_ends(made.recording, engine, [])
    signal = prepare(made.recording, top_hz=12 * ends.high)
    found = found_track(signal, ends)
    table = found.track.table(begins=signal.start_s)
    error = made.speed_error_percent(table["time_s"].to_numpy(), table["rpm"].to_numpy())
    return made, found, error


# 0.1 % is what issue and brief ask for at the noise of an engine room; 0.05 % of cycle noise ten
# times a second is in all of these and cannot be followed. Seen: 0.03 to 0.06 %.
@pytest.mark.parametrize(
    "world",
    [
        pytest.param(Sweep(cn0_db=35, seconds=45), id="45 s, 35 dB-Hz"),
        pytest.param(Sweep(cn0_db=35, seconds=20), id="20 s"),
        pytest.param(Sweep(cn0_db=25, seconds=40), id="25 dB-Hz"),
        pytest.param(Sweep(cn0_db=35, start_rpm=2400, end_rpm=700), id="coast-down"),
        pytest.param(
            Sweep(hold_s=(6.0, 4.0), seconds=30, tags=(0.92, 1.08)), id="holds, tags off by 8 %"
        ),
        pytest.param(Sweep(tags=(1.08, 0.92)), id="tags off by 8 % the other way"),
        pytest.param(Sweep(tags=(1.05, None)), id="start only"),
        pytest.param(Sweep(tags=(None, 0.95)), id="end only"),
        pytest.param(Sweep(start_rpm=2400, end_rpm=700, tags=(1.05, None)), id="its start only"),
        pytest.param(Sweep(rate=400, jitter=0.2, axes=3, cn0_db=40, mains_hz=50), id="a phone"),
        pytest.param(Sweep(belts=(1.9013, 2.3718), cn0_db=40), id="two belts"),
        pytest.param(Sweep(only=(1, 2, 3, 4, 6)), id="whole orders only"),
        pytest.param(Sweep(only=(3, 6, 9)), id="firing order and multiples"),
    ],
)
def test_speed_is_found_within_a_tenth_of_a_per_cent(world: Sweep) -> None:
    _, found, error = tracked(world, 1)
    assert found.running
    assert error < 0.1


def test_fifteen_seconds_are_followed_too() -> None:
    _, _, error = tracked(Sweep(seconds=15, cn0_db=35), 3)
    assert error < 0.15


def test_stated_error_of_the_mean_speed_is_small() -> None:
    made, found, _ = tracked(Sweep(cn0_db=35), 2)
    truth = (made.turns[-1] - made.turns[0]) / (made.time[-1] - made.time[0])
    assert 0 < found.error < 2e-4
    assert found.track.mean_hz() == pytest.approx(truth, rel=5e-3)  # ends differ by 0.1 s


def test_a_resonance_of_the_strongest_order_does_not_bend_the_speed() -> None:
    """Its phase turns by half a turn there, in the one order that stands far above the others."""
    world = Sweep(levels_db=(25.0, 30.0), hunting=0.0, cycle_noise=0.0, cn0_db=55)
    _, _, error = tracked(world, 5)
    assert error < 0.03


def test_noise_alone_is_no_engine() -> None:
    for seed in range(3):
        assert not tracked(Sweep(cn0_db=-30, seconds=30), seed)[1].running


def test_a_speed_that_stands_still_is_found_as_such() -> None:
    made = swept(Sweep(end_rpm=705, tags=(1.0, 3.4)), 1)
    ends = stated_ends(made.recording, None, [])
    track = found_track(prepare(made.recording, top_hz=12 * ends.high), ends).track
    assert track.hertz.max() == track.hertz.min() == pytest.approx(702 / 60, rel=0.01)


def test_an_engine_known_tells_the_only_order_from_others() -> None:
    engine = Engine.of(SIX)
    world = Sweep(only=(3, 6, 9), tags=(1.06, 0.95))
    errors = [tracked(world, seed, engine)[2] for seed in (2, 3)]
    assert max(errors) < 0.2


def test_what_was_found_is_held_against_its_own_orders() -> None:
    made = swept(Sweep(seconds=30), 4)
    theta = np.interp(made.recording.time_s(), made.time, made.turns)
    samples = np.asarray(made.recording.samples)
    own, rivals = own_and_rivals(theta, samples)
    wrong, others = own_and_rivals(1.25 * theta, samples)
    assert own > 5 * wrong
    assert rivals == []
    assert min(abs(ratio * 1.25 - 1) for ratio in others) < 0.01


# Real: a one-cylinder generator set switched off; the encoder beside it is the truth.


@pytest.mark.skipif(not REAL.exists(), reason="real recordings lie beside the checkout only")
@pytest.mark.parametrize(
    ("start", "end"), [(2870, 2160), (2980, 2250), (2750, 2060), (3000, 2000), (2870, None)]
)
def test_a_real_coast_down_is_followed_from_its_pressure_alone(
    start: float, end: float | None
) -> None:
    path = REAL / "genset_coastdown.txt.zip"
    read = vt.read(path, columns=[3], kind="pressure", manner="coast-down", rpm=start, end_rpm=end)
    beside = vt.read(path, columns=[3], tacho_column=2, teeth="60-2", unit="V").tacho
    assert beside is not None
    encoder = track_of_tacho(tacho_track(beside))
    table = vt.measure(read).speed.track
    time, rpm = table["time_s"].to_numpy(), table["rpm"].to_numpy()
    error = rpm / (60 * encoder.hertz_at(time)) - 1
    limit = 0.01 if end else 0.02  # issue: 1 % rms; less is known without an end
    assert np.sqrt(np.mean(error**2)) < limit


# Parts


def test_track_integrates_its_speed() -> None:
    time = np.linspace(0, 40, 400)
    track = track_through(time, 10 * np.exp(time / 40))
    at = np.array([0.0, 13.0, 40.0, 41.0])
    # the integral of 10 exp(t / 40); straight on beyond the end
    turns = 400 * (np.exp(at[:3] / 40) - 1)
    assert_allclose(track.turns_at(at), [*turns, turns[-1] + 10 * np.e], atol=2e-3)
    assert track.scaled(2.0).mean_hz() == pytest.approx(2 * track.mean_hz())


def test_a_path_keeps_to_the_change_of_speed_that_was_seen() -> None:
    """A stronger line that stands still crosses: its change of speed is another."""
    energy = np.zeros((60, 3, 200), np.float32)
    changes = np.array([-0.02, 0.0, 0.02])
    for row in range(60):
        energy[row, 2, 20 + 2 * row] = 10.0
        energy[row, 1, 90] = 11.0 if 20 < row < 50 else 0.0
    path, change = best_path(energy, 0.01, changes)
    assert_allclose(path, 20 + 2 * np.arange(60), atol=1)
    assert (change[1:-1] == 2).all()


def way(*levels: float) -> tuple[FloatArray, FloatArray]:
    hertz = np.concatenate([np.linspace(a, b, 50) for a, b in pairwise(levels)])
    return np.linspace(0.0, float(len(levels) - 1), hertz.size), hertz


def test_the_longest_one_way_part_counts_with_its_holds() -> None:
    up = one_way(*way(12, 12, 40, 40), rises=True)
    assert (up.first_s, up.last_s, up.rises) == (0.0, 3.0, True)
    assert not worth_telling(up)
    both = one_way(*way(12, 40, 15), rises=True)
    assert both.rises
    assert both.last_s == pytest.approx(1.0, abs=0.05)
    assert worth_telling(both)
    down = one_way(*way(14, 16, 40, 8), rises=True)
    assert not down.rises


def test_ends_come_from_the_engine_where_nothing_is_stated() -> None:
    engine = Engine.of(SIX | {"idle_rpm": 650, "rated_rpm": 2600})
    recording = swept(Sweep(tags=(None, None), manner="run-up", seconds=3), 1).recording
    notes: list[vt.recording.Note] = []
    ends = stated_ends(recording, engine, notes)
    assert ends.start == pytest.approx(650 / 60)
    assert ends.end == pytest.approx(2600 / 60)
    assert "650 rpm and 2600 rpm" in notes[0].message
    with pytest.raises(vt.errors.MeasureError, match="no speed of this sweep is stated"):
        stated_ends(recording, None, [])
    one = stated_ends(replace(recording, rpm=700.0), engine, [])
    assert one.high == pytest.approx(2600 / 60 * 1.12)
