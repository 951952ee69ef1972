"""What the orders did together: all alike, or many at one time, each its own way.

Both speak of the phone, its spot or the mounts, and of no single order.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.trend.bend import bank_of_bends, contrast, find_bends
from vibetrend.trend.conditions import follow
from vibetrend.trend.forecast import forecast
from vibetrend.trend.placements import FEW_ORDERS
from vibetrend.trend.scatter import usual_scatter
from vibetrend.trend.visits import tame, visit_means, wild_days

Floats = NDArray[np.float64]

PRIOR_PLACEMENT, PRIOR_DAY = np.array([0.8]), np.array([0.3])  # dB
ALONE = np.array([True])
MOVED_Z = 4.5
JUMP_Z = 5.0  # of the latest day alone: asks for another
MANY_Z = 1.9  # half of the orders beyond it: by chance once in 100 000 steps looked at


@dataclass(frozen=True)
class Alike:
    """What all orders did alike."""

    change: float  # dB now
    z: float
    since_hours: float
    moved: bool
    jumped: bool  # at the latest check-up alone


def moved_alike(common: Floats, conditions: Floats | None, hours: Floats, *, first: int) -> Alike:
    """Judge the common shift of every placement by the same bend test, with its own scatter.

    Parameters
    ----------
    common : array, shape (visits, placements)
        dB; NaN where not used.
    conditions : array, shape (visits, placements, conditions), optional
        Steps from the baseline's.
    hours : array, shape (visits,)
        Ascending.
    first : int
        The last visit of the baseline.
    """
    shift, slopes = common[..., None], None
    scatter = usual_scatter(
        shift, prior_placement=PRIOR_PLACEMENT, prior_day=PRIOR_DAY, pooled=~ALONE
    )
    if conditions is not None:
        effect, slopes = follow(shift, conditions, scatter, ALONE)
        shift = shift - effect
        scatter = usual_scatter(
            shift, prior_placement=PRIOR_PLACEMENT, prior_day=PRIOR_DAY, pooled=~ALONE
        )
    change, variance = visit_means(shift, np.zeros_like(shift), scatter)
    variance = np.where(wild_days(change, variance, first=first), np.inf, variance)
    bends = find_bends(change, variance, hours, first=first, degrees=scatter.degrees, slopes=slopes)
    ahead = forecast(change, variance, hours, first=first, limit=np.array([np.nan]), slopes=slopes)
    return Alike(
        change=float(ahead.change[0]),
        z=float(bends.z[0]),
        since_hours=float(bends.since_hours[0]),
        moved=bool(abs(bends.z[0]) >= MOVED_Z),
        jumped=bool(abs(bends.jump_z[0]) >= JUMP_Z),
    )


def many_moved(change: Floats, variance: Floats, hours: Floats, *, first: int) -> int | None:
    """Return the first visit after which half of all orders stand elsewhere, each its own way.

    The medians of |z| of a step between any two visits, over the orders, are compared; a step
    that one check-up alone bears out is left to the next one.

    Parameters
    ----------
    change, variance : array, shape (orders, visits)
        dB, what is common taken out, and dB^2; an infinite variance stands for a missing value.

    Returns
    -------
    int or None
        None where there is no such step, or too few orders to tell many from one.
    """
    orders, visits = change.shape
    if orders < FEW_ORDERS or visits - 2 <= first:
        return None
    _, steps, _ = bank_of_bends(hours, first)
    steps = steps[:-1]
    numerator, spread = contrast(tame(change, variance, first=first), 1 / variance, steps)
    size = np.abs(numerator) / np.sqrt(np.maximum(spread, 1e-12))
    middle = np.median(size, axis=0)
    best = int(np.argmax(middle))
    return first + 1 + best if middle[best] >= MANY_Z else None
