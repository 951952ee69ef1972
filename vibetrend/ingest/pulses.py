"""Whether a column of samples is a tacho's or a vibration, told by its behaviour alone."""

import numpy as np

from vibetrend.errors import ReadError
from vibetrend.ingest import teeth
from vibetrend.ingest.crossings import BEYOND_MEASURE, Levels, crossings
from vibetrend.recording import FloatArray

_SAMPLES_TO_JUDGE = 200_000  # from the middle, where the engine surely turns
_FEWEST_PULSES = 6
_FEWEST_SAMPLES_A_PULSE = 5  # random counts change level more often than that
_FEWEST_TEETH = (
    20  # a waveform that repeats shows gaps too, but comes through the middle less often
)


def is_pulse_train(values: FloatArray) -> bool:
    """Say whether samples, shape (n,), behave as a tacho does, not as a vibration.

    That is: they keep to two levels and change between them at even steps, or their steps are
    even but for the gaps of a wheel with missing teeth. NaN is left out.
    """
    present = values[np.abs(values) < BEYOND_MEASURE]
    middle = max((len(present) - _SAMPLES_TO_JUDGE) // 2, 0)
    part = present[middle : middle + _SAMPLES_TO_JUDGE]
    if len(part) < _FEWEST_PULSES * _FEWEST_SAMPLES_A_PULSE or not part.max() > part.min():
        return False
    try:
        levels = Levels(part)
    except ReadError:  # it steps up once or twice, no more
        return False
    two_levels = _keeps_to_two_levels(part, levels)
    changes = crossings(np.arange(len(part), dtype=float), levels, 0.5)
    slopes = (changes.times[changes.rising], changes.times[~changes.rising])
    # Samples of a switch tell its time to one sample only.
    samples = 1.2 if two_levels else 0.0
    return any(_is_even(edges, samples) and (two_levels or _has_gaps(edges)) for edges in slopes)


def _keeps_to_two_levels(values: FloatArray, levels: Levels) -> bool:
    x = levels.relative(np.arange(len(values)))
    low, high = float(np.mean(x < 0.2)), float(np.mean(x > 0.8))
    between = 1 - low - high
    lowest, highest = values.min(), values.max()
    if np.mean((values == lowest) | (values == highest)) < 0.5:
        return between < 0.25 * min(low, high)
    # Exactly two values: a switch. A vibration clipped at both ends has some in between, and one
    # in coarse counts steps by one count; 0 and 1 may be a switch none the less.
    one_count = highest - lowest <= 1 and not (lowest == 0 and highest == 1)
    return between < 0.01 and not one_count


def _is_even(edges: FloatArray, within_samples: float) -> bool:
    if len(edges) < _FEWEST_PULSES:
        return False
    usual = float(np.median(np.diff(edges)))
    if usual < _FEWEST_SAMPLES_A_PULSE:
        return False
    steps = teeth.ratios(edges)
    gaps = steps > teeth.TOO_LONG
    even = np.abs(steps - 1) < 0.1 + within_samples / usual
    return bool(gaps.mean() < 0.25 and even[~gaps].mean() > 0.9)


def _has_gaps(edges: FloatArray) -> bool:
    wheel = teeth.looks_like(edges)
    return wheel is not None and wheel.edges_per_turn >= _FEWEST_TEETH
