"""Stations around the turn: their angles, the fit of one turn, what so many of them can miss."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vibetrend.errors import InstallationError

FEWEST = 3  # mean, and the two parts of an eccentricity
SAME_ANGLE = 0.1  # degrees: nobody sets an indicator nearer than this
HALF_TURN = 180.0


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
        If there are fewer than three, one is out of range or there twice, or more than half a turn
        has none.
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
    for low, high in _gaps(turned):
        if high - low < SAME_ANGLE:
            raise InstallationError(
                f"angle {low:g} is there twice; each station is read once, and the first read "
                f"again after the turn is the closing reading"
            )
    low, high = widest_gap(turned)
    if high - low > HALF_TURN + SAME_ANGLE:
        raise InstallationError(
            f"angles are missing: more than half a turn, from {low:g} to {high % 360:g} degrees, "
            f"has no reading; add stations there"
        )
    return turned


def widest_gap(angles: tuple[float, ...]) -> tuple[float, float]:
    """Return the two neighbours that lie farthest apart; the second may lie beyond 360 degrees."""
    return max(_gaps(angles), key=lambda gap: gap[1] - gap[0])


def _gaps(angles: tuple[float, ...]) -> list[tuple[float, float]]:
    order = sorted(angles)
    return list(pairwise([*order, order[0] + 360]))


def missed(angles: tuple[float, ...]) -> Missed:
    """Return what stations miss.

    The TIR of an eccentricity of 1 is the width, in its direction, of the polygon whose corners
    are the stations on the unit circle. A convex polygon is narrowest across one of its sides.
    """
    widths = [
        max(
            math.cos(math.radians(high - low) / 2) - math.cos(math.radians(each - (low + high) / 2))
            for each in angles
        )
        for low, high in _gaps(angles)
    ]
    low, high = widest_gap(angles)
    # One lobe is the eccentricity, which any stations that determine it show in part.
    lobes = max(2, math.ceil(HALF_TURN / (high - low) - 1e-9))
    return Missed(least_seen=min(widths) / 2, lobes=lobes)
