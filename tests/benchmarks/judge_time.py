"""How long one `judge` of a long history takes."""

import time

import judge_figures as figure
import numpy as np
import pandas as pd
from judge_worlds import Life, World

from vibetrend.trend import judge

CHECKUPS = 30
MOST_MS = 50
_TIMES = 15


def history(world: World, seed: int) -> pd.DataFrame:
    """Return a life as `judge` takes it."""
    life = Life(world, np.random.SeedSequence(seed))
    baseline = len(life.baseline_hours)
    rows = []
    for number, hours in enumerate((*life.baseline_hours, *life.checkup_hours)):
        day = life.day(float(hours), number - baseline)
        for place in range(world.placements):
            day.place()
            rows += [
                {"recording": (number, place), "visit": number, "hours": hours,
                 "order": (f + 1) / 2, "amplitude": 10 ** (db / 20), "standard_error": np.nan,
                 "baseline": number < baseline}
                for f, db in enumerate(day.taken[-1])
                if np.isfinite(db)
            ]  # fmt: skip
    return pd.DataFrame(rows)


def section() -> list[str]:
    """Print the median time; return what was missed."""
    world = World(checkups=CHECKUPS - 3, drift="ramp")
    table = history(world, 1)
    judge(table)
    spent = []
    for _ in range(_TIMES):
        begun = time.perf_counter()
        judge(table)
        spent.append(1000 * (time.perf_counter() - begun))
    what = f"{CHECKUPS} x {world.placements} x {world.orders}"
    found = figure.median(f"one judge call, {what}", spent, most=MOST_MS, unit="ms")
    print("\ntime", found, sep="\n", flush=True)
    return [found.what] if found.missed else []
