"""A sweep -> Measurement: the one function of this room."""

from collections.abc import Sequence

from vibetrend.engine import Engine
from vibetrend.errors import MeasureError
from vibetrend.orders import Measurement
from vibetrend.recording import Recording


def measure(
    recording: Recording, *, engine: Engine | None = None, baseline: Sequence[Measurement] = ()
) -> Measurement:
    """Measure a sweep."""
    raise MeasureError("being built")
