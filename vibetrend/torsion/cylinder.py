"""The torque of one cylinder on its throw: gas and inertia, as harmonics of the crank.

Piston acceleration and torques follow from the exact slider-crank; their series in lambda, crank
radius over rod length, stand in Den Hartog, Mechanical Vibrations, ch. 5, and Thomson, Theory of
Vibration with Applications.

The gas is a model for an engine out of gear: between closing and opening of valves or ports

    d(p V^g) = (g - 1) V^(g - 1) dQ,   p V^g = const. without heat,                        (1)

with one exponent g for compression and expansion, and just so much heat Q, released shortly after
top dead centre, that the cycle's work overcomes the engine's own friction. It does not know of
pumping, pilot injection or turbochargers: the size of its harmonics is right to a factor of 2.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.recording import FloatArray
from vibetrend.torsion.chain import ComplexArray

_STEPS = 720  # a turn; the 12th order is 60 of them long
_EXPONENT = 1.34
_AMBIENT_PA = 1.0e5
_FRICTION_PA = 2.0e5  # mean pressure that turns the engine by itself; common practice, no source
_CLOSED_DEG = {4: (-150.0, 130.0), 2: (-115.0, 105.0)}  # by strokes, from top dead centre
_BURN_DEG = (-3.0, 40.0)


@dataclass(frozen=True, kw_only=True)
class Cylinder:
    """What one cylinder's torque depends on."""

    bore_m: float
    stroke_m: float
    rod_ratio: float  # rod length over stroke
    reciprocating_mass_kg: float
    compression_ratio: float
    strokes: int = 4

    @property
    def radius_over_rod(self) -> float:
        """Lambda."""
        return 1 / (2 * self.rod_ratio)

    def gas_harmonics(self, orders: FloatArray) -> ComplexArray:
        """Return the gas torque at each order, N m, 0 to peak; phase 0 at firing's dead centre."""
        return _at(_gas_torque(self), orders, 2 / self.strokes)

    def inertia_harmonics(self, orders: FloatArray) -> ComplexArray:
        """Return the inertia torque at each order over the speed squared, N m / (rad/s)^2."""
        angle = np.arange(_STEPS) * 2 * np.pi / _STEPS
        lever = piston_velocity(angle, self.radius_over_rod)
        pull = -piston_acceleration(angle, self.radius_over_rod) * lever
        radius = self.stroke_m / 2
        return _at(self.reciprocating_mass_kg * radius**2 * pull, orders, 1.0)


def piston_velocity(angle_rad: FloatArray, radius_over_rod: float) -> FloatArray:
    """Return the piston's speed toward the crank over r w; also torque over force times r."""
    sine, cosine = np.sin(angle_rad), np.cos(angle_rad)
    rod = np.sqrt(1 - (radius_over_rod * sine) ** 2)
    velocity: FloatArray = sine * (1 + radius_over_rod * cosine / rod)
    return velocity


def piston_acceleration(angle_rad: FloatArray, radius_over_rod: float) -> FloatArray:
    """Return the piston's acceleration toward the crank over r w^2."""
    sine, cosine = np.sin(angle_rad), np.cos(angle_rad)
    square = 1 - (radius_over_rod * sine) ** 2
    turned = (cosine**2 - sine**2) / np.sqrt(square)
    swung = radius_over_rod**2 * (sine * cosine) ** 2 / square**1.5
    acceleration: FloatArray = cosine + radius_over_rod * (turned + swung)
    return acceleration


def _gas_torque(cylinder: Cylinder) -> FloatArray:
    """Return the gas torque over a cycle, N m, from firing's dead centre on."""
    turns = cylinder.strokes // 2
    degrees = np.arange(turns * _STEPS) * 360 / _STEPS
    degrees = np.where(degrees >= 180 * turns, degrees - 360 * turns, degrees)
    angle = np.radians(degrees)
    area = np.pi * cylinder.bore_m**2 / 4
    lever = cylinder.stroke_m / 2 * piston_velocity(angle, cylinder.radius_over_rod)
    mean = area * cylinder.stroke_m / (2 * np.pi * turns) * _FRICTION_PA  # N m of one cylinder

    pumped, burnt = _pressures(cylinder, degrees)
    pumped, burnt = pumped * area * lever, burnt * area * lever
    torque: FloatArray = pumped + burnt * (mean - pumped.mean()) / burnt.mean()
    return torque


def _pressures(cylinder: Cylinder, degrees: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return equation 1 without heat, Pa above ambient, and what heat of any amount adds to it."""
    closed = (degrees >= _CLOSED_DEG[cylinder.strokes][0]) & (
        degrees <= _CLOSED_DEG[cylinder.strokes][1]
    )
    ratio, angle = cylinder.radius_over_rod, np.radians(degrees)
    rod = np.sqrt(1 - (ratio * np.sin(angle)) ** 2)
    down = (1 - np.cos(angle) + (1 - rod) / ratio) / 2  # of the stroke
    volume = 1 / (cylinder.compression_ratio - 1) + down
    order = np.argsort(degrees)
    at_closing = volume[closed & (degrees < 0)].max()
    pumped = np.where(closed, _AMBIENT_PA * ((at_closing / volume) ** _EXPONENT - 1), 0.0)

    begin, end = _BURN_DEG
    share = np.clip((degrees[order] - begin) / (end - begin), 0, 1)
    released = np.diff(1 - np.exp(-6.9 * share**1.5), prepend=0.0)  # Wiebe's curve
    sums = np.empty_like(degrees)
    sums[order] = np.cumsum(released * volume[order] ** (_EXPONENT - 1))
    return pumped, np.where(closed, sums / volume**_EXPONENT, 0.0)


def _at(torque: FloatArray, orders: FloatArray, lowest: float) -> ComplexArray:
    """Return the harmonics of a torque over one period at orders; between them there is none."""
    lines: NDArray[np.complex128] = 2 * np.fft.rfft(torque) / torque.size
    number = np.asarray(orders, dtype=float) / lowest
    whole = np.rint(number).astype(int)
    there = np.isclose(number, whole) & (whole > 0) & (whole < lines.size)
    found: ComplexArray = np.where(there, lines[np.where(there, whole, 0)], 0.0)
    return found
