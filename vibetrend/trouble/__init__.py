"""What to do when something goes wrong: `troubleshooting.md`, as entries and searched."""

from vibetrend.trouble.entries import Entry, entries
from vibetrend.trouble.matching import fits, matching

__all__ = ["Entry", "entries", "fits", "matching"]
