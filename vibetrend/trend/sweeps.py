"""What is said of run-ups alone: what moves no resonance, what hides it, how to sweep safely."""

from vibetrend.trend import resonance
from vibetrend.trend.assess import CONFIRMED
from vibetrend.trend.findings import CALM, Table

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


def uncertain_temperature(rows: Table) -> list[str]:
    """Say where the damper's temperature is most of what hides a change."""
    told = (
        resonance.temperature(row["feature"], row["shared_db"], row["scatter_db"]) for row in rows
    )
    return [text for text in told if text][:1]
