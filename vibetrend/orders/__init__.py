"""From a recording to crankshaft speed and order amplitudes, with honest uncertainty."""

from vibetrend.orders.measurement import METHOD_VERSION, Measurement, Speed
from vibetrend.orders.measuring import measure
from vibetrend.orders.spectrogram import Spectrogram, spectrogram

__all__ = [
    "METHOD_VERSION",
    "Measurement",
    "Spectrogram",
    "Speed",
    "measure",
    "spectrogram",
]
