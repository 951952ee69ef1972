"""With what and how a person records sweeps, and how sharply one shows the crank's resonance.

The bound: each order's complex amplitude against speed is known at each speed of a grid as well as
noise allows in the time spent there,

    E |error|^2 = S(f) / time + (breathing |A|)^2 (cycle / time)                           (1)

S being the noise density beside it. What moves with frequency, height and width of the resonance is
told from what the rest of each order may do (any complex level that goes straight with speed) by
weighted least squares (the Cramer-Rao bound; Kay, Fundamentals of Statistical Signal Processing I,
ch. 3). No way of measuring does better; the program's own comes near it, not below.
"""

from dataclasses import dataclass

import numpy as np

from vibetrend.engine import Engine
from vibetrend.recording import FloatArray
from vibetrend.simulate.errors import SimulateError
from vibetrend.simulate.heard import Ear, Heard
from vibetrend.simulate.rendering import ComplexArray
from vibetrend.simulate.sensor import MICROPHONE, Sensor
from vibetrend.simulate.sweep import BY_HAND
from vibetrend.torsion import Change, Crankshaft, excited_orders, operating_range

_AROUND = 0.25  # how far around a critical speed an order is looked at, share of it
_SPEED_STEP = 1.004
_SMALL = 1e-3  # change of speed or losses that a slope is taken over
_DB = 20 / np.log(10)


@dataclass(frozen=True, kw_only=True)
class Habits:
    """How a person records."""

    sensor: Sensor = MICROPHONE
    rate: float = 2000.0  # samples a second
    sweeps: int = 3  # of a check-up
    seconds: float = 45.0  # of a sweep
    every_hours: float = 200.0  # from check-up to check-up
    twist_share: float = 0.5  # of the amplitude at the resonance, see `sweep`
    damper_noted: bool = True  # the temperature of its ring
    specimen: int = 0

    def __post_init__(self) -> None:
        """Refuse numbers that make no sense.

        Raises
        ------
        SimulateError
            Then.
        """
        for name, value in (
            ("rate", self.rate), ("sweeps", self.sweeps), ("seconds", self.seconds),
            ("every", self.every_hours),
        ):  # fmt: skip
            if not 0 < value < np.inf:
                raise SimulateError(f"{name} is {value:g}; a number above 0 is needed")
        if not 0 <= self.twist_share < 1:
            raise SimulateError(
                f"the twist's share is {self.twist_share:g}; a number from 0 up to, not including, "
                f"1 is needed"
            )

    @property
    def reach_hz(self) -> float:
        """Highest frequency that the sampling can show."""
        return self.rate / 2

    def ear(self, engine: Engine, *, silent: bool = False) -> Ear:
        """Return the sensor beside an engine; `silent` hears nothing of its twist.

        Raises
        ------
        SimulateError
            If no order of the engine makes its crank's resonance heard.
        """
        return Ear.beside(
            engine,
            twist_share=0.0 if silent else self.twist_share,
            sensor=self.sensor,
            specimen=self.specimen,
        )


@dataclass(frozen=True, kw_only=True)
class Sharpness:
    """Standard errors of one sweep, at best, dB: of 8.7 dB for the factor e."""

    frequency_db: float
    height_db: float
    width_db: float


def swept_range(engine: Engine) -> tuple[float, float]:
    """Return from where to where a sweep goes: 5 % inside idle and rated speed."""
    span = operating_range(engine)
    return 1.05 * span.idle_rpm, 0.95 * span.rated_rpm


def telling_orders(engine: Engine, fresh: Crankshaft) -> FloatArray:
    """Return the orders that drive the lowest resonance and pass it within a sweep."""
    low, high = swept_range(engine)
    orders = np.array(sorted(excited_orders(fresh, engine)))
    critical = 60 * fresh.damped_modes.frequency_hz[0] / orders
    return np.asarray(orders[(critical >= low) & (critical <= high)])


def sharpness(engine: Engine, habits: Habits) -> Sharpness:
    """Return how sharply one sweep shows the lowest resonance, the damper as new.

    Raises
    ------
    SimulateError
        If no order of the engine makes its crank's resonance heard.
    """
    fresh = Crankshaft.of(engine)
    low, high = swept_range(engine)
    speeds = np.geomspace(low, high, int(np.log(high / low) / np.log(_SPEED_STEP)) + 2)

    ear = habits.ear(engine)

    def at(change: Change, slower: float = 1.0) -> tuple[Heard, FloatArray]:
        now = fresh.with_change(change)
        own = now.damped_modes
        told = np.array([own.frequency_hz[0] * slower, own.damping_ratio[0]])
        return ear.heard(now, speeds / slower), told

    heard, own = at(Change())
    blunter = Change(loss_factor=1 + _SMALL, viscous_factor=1 + _SMALL)
    # The same curve farther up, and another with more losses.
    changed = [at(Change(), slower=1 + _SMALL), at(blunter)]
    # From slopes along both to slopes along ln frequency and ln width.
    moved = np.array([np.log(each / own) for _, each in changed]) / _SMALL
    along = np.array([(each.twist - heard.twist) / _SMALL for each, _ in changed])
    frequency, width = np.tensordot(np.linalg.inv(moved), along, axes=1)
    information = np.zeros((3, 3))
    for order in telling_orders(engine, fresh):
        row = int(np.argmin(np.abs(heard.orders - order)))
        near = np.abs(order * speeds / 60 / own[0] - 1) < _AROUND
        error = _error(engine, habits, float(order), speeds, heard.whole[row])
        for axis in range(heard.whole.shape[2]):
            slopes = np.stack(
                [each[row, near, axis] for each in (frequency, heard.twist, width)], axis=1
            )
            information += _information(slopes, speeds[near], error[near])
    standard = np.sqrt(np.diag(np.linalg.inv(information))) * _DB
    return Sharpness(
        frequency_db=float(standard[0]), height_db=float(standard[1]), width_db=float(standard[2])
    )


def _error(
    engine: Engine, habits: Habits, order: float, speeds: FloatArray, whole: ComplexArray
) -> FloatArray:
    """Return equation 1 at each speed, the firing order at fast idle being 1."""
    sensor = habits.sensor
    time = np.gradient(speeds) * habits.seconds / (speeds[-1] - speeds[0])
    frequency = order * speeds / 60
    firing = np.array(engine.firing_order_number * speeds.mean() / 60)
    beside = sensor.density(frequency, firing_hz=firing) / sensor.firing_rms**2
    felt = sensor.response(frequency)
    cycle = engine.strokes / 2 * 60 / speeds
    breath = (BY_HAND.breathing_percent / 100) ** 2 * np.sum(np.abs(whole) ** 2, axis=1)
    error: FloatArray = beside / felt**2 / time + breath * cycle / time
    return error


def _information(slopes: ComplexArray, speeds: FloatArray, error: FloatArray) -> FloatArray:
    """Return what an order tells of the three, whatever its rest may be, shape (3, 3)."""
    weight = np.sqrt(2 / error)[:, np.newaxis]
    line = np.linspace(-1, 1, speeds.size)[:, np.newaxis] ** np.arange(2)
    rest = np.hstack([line, 1j * line])
    whole = np.hstack([slopes, rest]) * weight
    real = np.vstack([whole.real, whole.imag])
    wanted, nuisance = real[:, :3], real[:, 3:]
    left = wanted - nuisance @ np.linalg.lstsq(nuisance, wanted)[0]
    found: FloatArray = left.T @ left
    return found
