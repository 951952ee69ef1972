"""From a recording to crankshaft speed and order amplitudes, with honest uncertainty."""

from vibetrend.orders.amplitude_spectrum import AmplitudeSpectrum, amplitude_spectrum
from vibetrend.orders.measurement import METHOD_VERSION, Measurement, Speed, Swept
from vibetrend.orders.measuring import measure
from vibetrend.orders.spectrogram import Spectrogram, spectrogram
from vibetrend.orders.trace import Trace, trace

__all__ = [
    "METHOD_VERSION",
    "AmplitudeSpectrum",
    "Measurement",
    "Spectrogram",
    "Speed",
    "Swept",
    "Trace",
    "amplitude_spectrum",
    "measure",
    "spectrogram",
    "trace",
]
