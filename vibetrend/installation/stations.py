"""Stations around the turn: their angles, the fit of one turn, what so many of them can miss."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vibetrend.errors import InstallationError

FEWEST = 3  # mean, and the two parts of an eccentricity
_SAME_ANGLE = 1e-6  # degrees


@dataclass(frozen=True)
class Missed:
    """What the stations can miss."""

    least_seen: float  # of a pure eccentricity's true TIR they show this share at least
    lobes: int  # a shape of so many lobes around the turn, or more, can go unseen

    @property
    def sentence(self) -> str:
        """Say it in plain words."""
        return (
            f"These stations show at least {math.floor(100 * self.least_seen + 1e-9):.0f} % of the "
            f"true TIR of an eccentric surface; a shape of {self.lobes} or more lobes around the "
            f"turn can go unseen."
        )


@dataclass(frozen=True, eq=False)
class Fit:
    """Mean and first harmonic of readings, by least squares."""

    mean: float
    parts: NDArray[np.float64]  # (2,) of the cosine and of the sine
    fitted: NDArray[np.float64]  # (n,)
    residuals: NDArray[np.float64]  # (n,)
    shape: NDArray[np.float64]  # (2, 2) covariance of `parts` for readings with error 1

    @property
    def left_over(self) -> float:
        """Standard deviation of a reading as the residuals tell it; 0 with three stations."""
        freedom = self.residuals.size - FEWEST
        return math.sqrt(float(self.residuals @ self.residuals) / freedom) if freedom else 0.0


def fit(angles: ArrayLike, values: ArrayLike) -> Fit:
    """Fit ``mean + a cos(theta) + b sin(theta)``; angles (n,) in degrees, values (n,)."""
    theta, heights = np.radians(angles), np.asarray(values, float)
    design = np.column_stack([np.ones_like(theta), np.cos(theta), np.sin(theta)])
    solution, *_ = np.linalg.lstsq(design, heights)
    fitted = design @ solution
    return Fit(
        mean=float(solution[0]),
        parts=solution[1:],
        fitted=fitted,
        residuals=heights - fitted,
        shape=np.linalg.inv(design.T @ design)[1:, 1:],
    )


def evenly(count: int) -> tuple[float, ...]:
    """Return the angles of evenly spaced stations, the first at the mark."""
    return tuple(360 * i / count for i in range(count))


def checked(angles: tuple[float, ...]) -> tuple[float, ...]:
    """Return angles from 0 to below 360 degrees.

    Raises
    ------
    InstallationError
        If there are fewer than three, one is out of range or there twice, or half a turn has none.
    """
    if len(angles) < FEWEST:
        raise InstallationError(
            f"run-out needs readings at {FEWEST} stations or more around the turn; there are "
            f"{len(angles)}"
        )
    for angle in angles:
        if not 0 <= angle <= 360:
            raise InstallationError(
                f"angle {angle:g} is out of range; count from the mark in the direction of "
                f"rotation, 0 to 360 degrees"
            )
    turned = tuple(angle % 360 for angle in angles)
    order = sorted(turned)
    for low, high in zip(order, [*order[1:], order[0] + 360], strict=True):
        if high - low < _SAME_ANGLE:
            raise InstallationError(
                f"angle {low:g} is there twice; each station is read once, and the first read "
                f"again after the turn is the closing reading"
            )
        if high - low >= 180 - _SAME_ANGLE:
            raise InstallationError(
                f"angles are missing: half a turn or more, from {low:g} to {high % 360:g} "
                f"degrees, has no reading; add stations there"
            )
    return turned


def missed(angles: tuple[float, ...]) -> Missed:
    """Return what stations miss.

    The TIR of an eccentricity of 1 is the width, in its direction, of the polygon whose corners
    are the stations on the unit circle. A convex polygon is narrowest across one of its sides.
    """
    order = sorted(angles)
    pairs = list(zip(order, [*order[1:], order[0] + 360], strict=True))
    widths = [
        max(
            math.cos(math.radians(high - low) / 2) - math.cos(math.radians(each - (low + high) / 2))
            for each in order
        )
        for low, high in pairs
    ]
    gap = max(high - low for low, high in pairs)
    return Missed(least_seen=min(widths) / 2, lobes=math.ceil(180 / gap - 1e-9))
