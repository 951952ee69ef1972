"""What makes up a recording: waves in space that breathe, other lines, and what a sensor adds."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.engine import Engine
from vibetrend.recording import FloatArray
from vibetrend.simulate.sensor import Sensor
from vibetrend.units import STANDARD_GRAVITY

ComplexArray = NDArray[np.complex128]

_UP = 1  # of the engine axes across, up, along
_LIVELY = np.array([0.8, 1.0, 0.5])  # how much an engine moves along each of its axes
_BELT_CREEP = (0.01, 0.02)
_DRIVEN_LEVEL = 0.15  # of the firing order


@dataclass(frozen=True, kw_only=True)
class Line:
    """A line that is no order of the engine."""

    name: str
    frequency_hz: float  # mean over the recording
    ratio: float | None  # turns per turn of the crank, belt creep included; None for mains
    rms: float  # all axes together, in the recording's unit


def wave(spin: ComplexArray, vector: ComplexArray) -> FloatArray:
    """Return sqrt(2) Re(vector spin), shape (n, axes): `vector` is rms in size."""
    return math.sqrt(2) * (np.outer(spin.real, vector.real) - np.outer(spin.imag, vector.imag))


def breathing_of(
    cycles: FloatArray, count: int, percent: float, rng: np.random.Generator
) -> FloatArray:
    """Return the factor on each order at each sample, shape (count, n), about 1."""
    knots = np.arange(math.ceil(float(cycles[-1])) + 2)
    drawn = 1 + percent / 100 * rng.standard_normal((count, knots.size))
    return np.array([np.interp(cycles, knots, values) for values in drawn])


def directions(rng: np.random.Generator, count: int, axes: int) -> ComplexArray:
    """Return random complex unit vectors, shape (count, axes)."""
    lively = _LIVELY[:axes]
    real, imaginary = rng.standard_normal((2, count, axes)) * lively
    vectors = real + 1j * imaginary
    units: ComplexArray = vectors / np.linalg.norm(vectors, axis=1, keepdims=True)
    return units


def other_lines(
    engine: Engine, turns_per_s: float, gain: float, sensor: Sensor, rng: np.random.Generator
) -> tuple[Line, ...]:
    """Return a line for each driven part, its belt creeping, and mains, at a mean speed."""
    lines = []
    for part in engine.driven:
        ratio = part.ratio * (1 - rng.uniform(*_BELT_CREEP))
        hertz = ratio * turns_per_s
        rms = gain * sensor.firing_rms * _DRIVEN_LEVEL * float(sensor.response(np.array(hertz)))
        lines.append(Line(name=part.name, frequency_hz=hertz, ratio=ratio, rms=rms))
    if sensor.mains_level > 0:
        rms = sensor.firing_rms * sensor.mains_level
        lines.append(Line(name="mains", frequency_hz=sensor.mains_hz, ratio=None, rms=rms))
    return tuple(lines)


def picked_up(
    signal: FloatArray,
    times: FloatArray,
    turns: FloatArray,
    lines: tuple[Line, ...],
    *,
    firing_hz: float,
    rate: float,
    gain: float,
    sensor: Sensor,
    specimen: int,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Return what a sensor makes of the orders' signal, and how it is turned.

    Parameters
    ----------
    signal : ndarray, shape (n, axes)
        The engine's orders along its own axes; the other lines are added to it.
    firing_hz : float
        Mean frequency of the firing order, which the noise is set beside.
    gain : float
        How well the sensor is coupled to the engine.

    Returns
    -------
    samples : ndarray, shape (n, axes)
        Along the sensor's axes, in steps of its converter.
    rotation : ndarray, shape (axes, axes)
        From the engine's axes to the sensor's.
    """
    for line in lines:
        way = directions(rng, 1, sensor.axes)[0]
        cycles = line.frequency_hz * times if line.ratio is None else line.ratio * turns
        signal += wave(np.exp(2j * np.pi * cycles), line.rms * way)
    if sensor.kind == "acceleration":
        signal[:, _UP] += STANDARD_GRAVITY
    rotation = sensor.orientation(specimen, rng)
    noise = sensor.noise(times.size, rate, firing_hz=firing_hz, gain=gain, rng=rng)
    return sensor.convert(signal @ rotation.T + noise), rotation
