"""The usual simple charts on the same lives as the judge.

Each order is charted by itself on the raw levels of all recordings, its limits from the nine of
the baseline; a life counts as warned when any order signals. No extra days. Hours to the limit are
told at the judge's own warning, for the order it named, from the raw means of the check-ups.
"""

from collections.abc import Callable
from dataclasses import dataclass

import judge_figures as figure
import numpy as np
import plain_charts as charts
from judge_living import Outcome, live
from judge_rows import EXPONENTIAL, LATE, PLAIN, RAMP, STEP, counted, intervals, warned
from judge_worlds import LIMIT_DB, Floats, Life, World
from numpy.typing import NDArray
from scipy.stats import norm

Signals = NDArray[np.bool_]  # (recordings or check-ups, orders)


def _beyond(base: Floats, new: Floats, factor: float, sd: Floats | None = None) -> Signals:
    sd = base.std(axis=0, ddof=1) if sd is None else sd
    return np.abs(new - base.mean(axis=0)) > factor * sd


def _ewma(base: Floats, new: Floats) -> Signals:
    means = charts.ewma(new, base.mean(axis=0), weight=0.2)
    limit = charts.ewma_limit(np.arange(1.0, len(new) + 1), weight=0.2, width=2.962)
    return np.abs(means - base.mean(axis=0)) > limit[:, None] * base.std(axis=0, ddof=1)


def _cusum(base: Floats, new: Floats) -> Signals:
    sd = base.std(axis=0, ddof=1)
    up, down = charts.cusum(new, base.mean(axis=0), slack=sd / 2, start=2.5 * sd)
    return np.maximum(up, down) > 5 * sd


def _mann_kendall(base: Floats, new: Floats) -> Signals:
    """A trend at 1 %, by the means of all check-ups so far."""
    means = np.concatenate([base, new]).reshape(-1, 3, new.shape[1]).mean(axis=1)
    days = len(base) // 3
    z = [charts.mann_kendall(means[: days + n + 1])[1] for n in range(len(means) - days)]
    return np.repeat(np.abs(z) > norm.isf(0.005), 3, axis=0)


CHARTS: dict[str, Callable[[Floats, Floats], Signals]] = {
    "individuals, 3 sigma": lambda base, new: _beyond(base, new, 3, charts.individuals_sd(base)),
    "prediction interval, 99 %": lambda base, new: _beyond(
        base, new, charts.prediction_factor(len(base), 0.99)
    ),
    "upper tolerance limit, 99/95": lambda base, new: (
        new - base.mean(axis=0)
        > charts.tolerance_factor(len(base), 0.99, 0.95) * base.std(axis=0, ddof=1)
    ),
    "two-sided tolerance, 99/95": lambda base, new: _beyond(
        base, new, charts.tolerance_factor(len(base), 0.99, 0.95, sides=2)
    ),
    "EWMA 0.2, 2.962 sigma": _ewma,
    "CUSUM 0.5, 5, head start": _cusum,
    "doubled, any recording": lambda base, new: new - base.mean(axis=0) > LIMIT_DB,
    "Mann-Kendall, 1 %": _mann_kendall,
}


@dataclass
class Charted:
    """When each chart first signalled in one life."""

    early: dict[str, bool]  # before anything changed
    level: dict[str, float]  # true change, dB


def chart(world: World, seed: np.random.SeedSequence) -> Charted:
    """Draw every chart over one life."""
    life = Life(world, seed)
    base = np.concatenate([_taken(life, n - 3, h) for n, h in enumerate(life.baseline_hours)])
    new = np.concatenate([_taken(life, n, h) for n, h in enumerate(life.checkup_hours)])
    out = Charted({}, {})
    for name, signals in CHARTS.items():
        at = np.flatnonzero(signals(base, new).any(axis=1))
        hours = life.checkup_hours[at[0] // 3] if at.size else np.inf
        out.early[name] = bool(hours <= life.begins) and bool(at.size)
        out.level[name] = abs(life.moved(hours)) if at.size else np.inf
    return out


def _taken(life: Life, number: int, hours: float) -> Floats:
    day = life.day(float(hours), number)
    for _ in range(3):
        day.place()
    return np.array(day.taken)


def line_ends(out: Outcome) -> dict[str, tuple[float, float]]:
    """Return the 90 % intervals of hours left that lines give at the judge's warning."""
    life = out.life
    planned = [
        *((n - 3, h) for n, h in enumerate(life.baseline_hours)),
        *((n, h) for n, h in enumerate(life.checkup_hours) if h <= out.hours),
    ]
    hours = np.array([h for _, h in planned])
    level = np.array([_taken(life, n, h).mean(axis=0)[out.order] for n, h in planned])
    change = level - level[:3].mean()
    told = {}
    for name, line in (
        ("straight line, Fieller", charts.line_to_limit),
        ("Theil-Sen", charts.median_line_to_limit),
    ):
        for which, first in (("all check-ups", 0), ("the last six", -6)):
            end = line(hours[first:], change[first:], LIMIT_DB, confidence=0.9)
            told[f"{name}, {which}"] = (
                max(end.low - out.hours, 0.0), max(end.high - out.hours, 0.0),
            )  # fmt: skip
    return told


def section(each_life: Callable[..., list]) -> None:
    """Print false warnings, levels and intervals of hours beside ours."""
    quiet, ramp = each_life(chart, PLAIN), each_life(chart, RAMP)
    ours, ours_ramp = each_life(live, PLAIN), counted(each_life(live, RAMP))
    print("\nsimple charts on the same lives: lives with a false warning")
    print(figure.share("ours", [warned(each) for each in ours]))
    for name in CHARTS:
        print(figure.share(name, [each.level[name] < np.inf for each in quiet]))
    print("\nsimple charts, ramp of 1 dB per 500 h: warned before anything moved, median level")
    print(figure.median("ours", [each.level for each in ours_ramp]))
    for name in CHARTS:
        levels = [each.level[name] for each in ramp if not each.early[name]]
        early = np.mean([each.early[name] for each in ramp])
        print(figure.median(f"{name} ({early:.0%} early)", levels))
    worlds = {"ramp": RAMP, "exponential": EXPONENTIAL, "late": LATE, "step": STEP}
    for kind, world in worlds.items():
        out = [each for each in counted(each_life(live, world)) if warned(each)]
        out = [each for each in out if each.right and each.direction > 0]
        ends = [line_ends(each) for each in out]
        print(f"\n90 % interval of hours to the limit at our warning, {kind}: holds the truth")
        print(intervals(out)[0])
        for name in ends[0] if ends else ():
            holds = [
                e[name][0] <= each.hours_left <= e[name][1]
                for e, each in zip(ends, out, strict=True)
            ]
            print(figure.share(name, holds))
