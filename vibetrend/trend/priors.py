"""What is expected of each feature before the boat's own history says better."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vibetrend.trend import resonance

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

PRIOR_PLACEMENT_DB = 0.75
PRIOR_DAY_DB = 0.4
# Of a resonance. One per cent is 0.087 dB; a sweep finds a frequency to 0.3 to 1 % and a width to
# about 15 %. Where nobody says what else moves it, rubber at unlike temperature is expected:
# 4 degrees C are 0.7 % where the damper alone sets the frequency.
PRIOR_FREQUENCY_DB = 0.06
PRIOR_WIDTH_DB = 1.3
# Beside errors that are stated: what the pace of a sweep, gear and warm-up do to a frequency.
REST_PLACEMENT_DB = 0.02
REST_DAY_DB = 0.02
RESONANCE_SCALE = 0.2  # a frequency that moves by 4 % has moved as far as an order by 1.7 dB


def is_frequency(features: Sequence[str]) -> Bools:
    """Say which features are frequencies of a resonance, (features,)."""
    return np.array([resonance.parts(name).quantity == "frequency" for name in features], bool)


def scale(features: Sequence[str]) -> Floats | None:
    """Return how large changes of each are against an order's, (features,); None: all alike."""
    frequency = is_frequency(features)
    return np.where(frequency, RESONANCE_SCALE, 1.0) if frequency.any() else None


def prior_scatter(
    features: Sequence[str], *, usual: Floats | None = None, stated: Bools | None = None
) -> tuple[Floats, Floats]:
    """Return the scatter expected of each feature between placements and between days, dB.

    Parameters
    ----------
    usual : array, shape (features,), optional
        dB^2, what the recordings' own standard errors usually are; 0 where unknown.
    stated : array, shape (features,), optional
        Whether the errors that a visit shares are stated, so that days need not allow for them.
    """
    frequency = is_frequency(features)
    width = np.array([resonance.parts(name).quantity == "width" for name in features], bool)
    noise = np.zeros(frequency.size) if usual is None else np.sqrt(usual)
    known = noise > 0
    placement = np.where(width & ~known, PRIOR_WIDTH_DB, PRIOR_PLACEMENT_DB)
    placement = np.where(
        frequency,
        np.where(known, np.hypot(noise, REST_PLACEMENT_DB), PRIOR_FREQUENCY_DB),
        np.maximum(placement, noise),
    )
    steadied = np.zeros(frequency.size, bool) if stated is None else stated
    day = np.where(frequency, np.where(steadied, REST_DAY_DB, PRIOR_FREQUENCY_DB), PRIOR_DAY_DB)
    return placement, day
