"""A few simulated lives; tests/benchmarks/judge_lives.py prints the full table."""

from pathlib import Path

import numpy as np
import pytest

from vibetrend.trend import judge
from vibetrend.trend.assess import assess

with pytest.MonkeyPatch.context() as patch:
    patch.syspath_prepend(Path(__file__).parents[1] / "benchmarks")
    import judge_figures as figure
    import judge_rows as rows
    import judge_time
    from judge_bound import look
    from judge_living import Logbook, live
    from judge_worlds import Life, World


def lives(world, count, seed):
    return [live(world, each) for each in np.random.SeedSequence(seed).spawn(count)]


def test_quiet_lives_hardly_ever_warn():
    out = lives(rows.PLAIN, 25, seed=7)
    # At 1 in 100 lives, three or more in 25 has a chance of 0.2 % (binomial).
    assert sum(rows.warned(life) for life in out) <= 2
    assert np.mean([life.extra_days for life in out]) <= 2.5


def test_ramps_are_warned_of_in_time_and_by_the_right_order():
    out = lives(rows.RAMP, 20, seed=8)
    # At 90 % before 3 dB, fewer than 15 of 20 has a chance of 1.1 % (binomial).
    assert sum(life.level < 3 for life in out) >= 15
    assert all(life.right for life in out if rows.warned(life) and life.level > 1)


def entered(world, seed):
    """A life of check-ups of three placements, as arrays and as the history of the same."""
    life, book = Life(world, np.random.SeedSequence(seed)), Logbook(world)
    for number, hours in enumerate((*life.baseline_hours, *life.checkup_hours)):
        day = life.day(float(hours), number - len(life.baseline_hours))
        for _ in range(world.placements):
            day.place()
        book.add(day, baseline=number < len(life.baseline_hours))
    return book.levels(), judge_time.history(world, seed)


@pytest.mark.parametrize(
    "world",
    [World(drift="step", checkups=11), World(drift="ramp", missing=0.1, bad=0.1, checkups=24)],
)
def test_the_benchmark_judges_as_judge_does(world):
    """The same life through the arrays and through a history gives the same numbers."""
    levels, history = entered(world, 9)
    verdict, result = judge(history), assess(levels)
    assert verdict.orders["state"].tolist() == result.state
    assert verdict.common_state == result.common_state
    assert verdict.recordings["used"].sum() == result.placements.used[~result.alone].sum()
    for column, numbers in (
        ("evidence_z", result.bends.z),
        ("change_db", result.ahead.change),
        ("hours_to_limit_low", result.ahead.hours_low),
        ("hours_to_limit_high", result.ahead.hours_high),
    ):
        np.testing.assert_allclose(verdict.orders[column], numbers, rtol=1e-9)
    assert verdict.common_change_db == pytest.approx(result.common_change)


def test_every_judge_sees_the_same_check_ups_of_a_life():
    world = World(drift="ramp")
    seed = np.random.SeedSequence(3)
    (first, second), number = (Life(world, seed) for _ in range(2)), 4
    extra = first.day(800.0, number, extra=2)
    extra.place()
    one, other = first.day(777.0, number), second.day(777.0, number)
    one.place()
    other.place()
    np.testing.assert_array_equal(one.taken, other.taken)
    assert not np.array_equal(one.taken, extra.taken)


@pytest.mark.parametrize("drift", ["ramp", "exponential", "late exponential"])
def test_hours_to_the_limit_of_a_life_end_where_it_has_doubled(drift):
    life = Life(World(drift=drift), np.random.SeedSequence(5))
    left = life.hours_to_limit(1500.0)
    assert left > 0
    assert life.moved(1500.0 + left) == pytest.approx(20 * np.log10(2))


def test_the_bound_finds_a_large_step_at_once():
    world = World(drift="step", step=20.0, bad=0.0, onset=(900.0, 900.0))
    looks = look(world, np.random.SeedSequence(6), learns=True, asks=False)
    first = looks.early.index(False)
    assert max(looks.z[:first]) < 6 < looks.z[first]
    assert looks.level_at(6.0) == 20
    assert np.isnan(looks.level_at(0.0))


def test_intervals_of_figures():
    # Wilson's interval of 8 in 10 is 0.490 to 0.943 (Newcombe, Stat. Med. 17, 1998, gives the
    # formula); the exact Poisson interval of 3 is 0.619 to 8.767 (Garwood 1936).
    assert "49.0% to 94.3%" in figure.share("", [True] * 8 + [False] * 2).shown
    shown = figure.one_in("", [True] * 3 + [False] * 997).shown
    assert f"1 in {1000 / 8.767:.0f} to 1 in {1000 / 0.619:.0f}" in shown
