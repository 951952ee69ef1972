"""A sweep laid over its baseline: what moved, and what did not."""

from dataclasses import replace

import numpy as np
import pytest
from invented_curves import STIFFNESS_TO_FREQUENCY, TWISTING, World, sweeps
from numpy.testing import assert_allclose

from vibetrend.engine import Damper, Engine
from vibetrend.runup.powers import powers
from vibetrend.runup.resonances import reference, resonances
from vibetrend.runup.temperature import (
    FREQUENCY_PER_STIFFNESS,
    UNKNOWN_C,
    stiffness_percent,
    warmth,
)

WORLD = World(seed=5, orders=(2.0, 2.5, 3.5, 4.5, 5.0, 6.0, 7.0, 7.5, 8.0, 9.0, 10.0, 10.5))
BASELINE = sweeps(WORLD, range(3))
WARM = {"damper_c": 40.0, "baseline_damper_c": 40.0}


def moved(sweep, baseline=BASELINE, **more):
    table, _ = resonances(sweep, excited=TWISTING, baseline=baseline, **{**WARM, **more})
    return table[table["order"].isna()].set_index("name")


def crank(table):
    (name,) = [name for name in table.index if name.startswith("crankshaft")]
    return table.loc[name]


def test_a_sweep_against_itself_has_not_moved():
    table = moved(BASELINE[0], [BASELINE[0]])
    assert_allclose(table["shift_percent"], 0.0, atol=0.02)
    assert_allclose(table["width_ratio"], 1.0, atol=0.05)


def test_gain_moves_nothing():
    sweep = WORLD.sweep(50)
    louder = replace(sweep, value=sweep.value * 4, variance=sweep.variance * 16)
    assert_allclose(moved(louder)["shift_percent"], moved(sweep)["shift_percent"], atol=1e-3)


@pytest.mark.parametrize("order_db", [0.0, 1.0])
def test_ten_per_cent_of_stiffness_moves_the_crank_by_three_and_a_half(order_db):
    # ten-inertia model of a six-cylinder engine: -10 % of the damper's stiffness, -3.5 %
    sweep = WORLD.stiffer(-10).sweep(51, gain_db=5.0, order_db=order_db)
    table = moved(sweep)
    row = crank(table)
    assert abs(row["shift_percent"] + 3.5) < 3 * row["shift_standard_error"]
    assert row["shift_standard_error"] < 0.5
    still = table.drop(index=row.name)
    assert (abs(still["shift_percent"]) < 0.5).all()


def test_harder_rubber_moves_it_up():
    row = crank(moved(WORLD.stiffer(10).sweep(52)))
    assert abs(row["shift_percent"] - 3.5) < 3 * row["shift_standard_error"]


def test_half_the_damping_makes_it_higher_and_narrower():
    row = crank(moved(WORLD.damped(0.5).sweep(53)))
    assert 0.4 < row["width_ratio"] < 0.62
    assert_allclose(row["height_change_db"], 6.0, atol=1.5)  # twice the amplitude at the peak
    assert abs(row["shift_percent"]) < 0.5


def test_names_are_the_baselines():
    before = moved(WORLD.sweep(54)).index.tolist()
    after = moved(WORLD.stiffer(-20).sweep(55)).index.tolist()
    assert [name for name in after if name in before] == before


def test_what_a_sweep_does_not_reach_is_said():
    short = replace(WORLD, high_rpm=1040.0, orders=(2.0, 4.5, 5.0, 6.0, 7.0, 7.5)).sweep(56)
    table, notes = resonances(short, excited=TWISTING, baseline=BASELINE)
    assert not table["name"].str.startswith("crankshaft").any()
    assert any(
        note.code == "resonance-not-reached" and "crankshaft" in note.message for note in notes
    )


def test_shift_intervals_hold_what_they_say():
    held = []
    for seed in range(10):
        world = World(seed=seed, orders=(4.0, 4.5, 5.0, 6.0, 7.0, 7.5, 9.0))
        before = reference(sweeps(world, range(100 * seed, 100 * seed + 3)), excited=TWISTING)
        for number, percent in ((50, 0.0), (51, -10.0), (52, 5.0)):
            sweep = powers(world.stiffer(percent).sweep(100 * seed + number))
            for named, shift in before.shifts(sweep):
                if named.cause == "crankshaft":
                    error = shift.error * np.sqrt(1 + before.own_share)
                    true = np.log1p(percent / 100 * STIFFNESS_TO_FREQUENCY)
                    held.append(abs(shift.shift - true) < 1.645 * error)
    assert len(held) >= 20
    assert 0.78 <= np.mean(held) <= 0.99  # 90 % and two standard deviations of counting


def test_unknown_damper_temperature_widens_the_interval_and_is_said():
    sweep = WORLD.sweep(57)
    known, unknown = crank(moved(sweep)), crank(moved(sweep, damper_c=None))
    # half a per cent of stiffness a degree, 0.35 of it in frequency, 10 degrees: 1.75 % either way
    added = unknown["shift_standard_error"] ** 2 - known["shift_standard_error"] ** 2
    added += warmth(40.0, 40.0).error_percent ** 2
    assert_allclose(1.6449 * np.sqrt(added), 1.75, rtol=1e-3)
    _, notes = resonances(sweep, excited=TWISTING, baseline=BASELINE, damper_c=40.0)
    assert any(note.message.startswith("Damper temperature unknown") for note in notes)


def test_a_warmer_damper_explains_a_lower_frequency():
    sweep = WORLD.sweep(58)
    warmer = crank(moved(sweep, damper_c=60.0))
    same = crank(moved(sweep))
    # 20 degrees would have taken the frequency down by 3.5 %: the rubber itself is harder by that
    assert_allclose(warmer["shift_percent"] - same["shift_percent"], 3.5)
    assert warmer["shift_standard_error"] > same["shift_standard_error"]


def test_the_engine_files_coefficient_is_used():
    stated = Engine(
        name="main", cylinders=6, damper=Damper(type="rubber", stiffness_percent_per_c=1.0)
    )
    assert_allclose(warmth(30.0, 40.0, engine=stated).shift_percent, 3.5)
    assert_allclose(warmth(30.0, 40.0).shift_percent, 1.75)
    assert_allclose(stiffness_percent(-3.5), -10.0)
    assert FREQUENCY_PER_STIFFNESS <= 0.5  # f ~ sqrt(k)
    assert UNKNOWN_C == 10.0


def test_a_damper_far_off_is_followed_by_its_own_peak():
    row = crank(moved(WORLD.stiffer(-25).sweep(59)))
    assert abs(row["shift_percent"] + 8.75) < 3 * row["shift_standard_error"]
    assert row["shift_standard_error"] < 1.0


def test_what_went_too_far_is_not_taken_for_the_same():
    cover = next(mode for mode in WORLD.modes if mode.hz == 240.0)
    others = tuple(mode for mode in WORLD.modes if mode is not cover)
    gone = replace(WORLD, modes=(*others, replace(cover, hz=277.0)))
    table = moved(gone.sweep(60))
    shifts = table["shift_percent"].dropna()
    assert (shifts.abs() < 8.5).all()
    assert crank(table)["shift_percent"] == pytest.approx(0.0, abs=0.5)


def test_a_sweep_that_shows_no_order_has_no_rows():
    sweep = WORLD.sweep(61)
    nothing = replace(sweep, value=np.full_like(sweep.value, np.nan))
    assert resonances(nothing, excited=TWISTING, baseline=BASELINE)[0].empty
    table, _ = resonances(sweep, excited=TWISTING, baseline=[nothing])
    assert not table.empty
    assert table["shift_percent"].isna().all()
    assert_allclose(
        moved(sweep, [nothing, *BASELINE])["shift_percent"], moved(sweep)["shift_percent"]
    )


def test_what_moved_is_told_once():
    for percent in (-25, -10, 10, 25):
        hertz = moved(WORLD.stiffer(percent).sweep(60))["frequency_hz"].sort_values()
        assert (hertz.diff().dropna() / hertz.iloc[1:] > 0.04).all()
