"""How much check-ups differ when nothing has changed: from a prior to the boat's own.

Both parts, between the placements of one visit and between visits, start from a prior variance
worth so many degrees of freedom. All orders together move it to the boat's own, and each
feature moves from there to its own. Single large differences are clipped, so that neither a
bad placement nor a true change is learned as scatter.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CLIP_SD = 3.0
BOAT_PRIOR = 20.0  # what the prior is worth against all orders together, degrees of freedom
OWN_PRIOR = 20.0  # what the boat's own scatter is worth against one feature's
DAY_BOAT_PRIOR = 10.0
DAY_OWN_PRIOR = 16.0
UNSURE = 4.0  # times the usual shared variance: what differs then tells nothing of the scatter


@dataclass(frozen=True, eq=False)
class Scatter:
    """Usual scatter of each feature, dB."""

    placement: Floats  # (features,) standard deviation between placements of a visit
    day: Floats  # (features,) standard deviation between visits beyond that
    degrees: Floats  # (features,) degrees of freedom the scatter rests on
    # (visits, features) dB^2 that repeating on one day cannot average, known beforehand.
    shared: Floats = field(default_factory=lambda: np.zeros((1, 1)))

    @property
    def usual_shared(self) -> Floats:
        """Of that the usual one, (features,) dB^2: one visit that knows little changes nothing."""
        return usual(self.shared)


def usual(shared: Floats) -> Floats:
    """Return the median of a shared variance over visits, (features,); 0 where there are none."""
    middle: Floats = np.median(shared, axis=0) if len(shared) else np.zeros(shared.shape[1:])
    return middle


def usual_scatter(
    changes: Floats,
    *,
    prior_placement: Floats,
    prior_day: Floats,
    pooled: Bools,
    shared: Floats | None = None,
) -> Scatter:
    """Learn the usual scatter from the differences within and between visits.

    Parameters
    ----------
    changes : array, shape (visits, placements, features)
        dB; NaN where not used.
    prior_placement, prior_day : array, shape (features,)
        Prior standard deviations, dB.
    pooled : array, shape (features,)
        Features that share the boat's scatter (its orders); the others keep to their prior.
    shared : array, shape (visits, features), optional
        dB^2 that all placements of a visit share beyond `day`, known beforehand: what differs
        between visits is learned less this.
    """
    known = np.zeros((changes.shape[0], changes.shape[2])) if shared is None else shared
    apart = known[1:] + known[:-1]
    seen = np.isfinite(changes)
    count = seen.sum(axis=1)  # (visits, features)
    mean = np.where(seen, changes, 0.0).sum(axis=1) / np.maximum(count, 1)
    within = np.where(seen, changes - mean[:, None, :], 0.0)
    # A difference from a mean of n is smaller than one from the truth by sqrt((n - 1) / n).
    shrink = np.sqrt(np.maximum(count - 1, 0) / np.maximum(count, 1))[:, None, :]
    freedom = np.maximum(count - 1, 0).sum(axis=0)

    def inside(bound: Floats) -> Floats:
        total: Floats = (np.minimum(np.abs(within), bound * shrink) ** 2).sum(axis=(0, 1))
        return total

    placement = _learn(
        inside,
        freedom.astype(float),
        prior_placement,
        pooled,
        BOAT_PRIOR,
        OWN_PRIOR,
    )
    step, share, steps = _between(mean, count, apart)

    def between(bound: Floats) -> Floats:
        most = np.sqrt(2 * bound**2 + CLIP_SD**2 * (placement**2 * share + apart))
        extra = (np.minimum(np.abs(step), most) ** 2 - placement**2 * share - apart) / 2
        total: Floats = np.where(share > 0, extra, 0.0).sum(axis=0)
        return total

    # Neighbouring differences share a visit: n of them are worth about 2 n / 3 free ones.
    day = _learn(between, steps * 1.0, prior_day, pooled, DAY_BOAT_PRIOR, DAY_OWN_PRIOR)
    placements = count.sum(axis=0) / np.maximum((count > 0).sum(axis=0), 1)  # of a visit
    degrees = degrees_of_sum(
        day**2,
        DAY_OWN_PRIOR + 2 * steps / 3,
        placement**2 / np.maximum(placements, 1),
        OWN_PRIOR + freedom,
    )
    return Scatter(placement=placement, day=day, degrees=degrees, shared=known)


def degrees_of_sum(one: Floats, its: Floats, other: Floats, others: Floats) -> Floats:
    """Return the degrees of freedom of a sum of two variances with degrees of their own.

    Satterthwaite, Biometrics Bulletin 2, 1946, 110-114.
    """
    total: Floats = (one + other) ** 2 / (one**2 / its + other**2 / others)
    return total


def _between(mean: Floats, count: NDArray[np.intp], apart: Floats) -> tuple[Floats, Floats, Floats]:
    """Differences of neighbouring visits, and their share of the placement variance.

    Those with far more than the usual shared variance, `apart`, are left out.
    """
    with np.errstate(divide="ignore"):
        each = np.where(count > 0, 1 / np.maximum(count, 1), np.nan)
    share = each[1:] + each[:-1]
    step = np.diff(mean, axis=0)
    there = np.isfinite(share) & (apart <= UNSURE * usual(apart))
    return np.where(there, step, 0.0), np.where(there, share, 0.0), there.sum(axis=0)


def _learn(
    squares: Callable[[Floats], Floats],
    freedom: Floats,
    prior: Floats,
    pooled: Bools,
    boat_worth: float,
    own_worth: float,
) -> Floats:
    """Return standard deviations; `squares` sums squared differences clipped at a bound."""
    sd = prior
    for _ in range(3):  # the clip follows the scatter that is being learned
        total = squares(CLIP_SD * sd)
        ratio = (total / prior**2)[pooled].sum()
        boat = (boat_worth + ratio) / (boat_worth + freedom[pooled].sum())
        centre = np.where(pooled, np.maximum(boat, 0.1), 1.0) * prior**2
        own = (own_worth * centre + total) / (own_worth + freedom)
        sd = np.sqrt(np.maximum(own, 0.1 * prior**2))
    return sd
