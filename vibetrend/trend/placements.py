"""What one placement of the phone or sensor did to all orders, and which placements to leave out.

Arrays are visits x placements x features, levels in dB, NaN where there is no value.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.baseline import FULL_BASELINE, FULL_DAY

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FEW_ORDERS = 7  # below this the common shift is a median
SURE_ORDERS = 4  # below this what is common is only what none of them contradicts
TOO_FEW_ORDERS = 2  # below this nothing in common can be taken out

# Two placements of one check-up disagree when one feature lies this many standard deviations
# of their difference apart, or when the mean square over the features is this large.
ONE_FEATURE_SD = 4.2
MEAN_SQUARE = 2.5
HISTORY_VOTES = 2  # so that a fault which stays for three placements is found by the fourth


@dataclass(frozen=True, eq=False)
class Placements:
    """Changes from the baseline, with what each placement did to everything taken out."""

    changes: Floats  # (visits, placements, features) dB, NaN where not used
    common: Floats  # (visits, placements) dB, NaN where not used
    used: Bools  # (visits, placements)
    disagreeing: Bools  # (visits, placements) left out because their companions disagree
    culprit: NDArray[np.intp]  # (visits, placements) the feature that disagrees most
    culprit_db: Floats  # (visits, placements) by how much, dB


def common_shift(changes: Floats) -> Floats:
    """Return what the orders' changes have in common: a mean without its outer quarters.

    With fewer than seven orders it is their median; with two or three the median of them and 0,
    so that they have to agree; with one it is 0: then what is common cannot be told from what
    that order did.

    Parameters
    ----------
    changes : array, shape (..., orders)
        dB; NaN where an order is missing.

    Returns
    -------
    array, shape (...)
        dB; NaN where every order is missing.
    """
    count = np.isfinite(changes).sum(axis=-1, keepdims=True)
    none = np.where(count < SURE_ORDERS, 0.0, np.nan)
    ordered = np.sort(np.concatenate([changes, none], axis=-1), axis=-1)  # NaN comes last
    votes = count + (count < SURE_ORDERS)
    cut = np.where(votes < FEW_ORDERS, (votes - 1) // 2, votes // 4)
    place = np.arange(ordered.shape[-1])
    inside = (place >= cut) & (place < votes - cut)
    total = np.where(inside, ordered, 0.0).sum(axis=-1)
    shift = total / np.maximum(inside.sum(axis=-1), 1)
    return np.where(count[..., 0] >= TOO_FEW_ORDERS, shift, np.where(count[..., 0] > 0, 0, np.nan))


def sort_out(
    levels: Floats,
    *,
    baseline: Bools,
    is_order: Bools,
    shares_gain: Bools,
    placement_sd: Floats,
    day_sd: Floats,
) -> Placements:
    """Take the common shift out of every placement and leave out those that disagree.

    Parameters
    ----------
    levels : array, shape (visits, placements, features)
        dB re any fixed reference; NaN where missing.
    baseline : array, shape (visits,)
        Which visits belong to the baseline; at least one does.
    is_order, shares_gain : array, shape (features,)
        The features the common shift is found from, and those it is taken out of.
    placement_sd, day_sd : array, shape (features,)
        The usual scatter between placements of a visit and between visits, dB.
    """
    present = np.asarray(np.isfinite(levels).any(axis=2))
    with np.errstate(invalid="ignore"):
        start = _nanmedian(levels[baseline].reshape(-1, levels.shape[-1]), axis=0)
    # A second pass, with the level of each feature freed of the placements' own shifts.
    for _ in range(2):
        shift = common_shift(np.where(is_order, levels - start, np.nan))
        shift = np.where(np.isfinite(shift), shift, 0.0)
        freed = levels - shift[..., None] * shares_gain
        start = _nanmedian(freed[baseline].reshape(-1, levels.shape[-1]), axis=0)
    changes = freed - start
    disagreeing, culprit, culprit_db = _disagreeing(changes, present, placement_sd, day_sd)
    used = present & ~disagreeing
    changes = np.where(used[..., None], changes, np.nan)
    return Placements(
        changes=changes,
        common=np.where(used, shift, np.nan),
        used=used,
        disagreeing=disagreeing,
        culprit=culprit,
        culprit_db=culprit_db,
    )


def baseline_complete(baseline: Bools, used: Bools) -> bool:
    """Say whether the baseline has three days of three placements.

    Parameters
    ----------
    baseline : array, shape (visits,)
    used : array, shape (visits, placements)
    """
    return int((used[baseline].sum(axis=1) >= FULL_DAY).sum()) >= FULL_BASELINE


def _disagreeing(
    changes: Floats, present: Bools, placement_sd: Floats, day_sd: Floats
) -> tuple[Bools, NDArray[np.intp], Floats]:
    """Keep the largest group of placements that agree; the check-up before has one vote."""
    visits, places, _ = changes.shape
    none = np.zeros((visits, places), dtype=bool)
    nowhere = np.zeros((visits, places), dtype=np.intp), np.zeros((visits, places))
    if places < 2:
        return none, *nowhere
    apart = (changes[:, :, None, :] - changes[:, None, :, :]) / (np.sqrt(2) * placement_sd)
    agree = _alike(apart) | ~(present[:, :, None] & present[:, None, :])
    if agree.all():
        return none, *nowhere
    linked = agree & present[:, :, None] & present[:, None, :]
    for _ in range(max(1, int(np.ceil(np.log2(places))))):
        linked = linked @ linked  # whoever agrees with a companion of mine is a companion
    out = none.copy()
    culprit, culprit_db = nowhere
    for v in np.flatnonzero((present[:, :, None] & present[:, None, :] & ~linked).any(axis=(1, 2))):
        # Judged by the check-up before, without what has been left out of it already.
        before = (
            np.where((present[v - 1] & ~out[v - 1])[:, None], changes[v - 1], np.nan) if v else None
        )
        known = _nanmean(before, axis=0) if before is not None else np.zeros(changes.shape[-1])
        spread = np.sqrt(1.5 * placement_sd**2 + 2 * day_sd**2)
        here = (changes[v] - known) / spread
        vote = _alike(here)
        far = _nanmean(here**2, axis=-1)
        groups = {tuple(np.flatnonzero(linked[v, p])) for p in np.flatnonzero(present[v])}
        best = max(
            sorted(groups),
            key=lambda group: (
                len(group) + HISTORY_VOTES * bool(vote[list(group)].all()),
                -float(np.mean(far[list(group)])),
            ),
        )
        kept = np.zeros(places, dtype=bool)
        kept[list(best)] = True
        out[v] = present[v] & ~kept
        centre = _nanmean(changes[v, kept], axis=0)
        for p in np.flatnonzero(out[v]):
            gap = np.nan_to_num((changes[v, p] - centre) / placement_sd)
            culprit[v, p] = np.argmax(np.abs(gap))
            culprit_db[v, p] = changes[v, p, culprit[v, p]] - centre[culprit[v, p]]
    return out, culprit, culprit_db


def _alike(standardised: Floats) -> Bools:
    square = standardised**2
    missing = np.isnan(square)
    square = np.where(missing, 0.0, square)
    count = np.maximum((~missing).sum(axis=-1), 1)
    # The fewer features, the more a mean square varies: chi-square, six deviations at ten or less.
    bound = np.maximum(MEAN_SQUARE, 1 + 5 / np.sqrt(count))
    alike: Bools = (square.max(axis=-1) <= ONE_FEATURE_SD**2) & (
        square.sum(axis=-1) / count <= bound
    )
    return alike


def _nanmean(values: Floats, *, axis: int) -> Floats:
    seen = np.isfinite(values)
    total = np.where(seen, values, 0.0).sum(axis=axis)
    count = seen.sum(axis=axis)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _nanmedian(values: Floats, *, axis: int) -> Floats:
    """Median over what is there; NaN, without a warning, where nothing is."""
    ordered = np.sort(values, axis=axis)
    count = np.isfinite(ordered).sum(axis=axis)
    low = np.maximum((count - 1) // 2, 0)
    high = np.maximum(count // 2, 0)
    take = np.take_along_axis
    middle = (take(ordered, low[None], axis=axis) + take(ordered, high[None], axis=axis)) / 2
    median: Floats = middle[0]
    return median
