"""Resonances in order curves with known truth."""

from dataclasses import replace

import numpy as np
import pytest
from invented_curves import COVER, DECOYS, PIPE, TWIST, TWISTING, Resonance, World, sweeps
from numpy.testing import assert_allclose

from vibetrend.engine import Engine
from vibetrend.runup.curves import Curves
from vibetrend.runup.finding import find
from vibetrend.runup.fitting import Mode, fit, shape
from vibetrend.runup.naming import excitable, sums
from vibetrend.runup.powers import pooled, powers
from vibetrend.runup.resonances import COLUMNS, resonances

SIX = Engine(name="main", cylinders=6, firing_order=(1, 5, 3, 6, 2, 4))
SLOW = World(high_rpm=2700.0, seed=5)


@pytest.fixture(scope="module")
def six():
    return resonances(SLOW.sweep(1), engine=SIX)[0]


@pytest.mark.parametrize("damping", [0.005, 0.01, 0.03])
def test_half_power_width_is_twice_the_damping(damping):
    # Den Hartog, Mechanical Vibrations; Thomson: zeta = (f2 - f1) / 2 f for small damping
    x = np.linspace(-0.2, 0.2, 400_001)
    _, power = shape(x, damping)
    above = np.exp(x[power >= 0.5])
    assert_allclose(np.ptp(above), 2 * damping, rtol=2 * damping**2 + 1e-4)


@pytest.mark.parametrize("damping", [0.01, 0.1, 0.3])
def test_largest_motion_lies_at_the_textbook_ratio(damping):
    # Thomson, Theory of Vibration with Applications: peak at r = sqrt(1 - 2 zeta^2)
    x = np.linspace(-0.5, 0.2, 700_001)
    _, power = shape(x, damping)
    assert_allclose(np.exp(x[np.argmax(power)]), np.sqrt(1 - 2 * damping**2), rtol=1e-5)


def test_shape_is_the_reply_of_one_degree_of_freedom():
    ratio, damping = np.linspace(0.8, 1.2, 9), 0.04
    reply = 2 * damping / (1 - ratio**2 + 2j * damping * ratio)
    real, power = shape(np.log(ratio), damping)
    assert_allclose(real, reply.real, atol=1e-12)
    assert_allclose(power, np.abs(reply) ** 2, rtol=1e-12)


@pytest.mark.parametrize("damping", [0.015, 0.03, 0.06])
def test_without_noise_frequency_and_damping_come_back(damping):
    # seen through windows that make the sharpest come out wider by a fifth
    world = World(modes=(replace(TWIST, share=0.9, damping=damping),), noise=1e-6, breathing=0.0)
    sweep = powers(world.sweep(1))
    rows = np.flatnonzero(np.isin(sweep.orders, [4.5, 6.0, 7.5, 9.0]))
    found = fit(sweep, Mode(183.0, 0.02), rows=rows)
    assert found is not None
    assert_allclose(found.mode.frequency_hz, 188.25, rtol=1e-3)
    assert_allclose(found.mode.damping, damping, rtol=0.03)


def test_critical_speeds_of_the_synthetic_six(six):
    # lumped model of an in-line six, first mode 188.25 Hz by two methods: the orders meet it at
    # 2510, 1883, 1506 and 1255 r/min
    crank = six[six["cause"] == "crankshaft"].set_index("order")
    expected = {4.5: 2510.04, 6.0: 1882.53, 7.5: 1506.02, 9.0: 1255.02}
    seen = [order for order in expected if order in crank.index]
    assert len(seen) >= 3
    for order in seen:
        row = crank.loc[order]
        error = row["standard_error_hz"] * 60 / order
        assert abs(row["speed_rpm"] - expected[order]) < 3 * error
        assert error < 25 or order == 4.5  # the sweep ends soon after that


def test_orders_together_are_surer_than_any_alone(six):
    crank = six[six["cause"] == "crankshaft"]
    joint, alone = crank[crank["order"].isna()], crank[crank["order"].notna()]
    assert len(joint) == 1
    assert joint["standard_error_hz"].item() < alone["standard_error_hz"].min()
    assert abs(joint["frequency_hz"].item() - 188.25) < 3 * joint["standard_error_hz"].item()
    assert abs(joint["damping_ratio"].item() - 0.03) < 3 * joint["damping_standard_error"].item()
    assert joint["name"].item() == f"crankshaft near {joint['frequency_hz'].item():.0f} Hz"
    assert joint["orders_seen"].item() == alone["order"].tolist()


def test_width_is_that_between_the_half_power_speeds(six):
    row = six[six["order"] == 6.0].iloc[0]
    assert_allclose(row["width_rpm"], 2 * row["damping_ratio"] * row["speed_rpm"])


def test_mount_cover_and_exhaust_are_not_called_the_crankshaft(six):
    others = six[six["cause"] == "unknown"]
    assert {17, 240} <= {round(hz) for hz in others.loc[others["order"].isna(), "frequency_hz"]}
    assert not others["name"].str.contains("crankshaft").any()


@pytest.mark.parametrize("seed", range(6))
def test_decoys_alone_are_never_the_crankshaft(seed):
    decoys = (replace(COVER, hz=188.25, damping=0.03), PIPE)
    table, _ = resonances(World(seed=seed, modes=decoys).sweep(seed), engine=SIX)
    assert not table.empty
    assert set(table["cause"]) == {"unknown"}


def test_what_only_one_order_shows_is_unknown():
    sweep = World(orders=(3.5, 4.0, 4.5, 5.0), seed=5, modes=(TWIST,)).sweep(1)
    table, notes = resonances(sweep, engine=SIX)
    assert set(table["cause"]) == {"unknown"}
    assert any("only order 4.5 shows it" in note.message for note in notes)


def test_without_a_firing_order_nothing_is_the_crankshaft(six):
    sweep = SLOW.sweep(1)
    table, notes = resonances(sweep)
    assert set(table["cause"]) == {"unknown"}
    assert_allclose(table["frequency_hz"], six["frequency_hz"])
    assert any("firing order" in note.message for note in notes)


@pytest.mark.parametrize("firing", [None, (1,)])
def test_one_cylinder_has_no_firing_order_to_state(firing):
    one = Engine(name="main", cylinders=1, firing_order=firing)
    table, notes = resonances(SLOW.sweep(1), engine=one)
    assert set(table["cause"]) == {"unknown"}
    assert any("one cylinder twists its crank in every order" in note.message for note in notes)
    assert not any("firing order" in note.message for note in notes)


def test_tacho_at_the_nose_shows_the_crankshaft():
    sweep = World(orders=(4.5,), modes=(replace(TWIST, share=0.95),)).sweep(1)
    table, _ = resonances(sweep, excited=TWISTING, tacho_at="nose")
    assert set(table["cause"]) == {"crankshaft"}


def test_tacho_at_the_flywheel_is_said_to_sit_near_the_node():
    sweep = World(orders=(4.5,), modes=(TWIST,)).sweep(1)
    table, notes = resonances(sweep, excited=TWISTING, tacho_at="flywheel")
    assert "tacho-near-node" in {note.code for note in notes}
    assert "crankshaft" not in set(table["cause"])


def test_crank_angle_read_wrongly_changes_nothing(six):
    sweep = SLOW.sweep(1)
    wrong = np.cumsum(np.random.default_rng(3).normal(0, 0.3, sweep.speed_rpm.size))
    turned = sweep.value * np.exp(1j * np.outer(sweep.orders, wrong))[..., np.newaxis]
    table, _ = resonances(replace(sweep, value=turned), engine=SIX)
    assert_allclose(table["frequency_hz"], six["frequency_hz"], rtol=1e-5)


def test_stored_table_gives_what_the_curves_give(six):
    table, _ = resonances(SLOW.sweep(1).table(), engine=SIX)
    assert_allclose(table["frequency_hz"], six["frequency_hz"], rtol=1e-9)


def test_natural_frequency_intervals_hold_what_they_say():
    held, count = {"frequency": 0, "damping": 0}, 80
    for seed in range(count):
        world = World(seed=seed, orders=(4.5, 6.0, 7.5, 9.0), modes=(TWIST, *DECOYS))
        found = fit(
            powers(world.sweep(1000 + seed)), Mode(186.0, 0.025), beside=[Mode(240.0, 0.015)]
        )
        assert found is not None
        strayed = np.log(found.mode.frequency_hz / 188.25) / found.log_frequency_error
        held["frequency"] += abs(strayed) < 1.645
        strayed = np.log(found.mode.damping / 0.03) / found.log_damping_error
        held["damping"] += abs(strayed) < 1.645
    # 90 % of 80 with two standard deviations of counting
    assert 66 <= held["frequency"] <= 78
    assert 64 <= held["damping"] <= 79


def test_what_is_left_of_hum_is_no_resonance():
    hum = replace(COVER, hz=100.0, damping=0.008)
    sharp = replace(hum, hz=110.0)
    hz = {round(one.mode.frequency_hz) for one in find(powers(World(modes=(hum, sharp)).sweep(1)))}
    assert hz == {110}


def test_a_few_speeds_show_no_resonance():
    whole = SLOW.sweep(1)
    few = np.arange(whole.speed_rpm.size) % 6 == 0  # of as wide a sweep in a second
    value = np.where(few[:, np.newaxis], whole.value, np.nan)
    table, notes = resonances(replace(whole, value=value), engine=SIX)
    assert table.empty
    assert [note.code for note in notes] == ["no-resonance"]


def test_nothing_measured_gives_an_empty_table_and_says_so():
    nothing = World(orders=(3.0,)).sweep(1)
    nothing = replace(nothing, value=np.full_like(nothing.value, np.nan))
    table, notes = resonances(nothing, engine=SIX)
    assert table.empty
    assert list(table.columns) == list(COLUMNS)
    assert [note.code for note in notes] == ["no-resonance"]


@pytest.mark.parametrize("seed", range(4))
def test_noise_alone_shows_no_resonance(seed):
    world = World(seed=seed, modes=(), breathing=0.02)
    assert len(find(powers(world.sweep(seed)))) <= 1


def test_pooling_brings_sweeps_to_one_level():
    several = sweeps(SLOW, range(6), order_db=0.0)
    pool, one = pooled([powers(each) for each in several]), powers(several[0])
    assert pool.sweeps == 6
    ratio = np.log(pool.power / one.power)
    assert np.nanstd(ratio[one.power > 25 * one.floor**2]) < 0.12  # breathing and noise, no gain
    assert np.nanmedian(pool.error / one.error) < 0.8


def test_a_six_twists_in_multiples_of_one_and_a_half():
    # vector sums over a linear mode: 21 and 9 in these orders, 3.46 or 0 in the others
    assert excitable(sums(SIX)) == {1.5, 3.0, 4.5, 6.0, 7.5, 9.0, 10.5, 12.0}
    assert excitable(sums(None)) is None
    assert sums(Engine(name="main", cylinders=6)) is None


def test_table_of_curves_leaves_out_what_is_not_covered():
    curves = World(orders=(3.0, 4.5)).sweep(1)
    value = curves.value.copy()
    value[0, :5] = np.nan
    table = Curves(
        orders=curves.orders,
        speed_rpm=curves.speed_rpm,
        value=value,
        variance=curves.variance,
        unit=curves.unit,
    ).table()
    assert len(table) == 2 * curves.speed_rpm.size - 5
    assert np.isfinite(table["amplitude"]).all()


def test_resonances_of_no_known_cause_are_named_in_one_note():
    decoys = tuple(Resonance(hz, 0.03, 0.5) for hz in (70.0, 98.0, 180.0))
    _, notes = resonances(World(seed=3, modes=decoys).sweep(3))
    (note,) = [note for note in notes if note.code == "resonance-unknown"]
    assert note.message == (
        "Resonances near 70, 98 and 180 Hz have no known cause: the engine's firing order is not "
        "known, so no order speaks for its crank. They are followed, but say nothing of the damper."
    )


def test_a_peak_that_drops_into_a_dip_has_no_height(six):
    rows = six[six["order"].notna()]
    assert (rows["height"].dropna() > 0).all()
    assert rows["height"].notna().any()
