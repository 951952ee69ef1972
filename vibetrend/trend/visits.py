"""One value of each feature for each visit, and which visits stand alone.

Arrays are features x visits.
"""

import numpy as np
from numpy.typing import NDArray

from vibetrend.trend.scatter import Scatter

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

ONE_DAY_SD = 2.5  # what a single day can pull beyond a neighbouring one
WILD_SD = 3.5  # a past day this far beyond both its neighbours is left out
UNLIKE = 1.6  # mean square, without its largest quarter, that two alike visits never reach


def visit_means(changes: Floats, extra: Floats, scatter: Scatter) -> tuple[Floats, Floats]:
    """Return mean and variance of each feature at each visit.

    Parameters
    ----------
    changes, extra : array, shape (visits, placements, features)
        dB, NaN where not used; and dB^2 that a placement has beyond the usual scatter.

    Returns
    -------
    mean, variance : array, shape (features, visits)
        dB and dB^2; a missing value has the mean 0 and an infinite variance.
    """
    seen = np.isfinite(changes)
    weight = np.where(seen, 1 / (scatter.placement**2 + extra), 0.0)
    total = weight.sum(axis=1)
    there = total > 0
    total = np.where(there, total, 1.0)
    mean = (weight * np.where(seen, changes, 0.0)).sum(axis=1) / total
    variance = np.where(there, scatter.day**2 + scatter.shared + 1 / total, np.inf)
    return mean.T, variance.T


def standing_alone(change: Floats, variance: Floats) -> Bools:
    """Say which visits differ in many features from each of the two before and the two after.

    A true change shows in few orders, or stays; a phone on another spot moves all of them, each
    its own way, for one day.

    Returns
    -------
    array, shape (visits,)
    """
    features, visits = change.shape
    alike = np.zeros(visits, dtype=bool)
    compared = np.zeros(visits, dtype=bool)
    kept = max(features - max(features // 4, 2), 0)
    if kept < 4:  # too few to tell many features from one
        return alike
    for lag in (1, 2):
        if visits <= lag:
            break
        total = variance[:, lag:] + variance[:, :-lag]
        square = (change[:, lag:] - change[:, :-lag]) ** 2 / total
        near = np.sort(square, axis=0)[:kept].mean(axis=0) <= UNLIKE
        for side in (np.s_[lag:], np.s_[:-lag]):
            alike[side] |= near
            compared[side] = True
    return compared & ~alike


def _neighbours(change: Floats, known: Bools) -> tuple[Floats, Floats]:
    """Return the nearest known values before and after each visit.

    The first known visit has the two after it for neighbours, the last the one before it twice.
    A visit that was left out, or lacks the feature, is nobody's neighbour.
    """
    visits = change.shape[1]
    place = np.broadcast_to(np.arange(visits), change.shape)
    last = np.maximum.accumulate(np.where(known, place, -1), axis=1)
    left = np.concatenate([np.full_like(last[:, :1], -1), last[:, :-1]], axis=1)
    coming = np.minimum.accumulate(np.where(known, place, visits)[:, ::-1], axis=1)[:, ::-1]
    right = np.concatenate([coming[:, 1:], np.full_like(coming[:, :1], visits)], axis=1)

    def at(index: NDArray[np.intp]) -> Floats:
        there = (index >= 0) & (index < visits)
        taken = np.take_along_axis(change, np.clip(index, 0, visits - 1), axis=1)
        return np.where(there, taken, np.nan)

    second = np.where(
        right < visits,
        np.take_along_axis(right, np.clip(right, 0, visits - 1), axis=1),
        visits,
    )
    before, after = at(left), at(right)
    before = np.where(np.isnan(before), at(second), before)
    after = np.where(np.isnan(after), before, after)
    before = np.where(np.isnan(before), after, before)
    alone = np.isnan(before)  # no other visit knows the feature
    return np.where(alone, change, before), np.where(alone, change, after)


def wild_days(change: Floats, variance: Floats, *, first: int) -> Bools:
    """Say which past days lie more than 3.5 scatters beyond both their neighbours.

    A baseline of one day (`first`, its last visit, is 0) has no second day that could contradict
    it, and is not left out.

    Returns
    -------
    array, shape (features, visits)
    """
    if change.shape[1] < 3:
        return np.zeros(change.shape, dtype=bool)
    sd = np.sqrt(np.where(np.isfinite(variance), variance, 1e6))
    before, after = _neighbours(change, np.isfinite(variance))
    wild: Bools = (change < np.minimum(before, after) - WILD_SD * sd) | (
        change > np.maximum(before, after) + WILD_SD * sd
    )
    wild[:, -1] = False  # the next day will tell
    wild[:, 0] &= first > 0
    return wild


def tame(change: Floats, variance: Floats, *, first: int) -> Floats:
    """Limit what one day can say to 2.5 scatters beyond its neighbours, nearest known ones.

    So one wild day cannot warn, two that agree can. A baseline of one day stays as it is.
    """
    if change.shape[1] < 3:
        return change
    known = np.isfinite(variance)
    reach = ONE_DAY_SD * np.sqrt(np.where(known, variance, 1e6))
    before, after = _neighbours(change, known)
    low, high = np.minimum(before, after) - reach, np.maximum(before, after) + reach
    tamed: Floats = np.clip(change, low, high)
    if first == 0:
        tamed[:, 0] = change[:, 0]
    return tamed
