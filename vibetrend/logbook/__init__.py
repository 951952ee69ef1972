"""All that is kept: engines, installations, recordings, what was measured and concluded.

A folder with one database and every original recording. The only room with SQL.
"""

from vibetrend.logbook.book import Logbook
from vibetrend.logbook.engines import EngineFile, Installation
from vibetrend.logbook.entries import Entry
from vibetrend.logbook.filing import Series
from vibetrend.logbook.hours import KnownHours
from vibetrend.logbook.meter import MeterEntry
from vibetrend.logbook.recordings import KeptRecording
from vibetrend.logbook.works import Work

__all__ = [
    "EngineFile", "Entry", "Installation", "KeptRecording", "KnownHours", "Logbook", "MeterEntry",
    "Series", "Work",
]  # fmt: skip
