"""All that is kept: engines, installations, recordings, what was measured and concluded.

A folder with one database and every original recording. The only room with SQL.
"""

from vibetrend.logbook.book import Logbook
from vibetrend.logbook.engines import Installation
from vibetrend.logbook.filing import Series
from vibetrend.logbook.recordings import KeptRecording
from vibetrend.logbook.works import Work

__all__ = ["Installation", "KeptRecording", "Logbook", "Series", "Work"]
