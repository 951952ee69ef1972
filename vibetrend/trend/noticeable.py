"""What the judge could notice with the check-ups so far, and what more baseline would buy.

The bend test in advance. Against a flat level of variance u, check-ups of variance v at which the
change has reached g_1 ... g_n (dB) are expected to show a deviate of

    t^2 = sum (g - m)^2 / v + m^2 / (u + v / n),   m the mean of g                           (1)

which for a step b and two days is b^2 / (u + v / 2). It is called when t, brought back to a
normal deviate (Eq. 2 of `bend`), passes `WARN_Z`. Until then the change is learned as scatter of
days, clipped as `scatter` does, which widens u and v.

Assumed: check-ups have as many placements as usual, the one that calls is followed by a second
day, scatter is as learned so far, nothing else changes, and the bend is found where it lies.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from vibetrend.baseline import FULL_DAY
from vibetrend.trend.assess import CONFIRMED, WARN_Z, Assessment, Levels, among, bounds
from vibetrend.trend.scatter import (
    CLIP_SD,
    DAY_BOAT_PRIOR,
    DAY_OWN_PRIOR,
    OWN_PRIOR,
    degrees_of_sum,
    usual,
)

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

NINE_IN_TEN = 1.2816  # normal deviate: what is named is noticed in nine cases of ten
CHECKUP_HOURS = 180.0  # from one check-up to the next
RISE_DB_PER_HOUR = 1 / 500
LONGEST = 40  # check-ups looked ahead


@dataclass(frozen=True, eq=False)
class Noticeable:
    """What a series is watched with, and what that notices."""

    placed: Floats  # (features, visits) dB^2 that placements give each flat visit; inf: no value
    placement: Floats  # (features,) standard deviation between placements, dB
    day: Floats  # (features,) standard deviation between days, dB
    usual: float  # placements of a check-up to come
    sharing: int  # features that share the boat's scatter
    features: int  # that are watched
    warn_z: Floats | None = None  # (features,) the deviate that warns; None: that of so many orders
    # (features,) dB^2 that repeating on one day cannot average, at check-ups to come
    shared: Floats = field(default_factory=lambda: np.zeros(1))

    def of_median(self, some: Bools) -> "Noticeable":
        """Return the same for the median of some features, as one feature."""
        shared = np.broadcast_to(self.shared, self.day.shape)
        every = (self.placed, self.placement, self.day, shared)
        placed, placement, day, shared = (
            np.median(each[some], axis=0, keepdims=True) for each in every
        )
        warn = None if self.warn_z is None else np.median(self.warn_z[some], keepdims=True)
        return replace(
            self, placed=placed, placement=placement, day=day, shared=shared, warn_z=warn
        )

    def with_baseline(self, *placements: int, instead: int = 0) -> "Noticeable":
        """Return the same with more days in the baseline, `instead` of so many of the last."""
        kept = self.placed[:, : self.placed.shape[1] - instead]
        more = self.placement[:, None] ** 2 / np.array(placements) + self.shared[:, None]
        return replace(self, placed=np.hstack([kept, more]))

    def step_db(self) -> Floats:
        """Return the step that the next check-up and a second day would confirm, (features,)."""
        size = np.full(self.day.shape, 3.0)
        for _ in range(6):  # the step widens the scatter it is judged by
            day = self._day_variance(size[:, None], days=2)
            with np.errstate(divide="ignore"):  # without a flat day no step is large enough
                size = self._bound(days=2) / self._deviate(np.ones(2), day)
        return size

    def rise_hours(self) -> Floats:
        """Return the hours after which 1 dB per 500 h would be confirmed, or inf, (features,)."""
        pace = CHECKUP_HOURS * RISE_DB_PER_HOUR
        hours = np.full(self.day.shape, np.inf)
        for count in range(1, LONGEST + 1):
            reached = pace * np.append(np.arange(1, count + 1), count)  # and a second day
            day = self._day_variance(np.full((self.day.size, count), pace), days=count + 1)
            seen = self._deviate(reached, day) >= self._bound(days=count + 1)
            hours = np.where(seen, np.minimum(hours, count * CHECKUP_HOURS), hours)
            if seen.all():
                break
        return hours

    def _differences(self) -> Floats:
        """Return how many differences between days the scatter rests on."""
        number: Floats = np.maximum(np.isfinite(self.placed).sum(axis=1) - 1.0, 0.0)
        return number

    def _later(self) -> Floats:
        """Return what placements add to the variance of a check-up to come, dB^2."""
        variance: Floats = self.placement**2 / self.usual + self.shared
        return variance

    def _bound(self, days: int) -> Floats:
        """Return the deviate that is passed in nine cases of ten (Eq. 2 of bend, inverted)."""
        known = self._differences() + days
        degrees = degrees_of_sum(
            self.day**2,
            DAY_OWN_PRIOR + 2 * known / 3,
            self._later(),
            OWN_PRIOR + known * (self.usual - 1),
        )
        warn = among(WARN_Z, self.features) if self.warn_z is None else self.warn_z
        normal = warn * (8 * degrees + 3) / (8 * degrees + 1)
        bound: Floats = np.sqrt(degrees * np.expm1(normal**2 / degrees)) + NINE_IN_TEN
        return bound

    def _day_variance(self, jumps: Floats, days: int) -> Floats:
        """Return the variance between days (dB^2) once some jumps have been learned with it."""
        number, calm = self._differences() + days, self.day**2
        wide: Floats = calm
        for _ in range(3):  # as in `scatter`, the clip follows what is learned
            most = (CLIP_SD**2 * (wide + self._later()))[:, None]
            usual = (calm + self._later())[:, None]
            extra = (np.minimum(jumps**2 / 2 + usual, most) - usual).sum(axis=1)
            # Where none share it, nothing is learned of the boat.
            boat = extra / (DAY_BOAT_PRIOR + self.sharing * number) * (self.sharing > 0)
            wide = calm + (extra + DAY_OWN_PRIOR * boat) / (DAY_OWN_PRIOR + number)
        return wide

    def _deviate(self, reached: Floats, day: Floats) -> Floats:
        """Return the expected deviate of a change that has reached so much (Eq. 1)."""
        flat = (1 / (day[:, None] + self.placed)).sum(axis=1)
        weight = 1 / (day + self._later())
        after = weight * reached.size
        mean = reached.mean()
        deviate: Floats = np.sqrt(
            weight * ((reached - mean) ** 2).sum() + mean**2 * flat * after / (flat + after)
        )
        return deviate


def noticeable(levels: Levels, result: Assessment) -> Noticeable:
    """Return what this history is watched with; what moved already, as it was before its bend."""
    moved = np.isin(result.state, CONFIRMED)
    after = np.arange(levels.hours.size) >= result.bends.first_visit[:, None]
    placed = result.variance - result.scatter.day[:, None] ** 2
    used = result.placements.used.sum(axis=1)
    later = used[~levels.baseline & (used > 0)]
    to_come = result.scatter.shared[~levels.baseline if not levels.baseline.all() else slice(None)]
    return Noticeable(
        placed=np.where(moved[:, None] & after, np.inf, placed),
        placement=result.scatter.placement,
        day=result.scatter.day,
        usual=float(np.median(later)) if later.size else FULL_DAY,
        sharing=int(levels.is_order.sum()),
        features=levels.is_order.size,
        warn_z=bounds(levels).warn,
        shared=usual(to_come),
    )
