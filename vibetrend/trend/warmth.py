"""What the damper's temperature leaves open of a resonance: how much, whether stated, in words."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.trend import resonance

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

APART_C = 10.0  # from here on the assumed coefficient weighs more than the thermometer


def shared_variance(told: Floats) -> Floats:
    """Return the variance that the placements of each visit share, (visits, features).

    Parameters
    ----------
    told : array, shape (visits, placements, features)
        dB^2 as each placement states it, NaN where none does. A visit that lacks a feature gets the
        usual one.
    """
    shared = pd.DataFrame(np.fmax.reduce(told, axis=1))
    return np.asarray(shared.fillna(shared.median()).fillna(0.0), dtype=np.float64)


def warmer_than_baseline(damper_c: Floats, baseline: Bools, visit: NDArray[np.intp]) -> Floats:
    """Return how much warmer the damper was at each visit than at the baseline on the mean.

    Parameters
    ----------
    damper_c, baseline, visit : array, shape (recordings,)
        Degrees C, NaN where not stated; whether it belongs to the baseline; its visit, from 0.

    Returns
    -------
    array, shape (visits,)
        Degrees C; NaN where one of its recordings, or all of the baseline, states none.
    """
    base = damper_c[baseline & np.isfinite(damper_c)]
    mean = np.bincount(visit, damper_c) / np.bincount(visit)
    return np.asarray(mean - (base.mean() if base.size else np.nan))


def hidden_by_warmth(
    features: Sequence[str],
    *,
    scatter_db: Floats,
    usual_db: Floats,
    latest_db: Floats,
    warmer_c: Floats,
    assumed: bool,
) -> str:
    """Return what an uncertain temperature of the damper hides; empty where that is little.

    Parameters
    ----------
    scatter_db, usual_db, latest_db : array, shape (features,)
        One standard deviation of a check-up, and what of it its sweeps share: usually, and at the
        latest check-up.
    warmer_c : array, shape (visits,)
        Of `warmer_than_baseline`.
    assumed : bool
        Whether what a degree does is assumed, not stated in the engine file.
    """
    for feature, scatter, usual, latest in zip(
        features, scatter_db, usual_db, latest_db, strict=True
    ):
        of_damper = resonance.of_crankshaft(feature) and resonance.is_frequency(feature)
        if not of_damper:
            continue
        apart = warmer_c[-1]
        if assumed and abs(apart) >= APART_C and latest**2 > scatter**2 - usual**2:
            return (
                f"At the latest check-up the damper was {abs(apart):.0f} degrees C "
                f"{'warmer' if apart > 0 else 'colder'} than at the baseline. What a degree does "
                f"to its rubber is only assumed, which leaves {resonance.scatter(feature, latest)} "
                f"open: compare at like temperature."
            )
        if np.isnan(warmer_c).any() and max(usual, latest) ** 2 > scatter**2 - usual**2:
            return (
                f"Most of what hides a change of the resonance is the damper's uncertain "
                f"temperature ({resonance.scatter(feature, max(usual, latest))}): measure it "
                f"(infrared, engine stopped) at every check-up."
            )
    return ""
