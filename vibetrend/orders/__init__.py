"""From a recording to crankshaft speed and order amplitudes, with honest uncertainty."""

from vibetrend.orders.measurement import METHOD_VERSION, Measurement, Speed
from vibetrend.orders.measuring import measure

__all__ = ["METHOD_VERSION", "Measurement", "Speed", "measure"]
