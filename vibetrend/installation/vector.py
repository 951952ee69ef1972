"""An eccentricity as a vector: how far, towards which angle, with its covariance."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

CONFIDENT = 0.95  # that error alone does not explain what is told as beyond it
_ANY_ANGLE = 360 / math.sqrt(12)  # standard deviation of a direction that is not known at all


@dataclass(frozen=True, eq=False)
class Vector:
    """Two parts along 0 and 90 degrees, and the covariance of their errors."""

    parts: NDArray[np.float64]  # (2,)
    covariance: NDArray[np.float64]  # (2, 2); NaN where the error is not known

    @property
    def size(self) -> float:
        """Its length."""
        return float(np.hypot(*self.parts))

    @property
    def angle_deg(self) -> float:
        """Its direction, 0 to below 360; NaN without length."""
        if not self.size:
            return math.nan
        return round(math.degrees(math.atan2(self.parts[1], self.parts[0])), 9) % 360

    @property
    def standard_error(self) -> float:
        """That of the length; without length that of the least known direction."""
        return math.sqrt(self._variance(self.parts))

    @property
    def angle_standard_error_deg(self) -> float:
        """That of the direction, at most that of a direction not known at all."""
        if not self.size:
            return math.nan
        error = math.sqrt(self._variance(np.array([-self.parts[1], self.parts[0]])))
        return min(math.degrees(error / self.size), _ANY_ANGLE)

    def _variance(self, along: NDArray[np.float64]) -> float:
        if np.isnan(self.covariance).any():
            return math.nan
        if not self.size:
            return float(np.linalg.eigvalsh(self.covariance)[-1])
        return float(along @ self.covariance @ along) / self.size**2

    def chance(self, freedom: float) -> float:
        """Return how likely error alone gives a vector as long as this, in any direction.

        With f degrees of freedom that the covariance C was told from (inf where it is known)

            p = (1 + 2 F / f)^(-f / 2),   F = v' C^-1 v / 2

        the F distribution with 2 and f degrees of freedom (Hotelling's T^2 of two values with a
        common scale), which has this closed form.
        """
        ratio = float(self.parts @ np.linalg.solve(self.covariance, self.parts)) / 2
        if math.isinf(freedom):
            return math.exp(-ratio)
        return float((1 + 2 * ratio / freedom) ** (-freedom / 2))
