"""What is said of run-ups alone: what moves no resonance, what hides it, how to sweep safely."""

import numpy as np

from vibetrend.engine import Engine
from vibetrend.trend import resonance
from vibetrend.trend.assess import CONFIRMED, Assessment
from vibetrend.trend.evidence import listed
from vibetrend.trend.findings import CALM, Table
from vibetrend.trend.history import History
from vibetrend.trend.rows import names_of
from vibetrend.trend.warmth import hidden_by_warmth

IDLE_STAYS = (
    "That the orders at idle stay where they were does not speak against it: they are nearly blind "
    "to the damper's stiffness. Nor can a phone, its spot or its gain move a frequency."
)
LOOK_BEFORE_SWEEP = (
    "Look at the damper before the next sweep; with a fault seen there, do not sweep again."
)
RUN_UP_CAUTIONS = (
    "A run-up is run out of gear, with nobody and nothing near turning parts, within the engine "
    "maker's no-load limits and never past rated speed.",
    "Make none with a known fault, and stop it where anything sounds or feels wrong.",
)


def of_sweeps(rows: Table) -> list[str]:
    """Return what a crankshaft's resonance that moved does not depend on, and a warning."""
    of_crank = [row for row in rows if resonance.of_crankshaft(row["feature"])]
    moved = [row["feature"] for row in of_crank if row["state"] in CONFIRMED]
    frequency = any(resonance.parts(text).quantity == "frequency" for text in moved)
    doubted = any(row["state"] not in CALM for row in of_crank)
    return [IDLE_STAYS] * frequency + [LOOK_BEFORE_SWEEP] * doubted


def uncertain_temperature(
    arranged: History, rows: Table, result: Assessment, engine: Engine | None
) -> str:
    """Return what the damper's temperature hides, where that is most of what hides a change."""
    scatter = result.scatter
    return hidden_by_warmth(
        [str(row["feature"]) for row in rows],
        scatter_db=np.array([row["scatter_db"] for row in rows]),
        usual_db=np.sqrt(scatter.usual_shared),
        latest_db=np.sqrt(scatter.shared[-1]),
        warmer_c=arranged.damper_warmer,
        assumed=engine is None or engine.damper.stiffness_percent_per_c is None,
    )


def not_judged(arranged: History) -> list[str]:
    """Say which features are not judged, and why."""
    some = arranged.not_judged
    if not some:
        return []
    if arranged.swept:
        names = listed([f"the {name}" for name in names_of(some)])
        several = len(names_of(some)) > 1
        return [
            f"Not judged, because {'they are' if several else 'it is'} not reached or too weak in "
            f"half of the sweeps of the baseline or of the latest check-up: {names}."
        ]
    names = ", ".join(names_of(some))
    return [f"Not judged, because too weak or above what these recordings can show: {names}."]
