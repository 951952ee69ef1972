"""All that is kept: engines, installations, recordings, what was measured and concluded.

A folder with one database and every original recording. The only room with SQL.
"""

from vibetrend.logbook.book import Logbook
from vibetrend.logbook.checking import Checked, accept_clock, check, mend_original
from vibetrend.logbook.corrections import Correction, correct, corrections, set_aside
from vibetrend.logbook.engines import EngineFile, Installation
from vibetrend.logbook.entries import Entry
from vibetrend.logbook.filing import Series
from vibetrend.logbook.hours import KnownHours
from vibetrend.logbook.listing import Listed, listed
from vibetrend.logbook.meter import MeterEntry
from vibetrend.logbook.recordings import KeptRecording
from vibetrend.logbook.remeasuring import (
    MeasuredAgain,
    Remeasurable,
    keep_measurement,
    remeasurable,
    times_measured_again,
)
from vibetrend.logbook.sweeps import KeptSweep, sweeps
from vibetrend.logbook.works import Work

__all__ = [
    "Checked", "Correction", "EngineFile", "Entry", "Installation", "KeptRecording", "KeptSweep",
    "KnownHours", "Listed", "Logbook", "MeasuredAgain", "MeterEntry", "Remeasurable", "Series",
    "Work", "accept_clock", "check", "correct", "corrections", "keep_measurement", "listed",
    "mend_original", "remeasurable", "set_aside", "sweeps", "times_measured_again",
]  # fmt: skip
