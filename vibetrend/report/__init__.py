"""The page that a mechanic, a surveyor or the next owner reads."""

from vibetrend.checkup.records import EngineRecord, OrderSpectrum, SeriesRecord
from vibetrend.report.document import write
from vibetrend.report.page import page

__all__ = ["EngineRecord", "OrderSpectrum", "SeriesRecord", "page", "write"]
