"""Two sets of run-out readings compared: then and now, or hub and ring.

What moved is the difference of the two eccentricities as vectors. Where both sets have the same
stations, the differences of the readings are fitted, so that form, which both hold alike, drops
out of the error.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibetrend.installation.as_json import as_json
from vibetrend.installation.runout import RunOut
from vibetrend.installation.stations import FEWEST, SAME_ANGLE, fit
from vibetrend.installation.vector import CONFIDENT, Vector

ANOTHER_MARK = (
    "Angles count from the mark: where the two sets do not share mark and zero, the movement means "
    "nothing, and only TIR and form can be compared."
)
TOO_FEW = (
    "Three stations do not tell the error of a reading, so it cannot be said what lies beyond it; "
    "take eight stations."
)
ONE_LEFT = (
    "Four stations leave a single number to tell the error of a reading from, so only a large "
    "movement can be told from it; take eight stations."
)


@dataclass(frozen=True, kw_only=True)
class RunOutChange:
    """What moved between two sets of readings; lengths in `unit`, that of the first."""

    unit: str
    moved: float  # how far the middle of the surface moved: length of the difference vector
    angle_deg: float  # towards, from the mark with rotation; NaN where nothing moved
    standard_error: float  # of `moved`, reading error alone; NaN where unknown
    angle_standard_error_deg: float
    confidence: float  # that reading error alone does not explain it, 0 to 1; NaN where unknown
    beyond: bool | None  # at 95 %; None where it cannot be told
    tir_change: float
    form_change: float  # of the form's peak to peak; NaN with three stations
    shape_change: float  # peak to peak of what changed beside the movement, station by station;
    # NaN where the stations differ or are three
    same_stations: bool
    caveats: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form; NaN becomes None."""
        found: dict[str, Any] = as_json(self)
        return found


def compare_runout(one: RunOut, other: RunOut) -> RunOutChange:
    """Return what moved from one set of readings to another.

    Parameters
    ----------
    one, other : RunOut
        In any units, at any stations; angles count from the same mark.
    """
    other = other.to(one.unit)
    same = _same_stations(one, other)
    moved, freedom, shape = _at_stations(one, other) if same else _apart(one, other)
    if moved.size <= 1e-9 * max(one.tir, other.tir):  # rounding of the computer
        moved = Vector(np.zeros(2), moved.covariance)
    confidence, beyond = _told(moved, freedom)
    caveats = [ANOTHER_MARK]
    if not freedom and beyond is None:
        caveats.append(TOO_FEW)
    elif 0 < freedom < 2 and not beyond:
        caveats.append(ONE_LEFT)
    return RunOutChange(
        unit=one.unit,
        moved=moved.size,
        angle_deg=moved.angle_deg,
        standard_error=moved.standard_error,
        angle_standard_error_deg=moved.angle_standard_error_deg,
        confidence=confidence,
        beyond=beyond,
        tir_change=other.tir - one.tir,
        form_change=other.form - one.form,
        shape_change=shape,
        same_stations=same,
        caveats=tuple(caveats),
    )


def _same_stations(one: RunOut, other: RunOut) -> bool:
    return len(one.angles) == len(other.angles) and bool(
        np.allclose(np.sort(one.angles), np.sort(other.angles), rtol=0, atol=SAME_ANGLE)
    )


def _at_stations(one: RunOut, other: RunOut) -> tuple[Vector, float, float]:
    """Return the movement, degrees of freedom and change of shape from equal stations."""
    first, second = np.argsort(one.angles), np.argsort(other.angles)
    difference = np.array(other.readings)[second] - np.array(one.readings)[first]
    found = fit(np.array(one.angles)[first], difference)
    freedom = difference.size - FEWEST
    least = math.hypot(one.least_reading_error, other.least_reading_error)
    if freedom:
        error, shape = max(found.left_over, least), float(np.ptp(found.residuals))
    else:
        known = not math.isnan(one.reading_error + other.reading_error)
        error, shape = least if known else math.nan, math.nan
    return Vector(found.parts, error**2 * found.shape), freedom, shape


def _apart(one: RunOut, other: RunOut) -> tuple[Vector, float, float]:
    """Return movement and degrees of freedom (Welch and Satterthwaite) from unlike stations."""
    each = [fit(np.array(some.angles), np.array(some.readings)) for some in (one, other)]
    covariances = [
        some.reading_error**2 * found.shape for some, found in zip((one, other), each, strict=True)
    ]
    freedoms = [len(some.angles) - FEWEST for some in (one, other)]
    freedom = 0.0
    if all(freedoms):
        sizes = [float(np.trace(covariance)) for covariance in covariances]
        freedom = sum(sizes) ** 2 / sum(
            size**2 / count for size, count in zip(sizes, freedoms, strict=True)
        )
    moved = Vector(each[1].parts - each[0].parts, covariances[0] + covariances[1])
    return moved, freedom, math.nan


def _told(moved: Vector, freedom: float) -> tuple[float, bool | None]:
    """Return the confidence that reading error does not explain a movement, and the answer."""
    if math.isnan(moved.standard_error):
        return math.nan, None
    if freedom:
        confidence = 1 - moved.chance(freedom)
        return confidence, confidence >= CONFIDENT
    # The resolution is the least error, not the error: what lies beyond it proves nothing.
    within = 1 - moved.chance(math.inf) < CONFIDENT
    return math.nan, False if within else None
