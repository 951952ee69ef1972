"""Models of engines: typical ones, stated ones, changed ones.

What is expected of the typical six and of fast idle is methods.md, part B: a ten-inertia model with
modes at 141 and 251 Hz, illustrative numbers. Typical values are common practice, no source.
"""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vibetrend.engine import Engine
from vibetrend.errors import EngineError
from vibetrend.torsion import (
    AGEING,
    Change,
    Crankshaft,
    forced,
    holzer_frequencies_hz,
    natural_frequencies_hz,
    operating_range,
    warmer,
    ways_of_ageing,
    what_would_i_see,
)
from vibetrend.torsion.crankshaft import NOSE, RING

RUBBER, VISCOUS = {"type": "rubber"}, {"type": "viscous"}
RATED = {"idle_rpm": 700, "fast_idle_rpm": 1000, "rated_rpm": 2600}


def six(damper: dict[str, Any] = RUBBER, **values: Any) -> Engine:
    order = [1, 5, 3, 6, 2, 4]
    stated = {"name": "main", "cylinders": 6, "firing_order": order, **RATED, **values}
    return Engine.of({**stated, "damper": damper})


# The typical engine


def test_the_typical_six_has_the_modes_of_such_engines() -> None:
    one, two, *_ = Crankshaft.of(six()).modes
    assert one.frequency_hz == pytest.approx(141, rel=0.05)
    assert two.frequency_hz == pytest.approx(251, rel=0.05)
    assert one.ring_share > 0.5 > two.ring_share
    assert (one.nodes, two.nodes) == (1, 2)


def test_holzer_and_the_eigenvalues_agree_on_it() -> None:
    chain = Crankshaft.of(six()).chain
    found = natural_frequencies_hz(chain)
    assert_allclose(holzer_frequencies_hz(chain)[1:], found[1:], rtol=1e-10)


def test_frequencies_go_with_the_speed_of_engines_built_alike() -> None:
    slow, fast = (Crankshaft.of(six(rated_rpm=rpm, idle_rpm=500)).modes[0] for rpm in (1300, 2600))
    assert slow.frequency_hz == pytest.approx(fast.frequency_hz / 2)


def test_what_is_typical_is_told_and_what_is_stated_is_not() -> None:
    said = Crankshaft.of(Engine.of({"name": "a", "cylinders": 6})).typical
    for part in ("firing order, 1-5-3-6-2-4", "rated speed", "stroke", "rubber ring", "hub"):
        assert any(part in each for each in said), part
    stated = six(
        {
            **RUBBER,
            "hub_inertia_kg_m2": 0.02,
            "ring_inertia_kg_m2": 0.06,
            "ring_stiffness_nm_rad": 6e4,
            "ring_loss_factor": 0.2,
        },
        crankshaft={
            "inertias_kg_m2": [0.03, *[0.06] * 6, 1.2],
            "stiffnesses_nm_rad": [0.9e6, *[1.4e6] * 5, 1.6e6],
            "loss_factor": 0.03,
            "bore_mm": 100,
            "stroke_mm": 115,
            "rod_ratio": 1.75,
            "reciprocating_mass_kg": 1.6,
            "compression_ratio": 17,
        },
    )
    crank = Crankshaft.of(stated)
    assert crank.typical == ()
    assert_allclose(crank.chain.inertia_kg_m2, [0.06, 0.05, *[0.06] * 6, 1.2])
    assert_allclose(crank.chain.stiffness_nm_rad, [6e4, 0.9e6, *[1.4e6] * 5, 1.6e6])


def test_a_ring_as_stiff_as_the_nose_is_a_seized_one() -> None:
    """The synthetic six of references.md 2.2 with its nose made of nose, hub and ring."""
    stated = six(
        {
            **RUBBER,
            "hub_inertia_kg_m2": 0.02,
            "ring_inertia_kg_m2": 0.01,
            "ring_stiffness_nm_rad": 8e5,
        },
        crankshaft={
            "inertias_kg_m2": [0.02, *[0.06] * 6, 1.2],
            "stiffnesses_nm_rad": [0.9e6, *[1.4e6] * 5, 1.6e6],
        },
    )
    assert Crankshaft.of(stated).modes[0].frequency_hz == pytest.approx(188.25, rel=2e-3)


@pytest.mark.parametrize(
    "values",
    [
        {"cylinders": 1},
        {"cylinders": 2, "strokes": 2},
        {"cylinders": 12, "layout": "vee", "bank_angle_deg": 60},
        {"cylinders": 24, "layout": "vee", "bank_angle_deg": 90, "damper": VISCOUS},
        {"cylinders": 4, "generator": {"poles": 4, "frequency_hz": 50}},
        {"cylinders": 8, "rated_rpm": 500, "damper": {"type": "other"}},
    ],
)
def test_any_engine_has_a_model(values: dict[str, Any]) -> None:
    engine = Engine.of({"name": "main", **values})
    crank = Crankshaft.of(engine)
    assert 10 < crank.modes[0].frequency_hz < 1000
    assert len(ways_of_ageing(engine)) >= 4
    assert crank.places[-1] == ("generator" if engine.generator else "flywheel")


def test_a_generator_set_runs_to_its_governed_speed() -> None:
    engine = Engine.of({"name": "a", "cylinders": 4, "generator": {"poles": 4, "frequency_hz": 50}})
    running = operating_range(engine)
    assert (running.idle_rpm, running.rated_rpm) == (750, 1500)
    assert Crankshaft.of(engine).flywheel == len(Crankshaft.of(engine).places) - 2


# A changed damper


def test_softer_rubber_moves_the_critical_speeds_down() -> None:
    """methods.md B: -3.5 % for -10 % stiffness; the typical six here gives -3.3 %."""
    seen = what_would_i_see(six(), Change(stiffness_factor=0.9)).set_index("observable")
    assert seen.loc["mode 1: all its critical speeds", "after"] == pytest.approx(-3.28, abs=0.05)
    row = seen.loc["mode 1, order 4.5: critical speed"]
    assert row["after"] / row["before"] == pytest.approx(1 - 0.0328, abs=5e-4)
    assert set(seen["unit"]) == {"Hz", "%", "rpm", "deg", "dB"}


def test_the_share_of_the_ring_says_how_far() -> None:
    """d ln f = share / 2 d ln k, for every mode."""
    crank = Crankshaft.of(six())
    later = crank.with_change(Change(stiffness_factor=1.001))
    for before, after in zip(crank.modes, later.modes, strict=True):
        shift = after.frequency_hz / before.frequency_hz - 1
        assert shift / 1e-3 == pytest.approx(before.ring_share / 2, abs=1e-3)


def test_low_orders_at_fast_idle_are_blind_to_stiffness() -> None:
    """methods.md B: orders 3, 4.5 and 6 move by 0.1 dB at most, high ones either way."""
    engine = six()
    crank = Crankshaft.of(engine)
    before = np.abs(forced(crank, engine, [3, 4.5, 6, 9], [1000.0])[:, 0, NOSE])
    high = []
    for factor in (0.9, 1.1):
        later = crank.with_change(Change(stiffness_factor=factor))
        after = np.abs(forced(later, engine, [3, 4.5, 6, 9], [1000.0])[:, 0, NOSE])
        moved = 20 * np.log10(after / before)
        assert np.abs(moved[:3]).max() < 0.1
        high.append(moved[3])
    assert max(high) > 2
    assert min(high) < -2


def test_half_the_loss_makes_peaks_higher_and_narrower() -> None:
    """methods.md B: 4.5 dB higher, 0.52 to 0.64 as wide; the typical six here 3.8 dB and 0.55."""
    table = ways_of_ageing(six()).set_index("change")
    row = table.loc["damping halved"]
    assert row.height_db == pytest.approx(3.8, abs=0.1)
    assert 0.52 < row.width_factor < 0.64
    assert abs(row.shift_percent) < 1


def test_each_way_of_ageing_has_its_own_signs() -> None:
    table = ways_of_ageing(six()).set_index("change")
    harder, softer, slipping = (
        table.loc[each] for each in ("rubber hardening", "rubber softening", "bond slipping")
    )
    assert harder.shift_percent > 3 > -3 > softer.shift_percent > slipping.shift_percent
    assert harder.width_factor < 1 < softer.width_factor < slipping.width_factor
    assert table["firing_order_db"].abs().max() < 0.1


def test_a_viscous_damper_is_best_in_the_middle() -> None:
    """Less damping or more: either way the peak rises from the optimum (references.md 2.5)."""
    table = ways_of_ageing(six(VISCOUS)).set_index("change")
    assert (table["height_db"] > 1).all()
    assert table.loc["fluid damping lost", "shift_percent"] > 5
    assert table.loc["fluid stiffened", "shift_percent"] < -5


def test_a_small_spring_of_a_viscous_damper_counts() -> None:
    engine = six({**VISCOUS, "ring_stiffness_nm_rad": 2000.0})
    chain = Crankshaft.of(engine).chain
    assert chain.stiffness_nm_rad[RING] == 2000
    assert chain.damping_nm_s_rad[RING] > 0
    assert len(what_would_i_see(engine, Change(stiffness_factor=0.5))) > 5


def test_slip_takes_spring_away_and_adds_friction_and_a_wobble() -> None:
    crank = Crankshaft.of(six())
    later = crank.with_change(AGEING["bond slipping"])
    own, slipped = crank.chain, later.chain
    assert slipped.stiffness_nm_rad[RING] == pytest.approx(0.7 * own.stiffness_nm_rad[RING])
    assert slipped.loss_factor[RING] > own.loss_factor[RING]
    assert later.order_1_factor == 2
    seen = what_would_i_see(six(), AGEING["bond slipping"]).set_index("observable")
    assert seen.loc["order 1 at 1000 rpm: wobble of the ring, assumed", "after"] == pytest.approx(
        6.02, abs=0.01
    )


def test_warmer_rubber_is_softer() -> None:
    assert warmer(10).stiffness_factor == pytest.approx(0.995**10)
    assert warmer(-10, percent_per_c=1).stiffness_factor == pytest.approx(0.99**-10)


def test_changes_add_up() -> None:
    crank = Crankshaft.of(six())
    one = crank.with_change(Change(stiffness_factor=0.8)).with_change(warmer(10))
    other = crank.with_change(Change(stiffness_factor=0.8 * 0.995**10))
    assert_allclose(one.chain.stiffness_nm_rad, other.chain.stiffness_nm_rad)


@pytest.mark.parametrize(
    ("damper", "change", "said"),
    [
        (RUBBER, {"viscous_factor": 0.5}, "has a ring on rubber, so its fluid cannot change"),
        (VISCOUS, {"loss_factor": 0.5}, "has a ring in fluid, so no rubber can change"),
        (VISCOUS, {"ring_slip": 0.5}, "has a ring in fluid, so no rubber can change"),
        (VISCOUS, {"stiffness_factor": 0.5}, "has no spring that could change"),
        (RUBBER, {"ring_slip": 1}, "a share, 0 or more and below 1"),
        (RUBBER, {"stiffness_factor": 0}, "must be above 0; 1 is no change"),
        (RUBBER, {"loss_factor": float("nan")}, "must be above 0; 1 is no change"),
    ],
)
def test_what_cannot_change_is_refused(
    damper: dict[str, Any], change: dict[str, float], said: str
) -> None:
    with pytest.raises(EngineError, match=said):
        what_would_i_see(six(damper), Change(**change))
