"""Recordings with known truth: for the demo, the tests and 'what could I detect?'."""

from vibetrend.simulate.errors import SimulateError
from vibetrend.simulate.files import write_sound, write_table
from vibetrend.simulate.firing import firing_angles, vector_sum
from vibetrend.simulate.folder import demo
from vibetrend.simulate.plan import (
    DemoPlan,
    PlannedEngine,
    PlannedInstallation,
    PlannedVisit,
    read_plan,
)
from vibetrend.simulate.record import Line, Truth, record
from vibetrend.simulate.sensor import MICROPHONE, PHONE, Sensor
from vibetrend.simulate.speed import Running

__all__ = [
    "MICROPHONE",
    "PHONE",
    "DemoPlan",
    "Line",
    "PlannedEngine",
    "PlannedInstallation",
    "PlannedVisit",
    "Running",
    "Sensor",
    "SimulateError",
    "Truth",
    "demo",
    "firing_angles",
    "read_plan",
    "record",
    "vector_sum",
    "write_sound",
    "write_table",
]
