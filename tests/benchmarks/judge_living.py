"""A damper's life as lived by a person who follows the judge's advice.

A baseline of three days of three placements, then a check-up of three placements about every
180 h. On `record-again` one more placement is taken, on `another-day` up to three extra days.
Each judgement is `assess` on everything so far, the function `judge` calls; a test holds the two
equal.
"""

from dataclasses import dataclass

import numpy as np
from judge_worlds import LIMIT_DB, Day, Life, World

from vibetrend.trend.assess import Assessment, Levels, assess
from vibetrend.trend.priors import PRIOR_DAY_DB, PRIOR_PLACEMENT_DB
from vibetrend.trend.states import worst

CONFIRMED = ("changed", "past-limit")


@dataclass
class Outcome:
    """What one life brought; the first confirmed change ends it."""

    life: Life
    warned_in: int | None = None  # check-up
    hours: float = np.nan  # at the warning
    order: int = -1  # the strongest that was named
    direction: float = 0.0
    low: float = np.nan  # 90 % interval of hours to the limit
    high: float = np.nan
    all_moved_in: int | None = None
    extra_days: int = 0
    record_again: int = 0
    needless_again: int = 0

    @property
    def early(self) -> bool:
        """Warned before anything had changed."""
        return self.warned_in is not None and self.hours <= self.life.begins

    @property
    def level(self) -> float:
        """Size of the true change at the warning, dB; infinite without one."""
        return np.inf if self.warned_in is None else abs(self.life.moved(self.hours))

    @property
    def right(self) -> bool:
        """An order that moves was named, in its true direction."""
        true = self.life.moved(self.hours)
        return self.order in self.life.movers and self.direction * true > 0

    @property
    def delay(self) -> float:
        """Check-ups between the first that could show the change and the warning."""
        return np.inf if self.warned_in is None else self.warned_in - self.life.begins_in

    @property
    def hours_left(self) -> float:
        """True hours to the limit at the warning."""
        return self.life.hours_to_limit(self.hours)


class Logbook:
    """The check-ups taken so far, as the judge wants them."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.days: list[Day] = []
        self.baseline: list[bool] = []

    def add(self, day: Day, *, baseline: bool) -> None:
        """Enter a check-up; it may still get more placements."""
        self.days.append(day)
        self.baseline.append(baseline)

    def levels(self) -> Levels:
        """Return everything as arrays."""
        places = max(len(day.taken) for day in self.days)
        db = np.full((len(self.days), places, self.world.orders), np.nan)
        for v, day in enumerate(self.days):
            db[v, : len(day.taken)] = day.taken
        every = np.ones(self.world.orders, dtype=bool)
        conditions = None
        if self.world.conditions_known:
            steps = np.array([day.conditions for day in self.days])
            steps -= steps[self.baseline].mean(axis=0)
            conditions = np.repeat(steps[:, None], places, axis=1)
        return Levels(
            db=db,
            extra_variance=np.zeros_like(db),
            hours=np.array([day.hours for day in self.days]),
            baseline=np.array(self.baseline),
            limit_db=np.full(self.world.orders, LIMIT_DB),
            is_order=every,
            shares_gain=every,
            prior_placement=np.full(self.world.orders, PRIOR_PLACEMENT_DB),
            prior_day=np.full(self.world.orders, PRIOR_DAY_DB),
            conditions=conditions,
        )


def live(world: World, seed: np.random.SeedSequence) -> Outcome:
    """Live one life until the first confirmed change or its end."""
    life, book = Life(world, seed), Logbook(world)
    out = Outcome(life)
    for number, hours in enumerate(life.baseline_hours):
        day = life.day(hours, number - len(life.baseline_hours))
        _take(book, day, world.baseline_placements, out, baseline=True)
    for number, planned in enumerate(life.checkup_hours):
        hours = float(planned)
        result = _take(book, life.day(hours, number), world.placements, out)
        for extra, gap in enumerate(life.extra_gaps[number], start=1):
            if state(result) != "another-day":
                break
            hours += float(gap)
            out.extra_days += 1
            result = _take(book, life.day(hours, number, extra), world.placements, out)
        if result.common_state == "all-moved" and out.all_moved_in is None:
            out.all_moved_in = number
        if any(each in CONFIRMED for each in result.state):
            _warned(out, result, hours, number)
            break
    return out


def state(result: Assessment) -> str:
    """Return the state a person sees."""
    return worst([*result.state, result.common_state, *result.asks])


def _take(book: Logbook, day: Day, places: int, out: Outcome, baseline: bool = False) -> Assessment:
    book.add(day, baseline=baseline)
    for _ in range(places):
        day.place()
    result = assess(book.levels())
    if state(result) == "record-again":
        out.record_again += 1
        out.needless_again += not any(day.bad)
        day.place()
        result = assess(book.levels())
    return result


def _warned(out: Outcome, result: Assessment, hours: float, number: int) -> None:
    named = [f for f, each in enumerate(result.state) if each in CONFIRMED]
    out.order = max(named, key=lambda f: abs(result.bends.z[f]))
    out.direction = float(np.sign(result.bends.z[out.order]))
    out.warned_in, out.hours = number, hours
    out.low = float(result.ahead.hours_low[out.order])
    out.high = float(result.ahead.hours_high[out.order])
