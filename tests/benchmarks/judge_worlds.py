"""The invented world of the judge's benchmark: dampers whose true change is known.

Every number is invented. A life is drawn from a `World` and one seed; each check-up has its own
seed, so that every judge, however many extra days it asks for, sees the same check-ups.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Drift = Literal["none", "ramp", "exponential", "late exponential", "step", "together", "phone"]

LIMIT_DB = 20 * np.log10(2)
BASELINE_HOURS = (0.0, 8.0, 20.0)
EXTRA_DAYS = 3  # at most, after a check-up
_TOGETHER_DB = (3.0, 4.0)
_PHONE_SD_DB = 4.0  # of what another phone does to all orders alike


@dataclass(frozen=True)
class World:
    """What a life is drawn from; dB where nothing else is said, pairs are ranges."""

    orders: int = 14
    scatter: tuple[float, float] = (0.5, 1.5)  # between placements, all causes
    common_share: tuple[float, float] = (0.2, 0.7)  # of its variance
    differs: float = 0.15  # sd of the logarithm of the orders' own scatter
    day: float = 0.3
    conditions: float = 0.2  # what speed and temperature do together
    conditions_known: bool = False  # to the judge
    seasonal: float = 0.0  # share of the conditions' variance that comes and goes over months
    bad: float = 0.05  # chance of a bad placement
    persists: float = 0.3  # chance that it stays bad for the next one that day
    tails: int = 0  # degrees of freedom of a t, 0 for normal
    tilt: float = 0.0  # over the orders, differs from placement to placement
    missing: float = 0.0  # chance that an order is not visible in a placement
    placements: int = 3  # in each check-up
    baseline_days: int = 3
    baseline_placements: int = 3
    checkups: int = 25
    every: tuple[float, float] = (140.0, 220.0)  # hours
    drift: Drift = "none"
    onset: tuple[float, float] = (400.0, 2000.0)  # hours
    pace: float = 1.0  # of a ramp, dB per 500 h
    step: float = 3.0
    movers: int = 1
    growth: tuple[float, float] = (500.0, 1200.0)  # hours in which a change grows by e
    doubled: tuple[float, float] = (2000.0, 4200.0)  # hours at which an exponential has doubled
    leftover: float = 0.5  # of another phone, each order its own


class Life:
    """One damper: its true changes, and a check-up whenever one is taken."""

    def __init__(self, world: World, seed: np.random.SeedSequence) -> None:
        self.world, self.seed = world, seed
        rng = np.random.default_rng(seed)
        total, share = rng.uniform(*world.scatter), rng.uniform(*world.common_share)
        differs = np.exp(rng.normal(0, world.differs, world.orders))
        self.common_sd = total * np.sqrt(share)
        self.own_sd = total * np.sqrt(1 - share) * differs
        self.slopes = rng.normal(0, world.conditions, (2, world.orders)) / np.sqrt(2)
        self.movers = rng.permutation(world.orders)[: world.movers]
        self.onset = rng.uniform(*world.onset)
        self.growth = rng.uniform(*world.growth)
        self.doubled = rng.uniform(*world.doubled)
        self.together = rng.choice([-1.0, 1.0]) * rng.uniform(*_TOGETHER_DB)
        self.phone = rng.normal(0, _PHONE_SD_DB) + rng.normal(0, world.leftover, world.orders)
        self.season = rng.uniform(500, 1500), rng.uniform(0, 2 * np.pi, 2)  # hours, phases
        self.checkup_hours = BASELINE_HOURS[-1] + rng.uniform(*world.every, world.checkups).cumsum()
        self.extra_gaps = rng.uniform(0, 8, (world.checkups, EXTRA_DAYS))  # hours
        self.baseline_hours = BASELINE_HOURS[: world.baseline_days]

    @property
    def begins(self) -> float:
        """Hours at which something begins to change; infinite for never."""
        if self.world.drift == "none":
            return np.inf
        return 0.0 if self.world.drift == "exponential" else self.onset

    @property
    def begins_in(self) -> int:
        """The first check-up after something began to change."""
        return int(np.searchsorted(self.checkup_hours, self.begins, side="right"))

    def moved(self, hours: float) -> float:
        """Return the true change of the orders that move by themselves, dB."""
        late = max(hours - self.onset, 0.0)
        match self.world.drift:
            case "ramp":
                return self.world.pace * late / 500
            case "exponential":  # from new
                whole = np.expm1(self.doubled / self.growth)
                return float(LIMIT_DB * np.expm1(hours / self.growth) / whole)
            case "late exponential":  # from the onset
                whole = np.expm1(3.0)  # doubled after 3 growths
                return float(LIMIT_DB * np.expm1(late / self.growth) / whole)
            case "step":
                return self.world.step * (late > 0)
        return 0.0

    def change(self, hours: float) -> Floats:
        """Return the true change of every order, dB."""
        out = np.zeros(self.world.orders)
        out[self.movers] = self.moved(hours)
        if hours > self.onset and self.world.drift == "together":
            out += self.together
        if hours > self.onset and self.world.drift == "phone":
            out += self.phone
        return out

    def hours_to_limit(self, hours: float) -> float:
        """Return the hours until the limit is truly reached, 0 if it has been."""
        match self.world.drift:
            case "ramp" if self.world.pace > 0:
                at = self.onset + 500 * LIMIT_DB / self.world.pace
            case "exponential":
                at = self.doubled
            case "late exponential":
                at = self.onset + 3 * self.growth
            case _:
                at = np.inf
        return float(max(at - hours, 0.0))

    def day(self, hours: float, number: int, extra: int = 0) -> "Day":
        """Begin check-up `number` (the baseline's are negative), or an extra day after it."""
        key = (*self.seed.spawn_key, number + len(BASELINE_HOURS), extra)
        seed = np.random.SeedSequence(self.seed.entropy, spawn_key=key)
        return Day(self, hours, np.random.default_rng(seed))


@dataclass
class Day:
    """One check-up as it is taken, placement by placement."""

    life: Life
    hours: float
    rng: np.random.Generator
    taken: list[Floats] = field(default_factory=list)  # (orders,) each, dB
    common: list[float] = field(default_factory=list)  # what each did to all orders
    bad: list[bool] = field(default_factory=list)
    _fault: Floats | None = None

    def __post_init__(self) -> None:
        # Speed and temperature, standardised.
        share, (period, phase) = self.life.world.seasonal, self.life.season
        season = np.sqrt(2) * np.sin(2 * np.pi * self.hours / period + phase)
        self.conditions = np.sqrt(share) * season + np.sqrt(1 - share) * self.rng.standard_normal(2)
        own = self.life.world.day * self._noise(self.life.world.orders)
        self.level = self.life.change(self.hours) + own + self.conditions @ self.life.slopes

    def place(self) -> None:
        """Put the phone on once more."""
        life, world, rng = self.life, self.life.world, self.rng
        if self._fault is not None and rng.random() >= world.persists:
            self._fault = None
        if self._fault is None and rng.random() < world.bad:
            self._fault = _fault(world.orders, rng)
        common = float(life.common_sd * self._noise(1)[0])
        value = self.level + common + life.own_sd * self._noise(world.orders)
        value += world.tilt * rng.standard_normal() * np.linspace(-1.5, 1.5, world.orders)
        if self._fault is not None:
            value += self._fault
        value[rng.random(world.orders) < world.missing] = np.nan
        self.taken.append(value)
        self.common.append(common)
        self.bad.append(self._fault is not None)

    def _noise(self, count: int) -> Floats:
        """Return unit normal errors, or a t scaled to unit variance where tails are asked for."""
        tails = self.life.world.tails
        if not tails:
            return self.rng.standard_normal(count)
        drawn: Floats = self.rng.standard_t(tails, count) / np.sqrt(tails / (tails - 2))
        return drawn


def _fault(orders: int, rng: np.random.Generator) -> Floats:
    kind = rng.integers(3)
    if kind == 0:  # another spot
        return rng.normal(0, 3, orders)
    if kind == 1:  # automatic gain: everything, the loud orders most
        return rng.uniform(-6, 0) * np.linspace(1, 0.5, orders)
    spike = np.zeros(orders)
    spike[rng.integers(orders)] = rng.choice([-1, 1]) * rng.uniform(4, 10)
    return spike
