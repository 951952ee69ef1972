"""Invented sweeps of an engine's speed whose truth is known, made without the project's simulator.

Every order is a simple oscillator's response on top of a level that rises with speed; speed and
angle are known to rounding. CN0 is (A^2 / 2) / one-sided noise density of the firing order's median
amplitude on its loudest axis, in dB-Hz.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vibetrend.recording import FloatArray, Kind, Manner, Recording, Tacho

HALF_ORDERS = np.arange(1, 25) / 2
FIRING = 3.0
_FINE = 2000.0  # steps a second over which the angle is summed up


@dataclass(frozen=True)
class Resonance:
    """A simple oscillator that orders pass."""

    hertz: float
    damping: float
    share: float = 1.0  # of an order's level that goes through it
    orders: tuple[float, ...] | None = None  # those it shows in; None: all


@dataclass(frozen=True)
class Sweep:
    """What a recording is drawn from."""

    start_rpm: float = 700.0
    end_rpm: float = 2400.0
    seconds: float = 25.0
    hold_s: tuple[float, float] = (0.0, 0.0)  # at the start and at the end
    hunting: float = 0.003  # peak, share, at 0.4 Hz
    cycle_noise: float = 0.0005
    rate: float = 1000.0
    jitter: float = 0.0  # share of a sampling interval; 0: sample_rate only
    axes: int = 2
    kind: Kind = "acceleration"
    cn0_db: float = 45.0
    levels_db: tuple[float, float] = (4.0, 20.0)  # other orders below the firing order
    only: tuple[float, ...] | None = None  # orders that exist
    resonances: tuple[Resonance, ...] = (Resonance(100.0, 0.05),)
    mains_hz: float = 0.0
    mains_db: float = -6.0  # against the firing order's median
    belts: tuple[float, ...] = ()
    tags: tuple[float | None, float | None] = (1.0, 1.0)  # factors on the true ends; None: unsaid
    manner: Manner | None = None
    teeth: int = 0
    there_and_back: bool = False


@dataclass(frozen=True, eq=False)
class Swept:
    """A recording and what is true of it."""

    recording: Recording
    time: FloatArray  # fine
    hertz: FloatArray
    turns: FloatArray
    level: dict[float, NDArray[np.complex128]]  # of each order: 0-to-peak on each axis
    world: Sweep = field(repr=False)
    noise_density: float = 0.0

    def rms(self, order: float, rpm: FloatArray) -> FloatArray:
        """Return the true rms amplitude of an order at speeds, all axes together."""
        size = np.abs(response(self.world, order, rpm / 60))
        return size * float(np.linalg.norm(self.level[order])) / math.sqrt(2)

    def speed_error_percent(self, time_s: FloatArray, rpm: FloatArray) -> float:
        """Return the rms error of a speed track, per cent."""
        truth = 60 * np.interp(time_s, self.time, self.hertz)
        return float(100 * np.sqrt(np.mean((rpm / truth - 1) ** 2)))


def response(world: Sweep, order: float, hertz: FloatArray) -> NDArray[np.complex128]:
    """Return by what an order's level is multiplied at each crank frequency."""
    low = min(world.start_rpm, world.end_rpm) / 60
    value = np.asarray((hertz / low) ** 0.5, complex)
    for each in world.resonances:
        if each.orders is None or order in each.orders:
            ratio = order * hertz / each.hertz
            value = value * (
                1 - each.share + each.share / (1 - ratio**2 + 2j * each.damping * ratio)
            )
    return value


def swept(world: Sweep, seed: int) -> Swept:
    """Draw one recording."""
    rng = np.random.default_rng(seed)
    time = np.arange(0, world.seconds + 0.1, 1 / _FINE)
    hertz = _speed(world, time, rng)
    turns = np.concatenate([[0.0], np.cumsum((hertz[1:] + hertz[:-1]) / 2 / _FINE)])
    count = int(world.seconds * world.rate)
    at = (np.arange(count) + world.jitter * rng.uniform(-0.5, 0.5, count)) / world.rate
    angle, speed = np.interp(at, time, turns), np.interp(at, time, hertz)

    samples = np.zeros((count, world.axes))
    levels: dict[float, NDArray[np.complex128]] = {}
    firing = 1.0
    for order in HALF_ORDERS.tolist():
        size = firing * 10 ** (-rng.uniform(*world.levels_db) / 20)
        if order == FIRING:
            size = firing
        if world.only is not None and order not in world.only:
            size = 0.0
        way = np.abs(rng.normal(size=world.axes))
        way /= way.max()
        level = size * way * np.exp(2j * np.pi * rng.uniform(size=world.axes))
        levels[order] = level
        wave = response(world, order, speed) * np.exp(2j * np.pi * order * angle)
        samples += np.outer(wave, level).real
    typical = float(np.median(np.abs(response(world, FIRING, hertz))))
    for ratio in world.belts:
        samples += 0.2 * typical * np.cos(2 * np.pi * (ratio * angle + rng.uniform()))[:, None]
    if world.mains_hz:
        size = typical * 10 ** (world.mains_db / 20)
        for axis in range(world.axes):
            samples[:, axis] += size * np.cos(2 * np.pi * (world.mains_hz * at + rng.uniform()))
    density = typical**2 / 2 / 10 ** (world.cn0_db / 10)
    samples += rng.normal(0, math.sqrt(density * world.rate / 2), samples.shape)
    ends = (world.start_rpm, world.end_rpm)
    if world.there_and_back:
        ends = (world.start_rpm, world.start_rpm * 1.01)
    tags = [
        None if factor is None else factor * rpm
        for factor, rpm in zip(world.tags, ends, strict=True)
    ]
    tacho = None
    if world.teeth:
        marks = np.arange(math.ceil(turns[0] * world.teeth), int(turns[-1] * world.teeth))
        tacho = Tacho(np.interp(marks / world.teeth, turns, time), world.teeth)
    recording = Recording(
        samples,
        times=at if world.jitter else None,
        sample_rate=None if world.jitter else world.rate,
        kind=world.kind,
        manner=world.manner or ("run-up" if world.end_rpm > world.start_rpm else "coast-down"),
        rpm=tags[0],
        end_rpm=tags[1],
        tacho=tacho,
    )
    return Swept(recording, time, hertz, turns, levels, world, density)


def _speed(world: Sweep, time: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return the crank's frequency: even in log speed but for holds, a bow, hunting, cycles."""
    before, after = world.hold_s
    share = np.clip((time - before) / (world.seconds - before - after), 0.0, 1.0)
    if world.there_and_back:
        share = 1 - np.abs(1 - 2 * share)
    share = share + 0.08 * np.sin(np.pi * share) * math.sin(rng.uniform(0, 2 * np.pi))
    hertz = world.start_rpm / 60 * (world.end_rpm / world.start_rpm) ** share
    hertz *= 1 + world.hunting * np.sin(2 * np.pi * (0.4 * time + rng.uniform()))
    knots = world.cycle_noise * rng.standard_normal(int(world.seconds * 10) + 12)
    walked: FloatArray = hertz * (1 + np.interp(time, np.arange(knots.size) / 10, knots))
    return walked
