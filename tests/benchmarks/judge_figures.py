"""Figures of the judge's benchmark: an estimate, its 95 % interval, and what was to be reached."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.stats import binom, chi2


@dataclass(frozen=True)
class Figure:
    """One number of the table; the point estimate counts."""

    what: str
    value: float
    shown: str
    low: float = -np.inf  # what was to be reached
    high: float = np.inf
    aim: str = ""

    @property
    def missed(self) -> bool:
        """The point estimate does not lie where it should."""
        return bool(self.aim) and not self.low <= self.value <= self.high

    def __str__(self) -> str:
        """One line of the table."""
        verdict = f"{self.aim:<18} {'MISSED' if self.missed else 'reached'}" if self.aim else ""
        return f"  {self.what:<38} {self.shown:<46} {verdict}".rstrip()


def share(
    what: str,
    hits: Sequence[bool],
    *,
    least: float = 0.0,
    most: float = 1.0,
) -> Figure:
    """Return a share with its interval (Wilson 1927)."""
    of, z = len(hits), 1.96
    if not of:
        return Figure(what, np.nan, "no such lives")
    p = sum(hits) / of
    mid = (p + z * z / 2 / of) / (1 + z * z / of)
    half = z / (1 + z * z / of) * np.sqrt(p * (1 - p) / of + z * z / 4 / of**2)
    bounds = [f">= {least:.0%}"] * (least > 0) + [f"<= {most:.0%}"] * (most < 1)
    shown = f"{p:.1%} ({max(mid - half, 0):.1%} to {min(mid + half, 1):.1%})"
    return Figure(what, p, shown, least, most, " and ".join(bounds))


def one_in(what: str, hits: Sequence[bool], *, lives: float = 0.0) -> Figure:
    """Return how seldom something happens, with its interval (Poisson, exact)."""
    count, of = sum(hits), len(hits)
    low = chi2.ppf(0.025, 2 * count) / 2 / of if count else 0.0
    high = chi2.ppf(0.975, 2 * count + 2) / 2 / of
    often = f"1 in {of / count:.0f}" if count else "none"
    most = f"1 in {1 / low:.0f}" if low else "none"
    shown = f"{often}, {count / of:.2%} (1 in {1 / high:.0f} to {most})"
    if not lives:
        return Figure(what, count / of, shown)
    return Figure(what, count / of, shown, high=1 / lives, aim=f"<= 1 in {lives:.0f}")


def mean(
    what: str, values: Sequence[float], *, most: float = np.inf, unit: str = "a life"
) -> Figure:
    """Return a mean with its interval (normal)."""
    array = np.asarray(values, dtype=float)
    half = 1.96 * array.std(ddof=1) / np.sqrt(array.size)
    shown = f"{array.mean():.2f} {unit} ({array.mean() - half:.2f} to {array.mean() + half:.2f})"
    aim = f"<= {most:g}" if np.isfinite(most) else ""
    return Figure(what, float(array.mean()), shown, high=most, aim=aim)


def median(
    what: str,
    values: Sequence[float],
    *,
    most: float = np.inf,
    unit: Literal["dB", "check-ups", "h", "ms"] = "dB",
) -> Figure:
    """Return a median with its interval (order statistics)."""
    array = np.sort(np.asarray(values, dtype=float))
    low, high = binom.ppf([0.025, 0.975], array.size, 0.5).astype(int)
    middle = float(array[array.size // 2])
    shown = f"{middle:.2f} {unit} ({array[low]:.2f} to {array[min(high, array.size - 1)]:.2f})"
    aim = f"<= {most:g} {unit}" if np.isfinite(most) else ""
    return Figure(what, middle, shown, high=most, aim=aim)
