"""Recordings with known truth: for the demo, the tests and 'how early would I know?'."""

from vibetrend.simulate.ageing import aged, steady_changes_db
from vibetrend.simulate.errors import SimulateError
from vibetrend.simulate.files import write_sound, write_table
from vibetrend.simulate.firing import firing_angles, vector_sum
from vibetrend.simulate.folder import demo
from vibetrend.simulate.habits import Habits, swept_range
from vibetrend.simulate.how_early import HowEarly, how_early
from vibetrend.simulate.plan import (
    DemoPlan,
    PlannedEngine,
    PlannedInstallation,
    PlannedVisit,
    read_plan,
)
from vibetrend.simulate.record import Truth, record
from vibetrend.simulate.rendering import Line
from vibetrend.simulate.sensor import MICROPHONE, PHONE, Sensor
from vibetrend.simulate.speed import Running
from vibetrend.simulate.sweep import REFERENCE_C, SweepTruth, sweep

__all__ = [
    "MICROPHONE",
    "PHONE",
    "REFERENCE_C",
    "DemoPlan",
    "Habits",
    "HowEarly",
    "Line",
    "PlannedEngine",
    "PlannedInstallation",
    "PlannedVisit",
    "Running",
    "Sensor",
    "SimulateError",
    "SweepTruth",
    "Truth",
    "aged",
    "demo",
    "firing_angles",
    "how_early",
    "read_plan",
    "record",
    "steady_changes_db",
    "sweep",
    "swept_range",
    "vector_sum",
    "write_sound",
    "write_table",
]
