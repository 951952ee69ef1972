"""One simulated recording together with what is true of it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from vibetrend.engine import Engine
from vibetrend.recording import FloatArray, Recording
from vibetrend.simulate.errors import SimulateError
from vibetrend.simulate.firing import order_levels
from vibetrend.simulate.rendering import (
    ComplexArray,
    Line,
    breathing_of,
    directions,
    other_lines,
    picked_up,
    wave,
)
from vibetrend.simulate.sensor import PHONE, Sensor
from vibetrend.simulate.speed import Running, turns_at


@dataclass(frozen=True, kw_only=True, eq=False)
class Truth:
    """What a perfect measurement of a simulated recording would find."""

    rpm: float  # mean over the recording
    time_s: FloatArray = field(repr=False)  # (n,) when each sample was taken
    turns: FloatArray = field(repr=False)  # (n,) the crank's angle at each sample
    orders: FloatArray = field(repr=False)  # (k,)
    rms_by_axis: FloatArray = field(repr=False)  # (k, axes) of the mean complex amplitude
    lines: tuple[Line, ...]

    @property
    def rms(self) -> FloatArray:
        """Amplitude of each order, all axes together, shape (k,)."""
        return np.asarray(np.linalg.norm(self.rms_by_axis, axis=1))

    def rms_of(self, order: float) -> float:
        """Return the amplitude of one order, all axes together.

        Raises
        ------
        SimulateError
            If the order is not simulated.
        """
        return float(self.rms[index_of(order, self.orders)])


def record(
    engine: Engine,
    *,
    rpm: float,
    seconds: float,
    rate: float,
    seed: int | Sequence[int],
    sensor: Sensor = PHONE,
    running: Running | None = None,
    specimen: int = 0,
    tag_rpm: float | None = None,
    changes_db: Mapping[float, float] | None = None,
    common_db: float = 0.0,
) -> tuple[Recording, Truth]:
    """Simulate one recording of an engine at one speed.

    The orders follow :func:`~vibetrend.simulate.firing.order_levels`, the speed
    :func:`~vibetrend.simulate.speed.turns_at`. Each driven part adds one line, its belt creeping 1
    to 2 %; then come mains, coloured engine noise and what the sensor does to it all.

    Simplified: every order has one fixed direction in space and breathes by itself; a belt creeps
    alike through a recording; mains are one line; noise has the same density on all axes and is
    made at even times within the sampled band; the times written down are the true ones; nothing
    is lost, knocks or clicks.

    Parameters
    ----------
    rpm : float
        Mean speed of the crank.
    seconds, rate : float
        Duration and mean sampling rate in Hz.
    seed : int or sequence of int
        Draws all that differs from recording to recording.
    running : Running, optional
        How unsteadily the engine runs; the defaults of `Running` if left out.
    specimen : int
        Which engine of that type: how unlike its cylinders are, how its orders reach the spot.
    tag_rpm : float, optional
        The speed that the person states; `rpm` if left out.
    changes_db : mapping of float to float, optional
        Change of single orders, dB.
    common_db : float
        Change of all that comes from the engine, dB: how well the sensor sits, its gain.

    Returns
    -------
    Recording
        Acceleration (m/s^2), shape (n, 3), with its times; or even sound (1), shape (n, 1).
    Truth
        Its amplitudes include the sensor's roll-off and how the orders happened to breathe.

    Raises
    ------
    SimulateError
        If a number makes no sense, or `changes_db` names an order that is not simulated.
    """
    check_numbers(rpm=rpm, seconds=seconds, rate=rate)
    running = running or Running()
    rng = np.random.default_rng(seed)
    cycle_turns = engine.strokes / 2
    times = sensor.sample_times(round(seconds * rate), rate, rng)
    turns = turns_at(times, rpm=rpm, cycle_turns=cycle_turns, running=running, rng=rng)
    turns_per_s = float((turns[-1] - turns[0]) / (times[-1] - times[0]))
    gain = 10 ** (common_db / 20)

    orders, levels = order_levels(engine, rpm=rpm, specimen=specimen)
    for order, change in (changes_db or {}).items():
        levels[index_of(order, orders)] *= 10 ** (change / 20)
    levels *= gain * sensor.firing_rms * sensor.response(orders * turns_per_s)
    ways = directions(np.random.default_rng([specimen, 2, 0, 0]), orders.size, sensor.axes)
    breathing = breathing_of(turns / cycle_turns, orders.size, running.breathing_percent, rng)
    signal, mean_vectors = _sum_of_orders(turns, orders, levels[:, np.newaxis] * ways, breathing)

    lines = other_lines(engine, turns_per_s, gain, sensor, rng)
    samples, rotation = picked_up(
        signal, times, turns, lines,
        firing_hz=engine.firing_order_number * turns_per_s,
        rate=rate, gain=gain, sensor=sensor, specimen=specimen, rng=rng,
    )  # fmt: skip

    tag = rpm if tag_rpm is None else tag_rpm
    truth = Truth(
        rpm=60 * turns_per_s,
        time_s=times,
        turns=turns,
        orders=orders,
        rms_by_axis=np.abs(mean_vectors @ rotation.T),
        lines=lines,
    )
    if sensor.kind == "sound":
        return Recording(samples, sample_rate=rate, kind="sound", rpm=tag), truth
    return Recording(samples, times=times, axes=("x", "y", "z"), rpm=tag), truth


def _sum_of_orders(
    turns: FloatArray, orders: FloatArray, vectors: ComplexArray, breathing: FloatArray
) -> tuple[FloatArray, ComplexArray]:
    """Return the signal (n, axes) and the mean complex amplitude of each order (k, axes)."""
    signal = np.zeros((turns.size, vectors.shape[1]))
    lowest = np.exp(2j * np.pi * orders[0] * turns)  # all orders are multiples of the lowest
    spin = np.ones_like(lowest)
    for vector, breath in zip(vectors, breathing, strict=True):
        spin *= lowest
        signal += wave(breath * spin, vector)
    return signal, vectors * breathing.mean(axis=1)[:, np.newaxis]


def index_of(order: float, orders: FloatArray) -> int:
    """Return where an order stands among those simulated."""
    found = np.flatnonzero(np.isclose(orders, order))
    if not found.size:
        raise SimulateError(
            f"order {order:g} is not simulated; take a multiple of {orders[0]:g} "
            f"up to {orders[-1]:g}"
        )
    return int(found[0])


def check_numbers(**numbers: float) -> None:
    """Refuse numbers that are not above 0, and less than two turns of the crank."""
    for name, value in numbers.items():
        if not 0 < value < math.inf:
            raise SimulateError(f"{name} is {value:g}; a number above 0 is needed")
    if numbers["seconds"] * numbers["rpm"] / 60 < 2:
        raise SimulateError(
            f"{numbers['seconds']:g} s at {numbers['rpm']:g} r/min are fewer than two turns; "
            f"simulate longer"
        )
