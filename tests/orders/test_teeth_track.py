"""The crank angle from edge times whose truth is a closed form."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.interpolate import make_smoothing_spline

from vibetrend.errors import MeasureError
from vibetrend.orders.teeth_track import edges_of, tacho_track
from vibetrend.recording import FloatArray, Tacho

HUNTING_HZ = 0.3


@dataclass(frozen=True, kw_only=True)
class Toothed:
    """An engine seen by a tacho, whose speed is known in closed form."""

    teeth: float = 60.0
    gaps: tuple[tuple[int, int], ...] = ((58, 2),)  # first missing tooth, how many
    hz: float = 17.0
    seconds: float = 10.0
    hunting: float = 0.01  # peak, share of the speed
    jitter_s: float = 2e-6  # of each edge's time, standard deviation
    rms: Mapping[float, float] | None = None  # rad/s, of each order of the speed's fluctuation
    spacing: float = 0.0  # standard deviation of a tooth's place, turns
    displaced: float = 0.0  # of the teeth beside a gap, turns

    def even(self, time: FloatArray) -> FloatArray:
        """Return the angle without fluctuation within the cycle, turns."""
        swing = 2 * math.pi * HUNTING_HZ
        turns: FloatArray = self.hz * (time + self.hunting / swing * np.sin(swing * time))
        return turns

    def angle(self, time: FloatArray) -> FloatArray:
        """Return the crank's angle, turns."""
        even = self.even(time)
        turns = even.copy()
        for number, (order, rms) in enumerate((self.rms or {}).items()):
            peak = math.sqrt(2) * rms / (2 * math.pi * self.hz) / (2 * math.pi * order)
            turns += peak * np.sin(2 * math.pi * order * even + 1.3 * number)
        return turns

    def tacho(self, seed: int) -> Tacho:
        rng = np.random.default_rng(seed)
        last = self.angle(np.array([self.seconds]))[0]
        missing: tuple[int, ...] = tuple(count for _, count in self.gaps)
        if float(self.teeth).is_integer():
            count = int(self.teeth)
            place = np.arange(count) / count + self.spacing * rng.standard_normal(count)
            keep = np.ones(count, dtype=bool)
            for first, wide in self.gaps:
                keep[first : first + wide] = False
                place[first - 1] -= 0.6 * self.displaced
                place[(first + wide) % count] += self.displaced
            targets = (np.arange(int(last) + 1)[:, np.newaxis] + place[keep]).ravel()
        else:
            targets = np.arange(int(last * self.teeth) + 1) / self.teeth
        targets = targets[(targets > rng.uniform(0.05, 1.0)) & (targets < last)]
        fine = np.linspace(0, self.seconds, int(self.seconds * self.hz * 100))
        times = np.interp(targets, self.angle(fine), fine)
        for _ in range(4):  # Newton; the slope need not be exact
            times += (targets - self.angle(times)) / self.hz
        times += self.jitter_s * rng.standard_normal(times.size)
        return Tacho(times, self.teeth, missing if len(missing) != 1 else missing[0])


WHEELS = {
    "60-2": Toothed(spacing=2e-4, displaced=0.005),
    "36-2-1": Toothed(teeth=36, gaps=((15, 2), (30, 1)), spacing=2e-4),
    "a mark": Toothed(teeth=1, gaps=(), jitter_s=2e-5),
    "two uneven marks": Toothed(teeth=2, gaps=(), jitter_s=2e-5, spacing=0.02),
    "geared": Toothed(teeth=13.2, gaps=(), jitter_s=2e-5),
    "jittery": Toothed(teeth=24, gaps=(), jitter_s=2e-4),
}


@pytest.mark.parametrize("name", WHEELS)
def test_angle_at_any_time(name: str) -> None:
    """Within the jitter of one edge, rms, though the speed hunts by 1 %."""
    wheel = WHEELS[name]
    tacho = wheel.tacho(1)
    track = tacho_track(tacho)
    first, last = tacho.edge_times[[0, -1]]
    time = np.linspace(first, last, 2001)
    error = track.turns(time) - wheel.even(time)
    assert np.std(error) < wheel.jitter_s * wheel.hz
    assert track.jitter_s == pytest.approx(wheel.jitter_s, rel=0.35 if wheel.teeth < 10 else 0.1)


def test_smoothing_is_that_of_the_cubic_smoothing_spline() -> None:
    """scipy.interpolate.make_smoothing_spline as second route, at the same smoothness."""
    tacho = WHEELS["geared"].tacho(2)
    track = tacho_track(tacho)
    step = np.diff(tacho.edge_times).mean()
    lam = step**3 / track._walk.ratio
    angle = np.arange(len(tacho.edge_times)) / 13.2
    spline = make_smoothing_spline(tacho.edge_times, angle, lam=lam)
    time = np.linspace(*tacho.edge_times[[0, -1]], 999)
    assert_allclose(track.turns(time), spline(time), rtol=0, atol=1e-8)  # rounding


@pytest.mark.parametrize("name", WHEELS)
def test_standard_error_of_the_mean_speed(name: str) -> None:
    """Mean square of error over standard error: 1, with deviation sqrt(2 / 30) = 0.26."""
    wheel = WHEELS[name]
    z = []
    for seed in range(30):
        tacho = Toothed(**{**vars(wheel), "seconds": 3.0}).tacho(seed)
        track = tacho_track(tacho)
        ends = tacho.edge_times[[0, -1]]
        true = float(np.diff(wheel.even(ends))[0] / np.diff(ends)[0])
        z.append((track.mean_hz() - true) / track.standard_error_hz())
    assert 0.3 < np.mean(np.square(z)) < 2.1  # 3 and 4 deviations


def test_speed_between_any_two_times() -> None:
    wheel = WHEELS["60-2"]
    track = tacho_track(wheel.tacho(3))
    ends = np.array([2.0037, 4.5112])
    true = float(np.diff(wheel.even(ends))[0] / 2.5075)
    error = track.standard_error_hz(*ends)
    assert track.mean_hz(*ends) == pytest.approx(true, abs=4 * error)
    assert error < 1e-5 * true


def test_track_and_spread_follow_the_hunting() -> None:
    wheel = WHEELS["36-2-1"]
    track = tacho_track(wheel.tacho(4))
    table = track.track()
    assert_allclose(np.diff(table["time_s"])[1:-1], 0.1, rtol=0.02)
    time = table["time_s"].to_numpy()
    speed = 60 * wheel.hz * (1 + wheel.hunting * np.cos(2 * np.pi * HUNTING_HZ * time))
    assert_allclose(table["rpm"], speed, rtol=1e-4)  # what averaging over a cycle leaves
    # 3 whole cycles of hunting; quarter seconds average it down by 1 %
    assert track.spread_percent() == pytest.approx(100 * wheel.hunting / math.sqrt(2), rel=0.03)


def test_half_orders_stay_and_what_every_turn_repeats_goes() -> None:
    wheel = Toothed(rms={0.5: 0.2, 1.0: 0.2, 2.0: 0.2})
    track = tacho_track(wheel.tacho(5))
    time = np.linspace(0.3, 9.5, 4001)
    half = Toothed(rms={0.5: 0.2})
    error = track.turns(time) - half.angle(time)
    assert np.std(error) < wheel.jitter_s * wheel.hz


@pytest.mark.parametrize(("name", "after"), [("60-2", 0), ("36-2-1", 17)])
def test_turns_are_whole_after_the_widest_gap(name: str, after: int) -> None:
    wheel = WHEELS[name]
    tacho = wheel.tacho(6)
    turns = edges_of(tacho).turns
    steps = np.diff(turns) * wheel.teeth
    assert set(np.rint(steps[:200])) == ({1, 3} if name == "60-2" else {1, 2, 3})
    assert_allclose((turns[1:][np.rint(steps) == 3] + 0.5) % 1, 0.5, atol=1e-9)
    true = wheel.even(tacho.edge_times) - after / wheel.teeth
    assert_allclose((turns - true + 0.5) % 1, 0.5, atol=0.006)  # as far as teeth are displaced


def test_too_little_to_go_by() -> None:
    with pytest.raises(MeasureError, match=r"holds 4 edges at 1 a turn, too few .* record longer"):
        tacho_track(Tacho(np.arange(4) / 17, 1.0))
    with pytest.raises(MeasureError, match=r"holds 80 edges at 58 a turn, too few"):
        tacho_track(Tacho(np.arange(80) / 1000, 60.0, 2))
    with pytest.raises(MeasureError, match="do not rise"):
        tacho_track(Tacho(np.array([0.0, 1, 2, 2, 3, 4, 5]), 1.0))
