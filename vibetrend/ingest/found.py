"""What every reader hands back: the samples and what the file itself says about them."""

import datetime as dt
from dataclasses import dataclass, field

from vibetrend.ingest.tags import Stated
from vibetrend.recording import FloatArray, Kind, Note, Tacho

MOST_VALUES = 60_000_000
"""Samples times axes in one recording: 20 minutes of one 48 kHz channel, about 0.5 GB."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """A file's content before the person's tags are put to it."""

    samples: FloatArray | None  # (n, axes) in `unit`; None where there is only a tacho
    times: FloatArray | None = None  # (n,) seconds from the first stamp, or `sample_rate`
    sample_rate: float | None = None  # Hz
    axes: tuple[str, ...] | None = None  # None: x, y, z
    kind: Kind
    unit: str
    tacho: Tacho | None = None  # on the clock of `times`
    codec: str = ""
    stated: Stated = field(default_factory=Stated)  # tags the file states, such as a column "rpm"
    date: dt.date | None = None  # the file's own recording date
    location: tuple[tuple[int, int], ...] = ()
    """Bytes of the unpacked content, first and end, whose digits tell where the phone was."""
    coordinates: tuple[tuple[int, int], ...] = ()
    """The same of coordinates that are numbers and not text."""
    notes: tuple[Note, ...] = ()
