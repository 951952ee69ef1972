"""Order curves with known truth: a twist of the crank and decoys, seen through noise."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vibetrend.recording import FloatArray
from vibetrend.runup.curves import SPAN, Curves, grid_rpm

ALL_ORDERS = tuple(np.arange(0.5, 12.5, 0.5))
TWISTING = frozenset({1.5, 3.0, 4.5, 6.0, 7.5, 9.0, 10.5, 12.0})  # references: in-line six
STIFFNESS_TO_FREQUENCY = 0.35  # -10 % of the damper's stiffness moves the mode by -3.5 %
_WINDOW = np.linspace(-0.5, 0.5, 41)  # of a sweep's windows: Hann, over SPAN of the speed
_WEIGHT = np.cos(np.pi * _WINDOW) ** 2 / (np.cos(np.pi * _WINDOW) ** 2).sum()


@dataclass(frozen=True)
class Resonance:
    """A mode of one degree of freedom and what of an order's peak it makes."""

    hz: float
    damping: float
    share: float  # of the peak's amplitude
    orders: frozenset[float] | None = None  # None: all show it


TWIST = Resonance(188.25, 0.03, 0.5, TWISTING)
MOUNT = Resonance(17.0, 0.06, 0.7)
COVER = Resonance(240.0, 0.015, 0.5)
PIPE = Resonance(96.0, 0.04, 0.4)
DECOYS = (MOUNT, COVER, PIPE)


@dataclass(frozen=True)
class World:
    """One engine with one phone on one spot."""

    modes: tuple[Resonance, ...] = (TWIST, *DECOYS)
    seed: int = 1  # what is fixed: residues, backgrounds
    low_rpm: float = 900.0
    high_rpm: float = 3200.0
    noise: float = 0.02  # rms of each axis beside a firing order of about 1
    breathing: float = 0.03  # of each order's amplitude, point by point
    axes: int = 3
    orders: tuple[float, ...] = ALL_ORDERS

    def stiffer(self, percent: float) -> "World":
        """Return the same with the damper's stiffness changed: only the twist moves."""
        factor = 1 + percent / 100 * STIFFNESS_TO_FREQUENCY
        return replace(
            self,
            modes=tuple(
                replace(mode, hz=mode.hz * factor) if mode.orders == TWISTING else mode
                for mode in self.modes
            ),
        )

    def damped(self, factor: float) -> "World":
        """Return the same with the twist's damping changed by a factor; its residue stays."""
        return replace(
            self,
            modes=tuple(
                replace(
                    mode,
                    damping=mode.damping * factor,
                    share=mode.share / (mode.share + factor * (1 - mode.share)),
                )
                if mode.orders == TWISTING
                else mode
                for mode in self.modes
            ),
        )

    def sweep(self, seed: int, *, gain_db: float = 0.0, order_db: float = 0.0) -> Curves:
        """Return one sweep; `order_db` is the sd of each order's own change of level."""
        fixed, chance = np.random.default_rng(self.seed), np.random.default_rng(seed)
        speed = grid_rpm(self.low_rpm, self.high_rpm)
        orders = np.array(self.orders)
        value = np.stack([self._order(order, speed, fixed) for order in orders])
        shape = value.shape
        level = 10 ** ((gain_db + order_db * chance.standard_normal((orders.size, 1, 1))) / 20)
        breath = 1 + self.breathing * chance.standard_normal(shape[:2])[..., np.newaxis]
        turned = np.exp(1j * orders[:, np.newaxis] * _wander(chance, speed.size))[..., np.newaxis]
        noise = self.noise * 10 ** (gain_db / 20)
        error = noise * (chance.standard_normal((*shape, 2)) @ np.array([1, 1j])) / np.sqrt(2)
        variance = np.full(shape, noise**2)
        return Curves(
            orders=orders,
            speed_rpm=speed,
            value=value * level * breath * turned + error,
            variance=variance,
            unit="m/s^2",
        )

    def _order(
        self, order: float, speed: FloatArray, fixed: np.random.Generator
    ) -> NDArray[np.complex128]:
        """Return one order without noise, shape (M, A)."""
        hz = order * speed / 60

        def phases() -> NDArray[np.complex128]:
            return np.exp(2j * np.pi * fixed.uniform(size=self.axes))

        strength = 1.0 if order % 3 == 0 else 0.35 if order in TWISTING else 0.2
        strength *= 10 ** (fixed.normal(0, 3) / 20)
        bend = fixed.normal(0, 0.4, 2)
        x = np.log(speed / speed.mean())
        background = phases() * 10 ** (fixed.normal(0, 3, self.axes) / 20)
        slow = (1 + (bend[0] + 1j * bend[1]) * x)[:, np.newaxis] * background
        value = slow
        for mode in self.modes:
            residue = phases() * 10 ** (fixed.normal(0, 2, self.axes) / 20)
            residue *= np.linalg.norm(background) / np.linalg.norm(residue)
            if mode.orders is not None and order not in mode.orders:
                continue
            size = min(mode.share, 0.999) / (1 - min(mode.share, 0.999)) * 2 * mode.damping
            ratio = (hz / mode.hz)[:, np.newaxis] * np.exp(SPAN * _WINDOW)
            reply = (1 / (1 - ratio**2 + 2j * mode.damping * ratio)) @ _WEIGHT
            value = value + size * reply[:, np.newaxis] * residue
        return strength * np.exp(1.5 * x)[:, np.newaxis] * value


def _wander(chance: np.random.Generator, count: int) -> FloatArray:
    """Return a crank angle read wrongly, rad, the same for all orders."""
    return np.cumsum(0.05 * chance.standard_normal(count))


def sweeps(world: World, seeds: Sequence[int], *, order_db: float = 0.5) -> list[Curves]:
    """Return several sweeps of one visit, each with its own gain."""
    return [
        world.sweep(
            seed, gain_db=float(np.random.default_rng(seed).normal(0, 2)), order_db=order_db
        )
        for seed in seeds
    ]
