"""Whether a level that was flat has bent or stepped at some past check-up.

For each possible bend g (0 before it, then a ramp or a step) the visits x, with independent
errors of variance 1 / w and an unknown flat level, give the likelihood ratio of level + b g
against level alone (two-sided; Gaussian, known variance):

    z = sum w (x - x0) (g - g0) / sqrt(sum w (g - g0)^2)                                  (1)

with x0, g0 the weighted means. Where speed or warmth have been taken out by uncertain slopes, what
these leave in the numerator is added to its variance. The scatter is itself learned from few
visits, so z, truly a t with so many degrees of freedom, is brought back to a normal deviate
(Wallace, Ann. Math. Statist. 30, 1959, 1124-1130):

    z' = (8 n + 1) / (8 n + 3) sqrt(n ln(1 + z^2 / n))                                      (2)

Orders are each other's witnesses: where one bend fits most of them more than chance allows, as
after an unnoticed change of phone or a season that nobody stated, its z is divided by how much
wider than a unit normal the middle of all orders lies (an empirical null: Efron, J. Am. Stat.
Assoc. 99, 2004, 96-104).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.trend.conditions import Slopes
from vibetrend.trend.placements import FEW_ORDERS
from vibetrend.trend.visits import tame

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MIDDLE_OF_NORMAL = 0.6745  # median of the size of a unit normal
BY_CHANCE = 1.5  # so wide is a middle of 14 now and then, or where a third of them moved


@dataclass(frozen=True, eq=False)
class Bends:
    """The best bend of each feature."""

    z: Floats  # (features,) signed, as a normal deviate
    since_hours: Floats  # (features,) where it lies
    level: Floats  # (features,) dB, the flat level before it
    first_visit: NDArray[np.intp]  # (features,) the first visit that can show it
    jump_z: Floats  # (features,) the last visit alone against the level before it


def normal_deviate(t: Floats, degrees: Floats) -> Floats:
    """Return the normal deviate as improbable as t with some degrees of freedom (Eq. 2)."""
    size = np.sqrt(degrees * np.log1p(t**2 / degrees)) * (8 * degrees + 1) / (8 * degrees + 3)
    return np.sign(t) * size


def find_bends(
    change: Floats,
    variance: Floats,
    hours: Floats,
    *,
    first: int,
    degrees: Floats,
    slopes: Slopes | None = None,
    witnesses: Bools | None = None,
) -> Bends:
    """Find the best bend or step of each feature.

    Parameters
    ----------
    change, variance : array, shape (features, visits)
        dB and dB^2; an infinite variance stands for a missing value.
    hours : array, shape (visits,)
        Ascending.
    first : int
        The last visit that is certainly flat (the last of the baseline).
    degrees : array, shape (features,)
        Degrees of freedom of the variances.
    slopes : Slopes, optional
        What the conditions may still hold.
    witnesses : array, shape (features,), optional
        The features whose middle tells what is usual; from seven on.
    """
    features, visits = change.shape
    if visits - 1 <= first:
        zero = np.zeros(features)
        return Bends(zero, np.full(features, np.nan), zero, np.full(features, visits), zero)
    tamed = tame(change, variance, first=first)
    weight = 1 / variance
    ramps, steps, onset = bank_of_bends(hours, first)
    bends = np.concatenate([ramps, steps])
    numerator, spread = contrast(tamed, weight, bends, slopes)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(spread > 1e-9, numerator / np.sqrt(spread), 0.0)
    z = z / _wider(z, witnesses)
    best = np.argmax(np.abs(z), axis=1)
    row = np.arange(features)
    middle = (hours[first:-1] + hours[first + 1 :]) / 2
    where = np.concatenate([onset, middle])[best]
    after = first + 1 + best % len(onset)
    flat = np.where(np.arange(visits) < after[:, None], weight, 0.0)
    level = (flat * tamed).sum(axis=1) / np.maximum(flat.sum(axis=1), 1e-12)
    old = weight[:, :-1].sum(axis=1)
    mean = (weight * tamed)[:, :-1].sum(axis=1) / np.maximum(old, 1e-12)
    unsure = variance[:, -1] + 1 / np.maximum(old, 1e-12)
    if slopes is not None:
        before = np.einsum("fv,fvk->fk", weight[:, :-1], slopes.off[:, :-1])
        apart = slopes.off[:, -1] - before / np.maximum(old, 1e-12)[:, None]
        unsure = unsure + slopes.variance(apart)
    jump = (change[:, -1] - mean) / np.sqrt(unsure)
    jump = jump / _wider(jump, witnesses)
    return Bends(
        z=normal_deviate(z[row, best], degrees),
        since_hours=where,
        level=level,
        first_visit=after,
        jump_z=normal_deviate(jump, degrees),
    )


def _wider(z: Floats, witnesses: Bools | None) -> Floats:
    """Return by how much the witnesses' middle is wider than a unit normal's, 1 where it is not.

    Parameters
    ----------
    z : array, shape (features, ...)
    """
    if witnesses is None or witnesses.sum() < FEW_ORDERS:
        return np.ones(z.shape[1:])
    wider: Floats = np.maximum(middle_spread(z[witnesses]) / BY_CHANCE, 1.0)
    return wider


def middle_spread(z: Floats) -> Floats:
    """Return the median distance from the median over the first axis, 1 for a unit normal.

    A few that moved hardly change it.
    """
    spread: Floats = np.median(np.abs(z - np.median(z, axis=0)), axis=0) / MIDDLE_OF_NORMAL
    return spread


def bank_of_bends(hours: Floats, first: int) -> tuple[Floats, Floats, Floats]:
    """Return ramps from, and steps after, every visit from `first` to the last but one.

    Returns
    -------
    ramps, steps : array, shape (bends, visits)
        1 at the last visit, except a ramp that has no hours to rise in: 0 all along.
    onset : array, shape (bends,)
        Hours where each ramp starts.
    """
    onset = hours[first:-1]
    rise = np.maximum(hours - onset[:, None], 0.0)
    ramps = rise / np.maximum(rise[:, -1:], 1e-9)
    steps = (np.arange(hours.size) > np.arange(first, hours.size - 1)[:, None]).astype(float)
    return ramps, steps, onset


def contrast(
    x: Floats, weight: Floats, bends: Floats, slopes: Slopes | None = None
) -> tuple[Floats, Floats]:
    """Return numerator and squared denominator of Eq. 1 for all features and bends.

    With uncertain `slopes` both are scaled down, so that their ratio keeps its meaning: the
    size of a bend is numerator / squared denominator, with 1 / squared denominator for variance.
    """
    numerator, spread = _sums(x, weight, bends)
    if slopes is None:
        return numerator, spread
    held = [_sums(off, weight, bends)[0] for off in np.moveaxis(slopes.off, -1, 0)]
    extra = slopes.variance(np.stack(held, axis=-1))
    trust = np.where(spread > 0, spread / np.maximum(spread + extra, 1e-12), 0.0)
    return numerator * trust, spread * trust


def _sums(x: Floats, weight: Floats, bends: Floats) -> tuple[Floats, Floats]:
    total = np.maximum(weight.sum(axis=1, keepdims=True), 1e-12)
    x = x - (weight * x).sum(axis=1, keepdims=True) / total
    mean_bend = weight @ bends.T
    numerator = (weight * x) @ bends.T
    spread = weight @ (bends**2).T - mean_bend**2 / total
    return numerator, spread
