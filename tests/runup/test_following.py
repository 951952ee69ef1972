"""Resonances of a series of sweeps as a history for the judge."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from invented_curves import TWISTING, World, sweeps
from numpy.testing import assert_allclose
from pandas.testing import assert_frame_equal

from vibetrend.runup.following import COLUMNS, Sweep, following

WORLD = World(seed=5, orders=(2.0, 4.0, 4.5, 5.0, 6.0, 7.0, 7.5, 8.0, 9.0))


def visit(number, world=WORLD, *, count=2, damper_c=None):
    return [
        Sweep(
            recording=f"r{number}.{place}",
            visit=f"v{number}",
            hours=100.0 * number,
            date=dt.date(2026, 1, 1) + dt.timedelta(days=number),
            baseline=number < 2,
            runup=curves.table(),
            damper_c=damper_c,
        )
        for place, curves in enumerate(sweeps(world, range(10 * number, 10 * number + count)))
    ]


SERIES = [*visit(0), *visit(1), *visit(2), *visit(3, WORLD.stiffer(-10))]


@pytest.fixture(scope="module")
def history():
    return following(SERIES, excited=TWISTING)


def frequencies(history, name="crankshaft"):
    rows = history["feature"].str.startswith(f"resonance: {name}")
    rows &= history["feature"].str.endswith("frequency")
    return history[rows].set_index("recording")


def test_every_sweep_has_three_features_of_the_same_name(history):
    assert list(history.columns) == list(COLUMNS)
    names = history.groupby("feature")["recording"].nunique()
    assert (names == len(SERIES)).all()
    crank = [feature for feature in names.index if "crankshaft near 18" in feature]
    assert [feature.split()[-1] for feature in crank] == ["frequency", "height", "width"]
    assert history["order"].isna().all()
    assert (history["amplitude"] > 0).all()
    assert (history["standard_error"] > 0).all()


def test_frequency_follows_the_rubber(history):
    crank = frequencies(history)
    before = crank.loc[[one.recording for one in SERIES[:6]], "amplitude"]
    after = crank.loc[[one.recording for one in SERIES[6:]]]
    assert_allclose(after["amplitude"] / before.mean(), 0.965, atol=0.008)
    assert before.std() < 0.006 * before.mean()
    assert_allclose(frequencies(history, "near 240")["amplitude"], 240, rtol=0.006)


def test_each_resonance_has_one_telling_order(history):
    name = history["feature"].str.rsplit(" ", n=1).str[0]
    told = history.groupby(name)["telling_order"].unique()
    assert (told.str.len() == 1).all()
    crank = told[told.index.str.contains("crankshaft")]
    assert {order.item() for order in crank} <= TWISTING
    assert {order.item() for order in told} <= set(WORLD.orders)


def test_height_knows_no_gain():
    one, *rest = SERIES
    table = one.runup.copy()
    for column in ("amplitude", "standard_error", "floor"):
        table[column] *= 5
    louder = following([replace(one, runup=table), *rest], excited=TWISTING)
    usual = following(SERIES, excited=TWISTING)
    both = [each[each["feature"].str.endswith("height")]["amplitude"] for each in (louder, usual)]
    assert_allclose(*both, atol=0.02)


def test_without_a_damper_temperature_a_visit_shares_that_doubt(history):
    crank = frequencies(history)
    # 10 degrees, 90 % interval, 0.5 % of stiffness and 0.35 of that a degree
    assert_allclose(crank["shared_error"] / crank["amplitude"], 0.0175 / 1.6449, rtol=1e-3)
    others = history[~history["feature"].str.endswith("frequency")]
    assert (others["shared_error"] == 0).all()


def test_frequencies_are_told_at_the_baselines_temperature(history):
    warmer = [replace(one, damper_c=40.0 + 10 * (one.hours > 150)) for one in SERIES]
    told, plain = frequencies(following(warmer, excited=TWISTING)), frequencies(history)
    ratio = told["amplitude"] / plain["amplitude"]
    assert_allclose(ratio[:4], 1.0)
    assert_allclose(ratio[4:], 1.0175, atol=1e-3)
    assert (told["shared_error"] < plain["shared_error"]).all()
    still = [frequencies(one, "near 240")["amplitude"] for one in (following(warmer), history)]
    assert_allclose(*still, rtol=1e-3)  # nothing says that it is rubber


def test_a_sweep_that_does_not_reach_has_no_row():
    short = replace(WORLD, high_rpm=1100.0, orders=(2.0, 4.5, 6.0, 7.5))
    history = following([*SERIES[:4], *visit(4, short)], excited=TWISTING)
    reached = set(frequencies(history).index)
    assert reached == {one.recording for one in SERIES[:4]}


def test_order_of_the_sweeps_does_not_matter(history):
    assert_frame_equal(following(SERIES[::-1], excited=TWISTING), history)


def test_without_a_marked_baseline_the_first_visit_is_one():
    unmarked = [replace(one, baseline=False) for one in SERIES]
    history = following(unmarked, excited=TWISTING)
    assert not history["baseline"].any()
    assert np.isclose(frequencies(history)["amplitude"].iloc[0], 188.25, rtol=0.01)


def test_nothing_stored_gives_no_rows():
    assert following([]).empty
    assert list(following([replace(SERIES[0], runup=SERIES[0].runup.iloc[:0])]).columns) == list(
        COLUMNS
    )
