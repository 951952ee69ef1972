"""Order curves of boats with known truth, from the physics of `simulate` and `torsion`.

Nothing here knows the model that resonances are fitted with: each order is what a sensor hears of
the forced crank, its rigid body and its decoys (`simulate.heard`), driven past them at the sweep's
pace, seen through the windows, the noise and the breathing of a measured sweep. Set beside curves
of simulated recordings, measured: amplitudes, standard errors, scatter and the correlation of
neighbours agree within 10 % for sound at 2 kHz. Of a phone's table at 400 Hz, whose higher orders
fold down, real shifts scatter twice as much as here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.engine import Engine
from vibetrend.recording import FloatArray
from vibetrend.runup.curves import Curves, grid_rpm
from vibetrend.simulate import MICROPHONE, PHONE, Sensor, heard
from vibetrend.simulate.heard import Ear
from vibetrend.simulate.sweep import BY_HAND
from vibetrend.torsion import Change, Crankshaft

LOW_RPM, HIGH_RPM = 750.0, 2450.0
HOLDS_S = 4.0  # of a sweep, both ends together
ORDERS = np.arange(1, 25) / 2
SPAN, FEWEST_TURNS, COVERED = 0.025, 10.0, 0.7  # windows, as `runup.order_curves` cuts them
HANN_SD, BEND = 0.1808, 2  # the same
VARIANCE_KNOWN = 0.2  # how far off a curve's own variance is, from order to order
FINE = 1.002
ComplexArray = NDArray[np.complex128]


def drawn_engine(rng: np.random.Generator) -> Engine:
    """Return an invented in-line six: no two alike."""

    def about(value: float, spread: float) -> float:
        return value * float(np.exp(spread * rng.uniform(-1, 1)))

    inertia = [about(0.022, 0.2), *[about(0.042, 0.2)] * 6, about(1.15, 0.3)]
    stiff = about(13e5, 0.15)
    stiffness = [about(9.2e5, 0.15), *[stiff] * 5, about(15e5, 0.15)]
    return Engine.parse(
        f"""
        name = "invented"
        cylinders = 6
        firing_order = [1, 5, 3, 6, 2, 4]
        idle_rpm = 700
        rated_rpm = 2600
        fast_idle_rpm = 1080
        [damper]
        type = "rubber"
        hub_inertia_kg_m2 = {about(0.015, 0.2)}
        ring_inertia_kg_m2 = {about(0.055, 0.2)}
        ring_stiffness_nm_rad = {about(56000, 0.25)}
        ring_loss_factor = {about(0.17, 0.4)}
        [crankshaft]
        inertias_kg_m2 = {inertia}
        stiffnesses_nm_rad = {stiffness}
        loss_factor = {about(0.03, 0.3)}
        """
    )


@dataclass(frozen=True, kw_only=True)
class Habit:
    """How the sweeps of a life are recorded."""

    sensor: Sensor
    rate: float
    seconds: float
    order_db: float  # each order's own level, from placement to placement
    twist_db: float  # of the twist beside the rest, the same
    gain_db: float = 2.0


def drawn_habit(rng: np.random.Generator) -> Habit:
    """Return a phone's table or a sound, 25 to 40 s long."""
    sound = rng.random() < 0.5
    return Habit(
        sensor=MICROPHONE if sound else PHONE,
        rate=2000.0 if sound else 400.0,
        seconds=float(rng.uniform(25, 40)),
        order_db=float(rng.uniform(0.5, 1.0)),
        twist_db=float(rng.uniform(0.2, 0.5)),
    )


class Boat:
    """One engine, its sensor and its habits; `unlike` is how far cylinders' torques differ."""

    def __init__(
        self, engine: Engine, habit: Habit, *, share: float, specimen: int, unlike: float
    ) -> None:
        self.engine, self.habit, self.unlike = engine, habit, unlike
        self.fresh = Crankshaft.of(engine)
        self._of_torque()
        self.ear = Ear.beside(
            engine, twist_share=min(share, 0.98), sensor=habit.sensor, specimen=specimen
        )
        self.felt: dict[float, tuple[ComplexArray, ComplexArray]] = {}

    def _of_torque(self) -> None:
        """Set what of unlike cylinders (10 % by `simulate`) is in their torque."""
        heard._OF_TORQUE = self.unlike / 0.1

    def frequency_hz(self, stiffness: float = 1.0) -> float:
        """Return the crankshaft's lowest natural frequency."""
        return float(self._crank(stiffness).damped_modes.frequency_hz[0])

    def _crank(self, stiffness: float) -> Crankshaft:
        return self.fresh.with_change(Change(stiffness_factor=stiffness))

    @cached_property
    def speeds(self) -> FloatArray:
        """Return the fine speeds that a sweep is made of, rpm."""
        return np.geomspace(LOW_RPM, HIGH_RPM, int(np.log(HIGH_RPM / LOW_RPM) / np.log(FINE)) + 2)

    @cached_property
    def pace(self) -> float:
        """Return the rpm that a sweep gains in a second."""
        return (HIGH_RPM - LOW_RPM) / (self.habit.seconds - HOLDS_S)

    @cached_property
    def windows(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the grid's speeds, each window's weights on the fine ones, and its span."""
        grid = grid_rpm(LOW_RPM * 1.005, HIGH_RPM / 1.005)
        turns_per_rpm = grid / 60 / self.pace
        span = np.maximum(SPAN * grid, FEWEST_TURNS / turns_per_rpm)
        place = (self.speeds - grid[:, np.newaxis]) / span[:, np.newaxis]
        weight = np.where(np.abs(place) < 0.5, np.cos(np.pi * place) ** 2, 0.0)
        weight *= np.gradient(self.speeds)
        kept = weight.sum(axis=1) > COVERED * span / 2
        weight /= weight.sum(axis=1, keepdims=True)
        return grid[kept], weight[kept], (span / grid)[kept]

    def _felt(self, stiffness: float) -> tuple[ComplexArray, ComplexArray]:
        """Return rest and twist of each order at the fine speeds, moving past them, in units."""
        if stiffness not in self.felt:
            self._of_torque()
            now = self.ear.heard(self._crank(stiffness), self.speeds)
            row = np.searchsorted(now.orders, ORDERS)
            hertz = np.outer(ORDERS, self.speeds / 60)
            gain = self.habit.sensor.firing_rms * self.habit.sensor.response(hertz)
            late = -0.5j * self.pace / (ORDERS * 2 * np.pi / 60)[:, np.newaxis, np.newaxis]
            rest, twist = (
                (each + late * _bend(each, self.speeds)) * gain[..., np.newaxis]
                for each in (now.whole[row] - now.twist[row], now.twist[row])
            )
            self.felt[stiffness] = rest, twist
        return self.felt[stiffness]

    def sweep(self, rng: np.random.Generator, *, stiffness: float = 1.0) -> pd.DataFrame:
        """Return one sweep's curves as they are stored."""
        habit, speeds = self.habit, self.speeds
        grid, weight, span = self.windows
        rest, twist = self._felt(stiffness)
        shape = rest.shape
        gain = 10 ** (habit.gain_db * rng.standard_normal() / 20)
        own = _factor(rng, habit.order_db, (ORDERS.size, 1, 1))
        value = own * (rest + twist * _factor(rng, habit.twist_db, (1, 1, 1)))
        seconds = np.gradient(speeds) / self.pace
        cycles = seconds * speeds / 60 / (self.engine.strokes / 2)
        breath = BY_HAND.breathing_percent / 100 * rng.standard_normal(shape[:2])
        value = gain * value * (1 + breath / np.sqrt(cycles))[..., np.newaxis]
        hertz = np.outer(ORDERS, speeds / 60)
        firing = np.array(self.engine.firing_order_number * speeds.mean() / 60)
        density = habit.sensor.density(hertz, firing_hz=firing, gain=gain)
        noise = density / seconds
        error = rng.standard_normal((*shape, 2)) @ np.array([1, 1j]) / np.sqrt(2)
        error *= np.sqrt(noise)[..., np.newaxis]
        seen = weight @ (value + error)  # (K, M, A)
        # Between orders there is, beside the noise, what the neighbours breathe.
        size = (np.abs(value) ** 2).mean(axis=2)
        breathes = (BY_HAND.breathing_percent / 100) ** 2 * size / cycles
        above = np.vstack([breathes[1:], breathes[-1:]])
        beside = noise + (breathes + above) / 2
        variance = beside @ (weight**2).T
        variance *= np.exp(VARIANCE_KNOWN * rng.standard_normal((ORDERS.size, 1)))
        variance = np.maximum(variance[..., np.newaxis], _lost(seen, span))
        reach = np.outer(ORDERS, grid / 60) < 0.95 * habit.rate / 2
        curves = Curves(
            orders=ORDERS,
            speed_rpm=grid,
            value=np.where(reach[..., np.newaxis], seen, complex(np.nan, np.nan)),
            variance=np.where(reach[..., np.newaxis], variance, np.nan),
            unit="",
        )
        return curves.table()


def _factor(rng: np.random.Generator, db: float, shape: Sequence[int]) -> FloatArray:
    return np.asarray(10 ** (db * rng.standard_normal(shape) / 20))


def _bend(values: ComplexArray, speeds: FloatArray) -> ComplexArray:
    return np.gradient(np.gradient(values, speeds, axis=1), speeds, axis=1)


def _lost(seen: ComplexArray, span: FloatArray) -> FloatArray:
    """Return the power of what windows lose where curves bend, as the curves count it."""
    second = np.zeros(seen.shape, complex)
    middle = seen[:, BEND:-BEND]
    step = BEND * np.log(1.01)
    second[:, BEND:-BEND] = (seen[:, 2 * BEND :] - 2 * middle + seen[:, : -2 * BEND]) / step**2
    return np.abs(0.5 * (HANN_SD * span[:, np.newaxis]) ** 2 * second) ** 2
