"""Invented recordings of an engine whose truth is known, made without the project's simulator.

The angle of the crank is a closed form plus straight lines between engine cycles, so that speed
and amplitudes are known to rounding. CN0 is the ratio (A^2 / 2) / one-sided noise density of the
firing order on its loudest axis, in dB-Hz.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibetrend.orders import Measurement
from vibetrend.recording import FloatArray, Kind, Recording

HALF_ORDERS = np.arange(1, 25) / 2
FIRING = 3.0
HUNTING_HZ = 0.3
_CYCLE_TURNS = 2.0


@dataclass(frozen=True)
class Running:
    """How unsteadily the engine runs, shares of the mean speed."""

    hunting: float = 0.0  # peak, at 0.3 Hz
    drift: float = 0.0  # from beginning to end
    cycle_noise: float = 0.0  # standard deviation from engine cycle to engine cycle


STEADY = Running()
MILD = Running(0.002, 0.002, 0.0005)
WANDER = Running(0.01, 0.005, 0.001)


@dataclass(frozen=True)
class World:
    """What a recording is drawn from."""

    running: Running = STEADY
    cn0_db: float = 45.0
    rpm: float = 1017.0
    seconds: float = 30.0
    rate: float = 400.0
    jitter: float = 0.1  # standard deviation, share of a sampling interval; 0: sample_rate only
    stamp_s: float = 0.0  # stamps are rounded to whole multiples of this
    gaps_s: tuple[tuple[float, float], ...] = ()  # from, to: nothing was stored
    axes: int = 3
    kind: Kind = "acceleration"
    levels_db: tuple[float, float] = (6.0, 36.0)  # how far other orders lie below the firing order
    belts: tuple[float, ...] = (1.9013, 2.3718)  # orders of driven lines
    belts_db: tuple[float, float] = (6.0, 20.0)  # how far they lie below the firing order
    mains_hz: float = 50.0  # 10 to 25 dB below; 0 for none
    tag_error: float = 0.03  # the tag is off by up to this share
    tag_rpm: float | None = None
    breathing: float = 0.0  # standard deviation of every amplitude, share, over about 1 s
    drops: float = 0.0  # share of samples never stored


@dataclass(frozen=True, eq=False)
class Made:
    """A recording and what is true of it."""

    recording: Recording
    rpm: float  # mean between first and last sample
    rms: dict[float, float]  # of each order, all axes together
    peak: FloatArray  # (orders, axes) 0-to-peak
    noise: float  # standard deviation of the white noise on each axis
    count: int  # samples on each axis
    times: FloatArray  # of the samples, before stamps are rounded
    turns: FloatArray  # the crank's angle then

    @property
    def rms_bound(self) -> float:
        """Least standard deviation of an rms amplitude, all axes together.

        A 0-to-peak amplitude has the variance 2 noise^2 / n at least (Kay, Fundamentals of
        Statistical Signal Processing: Estimation Theory, ex. 3.14); rms is that over 2.
        """
        return self.noise / math.sqrt(self.count)

    @property
    def rpm_bound(self) -> float:
        """Least standard deviation of a constant speed, rpm.

        Rife & Boorstyn, IEEE Trans. IT-20 (1974), one tone; the information of independent tones
        at k f adds up, each k^2 times: var f = 12 / ((2 pi)^2 sum_k k^2 eta_k n T^2).
        """
        eta = np.sum(HALF_ORDERS[:, np.newaxis] ** 2 * self.peak**2) / (2 * self.noise**2)
        duration = self.recording.duration_s
        return float(60 * math.sqrt(12 / ((2 * math.pi) ** 2 * eta * self.count * duration**2)))


def rows(measured: Measurement) -> dict[float, dict[str, Any]]:
    """Return the table of orders as one mapping for each order."""
    return {row["order"]: row for row in measured.to_dict()["orders"]}


def made(world: World, seed: int) -> Made:
    """Draw one recording."""
    rng = np.random.default_rng(seed)
    times = _times(world, rng)
    turns = turned(times, world, rng)
    firing_peak = 1.0
    density = firing_peak**2 / 2 / 10 ** (world.cn0_db / 10)
    noise = math.sqrt(density * world.rate / 2)

    below_db = np.where(HALF_ORDERS == FIRING, 0.0, rng.uniform(*world.levels_db, HALF_ORDERS.size))
    way = np.abs(rng.normal(size=(HALF_ORDERS.size, world.axes)))
    way /= way.max(axis=1, keepdims=True)
    peak = firing_peak * 10 ** (-below_db / 20)[:, np.newaxis] * way
    samples = rng.normal(0, noise, (times.size, world.axes))
    for order, sizes in zip(HALF_ORDERS, peak, strict=True):
        breathing = _breathing(world, times, rng)
        samples += _wave(order * turns, sizes, rng) * breathing[:, np.newaxis]
        sizes *= breathing.mean()  # coherent over the recording: what is asked for
    for ratio in world.belts:
        size = firing_peak * 10 ** (-rng.uniform(*world.belts_db, world.axes) / 20)
        samples += _wave(ratio * turns, size, rng)
    if world.mains_hz:
        size = firing_peak * 10 ** (-rng.uniform(10, 25, world.axes) / 20)
        samples += _wave(world.mains_hz * times, size, rng)
    if world.kind == "acceleration":
        samples[:, -1] += 9.81
    tag = world.tag_rpm or world.rpm * (1 + world.tag_error * rng.uniform(-1, 1))
    return Made(
        recording=_recording(world, times, samples, tag),
        rpm=float(60 * (turns[-1] - turns[0]) / (times[-1] - times[0])),
        rms=dict(zip(HALF_ORDERS.tolist(), np.sqrt((peak**2).sum(axis=1) / 2), strict=True)),
        peak=peak,
        noise=noise,
        count=times.size,
        times=times,
        turns=turns,
    )


def turned(times: FloatArray, world: World, rng: np.random.Generator) -> FloatArray:
    """Return the crank's angle at each time, turns."""
    running, seconds, hertz = world.running, world.seconds, world.rpm / 60
    swing = 2 * math.pi * HUNTING_HZ
    phase = rng.uniform(0, 2 * math.pi)
    early = running.hunting / swing * (np.sin(swing * times + phase) - math.sin(phase))
    early += running.drift * (times**2 / (2 * seconds) - times / 2)
    cycle_s = _CYCLE_TURNS / hertz
    edges = cycle_s * np.arange(math.ceil(seconds / cycle_s) + 2)
    steps = running.cycle_noise * cycle_s * rng.standard_normal(edges.size - 1)
    early += np.interp(times, edges, np.concatenate([[0.0], np.cumsum(steps)]))
    turns: FloatArray = hertz * (times + early)
    return turns


def _times(world: World, rng: np.random.Generator) -> FloatArray:
    count = round(world.seconds * world.rate)
    # No sample overtakes the one before.
    off = np.clip(world.jitter * rng.standard_normal(count), -0.49, 0.49)
    times: FloatArray = (np.arange(count) + off) / world.rate
    for start, end in world.gaps_s:
        times = times[(times < start) | (times >= end)]
    if world.drops:
        times = times[rng.random(times.size) >= world.drops]
    return times


def _breathing(world: World, times: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return the factor on one order at each sample, about 1, drawn anew each second."""
    if not world.breathing:
        return np.ones(times.size)
    knots = 1 + world.breathing * rng.standard_normal(math.ceil(world.seconds) + 2)
    factor: FloatArray = np.interp(times, np.arange(knots.size) - 1.0, knots)
    return factor


def _wave(turns: FloatArray, sizes: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return sizes cos(2 pi turns + a phase of each axis' own), shape (n, axes)."""
    starts = rng.uniform(0, 2 * math.pi, sizes.size)
    angle = 2 * math.pi * turns
    wave: FloatArray = np.outer(np.cos(angle), sizes * np.cos(starts))
    wave -= np.outer(np.sin(angle), sizes * np.sin(starts))
    return wave


def _recording(world: World, times: FloatArray, samples: FloatArray, tag: float) -> Recording:
    if not world.jitter and not world.stamp_s and not world.gaps_s:
        return Recording(samples, sample_rate=world.rate, kind=world.kind, rpm=tag)
    stamps = np.round(times / world.stamp_s) * world.stamp_s if world.stamp_s else times
    return Recording(samples, times=stamps, kind=world.kind, rpm=tag)
