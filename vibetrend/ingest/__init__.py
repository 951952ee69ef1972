"""A file, as a phone or a logger hands it over, becomes a Recording."""

from vibetrend.ingest.reading import read

__all__ = ["read"]
