"""Order curves: how strong each order is at each speed of a sweep."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.recording import FloatArray

SPEED_RATIO = 1.01
"""From one speed of the grid to the next; all sweeps share it, so that curves can be laid over
each other. A resonance of damping ratio 0.02 is four steps wide."""

LOG_STEP = float(np.log(SPEED_RATIO))

SPAN = 0.025
"""Share of the speed that the Hann window behind each value covers; more in a fast sweep."""

VISIBLE = 3.0  # standard errors

ComplexArray = NDArray[np.complex128]


def grid_rpm(low: float, high: float) -> FloatArray:
    """Return the speeds of the grid from `low` to `high`, shape (m,), rpm."""
    steps = np.arange(np.ceil(np.log(low) / LOG_STEP), np.floor(np.log(high) / LOG_STEP) + 1)
    return np.asarray(SPEED_RATIO**steps, dtype=float)


@dataclass(frozen=True, eq=False, kw_only=True)
class Curves:
    """Complex amplitude of each order against speed; K orders, M speeds, A axes."""

    orders: FloatArray  # (K,)
    speed_rpm: FloatArray  # (M,) rising, of `grid_rpm`
    value: ComplexArray  # (K, M, A) rms; NaN where the sweep does not show the order
    variance: FloatArray  # (K, M, A) expected |error|^2 of each value
    unit: str

    @property
    def amplitude(self) -> FloatArray:
        """All axes together, noise bias removed, shape (K, M)."""
        power = (np.abs(self.value) ** 2 - self.variance).sum(axis=2)
        return np.asarray(np.sqrt(np.maximum(power, 0.0)))

    @property
    def standard_error(self) -> FloatArray:
        """Of `amplitude`, shape (K, M): half of the error's power lies along the value."""
        return np.asarray(np.sqrt(self.variance.mean(axis=2) / 2))

    @property
    def floor(self) -> FloatArray:
        """Amplitude that noise alone would give, shape (K, M)."""
        return np.asarray(np.sqrt(self.variance.sum(axis=2)))

    def table(self) -> pd.DataFrame:
        """Return a row for each order and speed that the sweep shows."""
        strongest = np.argmax(np.nan_to_num(np.abs(self.value)), axis=2)[..., np.newaxis]
        phase = np.angle(np.take_along_axis(self.value, strongest, axis=2)[..., 0], deg=True)
        amplitude, error = self.amplitude, self.standard_error
        columns = {
            "order": np.repeat(self.orders, self.speed_rpm.size),
            "speed_rpm": np.tile(self.speed_rpm, self.orders.size),
            "amplitude": amplitude.ravel(),
            "standard_error": error.ravel(),
            "floor": self.floor.ravel(),
            "phase_deg": phase.ravel(),
            "visible": (amplitude > VISIBLE * error).ravel(),
        }
        table = pd.DataFrame(columns)
        seen = table.loc[np.isfinite(table["amplitude"])]
        return pd.DataFrame(seen.reset_index(drop=True))
