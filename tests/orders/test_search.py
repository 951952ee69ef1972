"""The coarse search finds the speed, whatever the tag says within its reach."""

import numpy as np
import pytest
from invented_recordings import FIRING, HALF_ORDERS, MILD, WANDER, World, made

from vibetrend.orders.search import REACH, Candidate, candidates
from vibetrend.orders.signal import prepare
from vibetrend.recording import Recording


def found(recording: Recording, tag_hz: float) -> list[Candidate]:
    signal = prepare(recording, top_hz=12 * (1 + REACH) * tag_hz)
    return candidates(signal, tag_hz=tag_hz, orders=HALF_ORDERS, driven=np.zeros(0))


def nearest(tracks: list[Candidate], hertz: float) -> float:
    return min(abs(float(np.mean(track.hertz)) / hertz - 1) for track in tracks)


@pytest.mark.parametrize("off", [-0.05, -0.025, 0.0, 0.025, 0.05])
def test_finds_the_speed_with_the_tag_off(off: float) -> None:
    """Half a cycle of order 12 over a block of 20 turns is 0.2 %: what a start must be good to."""
    truth = made(World(cn0_db=35, running=MILD), 60)
    tracks = found(truth.recording, truth.rpm / 60 * (1 + off))
    assert nearest(tracks, truth.rpm / 60) < 0.002


def test_follows_a_hunting_engine() -> None:
    world = World(cn0_db=45, running=WANDER, belts=(), mains_hz=0.0)
    truth = made(world, 61)
    tracks = [t for t in found(truth.recording, truth.rpm / 60) if not t.steady]
    # 1 % of hunting has a standard deviation of 0.7 %
    spread = min(tracks, key=lambda t: abs(np.std(t.hertz) / np.mean(t.hertz) - 0.0071))
    assert np.std(spread.hertz) / np.mean(spread.hertz) == pytest.approx(0.0071, rel=0.25)


def test_no_order_below_half_the_rate_gives_no_candidate() -> None:
    noise = np.random.default_rng(62).standard_normal(600)
    assert found(Recording(noise, sample_rate=15), 1000 / 60) == []


def test_candidates_differ_from_each_other() -> None:
    truth = made(World(cn0_db=25), 63)
    tracks = found(truth.recording, truth.rpm / 60)
    assert 1 <= len(tracks) <= 6
    wandering = [track for track in tracks if not track.steady]
    for i, one in enumerate(wandering):
        for other in wandering[:i]:
            there = np.interp(one.time, other.time, other.hertz)
            assert np.abs(one.hertz / there - 1).max() > 1e-3


def test_one_strong_foreign_line_does_not_hide_the_engine() -> None:
    """A line 10 dB above the firing order, where a wrong speed would have it as its own."""
    truth = made(World(cn0_db=45, belts=(), mains_hz=0.0), 64)
    samples = np.array(truth.recording.samples)
    times = truth.recording.time_s()
    foreign = FIRING * 1.04 * truth.rpm / 60
    samples += 3.2 * np.cos(2 * np.pi * foreign * times)[:, np.newaxis]
    recording = Recording(samples, times=times)
    assert nearest(found(recording, truth.rpm / 60 * 1.02), truth.rpm / 60) < 0.002
