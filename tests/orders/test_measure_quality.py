"""What must be said about a recording is said, and nothing else."""

from dataclasses import replace

import numpy as np
import pytest
from invented_recordings import MILD, STEADY, WANDER, Made, Running, World, made, rows

from vibetrend.orders import Measurement, measure
from vibetrend.recording import FloatArray, Note, Recording

GOOD = World(cn0_db=45, running=MILD)


def said(measured: Measurement) -> dict[str, str]:
    return {note.code: note.severity for note in measured.quality}


def doubts(measured: Measurement) -> dict[str, str]:
    return {code: severity for code, severity in said(measured).items() if severity != "note"}


def quiet_from(truth: Made, share: float) -> Recording:
    """Return the recording with the engine stopped after that share of it."""
    samples = np.array(truth.recording.samples)
    start = int(share * len(samples))
    rest = samples[start:].shape
    noise = truth.noise * np.random.default_rng(130).standard_normal(rest)
    samples[start:] = noise + samples.mean(axis=0)
    return Recording(samples, times=truth.recording.times, rpm=truth.recording.rpm)


@pytest.mark.parametrize("running", [STEADY, MILD, WANDER])
@pytest.mark.parametrize("cn0_db", [35.0, 45.0])
def test_a_good_recording_raises_no_doubt(running: Running, cn0_db: float) -> None:
    measured = measure(made(World(cn0_db=cn0_db, running=running), 131).recording)
    assert doubts(measured) == {}
    assert not measured.unusable
    assert all(np.isfinite(measured.orders["amplitude"]))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("axes", [1, 3])
def test_noise_alone_is_no_running_engine(seed: int, axes: int) -> None:
    noise = np.random.default_rng([132, seed]).standard_normal((12_000, axes))
    measured = measure(Recording(noise, sample_rate=400, rpm=1000))
    assert doubts(measured) == {"engine-not-running": "unusable"}
    assert measured.unusable


def test_an_order_lost_in_noise_is_not_visible_and_says_why() -> None:
    """With no engine at all 1 order in 10000 is visible by chance."""
    noise = np.random.default_rng(133).standard_normal((12_000, 3))
    table = measure(Recording(noise, sample_rate=400, rpm=1000)).orders
    shown = table[table["order"] * 1000 * 1.09 / 60 < 200]
    assert not shown["visible"].any()
    assert set(shown["reason"]) == {"cannot be told from the noise level"}
    # floor: noise of variance 1 on three axes has an rms amplitude of sqrt(3 * 2 / 12000 / ... )
    assert shown["floor"].median() == pytest.approx(np.sqrt(3 * 2 / 12_000), rel=0.05)


def test_orders_above_half_the_rate_say_so() -> None:
    """100 Hz are order 5.9 of 1017 rpm; beyond, an order is told apart and right, or not shown."""
    truth = made(replace(GOOD, rate=200.0), 134)
    measured = measure(truth.recording)
    above = {order: row for order, row in rows(measured).items() if order > 5.9}
    assert all(row["folded_hz"] < 100 for row in above.values())
    hidden = [row["reason"] for row in above.values() if not row["visible"]]
    assert hidden
    assert all("half the samp" in reason or "cannot be told" in reason for reason in hidden)
    for order, row in above.items():
        if row["visible"]:
            assert row["amplitude"] == pytest.approx(
                truth.rms[order], abs=4 * row["standard_error"]
            )
    assert rows(measured)[3.0]["reason"] is None
    assert said(measured)["rate-too-low"] == "note"


@pytest.mark.parametrize("drift", [-0.2, -0.1, 0.2])
def test_a_speed_that_falls_or_rises_is_not_steady(drift: float) -> None:
    world = World(cn0_db=45, running=Running(drift=drift), seconds=20)
    measured = measure(made(world, 135).recording)
    assert doubts(measured) == {"speed-not-steady": "unusable"}


def test_a_speed_that_hunts_a_lot_is_warned_of() -> None:
    """2.5 % peak has a standard deviation of 1.8 %."""
    measured = measure(made(World(cn0_db=45, running=Running(hunting=0.025)), 136).recording)
    assert doubts(measured) == {"speed-not-steady": "warning"}
    assert measured.speed.spread_percent == pytest.approx(2.5 / np.sqrt(2), rel=0.1)


@pytest.mark.parametrize(("share", "cn0_db"), [(0.5, 35.0), (0.8, 55.0)])
def test_an_engine_that_stops_on_the_way_is_unusable(share: float, cn0_db: float) -> None:
    truth = made(World(cn0_db=cn0_db, running=MILD, seconds=15), 137)
    assert doubts(measure(quiet_from(truth, share))) == {"speed-not-steady": "unusable"}


@pytest.mark.parametrize("off", [0.08, -0.08])
def test_a_tag_8_percent_off_is_contradicted(off: float) -> None:
    truth = made(replace(GOOD, tag_rpm=1017 * (1 + off)), 138)
    measured = measure(truth.recording)
    assert doubts(measured) == {"tag-contradicted": "warning"}
    assert measured.speed.rpm == pytest.approx(truth.rpm, rel=2e-5)
    message = next(note.message for note in measured.quality if note.code == "tag-contradicted")
    assert "1017 rpm" in message
    assert f"{truth.recording.rpm:.0f} rpm" in message


def test_a_tag_5_percent_off_is_not_held_against_it() -> None:
    assert doubts(measure(made(replace(GOOD, tag_rpm=1067), 139).recording)) == {}


@pytest.mark.parametrize("seconds", [1.0, 2.0, 5.0])
def test_a_short_recording_is_measured_with_a_warning(seconds: float) -> None:
    truth = made(World(cn0_db=55, seconds=seconds), 140)
    measured = measure(truth.recording)
    few = truth.rpm / 60 * seconds < 30  # turns: too few to show a steady engine
    assert doubts(measured) == {"too-short": "unusable" if few else "warning"}
    assert measured.speed.rpm == pytest.approx(truth.rpm, abs=6 * truth.rpm_bound)


def test_what_the_reader_noted_is_kept() -> None:
    truth = made(World(seconds=10), 141)
    remark = Note("processed-sound", "warning", "the recorder lists an automatic gain")
    samples, times = truth.recording.samples, truth.recording.times
    recording = Recording(samples, times=times, rpm=truth.recording.rpm, notes=[remark])
    assert measure(recording).quality[0] == remark


def test_checks_of_the_samples_are_among_the_doubts() -> None:
    truth = made(GOOD, 142)
    samples: FloatArray = np.minimum(np.asarray(truth.recording.samples), 10.5)
    recording = Recording(samples, times=truth.recording.times, rpm=truth.recording.rpm)
    assert doubts(measure(recording))["clipped"] == "unusable"


def test_the_track_follows_the_true_speed() -> None:
    truth = made(World(cn0_db=45, running=WANDER), 143)
    track = measure(truth.recording).speed.track
    assert list(track.columns) == ["time_s", "rpm"]
    assert track["time_s"].between(0, 30).all()
    # 1 % at 0.3 Hz and 0.5 % of drift: sd 0.72 %; cycle noise below a knot is not followed
    assert 100 * track["rpm"].std() / track["rpm"].mean() == pytest.approx(0.72, abs=0.06)
    assert track["rpm"].mean() == pytest.approx(truth.rpm, rel=2e-4)


def test_without_an_engine_the_speed_is_only_the_stated_one() -> None:
    noise = np.random.default_rng(171).standard_normal((8000, 3))
    measured = measure(Recording(noise, sample_rate=400, rpm=1000))
    assert (measured.speed.method, measured.speed.rpm) == ("tag", 1000)
    assert np.isnan(measured.speed.standard_error_rpm)
    assert not measured.orders["visible"].any()
    assert measured.orders["reason"].notna().all()
