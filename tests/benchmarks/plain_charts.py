"""The usual simple charts and lines, shown beside the judge for comparison.

Time runs along the first axis; further axes (orders, runs) are charted side by side. Sources:
Montgomery, Statistical Quality Control; NIST/SEMATECH e-Handbook 6.3.2; Hahn & Meeker, Statistical
Intervals; Gilbert, Statistical Methods for Environmental Pollution Monitoring (1987), ch. 16.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, linregress, nct, norm, t, theilslopes

Floats = NDArray[np.float64]

D2_OF_TWO = 2 / np.sqrt(np.pi)  # mean range of two over sigma, 1.128


def individuals_sd(values: Floats) -> Floats:
    """Return sigma from the mean moving range."""
    sd: Floats = np.abs(np.diff(values, axis=0)).mean(axis=0) / D2_OF_TWO
    return sd


def prediction_factor(count: int, confidence: float, *, sides: int = 2) -> float:
    """Return how many sd from a mean of so many one new value stays within."""
    inside = 1 - (1 - confidence) / sides
    return float(t.ppf(inside, count - 1) * np.sqrt(1 + 1 / count))


def tolerance_factor(count: int, cover: float, confidence: float, *, sides: int = 1) -> float:
    """Return how many sd from a mean of so many hold a share of all values.

    One side is exact (noncentral t), two are Howe's (J. Am. Stat. Assoc. 64, 1969, 610-620).
    """
    if sides == 1:
        centre = norm.ppf(cover) * np.sqrt(count)
        return float(nct.ppf(confidence, count - 1, centre) / np.sqrt(count))
    freedom = count - 1
    spread = np.sqrt(freedom * (1 + 1 / count) / chi2.ppf(1 - confidence, freedom))
    return float(norm.ppf((1 + cover) / 2) * spread)


def ewma(values: Floats, start: Floats | float, *, weight: float) -> Floats:
    """Return the exponentially weighted mean after each value."""
    out = np.empty_like(values)
    mean = np.broadcast_to(start, values.shape[1:])
    for i, value in enumerate(values):
        mean = weight * value + (1 - weight) * mean
        out[i] = mean
    return out


def ewma_limit(number: Floats | float, *, weight: float, width: float) -> Floats:
    """Return the limit after so many values (infinite for the steady one), in sigma."""
    grown = 1 - (1 - weight) ** (2 * np.asarray(number, dtype=float))
    limit: Floats = width * np.sqrt(weight / (2 - weight) * grown)
    return limit


def cusum(
    values: Floats, target: Floats | float, *, slack: Floats | float, start: Floats | float = 0.0
) -> tuple[Floats, Floats]:
    """Return the upper and lower sums after each value; `start` is the head start of both."""
    up, down = np.empty_like(values), np.empty_like(values)
    high = low = np.broadcast_to(start, values.shape[1:])
    for i, value in enumerate(values):
        high = np.maximum(0.0, high + value - target - slack)
        low = np.maximum(0.0, low + target - value - slack)
        up[i], down[i] = high, low
    return up, down


def mann_kendall(values: Floats) -> tuple[Floats, Floats]:
    """Return S and Z, with ties and the correction for continuity; scipy has tau alone."""
    count = len(values)
    later = np.sign(values[None] - values[:, None])  # [i, j]: j after i
    s = later[np.triu_indices(count, 1)].sum(axis=0)
    alike = (later == 0).sum(axis=1)  # of each value, itself counted
    ties = ((alike - 1) * (2 * alike + 5)).sum(axis=0)
    variance = (count * (count - 1) * (2 * count + 5) - ties) / 18
    return s, np.sign(s) * np.maximum(np.abs(s) - 1, 0) / np.sqrt(np.maximum(variance, 1e-9))


@dataclass(frozen=True)
class Crossing:
    """Hours at which a line reaches a limit, counted as the hours of the data are."""

    hours: float
    low: float
    high: float


def line_to_limit(hours: Floats, change: Floats, limit: float, *, confidence: float) -> Crossing:
    """Return where the least-squares line reaches the limit, with Fieller's interval.

    All h where the line's own interval holds the limit (Fieller, J. R. Stat. Soc. B 16, 1954,
    175-185); without an end where the slope is not surely upward.
    """
    fit = linregress(hours, change)
    count, middle = len(hours), hours.mean()
    squares = ((hours - middle) ** 2).sum()
    residual = change - fit.intercept - fit.slope * hours
    s = np.sqrt((residual**2).sum() / (count - 2))
    bound = t.ppf((1 + confidence) / 2, count - 2)
    gap = limit - change.mean()
    at = middle + gap / fit.slope if fit.slope > 0 else np.inf
    # (slope d - gap)^2 = bound^2 s^2 (1/count + d^2/squares), d from the middle
    a = fit.slope**2 - (bound * s) ** 2 / squares
    b = -2 * fit.slope * gap
    c = gap**2 - (bound * s) ** 2 / count
    inside = b**2 - 4 * a * c
    if inside < 0:
        return Crossing(at, -np.inf, np.inf)
    ends = sorted(((-b - np.sqrt(inside)) / (2 * a), (-b + np.sqrt(inside)) / (2 * a)))
    if a > 0 and fit.slope > 0:
        return Crossing(at, middle + ends[0], middle + ends[1])
    ahead = [end for end in ends if end > 0] if a < 0 else []
    return Crossing(at, middle + ahead[0] if ahead else np.inf, np.inf)


def median_line_to_limit(
    hours: Floats, change: Floats, limit: float, *, confidence: float
) -> Crossing:
    """Return the same by Theil and Sen: through the medians, with the interval of the slope."""
    line = theilslopes(change, hours, confidence)
    gap = limit - np.median(change)
    at, low, high = (
        np.median(hours) + gap / slope if slope > 0 else np.inf
        for slope in (line.slope, line.high_slope, line.low_slope)
    )
    return Crossing(at, low, high)
