"""What picks an engine up and how it spoils what it hears: times, roll-off, noise, steps."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from vibetrend.recording import FloatArray
from vibetrend.units import STANDARD_GRAVITY

_NOISE_FLOOR = 0.03  # engine noise density far above its corner, of that far below
_TILT_DEG = 3.0  # how differently a person sets the sensor down each time


@dataclass(frozen=True, kw_only=True)
class Sensor:
    """A sensor on its spot."""

    kind: Literal["acceleration", "sound"]
    firing_rms: float  # of the firing order, all axes together, in the recording's unit
    firing_above_noise_db_hz: float  # its mean square over one axis' noise density beside it
    noise_corner_hz: float  # the engine's noise falls above
    own_noise: float  # unit / sqrt(Hz), white
    lowest_hz: float  # first-order roll-off below, 0 for none
    highest_hz: float  # second-order roll-off above
    step: float  # of the converter
    full_scale: float
    jitter_percent: float  # of the sampling interval, standard deviation
    mains_hz: float = 50.0
    mains_level: float = 0.02  # of the firing order, 0 for none

    @property
    def axes(self) -> int:
        """Number of axes."""
        return 3 if self.kind == "acceleration" else 1

    def response(self, frequency_hz: FloatArray) -> FloatArray:
        """Return the gain at each frequency above 0, shape as given."""
        below = np.hypot(1.0, self.lowest_hz / frequency_hz)
        above = np.hypot(1.0, (frequency_hz / self.highest_hz) ** 2)
        return 1 / (below * above)

    def sample_times(self, count: int, rate: float, rng: np.random.Generator) -> FloatArray:
        """Return when each sample is taken, shape (count,), seconds, always growing."""
        drawn = self.jitter_percent / 100 * rng.standard_normal(count)
        jitter: FloatArray = np.clip(drawn, -0.45, 0.45)  # no sample overtakes the one before
        return (np.arange(count) + 0.5 + jitter) / rate

    def density(
        self, frequency_hz: FloatArray, *, firing_hz: FloatArray, gain: float = 1.0
    ) -> FloatArray:
        """Return the noise on one axis, one-sided, unit^2 / Hz, shape as `frequency_hz`.

        `firing_hz` is where the engine's share is set beside the firing order.
        """

        def shape(frequency_hz: FloatArray) -> FloatArray:
            return _NOISE_FLOOR + 1 / (1 + (frequency_hz / self.noise_corner_hz) ** 2)

        beside = self.firing_rms**2 / 10 ** (self.firing_above_noise_db_hz / 10)
        density = beside * shape(frequency_hz) / shape(firing_hz)
        return gain**2 * density + self.own_noise**2

    def noise(
        self, count: int, rate: float, *, firing_hz: float, gain: float, rng: np.random.Generator
    ) -> FloatArray:
        """Return the engine's coloured and the sensor's own noise, shape (count, axes).

        `gain` multiplies the engine's share: how well the sensor is coupled to it.
        """
        frequency = np.arange(count // 2 + 1) * rate / count
        total = self.density(frequency, firing_hz=np.array(firing_hz), gain=gain)
        white = rng.standard_normal((count, self.axes))
        spectrum = np.fft.rfft(white, axis=0) * np.sqrt(total * rate / 2)[:, np.newaxis]
        return np.fft.irfft(spectrum, count, axis=0)

    def orientation(self, specimen: int, rng: np.random.Generator) -> FloatArray:
        """Return the rotation from engine axes (across, up, along) to the sensor's own.

        Shape (axes, axes). The spot has its slope; each placement differs by a few degrees.
        """
        if self.kind == "sound":
            return np.eye(1)
        slope = np.random.default_rng([specimen, 3, 0, 0]).uniform(-0.4, 0.4, 3)
        return _rotation(slope + np.radians(_TILT_DEG) * rng.standard_normal(3))

    def convert(self, signal: FloatArray) -> FloatArray:
        """Return the signal in steps of the converter, clipped at full scale."""
        counts = np.round(signal / self.step)
        top = round(self.full_scale / self.step)
        return np.clip(counts, -top, top - 1) * self.step


def _rotation(angles: FloatArray) -> FloatArray:
    """Turn about the vector `angles`, radians (Rodrigues' formula)."""
    size = float(np.linalg.norm(angles))
    x, y, z = angles / size
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    rotation: FloatArray = np.eye(3) + np.sin(size) * cross + (1 - np.cos(size)) * cross @ cross
    return rotation


PHONE = Sensor(
    kind="acceleration",
    firing_rms=1.2,
    firing_above_noise_db_hz=44.0,
    noise_corner_hz=120.0,
    own_noise=0.002,
    lowest_hz=0.0,
    highest_hz=200.0,
    step=8 * STANDARD_GRAVITY / 2**15,
    full_scale=8 * STANDARD_GRAVITY,
    jitter_percent=7.0,
)
"""A phone on a solid casting: three axes with gravity, jittered times. Illustrative numbers."""

MICROPHONE = Sensor(
    kind="sound",
    firing_rms=0.05,
    firing_above_noise_db_hz=44.0,
    noise_corner_hz=250.0,
    own_noise=2e-6,
    lowest_hz=15.0,
    highest_hz=3500.0,
    step=2.0**-15,
    full_scale=1.0,
    jitter_percent=0.0,
)
"""A sound recorder on a stand, automatic gain off: mono, 16 bit, even times. Illustrative."""
