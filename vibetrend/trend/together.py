"""What the orders did together: all alike, or many at one time, each its own way.

Both speak of the phone, its spot or the mounts, and of no single order.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.trend.bend import bank_of_bends, contrast, find_bends, middle_spread
from vibetrend.trend.conditions import Slopes, follow
from vibetrend.trend.forecast import forecast
from vibetrend.trend.placements import FEW_ORDERS
from vibetrend.trend.scatter import usual_scatter
from vibetrend.trend.visits import tame, visit_means, wild_days

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

PRIOR_PLACEMENT, PRIOR_DAY = np.array([0.8]), np.array([0.3])  # dB
ALONE = np.array([True])
MOVED_Z = 4.5
JUMP_Z = 5.0  # of the latest day alone: asks for another
MANY_SPREAD = 3.3  # of a step over the orders: hardly ever by chance, nor where a third moved


@dataclass(frozen=True)
class Alike:
    """What all orders did alike."""

    change: float  # dB now
    z: float
    slope: float  # dB per hour now
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
        slope=float(ahead.slope[0]),
        since_hours=float(bends.since_hours[0]),
        moved=bool(abs(bends.z[0]) >= MOVED_Z),
        jumped=bool(abs(bends.jump_z[0]) >= JUMP_Z),
    )


def many_moved(
    change: Floats,
    variance: Floats,
    hours: Floats,
    *,
    first: int,
    slopes: Slopes | None,
    orders: Bools,
) -> int | None:
    """Return the first visit after which half of all orders stand elsewhere, each its own way.

    Steps between any two visits are compared by how wide their z spread over the orders; a step
    that one check-up alone bears out is left to the next one.

    Parameters
    ----------
    change, variance : array, shape (features, visits)
        dB, what is common taken out, and dB^2; an infinite variance stands for a missing value.
    slopes : Slopes, optional
        What the conditions may still hold.
    orders : array, shape (features,)
        Which features are orders, less those that moved far beyond the rest.

    Returns
    -------
    int or None
        None where there is no such step, or too few orders to tell many from one.
    """
    if orders.sum() < FEW_ORDERS or hours.size - 2 <= first:
        return None
    _, steps, _ = bank_of_bends(hours, first)
    steps = steps[:-1]
    tamed = tame(change, variance, first=first)
    numerator, spread = contrast(tamed, 1 / variance, steps, slopes)
    wide = middle_spread((numerator / np.sqrt(np.maximum(spread, 1e-12)))[orders])
    best = int(np.argmax(wide))
    return first + 1 + best if wide[best] >= MANY_SPREAD else None
