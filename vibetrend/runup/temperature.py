"""What the damper's temperature does to a resonance.

Rubber softens as it warms, by about 0.5 % of its stiffness per degree (assumed, no published source
for a given damper; the engine file may state another). A mode's frequency follows the stiffness
by half at most, as f ~ sqrt(k), and by that only as far as the damper's spring holds the mode's
energy: by 0.7 of it in a ten-inertia model of a six-cylinder engine, where 10 % less stiffness took
the mode down by 3.5 %. Another engine has another share: read a shift turned into stiffness so.
"""

from dataclasses import dataclass

import numpy as np

from vibetrend.engine import Engine

PERCENT_PER_C = 0.5  # assumed
DAMPER_SHARE = 0.7  # assumed
FREQUENCY_PER_STIFFNESS = 0.5 * DAMPER_SHARE

UNKNOWN_C = 10.0
"""Either way; taken as a 90 % interval."""

_READING_C = 2.0  # standard deviation of a ring's temperature read by infrared; common practice
_COEFFICIENT_SHARE = 0.3  # standard deviation of an assumed coefficient, share of it
_NINETY = 1.6449  # half of a 90 % interval in standard deviations


@dataclass(frozen=True, kw_only=True)
class Warmth:
    """What a difference in temperature makes of a frequency's change; per cent."""

    shift_percent: float  # what the temperature alone would do, to be taken off
    error_percent: float  # standard error of that
    known: bool


def percent_per_c(engine: Engine | None) -> float:
    """Return how much stiffness a degree takes, per cent, as the engine file states or assumed."""
    stated = None if engine is None else engine.damper.stiffness_percent_per_c
    return PERCENT_PER_C if stated is None else stated


def warmth(
    damper_c: float | None, baseline_c: float | None, *, engine: Engine | None = None
) -> Warmth:
    """Return what the damper's temperature explains of a shift against the baseline.

    Parameters
    ----------
    damper_c, baseline_c : float, optional
        Degrees Celsius; where either is missing nothing is taken off, and 10 degrees either way
        stay possible.
    """
    stated = engine is not None and engine.damper.stiffness_percent_per_c is not None
    slope = -percent_per_c(engine) * FREQUENCY_PER_STIFFNESS
    if damper_c is None or baseline_c is None:
        return Warmth(
            shift_percent=0.0, error_percent=abs(slope) * UNKNOWN_C / _NINETY, known=False
        )
    warmer = damper_c - baseline_c
    unsure = 0.0 if stated else _COEFFICIENT_SHARE * warmer
    error = abs(slope) * float(np.hypot(_READING_C, unsure))
    return Warmth(shift_percent=slope * warmer, error_percent=error, known=True)


def stiffness_percent(shift_percent: float) -> float:
    """Return the change of the damper's stiffness that a shift of frequency stands for."""
    return shift_percent / FREQUENCY_PER_STIFFNESS


def doubt(engine: Engine | None = None) -> str:
    """Return the sentence that goes with a shift where a damper temperature is missing."""
    either = percent_per_c(engine) * FREQUENCY_PER_STIFFNESS * UNKNOWN_C
    return (
        f"Damper temperature unknown: {UNKNOWN_C:g} degrees more or less move the frequency by "
        f"{either:.1f} %, and the range of the shift includes that; read the ring's temperature "
        f"with the engine stopped and state it with --damper-c."
    )
