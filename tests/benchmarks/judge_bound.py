"""What could be reached: a judge that knows the world and not what moves.

It knows each order's scatter, what each placement did to all orders, which placements are bad and
the levels at the baseline; not which order moves, in which direction, since when, nor whether as a
step or a ramp. It takes the largest likelihood ratio over all of these (Gaussian, known variance),
once a check-up. Its threshold is where it warns falsely in 1 of 100 quiet lives. Three more forms,
each without a target: with extra days asked for as ours does, with the levels at the baseline
learned from it as ours must, and with both.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import product

import judge_figures as figure
import numpy as np
from judge_figures import Figure
from judge_living import Outcome, live
from judge_rows import PLAIN, RAMP, counted
from judge_worlds import Day, Floats, Life, World

from vibetrend.trend.assess import SUSPECT_Z
from vibetrend.trend.bend import bank_of_bends, contrast

FALSE_SHARE = 0.01
MOST_TIMES = 1.2  # our level at the warning over the bound's
_RESAMPLED = 1000


@dataclass
class Looks:
    """Every look of one life in turn."""

    z: list[float]
    level: list[float]  # true change, dB
    early: list[bool]  # before anything changed

    def level_at(self, threshold: float) -> float:
        """Return the level at the first look beyond it; NaN if that was before any change."""
        beyond = np.flatnonzero(np.array(self.z) >= threshold)
        if not beyond.size:
            return np.inf
        return np.nan if self.early[beyond[0]] else self.level[beyond[0]]


def look(world: World, seed: np.random.SeedSequence, *, learns: bool, asks: bool) -> Looks:
    """Live one life; the baseline is learned or known, extra days are asked for or not."""
    life, days, out = Life(world, seed), [], Looks([], [], [])
    for number, hours in enumerate(life.baseline_hours):
        days.append(_seen(life.day(hours, number - world.baseline_days), world.baseline_placements))
    for number, planned in enumerate(life.checkup_hours):
        hours = float(planned)
        for extra in range(1 + life.extra_gaps.shape[1]):
            hours += float(life.extra_gaps[number, extra - 1]) if extra else 0.0
            days.append(_seen(life.day(hours, number, extra), world.placements))
            out.z.append(_largest(days, world.baseline_days, known=not learns))
            out.level.append(abs(life.moved(hours)))
            out.early.append(hours <= life.begins)
            if not asks or out.z[-1] < SUSPECT_Z:
                break
    return out


def _seen(day: Day, placements: int) -> tuple[float, Floats, Floats]:
    """Return hours, mean of the good placements freed of their common shift, and weight."""
    for _ in range(placements):
        day.place()
    good = ~np.array(day.bad)
    freed = np.array(day.taken) - np.array(day.common)[:, None]
    count, life = int(good.sum()), day.life
    if not count:
        return day.hours, np.zeros(len(freed.T)), np.zeros(len(freed.T))
    day_variance = life.world.day**2 + (life.slopes**2).sum(axis=0)
    return day.hours, freed[good].mean(axis=0), 1 / (day_variance + life.own_sd**2 / count)


def _largest(days: list[tuple[float, Floats, Floats]], baseline: int, *, known: bool) -> float:
    hours, means, weights = (np.array(each) for each in zip(*days, strict=True))
    x, weight = means.T, weights.T
    bends = np.concatenate(bank_of_bends(hours, baseline - 1)[:2])
    if known:
        numerator, spread = (weight * x) @ bends.T, weight @ (bends**2).T
    else:
        numerator, spread = contrast(x, weight, bends)
    return float(np.abs(numerator / np.sqrt(np.maximum(spread, 1e-9))).max())


def section(
    each_life: Callable[..., list[Looks] | list[Outcome]],
) -> list[str]:
    """Print levels at the warning beside ours; return what was missed."""
    ours = each_life(live, RAMP)
    level = np.array([np.nan if each.early else each.level for each in ours])
    figures = [figure.median("ours", [each.level for each in counted(ours)])]
    for learns, asks in product((False, True), repeat=2):
        bound = partial(look, learns=learns, asks=asks)
        quiet, ramp = each_life(bound, PLAIN), each_life(bound, RAMP)
        threshold = float(np.quantile([max(looks.z) for looks in quiet], 1 - FALSE_SHARE))
        least = np.array([looks.level_at(threshold) for looks in ramp])
        name = "bound" + ", learns baseline" * learns + ", extra days" * asks
        figures += [
            figure.median(f"{name} (z {threshold:.2f})", least[~np.isnan(least)].tolist()),
            _times("  ours over it", level, least, np.inf if learns or asks else MOST_TIMES),
        ]
        if asks:
            extra = [len(looks.z) - PLAIN.checkups for looks in quiet]
            figures.append(figure.mean("  its extra days when quiet", extra))
    print("\nlevel at the warning, ramp of 1 dB per 500 h", *figures, sep="\n", flush=True)
    return [f"bound: {each.what.strip()}" for each in figures if each.missed]


def _times(what: str, ours: Floats, bound: Floats, most: float) -> Figure:
    """Return the ratio of medians; interval by resampling lives (bootstrap percentiles)."""
    rng = np.random.default_rng(0)

    def ratio(lives: np.ndarray) -> float:
        a, b = ours[lives], bound[lives]
        return float(np.median(a[~np.isnan(a)]) / np.median(b[~np.isnan(b)]))

    every = np.arange(ours.size)
    value = ratio(every)
    drawn = [ratio(rng.choice(every, every.size)) for _ in range(_RESAMPLED)]
    low, high = np.quantile(drawn, [0.025, 0.975])
    aim = f"<= {most:g}" if np.isfinite(most) else ""
    return Figure(what, value, f"{value:.3f} ({low:.3f} to {high:.3f})", high=most, aim=aim)
