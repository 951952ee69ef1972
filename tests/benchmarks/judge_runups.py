"""Simulated lives of run-ups, at the level of features, judged as a person would follow the judge.

Every number is invented, so the truth is known. A baseline of three days of three sweeps, then a
check-up of three sweeps about every 180 h; on `record-again` one more sweep, on `another-day` up to
three extra days. A frequency follows the stiffness of the damper by 0.35 times the damper's share:
10 % of stiffness are 3.5 % of frequency, one degree C of its rubber (0.5 % of stiffness) 0.175 %.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import judge_figures as figure
import numpy as np
from judge_figures import Figure
from numpy.typing import NDArray

from vibetrend.trend.assess import CONFIRMED, Assessment, Levels, assess
from vibetrend.trend.priors import prior_scatter, scale
from vibetrend.trend.states import worst

Floats = NDArray[np.float64]

DB_PER_PART = 20 / np.log(10)
PER_STIFFNESS, PER_DEGREE = 0.35, 0.005
LIMIT_DB = 20 * np.log10(2)
BASELINE_HOURS = (0.0, 8.0, 20.0)
EXTRA_DAYS = 3
UNMEASURED_C = 10 / 1.645  # +-10 degrees as a 90 % interval, as `runup.temperature` states it


@dataclass(frozen=True)
class RunUps:
    """What a life of run-ups is drawn from."""

    resonances: int = 1  # the first is the crankshaft's
    frequency: float = 0.005  # relative standard error of a sweep
    height_db: float = 0.8  # sd of a sweep, phone and fit
    width: float = 0.15  # relative standard error
    rest: float = 0.001  # of a frequency, from day to day, warmth apart
    day_db: float = 0.3  # of height and width
    warmth_c: float = 5.0  # sd of the damper's temperature from day to day
    measured_c: float | None = 2.0  # sd of its thermometer; None: not measured
    share: float = 1.0  # of the damper in the stiffness that sets the frequency
    bad: float = 0.05  # chance of a sweep at another pace or read wrongly
    softer: float = 0.0  # part of the damper's stiffness lost at the onset
    checkups: int = 25
    every: tuple[float, float] = (140.0, 220.0)  # hours
    onset: tuple[float, float] = (400.0, 2000.0)

    @property
    def features(self) -> list[str]:
        """Names as a history has them."""
        names = ["crankshaft near 141 Hz", *(f"near {74 + k} Hz" for k in range(1, 9))]
        return [
            f"resonance: {name} {quantity}"
            for name in names[: self.resonances]
            for quantity in ("frequency", "height", "width")
        ]

    @property
    def shared(self) -> float:
        """What the history says that a day's sweeps share: part of a frequency."""
        known = UNMEASURED_C if self.measured_c is None else self.measured_c
        return PER_STIFFNESS * self.share * PER_DEGREE * known

    @property
    def sweep_db(self) -> Floats:
        """Standard errors of one sweep, (3,) dB."""
        parts = DB_PER_PART * np.array([self.frequency, 0.0, self.width])
        return parts + np.array([0.0, self.height_db, 0.0])


@dataclass
class Outcome:
    """What one life brought; the first confirmed change ends it."""

    begins: float  # hours
    begins_in: int  # the first check-up that can show it
    flagged_in: list[int] = field(default_factory=list)  # check-ups that asked for another day
    warned_in: int | None = None
    hours: float = np.nan  # at the warning
    feature: str = ""
    fell: bool = False
    extra_days: int = 0
    needless_again: int = 0

    @property
    def early(self) -> bool:
        """Warned before anything had changed."""
        return self.warned_in is not None and self.hours <= self.begins

    @property
    def flagged(self) -> bool:
        """Whether the first check-up after the change said anything of it."""
        return self.begins_in in self.flagged_in

    def confirmed(self, within: int) -> bool:
        """Whether it was confirmed within so many check-ups, and rightly."""
        right = self.fell and self.feature.endswith("frequency")
        return right and self.warned_in is not None and self.warned_in < self.begins_in + within


class Life:
    """The check-ups of one life, as the judge wants them."""

    def __init__(self, world: RunUps, seed: np.random.SeedSequence) -> None:
        self.world, self.rng = world, np.random.default_rng(seed)
        self.onset = self.rng.uniform(*world.onset) if world.softer else np.inf
        gaps = self.rng.uniform(*world.every, world.checkups)
        self.planned = BASELINE_HOURS[-1] + gaps.cumsum()
        self.hours: list[float] = []
        self.days: list[list[Floats]] = []
        self.any_bad = False
        self.prior = prior_scatter(
            world.features,
            usual=np.tile(world.sweep_db**2, world.resonances),
            stated=np.tile([True, False, False], world.resonances),
        )

    def day(self, hours: float) -> None:
        """Begin a check-up."""
        world, rng = self.world, self.rng
        level = rng.normal(0, world.day_db, (world.resonances, 3))
        off_c = rng.normal(0, world.warmth_c if world.measured_c is None else world.measured_c)
        lost = PER_DEGREE * off_c + world.softer * (hours > self.onset)
        level[:, 0] = DB_PER_PART * rng.normal(0, world.rest, world.resonances)
        level[0, 0] -= DB_PER_PART * PER_STIFFNESS * world.share * lost
        self.hours.append(hours)
        self.days.append([])
        self.level, self.any_bad = level, False

    def sweep(self) -> None:
        """Take one sweep."""
        value = self.level + self.rng.standard_normal(self.level.shape) * self.world.sweep_db
        if self.rng.random() < self.world.bad:
            value += self.rng.normal(0, [0.3, 3.0, 3.0], value.shape)
            self.any_bad = True
        self.days[-1].append(value.ravel())

    def judged(self) -> Assessment:
        """Judge everything so far."""
        features, world = self.world.features, self.world
        db = np.full((len(self.days), max(map(len, self.days)), len(features)), np.nan)
        for v, taken in enumerate(self.days):
            db[v, : len(taken)] = taken
        shared = np.zeros((len(self.days), len(features)))
        shared[:, 0::3] = (DB_PER_PART * world.shared) ** 2
        limit = np.tile([np.nan, LIMIT_DB, np.nan], world.resonances)
        none = np.zeros(len(features), dtype=bool)
        return assess(
            Levels(
                db=db,
                extra_variance=np.zeros_like(db),
                hours=np.array(self.hours),
                baseline=np.arange(len(self.days)) < len(BASELINE_HOURS),
                limit_db=limit,
                is_order=none,
                shares_gain=none,
                prior_placement=self.prior[0],
                prior_day=self.prior[1],
                shared_variance=shared,
                scale=scale(features),
            )
        )


def live(world: RunUps, seed: np.random.SeedSequence) -> Outcome:
    """Live one life until the first confirmed change or its end."""
    life = Life(world, seed)
    out = Outcome(life.onset, int(np.searchsorted(life.planned, life.onset, side="right")))
    for hours in BASELINE_HOURS:
        _take(life, hours, out)
    for number, planned in enumerate(life.planned):
        hours = float(planned)
        result = _take(life, hours, out)
        if any(each in ("another-day", *CONFIRMED) for each in result.state):
            out.flagged_in.append(number)
        for _ in range(EXTRA_DAYS):
            if _state(result) != "another-day":
                break
            hours += life.rng.uniform(1, 8)
            out.extra_days += 1
            result = _take(life, hours, out)
        named = [k for k, each in enumerate(result.state) if each in CONFIRMED]
        if named:
            first = max(named, key=lambda k: abs(result.bends.z[k]))
            out.warned_in, out.hours, out.feature = number, hours, world.features[first]
            out.fell = bool(result.bends.z[first] < 0)
            break
    return out


def _state(result: Assessment) -> str:
    return worst([*result.state, result.common_state, *result.asks])


def _take(life: Life, hours: float, out: Outcome) -> Assessment:
    life.day(hours)
    for _ in range(3):
        life.sweep()
    result = life.judged()
    if _state(result) == "record-again":
        out.needless_again += not life.any_bad
        life.sweep()
        result = life.judged()
    return result


Lives = Callable[[RunUps], list[Outcome]]
Row = Callable[[Lives], list[Figure]]


def quiet(world: RunUps, lives: float = 100) -> Row:
    """Count what is said although nothing changes."""

    def row(each_life: Lives) -> list[Figure]:
        out = each_life(world)
        warned = [each.warned_in is not None for each in out]
        return [
            figure.one_in("false warnings", warned, lives=lives),
            figure.mean("extra days", [each.extra_days for each in out]),
            figure.mean("needless record-again", [each.needless_again for each in out]),
        ]

    return row


def softer(world: RunUps, *, flagged: float = 0.0) -> Row:
    """Count how soon 10 % less stiffness is said."""

    def row(each_life: Lives) -> list[Figure]:
        out = [each for each in each_life(replace(world, softer=0.1)) if not each.early]
        return [
            figure.share("flagged at the next", [each.flagged for each in out], least=flagged),
            figure.share("confirmed at the next", [each.confirmed(1) for each in out]),
            figure.share("confirmed within two", [each.confirmed(2) for each in out]),
            figure.share("confirmed within four", [each.confirmed(4) for each in out]),
        ]

    return row


SAME = RunUps(warmth_c=0.0, measured_c=0.5)
_WORLDS = {
    "same temperature": SAME,
    "damper to 2 degrees": RunUps(),
    "damper unmeasured": RunUps(measured_c=None),
}
_SHARES = (1.0, 0.35)

RUN_UPS: dict[str, Row] = {
    f"run-ups, {name}, {kind}": row
    for name, world in _WORLDS.items()
    for kind, row in {
        "quiet": quiet(world),
        **{
            f"3.5 % x {share:g}": softer(
                replace(world, share=share), flagged=0.9 if world is SAME and share == 1 else 0.0
            )
            for share in _SHARES
        },
    }.items()
} | {
    "run-ups, three resonances, quiet": quiet(RunUps(resonances=3)),
    "run-ups, days differ by 0.4 % more than stated, quiet": quiet(
        RunUps(rest=0.004), lives=0
    ),  # a stress, no aim
    "run-ups, sweeps to 0.3 %, same temperature, 3.5 % x 0.35": softer(
        replace(SAME, frequency=0.003, share=0.35)
    ),
    "run-ups, sweeps to 1 %, same temperature, 3.5 % x 1": softer(replace(SAME, frequency=0.01)),
}
"""How often run-ups warn falsely, and how soon they say that a damper lost stiffness."""
