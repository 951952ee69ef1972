"""A small batch of simulated lives; tests/benchmarks/judge_lives.py prints the full table."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from vibetrend.trend import judge

_SCRIPT = Path(__file__).parents[1] / "benchmarks" / "judge_lives.py"


@pytest.fixture(scope="module")
def bench():
    spec = importlib.util.spec_from_file_location("judge_lives", _SCRIPT)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


def test_quiet_lives_hardly_ever_warn(bench):
    out = bench.lives(bench.World(), 25, seed=7)
    # At 1 in 100 lives, three or more in 25 has a chance of 0.2 % (binomial).
    assert sum(life.warned_in >= 0 for life in out) <= 2
    assert np.mean([life.extra_days for life in out]) <= 2.5


def test_ramps_are_warned_of_in_time_and_by_the_right_order(bench):
    out = bench.lives(bench.World(drift="ramp"), 20, seed=8)
    level = np.array([life.level if life.warned_in >= 0 else np.inf for life in out])
    # At 90 % before 3 dB, fewer than 15 of 20 has a chance of 1.1 % (binomial).
    assert (level < 3).sum() >= 15
    assert all(life.right for life in out if life.warned_in >= 0 and life.level > 1)


def test_the_benchmark_judges_as_judge_does(bench):
    """The same life through the arrays and through a history gives the same numbers."""
    rng = np.random.default_rng(9)
    life, book = bench.Life(bench.World(drift="step"), rng), bench.Logbook(14)
    rows = []
    for v in range(14):
        hours = 8.0 * v if v < 3 else 180.0 * (v - 2)
        day = life.day(hours)
        book.days.append((hours, v < 3, day))
        for p in range(3):
            day.place()
            rows += [
                {"recording": (v, p), "visit": v, "hours": hours, "order": (f + 1) / 2,
                 "amplitude": 10 ** (db / 20), "standard_error": np.nan, "baseline": v < 3}
                for f, db in enumerate(day.taken[-1])
            ]  # fmt: skip
    verdict, result = judge(pd.DataFrame(rows)), bench.assess(book.levels())
    assert verdict.orders["state"].tolist() == result.state
    np.testing.assert_allclose(verdict.orders["evidence_z"], result.bends.z, rtol=1e-9)
    np.testing.assert_allclose(verdict.orders["change_db"], result.ahead.change, rtol=1e-9)
    assert verdict.common_change_db == pytest.approx(result.common_change)
