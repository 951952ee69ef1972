"""On what scale the change of a feature is told: dB of an amplitude, per cent of a frequency.

Everything is judged and drawn as 20 lg of a ratio. Nobody reads a frequency in dB, though: 1 % of
it are 0.09 dB. So its ticks stand where a whole per cent lies, and its numbers are per cent.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from vibetrend.report.drawing import signed
from vibetrend.report.words import NOTHING, fixed
from vibetrend.trend import resonance

_ABOUT_TICKS = 6
_LEAST_PERCENT = 2.0  # to either side
_WIDE_PERCENT = 20.0
_FARTHEST_DB = 40.0  # 100 times: a wild point does not make a scale of its own


@dataclass(frozen=True)
class Scale:
    """How changes of one kind of feature are told; positions stay in dB."""

    unit: str  # "dB" or "%"

    def of(self, change_db: float) -> float:
        """Return a change, or a scatter, in the scale's unit."""
        return change_db if self.unit == "dB" else resonance.percent_of(change_db)

    def words(self, change_db: float, *, sign: bool = True, digits: int = 1) -> str:
        """Return a change with its unit, e.g. ``-5.1 %``."""
        if not math.isfinite(change_db):
            return NOTHING
        return f"{fixed(self.of(change_db), digits, sign=sign)} {self.unit}"

    def step(self, low_db: float, high_db: float) -> float:
        """Return the distance between ticks, in the scale's unit."""
        if self.unit == "dB":
            return 3.0
        width = self.of(high_db) - self.of(low_db)
        steps = [m * 10.0**power for power in range(-1, 4) for m in (1, 2, 5)]
        return next((step for step in steps if width / step <= _ABOUT_TICKS), steps[-1])

    def ticks(self, low_db: float, high_db: float) -> list[tuple[float, str]]:
        """Return where the ticks of a range stand, dB, and their words without the unit."""
        step = self.step(low_db, high_db)
        first, last = self.of(low_db) / step, self.of(high_db) / step
        values = [step * n for n in range(math.ceil(first - 1e-6), math.floor(last + 1e-6) + 1)]
        if self.unit == "dB":
            return [(value, signed(value)) for value in values]
        return [(decibels(value), signed(round(value, 6))) for value in values]

    def reach(self, values_db: Iterable[float]) -> tuple[float, float]:
        """Return the range that holds some changes and zero, dB, from tick to tick."""
        known = [db for db in values_db if math.isfinite(db)]
        low, high = min(known, default=0.0), max(known, default=0.0)
        if self.unit == "dB":
            return 3 * min(math.floor(low / 3), -1), 3 * max(math.ceil(high / 3), 1)
        below = min(resonance.percent_of(max(low, -_FARTHEST_DB)), -_LEAST_PERCENT)
        above = max(resonance.percent_of(min(high, _FARTHEST_DB)), _LEAST_PERCENT)
        step = self.step(decibels(below), decibels(above))
        return (
            # No further than halfway to nothing at all, which lies at infinity.
            decibels(max(step * math.floor(below / step), (below - 100) / 2)),
            decibels(step * math.ceil(above / step)),
        )

    def span(self, values_db: Iterable[float]) -> float:
        """Return how far a strip reaches to either side to hold some changes, dB."""
        most = max((abs(db) for db in values_db if math.isfinite(db)), default=0.0)
        if self.unit == "dB":
            return 3 * max(math.ceil(most / 3), 1)
        if resonance.percent_of(most) > _WIDE_PERCENT:  # ticks are far apart: no room up to one
            return 1.08 * most
        # A fall of so many per cent is more in dB than a rise of as many.
        return -self.reach([-most, most])[0]


DECIBEL = Scale("dB")
PERCENT = Scale("%")


def scale_of(feature: str) -> Scale:
    """Return the scale of a feature: per cent for the frequency and width of a resonance."""
    return PERCENT if resonance.in_percent(feature) else DECIBEL


def decibels(change_percent: float) -> float:
    """Return per cent of change as 20 lg of the ratio."""
    return 20 * math.log10(1 + change_percent / 100)
