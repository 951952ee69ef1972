"""A file, as a phone or a logger hands it over, becomes a Recording."""

from vibetrend.ingest.keeping import kept_content
from vibetrend.ingest.reading import read
from vibetrend.ingest.tags import Statements

__all__ = ["Statements", "kept_content", "read"]
