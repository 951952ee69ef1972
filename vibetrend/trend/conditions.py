"""What speed and warmth did to levels, as far as this history shows it.

Levels follow the conditions by an unknown slope for each feature: dB for one step of a condition.
Slopes are learned from the differences between neighbouring visits and between the placements of
one visit, so that a slow drift is not taken for the weather, and start from 0 with a prior whose
width all orders together move to the boat's own (a variance component, by expectation and
maximisation: Dempster, Laird & Rubin, J. R. Stat. Soc. B 39, 1977).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.trend.scatter import Scatter

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CLIP_SD = 3.0  # so that a step or a bad placement is not taken for a slope
SLOPE_PRIOR_DB = 0.15  # for one step of a condition
SLOPE_WORTH = 5.0  # orders that the prior width is worth
# Neighbouring differences share a visit, which makes a slope found from them less certain.
SHARED = 1.5


@dataclass(frozen=True, eq=False)
class Slopes:
    """What remains unknown once the conditions' effect has been taken out."""

    off: Floats  # (features, visits, conditions) steps from the baseline's
    spread: Floats  # (features, conditions, conditions) dB^2, covariance of the slopes

    def variance(self, combination: Floats) -> Floats:
        """Return the variance (dB^2) that the slopes leave in sums over visits.

        Parameters
        ----------
        combination : array, shape (features, ..., conditions)
            The same sums of `off`.
        """
        variance: Floats = np.einsum("f...i,fij,f...j->f...", combination, self.spread, combination)
        return variance


def follow(
    changes: Floats,
    conditions: Floats,
    scatter: Scatter,
    pooled: Bools,
    scale: Floats | None = None,
) -> tuple[Floats, Slopes]:
    """Return what the conditions did to each level, and how uncertain that is.

    Parameters
    ----------
    changes : array, shape (visits, placements, features)
        dB; NaN where not used.
    conditions : array, shape (visits, placements, conditions)
        Distance from the baseline's, in steps; NaN where unknown, which is taken as none.
    scatter : Scatter
        Usual scatter of the features.
    pooled : array, shape (features,)
        The features that share the boat's width of slopes.
    scale : array, shape (features,), optional
        By how much less the others follow them.

    Returns
    -------
    effect : array, shape (visits, placements, features)
        dB.
    slopes : Slopes
    """
    seen: Bools = np.isfinite(changes)
    count = seen.sum(axis=1)  # (visits, features)
    share = seen / np.maximum(count, 1)[:, None]
    off = np.nan_to_num(conditions)
    middle = np.einsum("vpf,vpk->vfk", share, off)  # conditions of a visit's mean
    known = np.isfinite(conditions) | ~seen.any(axis=2, keepdims=True)
    told = np.asarray(known.all(axis=1))  # (visits, conditions)
    filled = np.where(seen, changes, 0.0)
    mean = (share * filled).sum(axis=1)

    # Between the placements of a visit,
    aside = np.where(seen[..., None] & told[:, None, None], off[:, :, None] - middle[:, None], 0.0)
    inside = np.where(seen, changes - mean[:, None], 0.0)
    inside = np.clip(inside, -CLIP_SD * scatter.placement, CLIP_SD * scatter.placement)
    weight = 1 / scatter.placement[:, None] ** 2
    information = np.einsum("vpfi,vpfj->fij", aside, aside) * weight[..., None]
    score = np.einsum("vpfi,vpf->fi", aside, inside) * weight

    # and between neighbouring visits.
    there = (count[1:] > 0) & (count[:-1] > 0)
    pieces = 1 / np.maximum(count[1:], 1) + 1 / np.maximum(count[:-1], 1)
    variance = 2 * scatter.day**2 + scatter.placement**2 * pieces
    known = np.broadcast_to(scatter.shared, mean.shape)
    variance = variance + known[1:] + known[:-1]
    step = np.clip(np.diff(mean, axis=0), -CLIP_SD * variance**0.5, CLIP_SD * variance**0.5)
    apart = np.where((told[1:] & told[:-1])[:, None], np.diff(middle, axis=0), 0.0)
    weighed = apart * np.where(there, 1 / (SHARED * variance), 0.0)[..., None]
    information = information + np.einsum("vfi,vfj->fij", weighed, apart)
    score = score + np.einsum("vfi,vf->fi", weighed, step)

    slope, spread = _slopes(information, score, pooled, np.ones(1) if scale is None else scale)
    return off @ slope.T, Slopes(off=middle.transpose(1, 0, 2), spread=spread)


def _slopes(
    information: Floats, score: Floats, pooled: Bools, scale: Floats
) -> tuple[Floats, Floats]:
    """Return mean and covariance of the slopes, the width of their prior learned on the way."""
    width = np.full(score.shape[1], SLOPE_PRIOR_DB**2)
    slope, spread = np.zeros_like(score), np.zeros_like(information)
    for _ in range(8):
        prior = np.diag(1 / width) / scale[:, None, None] ** 2
        spread = np.asarray(np.linalg.inv(information + prior), dtype=np.float64)
        slope = (spread @ score[..., None])[..., 0]
        second = (slope**2 + np.diagonal(spread, axis1=1, axis2=2))[pooled].sum(axis=0)
        width = (SLOPE_WORTH * SLOPE_PRIOR_DB**2 + second) / (SLOPE_WORTH + pooled.sum())
    return slope, spread
