"""Simulated damper lives, judged as a person would follow the judge's advice.

    python tests/benchmarks/judge_lives.py --lives 5000 --seed 1
    python tests/benchmarks/judge_lives.py --lives 400 --only ramp --only step
    python tests/benchmarks/judge_lives.py --lives 400 --rows extra

Every number of the world is invented, so the truth is known; judge_worlds.py says what a life is,
judge_living.py how it is lived, judge_rows.py what is counted. Rows: `targets` (the numbers to
reach, beside each figure), `extra` (other worlds), `runups` (sweeps, at the level of features:
judge_runups.py), `bound` (against a judge that knows what the
world is but not what moves), `charts` (the usual simple charts on the same lives), `time`. Each
life has its own seed: the numbers do not depend on `--jobs`. Intervals are 95 %.
"""

import argparse
import multiprocessing
import os
import sys
import time
from collections.abc import Callable
from functools import cache, partial
from typing import TypeVar

import judge_bound
import judge_charts
import judge_runups
import judge_time
import numpy as np
from judge_living import live
from judge_rows import EXTRA, TARGETS

T, W = TypeVar("T"), TypeVar("W")
_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def main() -> None:
    """Print the rows asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    kinds = ("targets", "extra", "runups", "bound", "charts", "time")
    parser.add_argument("--lives", type=int, default=5000, help="in each row")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--rows", choices=(*kinds, "all"), default="all")
    parser.add_argument("--only", action="append", help="a single row by its name; repeatable")
    options = parser.parse_args()
    names = options.only or []
    groups = {"targets": TARGETS, "extra": EXTRA, "runups": judge_runups.RUN_UPS}
    every = [name for group in groups.values() for name in group]
    if unknown := set(names) - set(every):
        sys.exit(f"no row {', '.join(sorted(unknown))}; there are: {', '.join(every)}")
    wanted = [] if names else kinds if options.rows == "all" else [options.rows]

    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))  # for the processes begun below
    with multiprocessing.get_context("spawn").Pool(options.jobs) as pool:

        @cache
        def each_life(function: Callable[[W, np.random.SeedSequence], T], world: W) -> list[T]:
            """Call a function for every life of a world."""
            seeds = np.random.SeedSequence(options.seed).spawn(options.lives)
            return pool.map(partial(function, world), seeds, chunksize=10)

        print(f"{options.lives} lives a row, seed {options.seed}")
        missed = []
        for kind, name in ((kind, name) for kind, group in groups.items() for name in group):
            if kind not in wanted and name not in names:
                continue
            begun = time.perf_counter()
            how = judge_runups.live if kind == "runups" else live
            figures = groups[kind][name](partial(each_life, how))
            print(f"\n{name} ({time.perf_counter() - begun:.0f} s)", *figures, sep="\n", flush=True)
            missed += [f"{name}: {each.what}" for each in figures if each.missed]
        if "bound" in wanted:
            missed += judge_bound.section(each_life)
        if "charts" in wanted:
            judge_charts.section(each_life)
    if "time" in wanted:
        missed += judge_time.section()
    print(f"\nmissed: {'; '.join(missed) or 'nothing'}")


if __name__ == "__main__":
    main()
