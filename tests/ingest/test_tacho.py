"""Tacho edges against shaft angles in closed form, and against real wheels where they are here."""

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from vibetrend.errors import ReadError
from vibetrend.ingest import tacho
from vibetrend.ingest.tags import Stated
from vibetrend.recording import FloatArray, Note, Tacho

REAL = Path(__file__).parents[2].parent / "shared" / "data" / "real"
real = pytest.mark.skipif(not REAL.is_dir(), reason="the real recordings are not here")

RATE = 20_000.0  # Hz
TIME = np.arange(60_000) / RATE
WITHIN = 1 / 20  # of a sample, rms

Angle = Callable[[FloatArray], FloatArray]


def idle(time: FloatArray) -> FloatArray:
    """15 turns a second, 3 % slower and faster twice a turn, as a four-cylinder engine does."""
    return 15 * time + 0.03 / (4 * np.pi) * np.sin(2 * np.pi * 30 * time)


def run_up(time: FloatArray) -> FloatArray:
    """From 3 to 21 turns a second."""
    return 3 * time + 3 * time**2


def times_at(turns: FloatArray, angle: Angle) -> FloatArray:
    """Invert an angle that rises, by halving."""
    low, high = np.full(turns.shape, -0.5), np.full(turns.shape, 4.0)
    for _ in range(60):
        middle = (low + high) / 2
        early = angle(middle) < turns
        low, high = np.where(early, middle, low), np.where(early, high, middle)
    return low


def pickup(turns: FloatArray, teeth: int, gaps: tuple[int, ...] = ()) -> FloatArray:
    """Return a pickup's voltage: a tooth is one sine, a missing one nothing."""
    missing = np.isin(np.floor(turns % 1 * teeth), gaps)
    return np.where(missing, 0.0, np.sin(2 * np.pi * teeth * turns))


def switch(turns: FloatArray, teeth: int, gaps: tuple[int, ...] = ()) -> FloatArray:
    """Return a switch's voltage behind a filter: 0 and 5 V, a few samples from one to the other."""
    # From trough to trough, so that a missing tooth leaves no corner.
    missing = np.isin(np.floor((turns + 0.25 / teeth) % 1 * teeth), gaps)
    wave = np.where(missing, -1.0, np.sin(2 * np.pi * teeth * turns))
    return 2.5 + 2.5 * np.tanh(180 / teeth * wave)


def noise(deviation: float) -> FloatArray:
    return deviation * np.random.default_rng(7).standard_normal(TIME.size)


def slope_of(notes: tuple[Note, ...]) -> str:
    return "falling" if "falling" in notes[0].message else "rising"


def rpm_in(notes: tuple[Note, ...]) -> float:
    return float(notes[0].message.split(" rpm")[0].split(" ")[-1])


def errors_in_samples(found: Tacho, true_times: FloatArray) -> FloatArray:
    right = np.clip(np.searchsorted(true_times, found.edge_times), 1, len(true_times) - 1)
    either = np.stack([found.edge_times - true_times[right - i] for i in (0, 1)])
    nearest = np.abs(either).argmin(axis=0)
    return np.take_along_axis(either, nearest[np.newaxis], axis=0)[0] * RATE


def passages(slope: str, teeth: float, angle: Angle) -> FloatArray:
    """Return when the sine of each tooth comes through zero in that direction."""
    last = float(angle(TIME)[-1]) * teeth
    turns = (np.arange(-1, last + 1) + (0.5 if slope == "falling" else 0.0)) / teeth
    return times_at(turns, angle)


def turn_errors(found: Tacho, edges_per_turn: int, angle: Angle) -> FloatArray:
    """Return by how many turns the edge after one more turn is not one turn away."""
    at = angle(found.edge_times)
    return at[edges_per_turn:] - at[:-edges_per_turn] - 1


@pytest.mark.parametrize(
    ("values", "teeth", "missing", "edges_per_turn"),
    [
        (pickup(idle(TIME), 60, (58, 59)), "60-2", 2, 58),
        (-3 - 0.2 * pickup(idle(TIME), 60, (20, 21)), "60-2", 2, 58),
        (pickup(idle(TIME), 118), "118", 0, 118),
        (switch(idle(TIME), 60, (58, 59)), "60-2", 2, 58),
        (12 - switch(idle(TIME), 4), "4", 0, 4),
    ],
    ids=["pickup", "pickup turned round, with offset", "ring gear", "switch", "switch, low"],
)
def test_edges_of_a_sampled_signal(
    values: FloatArray, teeth: str, missing: int, edges_per_turn: int
) -> None:
    signal = values + noise(0.002 * float(np.ptp(values)))
    found, notes = tacho.of_signal(TIME, signal, Stated(teeth=teeth))
    assert (found.teeth_per_turn, found.missing_teeth) == (float(teeth.split("-")[0]), missing)
    # Turned round, a tooth comes through zero half its length apart: the same set of times.
    both = [passages(slope, found.teeth_per_turn, idle) for slope in ("falling", "rising")]
    errors = errors_in_samples(found, np.sort(np.concatenate(both)))
    assert np.sqrt(np.mean(errors**2)) < WITHIN
    assert len(found.edge_times) >= (idle(TIME)[-1] - 1) * edges_per_turn  # all but the ends
    # A tooth is hundreds of times as long as the time errors allow.
    assert np.abs(turn_errors(found, edges_per_turn, idle)).max() < 0.05 / edges_per_turn
    assert [note.severity for note in notes] == ["note"]


def test_noise_moves_edges_as_its_formula_says() -> None:
    deviation = 0.01
    signal = pickup(idle(TIME), 60, (58, 59)) + noise(deviation)
    found, notes = tacho.of_signal(TIME, signal, Stated(teeth="60-2"))
    errors = errors_in_samples(found, passages(slope_of(notes), 60, idle))
    # Deviation over slope; a line between two samples averages their noise down to 2/3 of its
    # variance when the passage lies anywhere between (integral of (1 - s)^2 + s^2).
    slope_a_sample = 2 * np.pi * 60 * 15 / RATE
    expected = deviation / slope_a_sample * np.sqrt(2 / 3)
    assert_allclose(np.std(errors), expected, rtol=0.1)  # 2610 edges: 3 times 1.4 %, and the speed


def test_samples_of_an_ideal_switch_tell_the_time_to_one_sample() -> None:
    values = (idle(TIME) * 60 % 1 < 0.5) * 1.0
    found, notes = tacho.of_signal(TIME, values, Stated(teeth="60"))
    errors = errors_in_samples(found, passages(slope_of(notes), 60, idle))
    assert np.abs(errors).max() < 0.51
    # Evenly spread over one sample: 1 / sqrt(12).
    assert_allclose(np.std(errors), 12**-0.5, rtol=0.1)


def test_amplitude_that_grows_with_speed() -> None:
    speed = 3 + 6 * TIME
    values = speed * pickup(run_up(TIME), 60, (58, 59)) + noise(0.01)
    found, notes = tacho.of_signal(TIME, values, Stated(teeth="60-2"))
    errors = errors_in_samples(found, passages(slope_of(notes), 60, run_up))
    assert np.sqrt(np.mean(errors**2)) < WITHIN
    assert len(found.edge_times) > 58 * (run_up(TIME)[-1] - 1)
    assert np.abs(turn_errors(found, 58, run_up)).max() < 1e-3


def test_narrow_optical_mark() -> None:
    off_mark = (idle(TIME) + 0.5) % 1 - 0.5  # turns; the mark is 4 % of one wide
    values = 4.8 / (1 + np.exp(np.clip((np.abs(off_mark) - 0.02) / 0.001, -50, 50))) + noise(0.01)
    found, notes = tacho.of_signal(TIME, values, Stated(teeth="1"))
    edge = 0.02 if slope_of(notes) == "falling" else -0.02
    errors = errors_in_samples(found, times_at(np.arange(-1, 47) + edge, idle))
    assert np.sqrt(np.mean(errors**2)) < WITHIN
    assert len(found.edge_times) == 45


def test_one_bolt_and_a_pickup_use_the_steep_slope_between_the_lobes() -> None:
    off_bolt = ((idle(TIME) + 0.5) % 1 - 0.5) / 0.01
    values = -off_bolt * np.exp(-(off_bolt**2)) + noise(0.005)
    found, notes = tacho.of_signal(TIME, values, Stated(teeth="1"))
    assert slope_of(notes) == "falling"
    errors = errors_in_samples(found, times_at(np.arange(-1.0, 47), idle))
    # Noise over slope: 0.005 / (15 turns/s / 0.01 / RATE a sample) = 0.07 samples.
    assert np.sqrt(np.mean(errors**2)) < 0.1


def test_alternator_phase() -> None:
    per_turn = 6 * 2.2
    turns = idle(TIME) * per_turn
    values = 7 + 7 * np.tanh(3 * np.sin(2 * np.pi * turns)) + 0.5 * np.sin(2 * np.pi * 6 * turns)
    found, notes = tacho.of_signal(TIME, values + noise(0.01), Stated(poles=12, pulley_ratio=2.2))
    assert found.teeth_per_turn == pytest.approx(13.2)
    errors = errors_in_samples(found, passages(slope_of(notes), per_turn, idle))
    assert np.sqrt(np.mean(errors**2)) < WITHIN
    # 15 turns a second; the last turn is not whole, and 3 % of speed swing is left of it.
    assert rpm_in(notes) == pytest.approx(900, abs=0.5)


@pytest.mark.parametrize(
    ("teeth", "count", "gaps"),
    [("36-2-1", 36, (10, 11, 28)), ("36-1-1-1", 36, (0, 12, 24)), ("24-3", 24, (21, 22, 23))],
)
def test_several_gaps(teeth: str, count: int, gaps: tuple[int, ...]) -> None:
    values = pickup(idle(TIME), count, gaps) + noise(0.005)
    found, _ = tacho.of_signal(TIME, values, Stated(teeth=teeth))
    stated = tuple(int(group) for group in teeth.split("-")[1:])
    assert found.missing_teeth == (stated if len(stated) > 1 else stated[0])
    assert np.abs(turn_errors(found, count - len(gaps), idle)).max() < 1e-3


EDGES = times_at(np.arange(1, 44 * 60) / 60, idle)
WHEEL = EDGES[np.arange(1, 44 * 60) % 60 < 58]


def test_glitches_are_left_out_and_counted() -> None:
    rng = np.random.default_rng(5)
    after = rng.choice(np.arange(5, len(WHEEL) - 5, 20), 40, replace=False)
    glitches = WHEEL[after] + rng.uniform(2e-5, 5e-4, 40)  # teeth are 1.1 ms apart
    found, notes = tacho.of_edges(np.sort(np.concatenate([WHEEL, glitches])), Stated(teeth="60-2"))
    assert len(found.edge_times) == len(WHEEL)
    # The wrong one of two edges 0.02 ms apart may stay; none 0.1 ms off.
    assert np.abs(found.edge_times - WHEEL).max() < 1e-4
    assert ("40 glitches" in notes[1].message, notes[1].severity) == (True, "warning")


def test_spikes_in_a_signal() -> None:
    values = switch(idle(TIME), 60, (58, 59)) + noise(0.01)
    spikes = np.random.default_rng(5).integers(0, TIME.size, 12)
    values[spikes] = np.where(values[spikes] > 2.5, -4.0, 9.0)
    found, notes = tacho.of_signal(TIME, values, Stated(teeth="60-2"))
    assert np.abs(turn_errors(found, 58, idle)).max() < 0.1 / 60  # a spike on an edge moves it
    assert len(found.edge_times) > 58 * 44
    assert "left out" in notes[1].message


@pytest.mark.parametrize("teeth", ["60-2", "58"])
def test_a_lost_edge_never_shifts_the_angle(teeth: str) -> None:
    edges = WHEEL if teeth == "60-2" else times_at(np.arange(1, 44 * 58) / 58, idle)
    lost = [20 * 58 + 7, 30 * 58 + 57]
    found, notes = tacho.of_edges(np.delete(edges, lost), Stated(teeth=teeth))
    assert np.abs(turn_errors(found, 58, idle)).max() < 1e-9  # rounding
    assert_allclose(found.edge_times, edges[: lost[0]], rtol=0, atol=0)
    before = edges[lost[0] - 1]
    assert notes[1].severity == "warning"
    assert f"lost or one too many after {before:.3f} s (turn 21)" in notes[1].message
    assert f"0.001 to {before:.3f} s" in notes[1].message


def test_an_extra_edge_never_shifts_the_angle() -> None:
    # In the middle of the gap, where there is room for a tooth.
    gap = int(np.argmax(np.diff(WHEEL[19 * 58 : 20 * 58]))) + 19 * 58
    extra = (WHEEL[gap] + WHEEL[gap + 1]) / 2
    found, notes = tacho.of_edges(np.sort(np.append(WHEEL, extra)), Stated(teeth="60-2"))
    assert np.abs(turn_errors(found, 58, idle)).max() < 1e-9
    assert found.edge_times[0] == WHEEL[gap + 1]  # the longer part lies after it
    assert notes[1].severity == "warning"


def test_a_drop_out_is_named_and_never_bridged() -> None:
    values = switch(idle(TIME), 60, (58, 59)) + noise(0.01)
    values[(TIME > 1) & (TIME < 1.02)] = 0
    found, notes = tacho.of_signal(TIME, values, Stated(teeth="60-2"))
    assert found.edge_times[0] == pytest.approx(1.02, abs=0.0025)
    assert np.abs(turn_errors(found, 58, idle)).max() < 1e-3
    assert any("after 0.99" in note.message and note.severity == "warning" for note in notes)


def test_missing_samples_make_no_edge_by_guess() -> None:
    values = switch(idle(TIME), 60, (58, 59))
    values[30_000:30_009] = np.nan  # 0.45 ms, half a tooth: one edge at least
    found, _ = tacho.of_signal(TIME, values, Stated(teeth="60-2"))
    true = np.sort(np.concatenate([passages(slope, 60, idle) for slope in ("falling", "rising")]))
    assert np.abs(errors_in_samples(found, true)).max() < WITHIN
    assert np.abs(turn_errors(found, 58, idle)).max() < 1e-3


def test_changes_of_level_with_bounces_and_rows_of_another_channel() -> None:
    falling = passages("falling", 36, idle)[3:]
    rising = falling - 0.4e-3 - 2e-4 * np.random.default_rng(3).random(len(falling))
    bounce = rising[100:103] + 2e-5
    times = np.concatenate([falling, rising, bounce, bounce + 1e-5])
    level = np.repeat([0.0, 1.0, 0.0, 1.0], [len(falling), len(rising), 3, 3])
    order = np.argsort(times)
    # A second channel's rows repeat this one's level.
    times, level = np.repeat(times[order], 2), np.repeat(level[order], 2)
    times[1::2] += 1e-6
    found, notes = tacho.of_levels(times, level, Stated(teeth="36"))
    assert slope_of(notes) == "falling"  # the rising ones were made uneven
    assert_allclose(found.edge_times, falling, rtol=0, atol=1e-12)
    assert "3 glitches" in notes[1].message


@pytest.mark.parametrize(
    ("stated", "says"),
    [
        (Stated(), r"not stated: it looks like 60-2; if so give teeth 60-2 .*pulley_ratio"),
        (Stated(teeth="58"), r"not those of 58 teeth: they look like 60-2; if so give"),
        (Stated(teeth="36-1"), r"not those of 36-1 teeth: they look like 60-2"),
        (Stated(teeth="60-2", poles=12), "both teeth and an alternator"),
        (Stated(poles=12), "needs both poles and pulley_ratio"),
        (Stated(pulley_ratio=2.2), "needs both poles and pulley_ratio"),
        (Stated(teeth="sixty"), r"teeth is 'sixty'; write their number"),
        (Stated(teeth="0"), "no wheel"),
        (Stated(teeth="4-3"), "no wheel"),
    ],
)
def test_says_what_to_state(stated: Stated, says: str) -> None:
    with pytest.raises(ReadError, match=says):
        tacho.of_edges(WHEEL, stated)


def test_says_that_there_are_no_gaps() -> None:
    with pytest.raises(ReadError, match="come evenly, without the gaps of 60-2 teeth"):
        tacho.of_edges(EDGES, Stated(teeth="60-2"))


def test_unevenly_set_marks_are_not_taken_for_glitches() -> None:
    edges = np.sort(np.concatenate([times_at(np.arange(1, 40) + off, idle) for off in (0, 0.3)]))
    with pytest.raises(ReadError, match=r"pass as 2 teeth for .* steps .* check teeth"):
        tacho.of_edges(edges, Stated(teeth="2"))


def test_warns_of_a_speed_no_engine_has() -> None:
    _, notes = tacho.of_edges(EDGES, Stated(teeth="1"))
    assert notes[0].severity == "warning"
    assert rpm_in(notes) == pytest.approx(54_000, rel=1e-3)
    assert "hardly an engine's speed; check teeth" in notes[0].message


@pytest.mark.parametrize(
    ("edges", "says"),
    [
        ([0.1, 0.2, 0.2, 0.3], r"0\.2 s \(number 3\) comes twice"),
        ([0.1, 0.3, 0.2, 0.4], r"0\.2 s \(number 3\) lies before"),
        ([0.1, np.nan, 0.2, 0.4], "not all numbers"),
        ([0.1, 0.2], "no more than 2 edges"),
        ([], "no more than 2 edges"),
    ],
)
def test_edge_times_that_cannot_be(edges: list[float], says: str) -> None:
    with pytest.raises(ReadError, match=says):
        tacho.of_edges(np.array(edges), Stated(teeth="1"))


def test_what_hardly_changes_is_no_pulse_train() -> None:
    """A switch thrown once, a counter of seconds: a column of a table that is no tacho."""
    for values in (np.repeat([0.0, 1.0], 600), np.repeat(np.arange(12.0), 100), np.ones(1200)):
        assert not tacho.is_pulse_train(values)


def test_signals_that_cannot_be() -> None:
    wanted = Stated(teeth="1")
    with pytest.raises(ReadError, match="does not change"):
        tacho.of_signal(TIME, np.ones(TIME.size), wanted)
    with pytest.raises(ReadError, match="fewer than 4 values"):
        tacho.of_signal(TIME, np.full(TIME.size, np.nan), wanted)
    with pytest.raises(ReadError, match="times do not rise"):
        tacho.of_signal(TIME[::-1], idle(TIME) % 1, wanted)
    with pytest.raises(ReadError, match="holds 3 different values"):
        tacho.of_levels(np.arange(6.0), np.array([0, 1, 2, 0, 1, 2.0]), wanted)
    with pytest.raises(ReadError, match=r"turns on end at most|look like"):
        tacho.of_signal(TIME, noise(1), Stated(teeth="60-2"))


@pytest.mark.parametrize("seed", range(40))
def test_any_numbers_give_a_result_or_a_read_error(seed: int) -> None:
    rng = np.random.default_rng(seed)
    size = int(rng.choice([0, 1, 2, 3, 5, 9, 17, 100, 2000]))
    time = np.sort(rng.random(size)) if seed % 3 else np.arange(size) / 1000
    choices: list[NDArray[np.float64]] = [
        rng.standard_normal(size),
        np.round(rng.random(size)),
        np.where(rng.random(size) < 0.1, 1e300, rng.random(size)),
        rng.standard_normal(size) * 1e-310,
        np.where(rng.random(size) < 0.3, np.nan, np.sin(np.arange(size))),
        np.where(rng.random(size) < 0.1, -np.inf, np.sign(np.sin(np.arange(size)))),
    ]
    stated = [Stated(teeth=teeth) for teeth in (None, "1", "4-1", "60-2", "36-1-1-1", "")]
    for values in choices:
        assert isinstance(tacho.is_pulse_train(values), bool)
        for wanted in [*stated, Stated(poles=2, pulley_ratio=1.0)]:
            check(lambda v=values, w=wanted: tacho.of_signal(time, v, w))
            check(lambda v=values, w=wanted: tacho.of_levels(time, v, w))
            check(lambda v=values, w=wanted: tacho.of_edges(np.unique(v), w))
            check(lambda w=wanted: tacho.of_edges(time, w))


def check(read: Callable[[], tuple[Tacho, tuple[Note, ...]]]) -> None:
    """See that it gives edges in order and notes, or one plain sentence."""
    refusal = ""
    try:
        found, notes = read()
    except ReadError as error:
        refusal = str(error)
    else:
        assert np.isfinite(found.edge_times).all()
        assert (np.diff(found.edge_times) >= 0).all()
        assert notes
    assert len(refusal) < 400
    assert "\n" not in refusal


@pytest.mark.parametrize(
    "values",
    [
        switch(idle(TIME), 60, (58, 59)),
        (idle(TIME) % 1 < 0.05) * 1.0,
        (idle(TIME) * 4 % 1 < 0.5) * 5.0 + noise(0.05),
        (idle(TIME) * 118 % 1 < 0.5) * 3.3,
        pickup(idle(TIME), 60, (58, 59)) + noise(0.01),
    ],
    ids=["switch", "mark, 0 and 1", "four, noisy", "ring gear", "pickup with gaps"],
)
def test_knows_a_tacho(values: FloatArray) -> None:
    assert tacho.is_pulse_train(values)


def engine_shake(seed: int) -> FloatArray:
    rng = np.random.default_rng(seed)
    orders = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0)
    shake: FloatArray = np.zeros(TIME.size)
    for order in orders:
        phase = 2 * np.pi * order * idle(TIME) + rng.uniform(0, 2 * np.pi)
        shake += rng.exponential() * np.sin(phase)
    return shake + 0.1 * rng.standard_normal(TIME.size)


@pytest.mark.parametrize("seed", range(6))
def test_knows_a_vibration(seed: int) -> None:
    shake = engine_shake(seed)
    deviation = float(np.std(shake))
    assert not tacho.is_pulse_train(shake)
    for part in (1.0, 0.3, 0.05):  # clipped, more and more
        assert not tacho.is_pulse_train(np.clip(shake, -part * deviation, part * deviation))
    for count in (2.0, 1.0, 0.5):  # coarse counts
        assert not tacho.is_pulse_train(np.round(shake / (count * deviation)))
    every = shake[::40]  # a phone's 500 Hz
    assert not tacho.is_pulse_train(every)
    assert not tacho.is_pulse_train(np.round(every / deviation) * 0.061 + 9.8)


@pytest.mark.parametrize(
    "values",
    [
        np.zeros(1000),
        np.full(1000, np.nan),
        TIME,
        np.arange(1000.0),
        np.sin(2 * np.pi * 30 * TIME),
        np.array([0.0, 1.0]),
        np.zeros(0),
    ],
    ids=["constant", "missing", "time", "rows", "pure tone", "two samples", "empty"],
)
def test_knows_what_is_neither(values: FloatArray) -> None:
    assert not tacho.is_pulse_train(values)


@real
def test_real_wheel_36_2_1_by_its_levels() -> None:
    """1419.4 rpm over 30 turns, 1402 to 1436: README beside the recordings."""
    rows = np.loadtxt(REAL / "crank_teeth_36-2-1.csv", delimiter=",", skiprows=1)
    found, notes = tacho.of_levels(rows[:, 0], rows[:, 1], Stated(teeth="36-2-1"))
    assert (found.teeth_per_turn, found.missing_teeth) == (36, (2, 1))
    assert slope_of(notes) == "falling"
    edges = found.edge_times
    # Turns from the long gap to the long gap.
    gap = int(np.argmax(np.diff(edges[:33]))) + 1
    starts = edges[gap::33]
    each = 60 / np.diff(starts)
    assert len(each) == 30
    assert 60 * 30 / (starts[-1] - starts[0]) == pytest.approx(1419.4, abs=0.06)  # digits given
    assert (round(each.min()), round(each.max())) == (1402, 1436)
    with pytest.raises(ReadError, match="looks like 36-2-1"):
        tacho.of_levels(rows[:, 0], rows[:, 1], Stated())
    with pytest.raises(ReadError, match="come evenly"):  # the camshaft's channel
        tacho.of_levels(rows[:, 0], rows[:, 2], Stated(teeth="36-2-1"))


def encoder(name: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    with zipfile.ZipFile(REAL / name) as archive:
        text = archive.read(archive.namelist()[0])
    time, volts, pressure = np.loadtxt(io.BytesIO(text)).T
    return time, volts, pressure


@real
def test_real_wheel_60_2_whose_weak_tooth_stays_below_half_way() -> None:
    """Encoder: 3172.2 rpm: README beside the recordings."""
    time, volts, pressure = encoder("genset_noload.txt.zip")
    found, notes = tacho.of_signal(time, volts, Stated(teeth="60-2"))
    assert len(notes) == 1
    assert len(found.edge_times) > 58 * 26
    edges = found.edge_times
    # The README does not say which turns of the half second; 24 of them from one tooth or
    # another come to 3171.8 to 3173.3.
    assert 60 * 26 / (edges[26 * 58] - edges[0]) == pytest.approx(3172.2, abs=0.75)
    assert tacho.is_pulse_train(volts)
    assert not tacho.is_pulse_train(pressure)
    assert not tacho.is_pulse_train(time)
    with pytest.raises(ReadError, match="looks like 60-2"):
        tacho.of_signal(time, volts, Stated())


@real
def test_real_coast_down() -> None:
    """Encoder: 47.9 falling to 36.0 revolutions a second: README beside the recordings."""
    time, volts, _ = encoder("genset_coastdown.txt.zip")
    found, notes = tacho.of_signal(time, volts, Stated(teeth="60-2"))
    edges = found.edge_times
    speed = 1 / (edges[58:] - edges[:-58])
    assert speed[0] == pytest.approx(47.9, abs=0.05)
    # Compression slows and frees it by 1 % within the last turn, whose end decides.
    assert speed[-1] == pytest.approx(36.0, rel=0.01)
    assert len(notes) == 1
    assert tacho.is_pulse_train(volts)
