"""Simulated damper lives, judged as a person would follow the judge's advice.

    python tests/benchmarks/judge_lives.py --lives 2000 --seed 1

Every number here is invented: a world in which the truth is known. A life has a baseline of three
days of three placements and then a check-up of three placements about every 180 h. On
`record-again` one more placement is taken, on `another-day` up to three extra days. Rates are
printed with 95 % intervals (Wilson for shares, Poisson for counts). `assess` is what `judge` calls;
a test holds the two equal.
"""

import argparse
import time
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from vibetrend.trend.assess import Assessment, Levels, assess
from vibetrend.trend.history import PRIOR_DAY_DB, PRIOR_PLACEMENT_DB
from vibetrend.trend.states import worst

Floats = NDArray[np.float64]

CHECKUPS = 25
PLACES = 5  # at most three asked for and two more
LIMIT_DB = 20 * np.log10(2)
CONFIRMED = ("changed", "past-limit")


@dataclass(frozen=True)
class World:
    """What a life is drawn from; dB where nothing else is said."""

    orders: int = 14
    scatter: tuple[float, float] = (0.5, 1.5)  # between placements, all causes
    common_share: tuple[float, float] = (0.2, 0.7)  # of its variance
    day: float = 0.3
    conditions: float = 0.2
    bad: float = 0.05
    persists: float = 0.3
    tails: int = 0  # degrees of freedom of a t, 0 for normal
    tilt: float = 0.0  # over the orders, differs from placement to placement
    placements: int = 3  # in each check-up
    baseline_days: int = 3
    drift: str = "none"  # none, ramp, exponential, step, together


class Life:
    """One damper: draws a check-up whenever one is taken."""

    def __init__(self, world: World, rng: np.random.Generator) -> None:
        self.world, self.rng = world, rng
        total = rng.uniform(*world.scatter)
        share = rng.uniform(*world.common_share)
        self.common_sd = total * np.sqrt(share)
        self.own_sd = total * np.sqrt(1 - share) * np.exp(rng.normal(0, 0.15, world.orders))
        self.slopes = rng.normal(0, world.conditions, (2, world.orders))
        self.mover = int(rng.integers(world.orders))
        self.onset = rng.uniform(400, 2000)
        self.growth = rng.uniform(500, 1200)
        self.doubles_at = rng.uniform(2000, 4200)
        self.sign = rng.choice([-1.0, 1.0])
        self.together = self.sign * rng.uniform(3, 4)

    def drift(self, hours: float) -> Floats:
        """Return the true change of every order, dB."""
        out = np.zeros(self.world.orders)
        late = max(hours - self.onset, 0.0)
        match self.world.drift:
            case "ramp":
                out[self.mover] = late / 500
            case "exponential":
                out[self.mover] = LIMIT_DB * np.exp((hours - self.doubles_at) / self.growth)
            case "step":
                out[self.mover] = 3.0 * (late > 0)
            case "together":
                out += self.together * (late > 0)
        return out

    def noise(self, *shape: int) -> Floats:
        """Return unit normal errors, or a t scaled to unit variance where tails are asked for."""
        tails = self.world.tails
        if not tails:
            return self.rng.standard_normal(shape)
        drawn: Floats = self.rng.standard_t(tails, shape) / np.sqrt(tails / (tails - 2))
        return drawn

    def day(self, hours: float) -> "Day":
        """Begin a check-up."""
        condition = self.rng.standard_normal(2) / np.sqrt(2)
        own = self.world.day * self.noise(self.world.orders) + condition @ self.slopes
        return Day(self, self.drift(hours) + own)


@dataclass
class Day:
    """One check-up as it is taken, placement by placement."""

    life: Life
    level: Floats
    fault: Floats | None = None
    bad: int = 0
    taken: list[Floats] = field(default_factory=list)

    def place(self) -> None:
        """Put the phone on once more."""
        life, world, rng = self.life, self.life.world, self.life.rng
        if self.fault is not None and rng.random() >= world.persists:
            self.fault = None
        if self.fault is None and rng.random() < world.bad:
            self.fault = _fault(world.orders, rng)
        value = self.level + life.common_sd * life.noise(1) + life.own_sd * life.noise(world.orders)
        value = value + world.tilt * rng.standard_normal() * np.linspace(-1.5, 1.5, world.orders)
        if self.fault is not None:
            value = value + self.fault
            self.bad += 1
        self.taken.append(value)


def _fault(orders: int, rng: np.random.Generator) -> Floats:
    kind = rng.integers(3)
    if kind == 0:  # another spot
        return rng.normal(0, 3, orders)
    if kind == 1:  # automatic gain: everything, the loud orders most
        return rng.uniform(-6, 0) * np.linspace(1, 0.5, orders)
    spike = np.zeros(orders)
    spike[rng.integers(orders)] = rng.choice([-1, 1]) * rng.uniform(4, 10)
    return spike


@dataclass
class Outcome:
    """What one life brought."""

    warned_at: float = np.inf  # hours
    warned_in: int = -1  # check-up
    level: float = np.nan  # true change of the mover at the warning, dB
    right: bool = False
    extra_days: int = 0
    record_again: int = 0
    needless_again: int = 0
    together_in: int = -1
    false_together: bool = False
    covered: bool | None = None
    late: bool = False
    hours_left: float = 0.0  # at the warning, until the limit is truly reached
    checkup_of_onset: int = -1


class Logbook:
    """The levels taken so far, as the judge wants them."""

    def __init__(self, orders: int) -> None:
        self.days: list[tuple[float, bool, Day]] = []
        self.orders = orders

    def levels(self) -> Levels:
        """Return everything as arrays."""
        visits = len(self.days)
        db = np.full((visits, PLACES, self.orders), np.nan)
        for v, (_, _, day) in enumerate(self.days):
            db[v, : len(day.taken)] = day.taken
        every = np.ones(self.orders, dtype=bool)
        return Levels(
            db=db,
            extra_variance=np.zeros_like(db),
            hours=np.array([hours for hours, _, _ in self.days]),
            baseline=np.array([baseline for _, baseline, _ in self.days]),
            limit_db=np.full(self.orders, LIMIT_DB),
            is_order=every,
            shares_gain=every,
            prior_placement=np.full(self.orders, PRIOR_PLACEMENT_DB),
            prior_day=np.full(self.orders, PRIOR_DAY_DB),
        )


def live(world: World, rng: np.random.Generator) -> Outcome:
    """Live one life until the first confirmed change or its end."""
    life, book, out = Life(world, rng), Logbook(world.orders), Outcome()
    for hours in (0.0, 8.0, 20.0)[: world.baseline_days]:
        _take(book, life, hours, True, out)
    hours = 20.0
    for checkup in range(CHECKUPS):
        hours += rng.uniform(140, 220)
        if hours > life.onset and out.checkup_of_onset < 0:
            out.checkup_of_onset = checkup
        result = _take(book, life, hours, False, out)
        day_hours = hours
        for _ in range(3):
            if _state(result) != "another-day":
                break
            day_hours += rng.uniform(0, 8)
            out.extra_days += 1
            result = _take(book, life, day_hours, False, out)
        if result.common_state == "all-moved" and out.together_in < 0:
            out.together_in = checkup
            out.false_together = world.drift != "together" or hours < life.onset
            if world.drift == "together":
                break
        if _confirmed(result):
            _warned(out, life, result, day_hours, checkup)
            break
        hours = day_hours
    return out


def _state(result: Assessment) -> str:
    return worst([*result.state, result.common_state, *result.asks])


def _confirmed(result: Assessment) -> bool:
    return any(state in CONFIRMED for state in result.state)


def _take(book: Logbook, life: Life, hours: float, baseline: bool, out: Outcome) -> Assessment:
    day = life.day(hours)
    book.days.append((hours, baseline, day))
    for _ in range(life.world.placements):
        day.place()
    result = assess(book.levels())
    if _state(result) == "record-again":
        out.record_again += 1
        out.needless_again += not day.bad
        day.place()
        result = assess(book.levels())
    return result


def _warned(out: Outcome, life: Life, result: Assessment, hours: float, checkup: int) -> None:
    named = [f for f, state in enumerate(result.state) if state in CONFIRMED]
    strongest = max(named, key=lambda f: abs(result.bends.z[f]))
    out.warned_at, out.warned_in = hours, checkup
    out.level = float(life.drift(hours)[life.mover])
    out.right = strongest == life.mover
    ahead = result.ahead
    truth = out.hours_left = _hours_to_limit(life, hours)
    if strongest == life.mover and result.bends.z[strongest] > 0:
        out.covered = bool(ahead.hours_low[strongest] <= truth <= ahead.hours_high[strongest])
        out.late = bool(truth < ahead.hours_low[strongest])


def _hours_to_limit(life: Life, hours: float) -> float:
    match life.world.drift:
        case "ramp":
            at = life.onset + 500 * LIMIT_DB
        case "exponential":
            at = life.doubles_at
        case _:
            return np.inf
    return float(max(at - hours, 0.0))


def share(hits: int, of: int) -> str:
    """Return a share with its 95 % interval (Wilson 1927)."""
    if not of:
        return "    -"
    z, p = 1.96, hits / of
    mid = (p + z * z / 2 / of) / (1 + z * z / of)
    half = z / (1 + z * z / of) * np.sqrt(p * (1 - p) / of + z * z / 4 / of**2)
    return f"{p:6.1%} ({max(mid - half, 0):.1%} to {mid + half:.1%})"


def per_life(count: int, lives: int) -> str:
    """Return a count per life with its 95 % interval (Poisson, exact)."""
    low = chi2.ppf(0.025, 2 * count) / 2 / lives if count else 0.0
    high = chi2.ppf(0.975, 2 * count + 2) / 2 / lives
    one_in = f"1 in {lives / count:.0f}" if count else "none"
    return f"{count / lives:.4f} a life, {one_in} (95 %: {low:.4f} to {high:.4f})"


def lives(world: World, count: int, seed: int) -> list[Outcome]:
    """Live a number of lives from one seed."""
    return [live(world, rng) for rng in np.random.default_rng(seed).spawn(count)]


def quiet_row(name: str, world: World, count: int, seed: int) -> None:
    """Print what happens when nothing changes."""
    out = lives(world, count, seed)
    print(f"\n{name}: {count} lives")
    print("  false warnings      ", per_life(sum(o.warned_in >= 0 for o in out), count))
    print("  false all-moved     ", per_life(sum(o.together_in >= 0 for o in out), count))
    print(f"  extra days           {np.mean([o.extra_days for o in out]):.2f} a life")
    print(
        f"  record-again         {np.mean([o.record_again for o in out]):.2f} a life, "
        f"needless {np.mean([o.needless_again for o in out]):.2f}"
    )


def drift_row(drift: str, world: World, count: int, seed: int) -> list[Outcome]:
    """Print what happens when one order drifts."""
    out = lives(replace(world, drift=drift), count, seed)
    warned = [o for o in out if o.warned_in >= 0]
    level = np.array([o.level if o.warned_in >= 0 else np.inf for o in out])
    print(f"\n{drift}: {count} lives, median level at the warning {np.median(level):.2f} dB")
    print("  right order         ", share(sum(o.right for o in warned), len(warned)))
    if drift == "step":
        delay = np.array(
            [o.warned_in - o.checkup_of_onset if o.warned_in >= 0 else 99 for o in out]
        )
        print("  same check-up       ", share(int((delay <= 0).sum()), count))
        print("  within three        ", share(int((delay <= 2).sum()), count))
    else:
        for bound in (2.0, 3.0, 4.0, LIMIT_DB):
            print(f"  before {bound:.1f} dB       ", share(int((level < bound).sum()), count))
    if drift == "exponential":
        early = sum(o.hours_left >= 100 for o in warned)
        print("  100 h or more before", share(early, count))
    covered = [o for o in out if o.covered is not None]
    print("  interval covers     ", share(sum(bool(o.covered) for o in covered), len(covered)))
    print("  truth before the low end", share(sum(o.late for o in covered), len(covered)))
    print(f"  extra days           {np.mean([o.extra_days for o in out]):.2f} a life")
    return out


def together_row(world: World, count: int, seed: int) -> None:
    """Print what happens when all orders step together by 3 to 4 dB."""
    out = lives(replace(world, drift="together"), count, seed)
    delay = np.array(
        [o.together_in - o.checkup_of_onset if o.together_in >= 0 else 99 for o in out]
    )
    print(f"\nall orders together by 3 to 4 dB: {count} lives")
    print("  noticed within three", share(int(((delay >= 0) & (delay <= 2)).sum()), count))
    print("  an order warned     ", share(sum(o.warned_in >= 0 for o in out), count))


def main() -> None:
    """Print all rows."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--lives", type=int, default=2000, help="for the quiet rows")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    begun = time.perf_counter()
    n, seed, world = options.lives, options.seed, World()
    few = max(n // 4, 100)
    quiet_row("nothing changes", world, n, seed)
    covered: list[Outcome] = []
    for i, drift in enumerate(("ramp", "exponential", "step")):
        covered += drift_row(drift, world, few, seed + 10 + i)
    known = [o for o in covered if o.covered is not None]
    print("\ninterval on mixed drifts", share(sum(bool(o.covered) for o in known), len(known)))
    together_row(world, few, seed + 20)
    stress = replace(world, bad=0.1, tails=4, tilt=0.5)
    quiet_row("stress: 10 % bad placements, t4 tails, 0.5 dB tilt", stress, n // 2, seed + 30)
    quiet_row("conditions doubled", replace(world, conditions=0.4), n // 2, seed + 31)
    quiet_row("one placement a check-up", replace(world, placements=1), n // 4, seed + 32)
    quiet_row("a baseline of one day", replace(world, baseline_days=1), n // 4, seed + 33)
    for orders in (4, 6):
        small = replace(world, orders=orders)
        quiet_row(f"{orders} visible orders", small, n // 2, seed + 40 + orders)
        drift_row("ramp", small, few // 2, seed + 50 + orders)
    print(f"\n{time.perf_counter() - begun:.0f} s")


if __name__ == "__main__":
    main()
