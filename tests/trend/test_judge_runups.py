"""A few simulated lives of run-ups; tests/benchmarks/judge_runups.py has the full rows."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from vibetrend.trend import judge

with pytest.MonkeyPatch.context() as patch:
    patch.syspath_prepend(Path(__file__).parents[1] / "benchmarks")
    import judge_runups as runups


def lives(world, count, seed):
    return [runups.live(world, each) for each in np.random.SeedSequence(seed).spawn(count)]


def test_quiet_lives_hardly_ever_warn():
    out = lives(runups.RunUps(), 20, seed=7)
    # At 1 in 100 lives, three or more in 20 has a chance of 0.1 % (binomial).
    assert sum(life.warned_in is not None for life in out) <= 2
    assert np.mean([life.extra_days for life in out]) <= 2.5


def test_ten_per_cent_less_stiffness_is_flagged_at_the_next_check_up():
    """-3.5 % of frequency, in nine lives of ten; of 20, fewer than 15 has a chance of 1.1 %."""
    out = [each for each in lives(replace(runups.SAME, softer=0.1), 20, seed=8) if not each.early]
    assert sum(life.flagged for life in out) >= 15
    assert sum(life.confirmed(2) for life in out) >= 15


@pytest.mark.parametrize("world", [runups.RunUps(softer=0.1), runups.RunUps(measured_c=None)])
def test_the_benchmark_judges_as_judge_does(world):
    """The same life through the arrays and through a history gives the same numbers."""
    life = runups.Life(world, np.random.SeedSequence(4))
    for hours in (*runups.BASELINE_HOURS, *life.planned[:12]):
        life.day(float(hours))
        for _ in range(3):
            life.sweep()
    part = world.sweep_db / runups.DB_PER_PART
    rows = []
    for v, (hours, taken) in enumerate(zip(life.hours, life.days, strict=True)):
        for p, values in enumerate(taken):
            for k, (feature, db) in enumerate(zip(world.features, values, strict=True)):
                amplitude = 10 ** (db / 20)
                rows.append(
                    {
                        "recording": f"{v:02}-{p}", "visit": f"{v:02}", "hours": hours,
                        "order": np.nan, "feature": feature, "amplitude": amplitude,
                        "standard_error": part[k] * amplitude,
                        "shared_error": world.shared * amplitude if k == 0 else np.nan,
                        "baseline": v < 3,
                    }
                )  # fmt: skip
    verdict, result = judge(pd.DataFrame(rows)), life.judged()
    assert verdict.orders["state"].tolist() == result.state
    np.testing.assert_allclose(verdict.orders["evidence_z"], result.bends.z, rtol=1e-9)
    np.testing.assert_allclose(verdict.orders["change_db"], result.ahead.change, rtol=1e-9)
    np.testing.assert_allclose(verdict.orders["change_error_db"], result.ahead.error, rtol=1e-9)


def test_the_error_of_a_change_is_honest():
    """A change known to be there lies within 1.645 standard errors of what is told in nine of ten.

    Of 200 of unit normal errors, 168 to 192 are so within three standard deviations (binomial).
    """
    world, hits = runups.RunUps(softer=0.1, bad=0.0, onset=(400.0, 400.0)), 0
    true = -runups.DB_PER_PART * runups.PER_STIFFNESS * 0.1
    for seed in range(200):
        life = runups.Life(world, np.random.SeedSequence(seed))
        for hours in (*runups.BASELINE_HOURS, *life.planned[:7]):
            life.day(float(hours))
            for _ in range(3):
                life.sweep()
        ahead = life.judged().ahead
        hits += abs(ahead.change[0] - true) <= 1.645 * ahead.error[0]
    assert 168 <= hits <= 200
    assert hits <= 198
