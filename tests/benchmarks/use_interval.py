"""How often the range of use holds what an invented engine does: nine times in ten is meant.

With little history a steady engine is held too often, on purpose: nothing tells it from a boat
whose season is on.

Run: python tests/benchmarks/use_interval.py --engines 1000 --seed 1
"""

import argparse
import datetime as dt
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from vibetrend.installation.use import use

Hours = NDArray[np.float64]  # run on each day
PAST, FUTURE = 8, 8  # years
YEAR = 365.25
HISTORIES = (0.15, 0.35, 0.6, 0.85, 1.0, 1.4, 2.0, 2.5, 4.0, 7.0)  # years, about
AHEAD = (0.25, 0.5, 1.0, 2.0, 5.0)


def days_of(years: int) -> Hours:
    return np.arange(round(years * YEAR)) / YEAR


def by_year(rng: np.random.Generator, times: Hours, scatter: float) -> Hours:
    """Return a factor for each day: years differ."""
    factors = np.exp(scatter * rng.standard_normal(PAST + FUTURE + 2))
    return np.asarray(factors[(times + rng.random()).astype(int)])


def shape_of_season(rng: np.random.Generator, times: Hours) -> Hours:
    """Return what share of a full season each day has: three to eight months in a year."""
    width = rng.uniform(0.25, 0.67)
    start = 0.35 - width / 2 + rng.normal(0, 0.05) + (0.5 if rng.random() < 0.2 else 0.0)
    at = (times - start) % 1
    return np.where(at < width, np.sqrt(np.abs(np.sin(np.pi * at / width))), 0.0)


def steady(rng: np.random.Generator, times: Hours) -> Hours:
    """Return the hours of a working boat or a generator."""
    rate = rng.uniform(1, 10)
    return rate * by_year(rng, times, 0.15) * rng.gamma(1.0, 1.0, times.size)


def seasonal(rng: np.random.Generator, times: Hours) -> Hours:
    """Return the hours of a boat that lies in winter."""
    out = rng.random(times.size) < 0.4
    hours = rng.gamma(2.0, 1.5, times.size) * out * shape_of_season(rng, times)
    return np.asarray(hours * by_year(rng, times, 0.25))


def irregular(rng: np.random.Generator, times: Hours) -> Hours:
    """Return the hours of a boat that makes a voyage now and then."""
    hours = np.zeros(times.size)
    for start in np.flatnonzero(rng.random(times.size) < rng.uniform(8, 30) / YEAR):
        long = 1 + rng.geometric(1 / rng.uniform(2, 10))
        hours[start : start + long] += rng.gamma(2.0, 3.0)
    return np.asarray(np.minimum(hours, 24) * by_year(rng, times, 0.25))


def habits(rng: np.random.Generator, times: Hours) -> Hours:
    """Return the hours of a seasonal boat whose owner changes, or changes habits."""
    change = np.where(rng.random(times.size) < 1 / (5 * YEAR), rng.normal(0, 0.5, times.size), 0.0)
    return seasonal(rng, times) * np.exp(np.cumsum(change))


WORLDS: dict[str, Callable[[np.random.Generator, Hours], Hours]] = {
    each.__name__: each for each in (steady, seasonal, irregular, habits)
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--engines", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    for name, world in WORLDS.items():
        rng = np.random.default_rng([given.seed, len(name)])
        print(f"\n{name}: per cent of {given.engines} engines within the range")
        print("history, years   " + "".join(f"{f'+{ahead:g} y':>8}" for ahead in AHEAD)
              + "    date   high/low of a year")  # fmt: skip
        for history in HISTORIES:
            print(f"{history:14.2f}   {_row(rng, world, history, given.engines)}")


def _row(
    rng: np.random.Generator,
    world: Callable[[np.random.Generator, Hours], Hours],
    history: float,
    engines: int,
) -> str:
    times = days_of(PAST + FUTURE)
    held: list[list[bool]] = []
    widths = []
    for _ in range(engines):
        total = np.cumsum(world(rng, times))
        now = round((PAST - rng.random()) * YEAR)
        first = max(now - round(history * YEAR * rng.uniform(0.9, 1.1)), 0)
        count = rng.poisson(max(5 * (now - first) / YEAR, 1))
        read = {first, now, *rng.integers(first, now + 1, count).tolist()}
        start = dt.date(2030, 1, 1)
        told = use([(start + dt.timedelta(days=d), float(total[d])) for d in read], start)
        if told is None:
            continue
        row = []
        for ahead in AHEAD:
            then = now + round(ahead * YEAR)
            range_ = told.hours_at(start + dt.timedelta(days=then))
            row.append(bool(range_.low - 1e-9 <= total[then] <= range_.high + 1e-9))
        wanted = told.hours + 2 * told.hours_per_year
        true = int(np.searchsorted(total, wanted))
        date = told.when(wanted)
        if true >= total.size:
            row.append(date.late is None or (date.late - start).days >= total.size)
        else:
            day = start + dt.timedelta(days=true)
            row.append((date.early is not None and date.early <= day)
                       and (date.late is None or day <= date.late))  # fmt: skip
        held.append(row)
        widths.append(told.high / max(told.low, 1e-9))
    shares = 100 * np.mean(held, axis=0)
    return "".join(f"{share:8.0f}" for share in shares) + f"{np.median(widths):13.1f}"


if __name__ == "__main__":
    main()
