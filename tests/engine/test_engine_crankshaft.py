"""What an engine file may say of crankshaft and damper ring; the numbers are invented."""

from typing import Any

import pytest

from vibetrend.engine import Crank, Damper, Engine
from vibetrend.engine.firing import throws_of
from vibetrend.engine.writing import engine_file
from vibetrend.errors import EngineError

CRANK = {
    "inertias_kg_m2": [0.02, 0.04, 0.04, 0.04, 0.04, 1.1],
    "stiffnesses_nm_rad": [8e5, 1.3e6, 1.3e6, 1.3e6, 1.5e6],
    "loss_factor": 0.03,
    "bore_mm": 100,
    "stroke_mm": 115,
    "rod_ratio": 1.75,
    "reciprocating_mass_kg": 1.6,
    "compression_ratio": 17,
}
RING = {
    "type": "rubber",
    "hub_inertia_kg_m2": 0.02,
    "ring_inertia_kg_m2": 0.06,
    "ring_stiffness_nm_rad": 65000,
    "ring_loss_factor": 0.2,
    "stiffness_percent_per_c": 0.6,
}
HEAD = 'name = "main"\ncylinders = 4\n'


def engine(**values: Any) -> Engine:
    return Engine.of({"name": "main", "cylinders": 4, **values})


def test_all_of_it_may_be_left_out() -> None:
    assert engine().crankshaft == Crank()
    assert engine().damper == Damper()


def test_all_of_it_is_read() -> None:
    full = engine(crankshaft=CRANK, damper=RING)
    assert full.crankshaft.inertias_kg_m2 == tuple(CRANK["inertias_kg_m2"])
    assert full.damper.stiffness_percent_per_c == 0.6


@pytest.mark.parametrize("ring", [RING, {"type": "viscous", "ring_damping_nm_s_rad": 60}])
def test_it_is_written_as_it_is_read(ring: dict[str, Any]) -> None:
    values = {"name": "main", "cylinders": 4, "crankshaft": CRANK, "damper": ring}
    assert Engine.parse(engine_file(values, file="engine.toml")) == Engine.of(values)


@pytest.mark.parametrize(
    ("values", "throws"),
    [
        ({"cylinders": 6}, 6),
        ({"cylinders": 8, "layout": "vee", "bank_angle_deg": 90}, 4),
        ({"cylinders": 6, "layout": "vee", "bank_angle_deg": 60, "pins": "split"}, 3),
    ],
)
def test_throws(values: dict[str, Any], throws: int) -> None:
    assert throws_of(engine(**values)) == throws


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "[crankshaft]\ninertias_kg_m2 = [1, 1, 1, 1, 1]\nstiffnesses_nm_rad = [1e6]\n",
            r"line 4: crankshaft.inertias_kg_m2 has 5 numbers; write 6: the nose without the "
            r"damper, each of the 4 throws, the flywheel$",
        ),
        (
            "[generator]\npoles = 4\nfrequency_hz = 50\n[crankshaft]\n"
            "inertias_kg_m2 = [1, 1, 1, 1, 1, 1]\nstiffnesses_nm_rad = [1e6]\n",
            r"line 7: .*write 7: .*the flywheel, the generator$",
        ),
        (
            "[crankshaft]\ninertias_kg_m2 = [1, 1, 1, 1, 1, 1]\nstiffnesses_nm_rad = [1e6]\n",
            r"line 5: crankshaft.stiffnesses_nm_rad has 1 numbers; write 5, one between",
        ),
        (
            "[crankshaft]\ninertias_kg_m2 = [1, 1, 1, 1, 1, 1]\n",
            r"line 3: crankshaft.stiffnesses_nm_rad is missing: .* one set; state both",
        ),
        (
            "[crankshaft]\nstiffnesses_nm_rad = [1e6]\n",
            r"line 3: crankshaft.inertias_kg_m2 is missing",
        ),
        ("[crankshaft]\nrod_ratio = 0.29\n", r"line 4: crankshaft.rod_ratio is 0.29: must be 1 or"),
        ("[crankshaft]\nbore_mm = 0.1\n", r"line 4: crankshaft.bore_mm is 0.1: must be 20 or more"),
        ("[crankshaft]\nbore = 100\n", r"crankshaft.bore is not a known key; did you mean bore_mm"),
        (
            "[crankshaft]\ninertias_kg_m2 = [1, -1]\n",
            r"line 4: crankshaft.inertias_kg_m2, entry 2 is -1: must be",
        ),
        (
            '[damper]\ntype = "viscous"\nring_loss_factor = 0.2\n',
            r"line 5: damper.ring_loss_factor goes with type 'rubber' only; leave it out, or",
        ),
        (
            '[damper]\ntype = "viscous"\nstiffness_percent_per_c = 0.5\n',
            r"line 5: damper.stiffness_percent_per_c goes with type 'rubber' only",
        ),
        (
            '[damper]\ntype = "rubber"\nring_damping_nm_s_rad = 60\n',
            r"line 5: damper.ring_damping_nm_s_rad goes with type 'viscous' only",
        ),
        (
            '[damper]\ntype = "rubber"\nring_inertia_kg_m2 = 0.06\nring_stiffness_nm_rad = 6.5e7\n',
            r"line 6: damper.ring_stiffness_nm_rad and ring_inertia_kg_m2 tune the ring to "
            r"5.24e\+03 Hz, which no damper is",
        ),
        (
            "[damper]\nring_inertia_kg_m2 = 60\nring_stiffness_nm_rad = 65000\n",
            r"line 5: .* tune the ring to 5.24 Hz, which no damper is",
        ),
    ],
)
def test_what_does_not_go_together_is_told_with_its_line(text: str, said: str) -> None:
    with pytest.raises(EngineError, match=said):
        Engine.parse(HEAD + text)


def test_a_viscous_ring_may_have_a_weak_spring() -> None:
    ring = {"type": "viscous", "ring_inertia_kg_m2": 0.1, "ring_stiffness_nm_rad": 100}
    assert engine(damper=ring).damper.ring_stiffness_nm_rad == 100
