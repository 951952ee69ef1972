"""What a sensor hears of each order as the engine's speed changes.

    A_k(w) = a_k(w) [ d_k + sum_r c_kr g_r R_r(k w) e_r ] + s (k w)^2 twist_k(w) t          (1)
    R_r(f) = j 2 z_r x / (1 - x^2 + j 2 z_r x),   x = f / f_r                               (2)

The engine as a rigid body and its block: `order_levels` a_k along a fixed way d_k, and resonances r
that have nothing to do with the crank (mounts, a cover, a bracket or the exhaust, the room), which
every order excites as it passes them. The crank: the angular acceleration of its nose, from the
model of `torsion`, which shakes the front bearing along one way t for all orders.

Simplified: how twist becomes motion of the block is one number s at any speed; it is set by the
share the twist is meant to have, see `Ear`. Load and smoke do not matter: out of gear.
"""

from dataclasses import dataclass, replace

import numpy as np

from vibetrend.engine import Engine
from vibetrend.recording import FloatArray
from vibetrend.simulate.errors import SimulateError
from vibetrend.simulate.firing import cylinder_strengths, order_levels
from vibetrend.simulate.rendering import ComplexArray, directions
from vibetrend.simulate.sensor import Sensor
from vibetrend.torsion import Crankshaft, excited_orders, forced, operating_range
from vibetrend.torsion.crankshaft import NOSE

# Out of gear most of a cylinder's torque is compression, which differs less than combustion does.
_OF_TORQUE = 0.3
_FAST_RPM = 1000.0
_DECOYS = {  # Hz from, to; damping ratio; height beside a way of length 1
    "acceleration": (
        (11.0, 17.0, 0.10, 1.0),  # mounts
        (92.0, 118.0, 0.030, 0.8),  # a cover
        (168.0, 225.0, 0.025, 0.8),  # a bracket or the exhaust
    ),
    "sound": (
        (52.0, 72.0, 0.030, 0.8),  # the room
        (92.0, 118.0, 0.030, 0.8),
        (168.0, 225.0, 0.025, 0.8),
    ),
}


@dataclass(frozen=True, kw_only=True)
class Decoy:
    """A resonance of mounts, covers or the room: at one frequency whatever the damper does."""

    frequency_hz: float
    damping_ratio: float
    height: float

    def response(self, frequency_hz: FloatArray) -> ComplexArray:
        """Return g R of equation 2 at each frequency, shape as given."""
        x = frequency_hz / self.frequency_hz
        lossy = 2j * self.damping_ratio * x
        found: ComplexArray = self.height * lossy / (1 - x**2 + lossy)
        return found


def decoys(sensor: Sensor, specimen: int) -> tuple[Decoy, ...]:
    """Return the resonances beside the crank's of one engine in its boat."""
    rng = np.random.default_rng([specimen, 4, 0, 0])
    return tuple(
        Decoy(frequency_hz=rng.uniform(low, high), damping_ratio=damping, height=height)
        for low, high, damping, height in _DECOYS[sensor.kind]
    )


def rest(engine: Engine, speed_rpm: FloatArray, *, sensor: Sensor, specimen: int) -> ComplexArray:
    """Return the first part of equation 1, shape (orders, speeds, axes); the firing order is 1."""
    # A level and what grows with the square of speed: known at two speeds, known at all.
    (orders, slow), (_, fast) = (
        order_levels(engine, rpm=rpm, specimen=specimen) for rpm in (1.0, _FAST_RPM)
    )
    grown = (speed_rpm**2 - 1.0) / (_FAST_RPM**2 - 1.0)
    levels = slow[:, np.newaxis] + np.outer(fast - slow, grown)
    ways = directions(np.random.default_rng([specimen, 2, 0, 0]), orders.size, sensor.axes)
    felt = np.broadcast_to(ways[:, np.newaxis], (*levels.shape, sensor.axes)).copy()
    rng = np.random.default_rng([specimen, 5, 0, 0])
    for decoy in decoys(sensor, specimen):
        way = directions(rng, 1, sensor.axes)[0]
        coupling = rng.uniform(0.4, 1.0, orders.size) * np.exp(2j * np.pi * rng.random(orders.size))
        response = decoy.response(np.outer(orders, speed_rpm / 60))
        felt += (coupling[:, np.newaxis] * response)[..., np.newaxis] * way
    shaken: ComplexArray = levels[..., np.newaxis] * felt
    return shaken


def anti_alias(frequency_hz: FloatArray, rate: float) -> FloatArray:
    """Return the gain of a sound recorder's filter before it takes so many samples a second."""
    return 1 / np.sqrt(1 + (frequency_hz / (0.46 * rate)) ** 40)


@dataclass(frozen=True, kw_only=True, eq=False)
class Heard:
    """What is felt at some steady speeds; the firing order of the engine as a rigid body is 1."""

    orders: FloatArray  # (k,)
    whole: ComplexArray  # (k, m, axes), equation 1
    twist: ComplexArray  # (k, m, axes), the crank's part in it


@dataclass(frozen=True, kw_only=True, eq=False)
class Ear:
    """A sensor beside one engine, and how much of the crank's twist reaches it."""

    engine: Engine
    sensor: Sensor
    specimen: int
    scale: float  # s of equation 1

    @classmethod
    def beside(cls, engine: Engine, *, twist_share: float, sensor: Sensor, specimen: int) -> "Ear":
        """Set how much of the twist is heard by the damper as new, see `sweep`.

        Raises
        ------
        SimulateError
            If some of it is to be heard, and no order of the engine passes the resonance.
        """
        deaf = cls(engine=engine, sensor=sensor, specimen=specimen, scale=0.0)
        if twist_share == 0:
            return deaf
        ratio = float(np.median(deaf._twist_beside_the_rest()))
        return replace(deaf, scale=twist_share / (1 - twist_share) / ratio)

    def heard(self, now: Crankshaft, speed_rpm: FloatArray) -> Heard:
        """Return what is felt of each order with the crankshaft as it is now."""
        orders, _ = order_levels(self.engine, rpm=1.0, specimen=self.specimen)
        other = rest(self.engine, speed_rpm, sensor=self.sensor, specimen=self.specimen)
        other[orders == 1] *= now.order_1_factor  # a ring that wobbles
        way = directions(np.random.default_rng([self.specimen, 6, 0, 0]), 1, self.sensor.axes)[0]
        twist = np.zeros_like(other)
        if self.scale:
            shaking = self.scale * self._nose_acceleration(now, orders, speed_rpm)
            twist = shaking[..., np.newaxis] * way
        return Heard(orders=orders, whole=other + twist, twist=twist)

    def _nose_acceleration(
        self, crankshaft: Crankshaft, orders: FloatArray, speed_rpm: FloatArray
    ) -> ComplexArray:
        """Return the nose's angular acceleration, shape (orders, speeds), rad/s^2."""
        unlike = cylinder_strengths(self.engine, self.specimen) - 1
        strengths = 1 + _OF_TORQUE * unlike
        twist = forced(crankshaft, self.engine, orders, speed_rpm, strengths=strengths)[..., NOSE]
        shaking: ComplexArray = twist * np.outer(orders, speed_rpm * 2 * np.pi / 60) ** 2
        return shaking

    def _twist_beside_the_rest(self) -> list[float]:
        """Return for each order that drives the lowest resonance how loud it is there, s being 1.

        Counted are those that pass it between idle and rated speed, the damper as new.
        """
        fresh = Crankshaft.of(self.engine)
        lowest = float(fresh.damped_modes.frequency_hz[0])
        span = operating_range(self.engine)
        simulated, _ = order_levels(self.engine, rpm=1.0, specimen=self.specimen)
        ratios = []
        for order in sorted(excited_orders(fresh, self.engine)):
            at = np.array([60 * lowest / order])
            place = np.flatnonzero(np.isclose(simulated, order))
            if not span.idle_rpm <= at[0] <= span.rated_rpm or not place.size:
                continue
            other = rest(self.engine, at, sensor=self.sensor, specimen=self.specimen)
            twist = self._nose_acceleration(fresh, np.array([order]), at)[0, 0]
            ratios.append(float(abs(twist) / np.linalg.norm(other[place[0], 0])))
        if not ratios:
            raise SimulateError(
                f"no order of this engine passes its crankshaft's {lowest:.0f} Hz between "
                f"{span.idle_rpm:.0f} and {span.rated_rpm:.0f} rpm; a sweep of it shows no "
                f"resonance"
            )
        return ratios
