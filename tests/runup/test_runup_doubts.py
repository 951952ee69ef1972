"""Sweeps that are hard to follow, or are not what was stated: right, or said to be unusable."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented_sweeps import Sweep, swept

import vibetrend as vt
from vibetrend import simulate
from vibetrend.cli.sweep_words import sweep_words
from vibetrend.engine import Engine
from vibetrend.errors import ReadError
from vibetrend.orders import Measurement
from vibetrend.orders.checks import check
from vibetrend.orders.signal import prepare
from vibetrend.recording import Recording
from vibetrend.runup import measure
from vibetrend.runup.evidence import best_of, loses_its_way
from vibetrend.runup.track import track_through

REAL = Path(__file__).parents[2] / "../shared/data/real"
SIX = Engine.of(
    {"name": "main", "cylinders": 6, "firing_order": [1, 5, 3, 6, 2, 4], "rated_rpm": 2600}
)


def said(measured: Measurement, code: str) -> str:
    (note,) = (note for note in measured.quality if note.code == code)
    return f"{note.severity}: {note.message}"


def codes(measured: Measurement) -> set[str]:
    return {note.code for note in measured.quality}


def error_percent(measured: Measurement, time_s: np.ndarray, rpm: np.ndarray) -> float:
    found = measured.speed.track
    truth = np.interp(found["time_s"], time_s, rpm)
    return float(100 * np.sqrt(np.mean((found["rpm"] / truth - 1) ** 2)))


# Much of what is above half the rate folds; what folds once passed for orders of half the speed.
@pytest.mark.parametrize("seed", [3, 5, 8])
@pytest.mark.parametrize(("rate", "limit"), [(400, 0.1), (200, 0.4)])
def test_a_phone_s_sweep_is_right_or_unusable(seed: int, rate: float, limit: float) -> None:
    recording, truth = simulate.sweep(
        SIX, start_rpm=734, end_rpm=2467, seconds=30, rate=rate, seed=seed
    )
    measured = measure(recording, engine=SIX)
    assert measured.unusable or error_percent(measured, truth.time_s, truth.rpm) < limit
    assert not measured.unusable or rate < 400


@pytest.mark.parametrize("seed", [1, 2])
def test_too_few_samples_for_any_speed_are_unusable(seed: int) -> None:
    recording, truth = simulate.sweep(
        SIX, start_rpm=734, end_rpm=2467, seconds=30, rate=60, seed=seed
    )
    measured = measure(recording)
    right = error_percent(measured, truth.time_s, truth.rpm) < 0.5
    assert right or (measured.unusable and measured.runup.empty)
    assert "nothing above 30 Hz can be seen" in said(measured, "rate-too-low")


@pytest.mark.parametrize(
    "tags", [(1.17, 1.0), (1.0, 0.85), (0.85, 1.15), (1.17, None), (1.15, 1.15)]
)
def test_an_end_stated_wrongly_does_not_bend_the_speed(tags: tuple[float, float | None]) -> None:
    made = swept(Sweep(tags=tags, cn0_db=35), 2)
    measured = measure(made.recording)
    assert error_percent(measured, made.time, 60 * made.hertz) < 0.1
    first, last = measured.speed.track["rpm"].min(), measured.speed.track["rpm"].max()
    message = said(measured, "tag-contradicted")
    assert message.startswith("warning")
    if tags[0] != 1.0:
        assert f"begins at {first:.0f} rpm, stated were {tags[0] * 700:.0f}" in message
    if tags[1] not in (1.0, None):
        assert f"ends at {last:.0f} rpm" in message


def test_an_end_far_from_what_was_stated_is_unusable() -> None:
    measured = measure(swept(Sweep(tags=(1.0, 0.7)), 1).recording)
    assert said(measured, "tag-contradicted").startswith("unusable: The sweep ends at 2394 rpm")
    assert measured.runup.empty


def test_a_steady_engine_makes_no_sweep() -> None:
    made = swept(Sweep(start_rpm=1080, end_rpm=1080.5, tags=(0.7, 2.2), manner="run-up"), 1)
    measured = measure(made.recording)
    assert said(measured, "no-sweep").startswith("unusable: The speed hardly changed")
    assert codes(measured) == {"no-sweep"}
    assert "run-up: no sweep that can be measured, see below" in sweep_words(measured)


@pytest.mark.skipif(not REAL.exists(), reason="real recordings lie beside the checkout only")
def test_a_real_engine_that_idles_makes_no_sweep() -> None:
    path = REAL / "phone_v6_idle_start.csv"
    measured = vt.measure(vt.read(path, manner="run-up", rpm=700, end_rpm=1400))
    assert codes(measured) & {"no-sweep", "speed-lost", "engine-not-running"}
    assert measured.unusable
    assert measured.runup.empty


def test_the_part_that_counts_is_told() -> None:
    made = swept(Sweep(there_and_back=True, seconds=40, tags=(1.0, 3.4)), 1)
    measured = measure(made.recording)
    words = sweep_words(measured)
    told = re.search(r"run-up from (\d+) to (\d+) rpm in (\d+) s of 40 s", words)
    assert told
    first, last, seconds = map(float, told.groups())
    top = int(np.argmax(made.hertz))
    assert first == pytest.approx(60 * made.hertz[:top].min(), rel=0.01)
    assert last == pytest.approx(60 * made.hertz[top], rel=0.01)
    assert seconds == pytest.approx(made.time[top], abs=1.5)
    assert f"count: {first:.0f} to " in said(measured, "sweep-both-ways")
    assert "(rms m/s^2)" in " ".join(words.split())


def test_beyond_rated_speed_is_said() -> None:
    recording = swept(Sweep(), 1).recording
    slow = Engine.of({"name": "main", "cylinders": 6, "rated_rpm": 2200})
    assert "beyond the rated 2200 rpm" in said(measure(recording, engine=slow), "past-rated")
    assert "past-rated" not in codes(measure(recording, engine=SIX))


def test_a_fast_coast_down_is_not_told_to_take_longer() -> None:
    fast = Sweep(start_rpm=2400, end_rpm=700, seconds=8)
    assert "switched off takes no longer" in said(measure(swept(fast, 1).recording), "sweep-fast")
    up = replace(fast, start_rpm=700, end_rpm=2400)
    assert "Take 45 s or more" in said(measure(swept(up, 1).recording), "sweep-fast")


def test_sound_that_swells_with_the_speed_is_not_taken_for_wind_or_gain() -> None:
    made = swept(Sweep(kind="sound", rate=4000, axes=1, seconds=20), 1).recording
    swells = np.linspace(0.05, 1.0, made.count)[:, np.newaxis] * np.asarray(made.samples)
    sweep = replace(made, samples=swells / np.abs(swells).max())
    suspected = {"wind", "processed-sound", "speech"}
    as_steady = replace(sweep, manner="steady", end_rpm=None)
    assert {note.code for note in check(as_steady)} & suspected
    assert not {note.code for note in check(sweep)} & suspected


def test_the_track_that_explains_more_is_taken() -> None:
    made = swept(Sweep(rate=400, jitter=0.2, axes=3), 3)
    signal = prepare(made.recording, top_hz=500)
    true = track_through(made.time, made.hertz)
    half, bent = true.scaled(0.5), track_through(made.time, made.hertz * (1 + made.time / 500))
    assert best_of(signal, [half, true, bent]) is true
    assert best_of(signal, [true, half, bent]) is true
    assert not loses_its_way(signal, true)
    middle = (made.time > 10) & (made.time < 16)
    assert loses_its_way(signal, track_through(made.time, made.hertz * (1 + 0.1 * middle)))


def test_a_knock_is_no_loss_of_the_way() -> None:
    made = swept(Sweep(), 3)
    knocked = np.array(made.recording.samples)
    knocked[12_000:12_600] += np.random.default_rng(1).normal(0, 30 * knocked.std(), (600, 2))
    signal = prepare(replace(made.recording, samples=knocked), top_hz=500)
    assert not loses_its_way(signal, track_through(made.time, made.hertz))


def test_a_sweep_must_change_its_speed() -> None:
    samples = np.zeros(100)
    with pytest.raises(ReadError, match=r"run-up from 1080 to 1080 rpm changes nothing; give"):
        Recording(samples, sample_rate=10, manner="run-up", rpm=1080, end_rpm=1080)
    with pytest.raises(ReadError, match=r"rpm is nan; it must be above 0 and finite"):
        Recording(samples, sample_rate=10, rpm=float("nan"))
