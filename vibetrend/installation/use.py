"""Hours a year, told from all that is known of an engine's hours, and how far that may be wrong.

A boat runs in summer and lies in winter, and nobody says so. A window of L years, f of them beyond
whole ones, holds the use of between floor(L) and ceil(L) years, whatever the season; how many it
holds is known to about

    d(L) = season f (1 - f)  years                                               (1)

so that whole years tell most. Years differ among themselves by `scatter` (standard deviation over
mean), and habits drift. The variance of the logarithm of hours a year, told from a window of L
years and applied to the T years after it, is

    v = d(L)^2 / L^2 + scatter^2 (1 / L + 1 / max(T, 1)) + DRIFT^2 (L + T) / 3   (2)

Of all windows that end at the last reading the one with the least v is used. An engine is taken to
be a boat's, with a season and with years that differ by `SCATTER`, until its readings show that it
runs more evenly, or its years that they differ more. These figures are common practice, no source;
tests/benchmarks/use_interval.py holds the ranges that come of them against invented engines.
"""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

YEAR = 365.25  # days
FEWEST_DAYS = 30  # of history before anything can be told
FEWEST_HOURS = 0.1  # run in it: an hour meter's last digit
HORIZON_YEARS = 30  # nothing is told beyond
SEASON = 1.4  # `season` in (1) of a boat: some four months
SCATTER = 0.4  # of a boat's years
CHOICE_SCATTER = 0.2  # to choose the window by: less than `SCATTER`, so that whole years win
BELIEVED = 2  # so many pieces, or years, of an engine's own weigh as much as these figures
DRIFT = 0.1  # of the logarithm of hours a year, in a year
NINE_IN_TEN = 2.0  # standard deviations; more than the normal 1.645, as they are guessed

READ_IT = "read the meter."

Known = tuple[dt.date, float]
Years = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class HoursThen:
    """True engine hours on a day; nine in ten lie from `low` to `high`."""

    middle: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Reached:
    """When hours are reached, nine in ten from `early` to `late`; None: not within 30 years."""

    middle: dt.date | None
    early: dt.date | None
    late: dt.date | None


@dataclass(frozen=True, kw_only=True)
class Use:
    """How much an engine is used, as far as its known hours tell."""

    hours_per_year: float
    told: str  # "from 14 readings over 2.3 years"
    doubt: str  # what makes it doubtful, plain sentences; "" where nothing does
    known: tuple[Known, ...]  # true hours, one a day, never falling
    season: float  # in (1)
    scatter: float  # in (2)
    variance: float  # (2) without its terms of T

    @property
    def date(self) -> dt.date:
        """When the hours were last known."""
        return self.known[-1][0]

    @property
    def hours(self) -> float:
        """The true hours last known."""
        return self.known[-1][1]

    @property
    def low(self) -> float:
        """Hours that nine in ten years to come have at least, and at most `high`."""
        return float(self._ahead(np.ones(1))[1][0]) - self.hours

    @property
    def high(self) -> float:
        """The upper end of the range that begins at `low`."""
        return float(self._ahead(np.ones(1))[2][0]) - self.hours

    def hours_at(self, date: dt.date) -> HoursThen:
        """Return the hours on a day; up to the last known they lie between their neighbours."""
        days = (date - self.date).days
        if days <= 0:
            return self._then(date)
        middle, low, high = self._ahead(np.array([days / YEAR]))
        return HoursThen(middle=float(middle[0]), low=float(low[0]), high=float(high[0]))

    def when(self, hours: float) -> Reached:
        """Return when the engine reaches, or has reached, these true hours."""
        if hours <= self.hours:
            return self._past(hours)
        middle, low, high = (self._day(curve, hours) for curve in self._thirty_years)
        return Reached(middle=middle, early=high, late=low)

    def _ahead(self, years: Years) -> tuple[Years, Years, Years]:
        """Return the hours (n,) some years (n,) after the last known: middle, low and high."""
        v = self.variance + self.scatter**2 / np.maximum(years, 1) + DRIFT**2 * years / 3  # Eq. 2
        spread = NINE_IN_TEN * np.sqrt(v)
        season = NINE_IN_TEN * _season(years, self.season)
        fewest = np.maximum(np.floor(years), years - season)  # years' worth of use
        most = np.minimum(np.ceil(years), years + season)
        with np.errstate(divide="ignore"):  # a boat that lies has none
            down = np.hypot(spread, np.log(fewest / years))
        up = np.hypot(spread, np.log(most / years))
        run = self.hours_per_year * years
        fastest = 24 * YEAR * years
        return (
            self.hours + run,
            self.hours + run * np.exp(-down),
            self.hours + np.minimum(run * np.exp(up), fastest),
        )

    @cached_property
    def _thirty_years(self) -> tuple[Years, Years, Years]:
        years = np.arange(1, round(HORIZON_YEARS * YEAR) + 1) / YEAR
        middle, low, high = self._ahead(years)
        return middle, np.maximum.accumulate(low), np.maximum.accumulate(high)

    def _day(self, curve: Years, hours: float) -> dt.date | None:
        days = int(np.searchsorted(curve, hours)) + 1
        if days > curve.size or self.date.toordinal() + days > dt.date.max.toordinal():
            return None
        return self.date + dt.timedelta(days=days)

    def _then(self, date: dt.date) -> HoursThen:
        before = [hours for day, hours in self.known if day <= date]
        after = next(hours for day, hours in self.known if day >= date)
        if not before:
            return HoursThen(middle=after, low=0.0, high=after)
        return HoursThen(middle=_between(self.known, date), low=before[-1], high=after)

    def _past(self, hours: float) -> Reached:
        late, reached = next(each for each in self.known if each[1] >= hours)
        earlier = [each for each in self.known if each[1] < hours]
        early, had = earlier[-1] if earlier else (late, hours)
        share = (hours - had) / (reached - had) if earlier else 1.0
        days = math.ceil(share * (late - early).days)
        return Reached(middle=early + dt.timedelta(days=days), early=early, late=late)


def use(known: Sequence[Known], today: dt.date) -> Use | None:
    """Return how much an engine is used; None where its hours cannot tell.

    Parameters
    ----------
    known : sequence of (date, true hours)
        From recordings, work, installations and the hour meter, in any order.
    today
        Now: hours that were last read long before are a doubt.
    """
    days = _one_a_day(known)
    windows = [
        (years, days[-1][1] - hours, start)
        for start, (date, hours) in enumerate(days)
        if (years := (days[-1][0] - date).days / YEAR) >= FEWEST_DAYS / YEAR
        and days[-1][1] - hours >= FEWEST_HOURS
    ]
    if not windows:
        return None
    years, run, start = min(windows, key=lambda each: _variance(each[0], SEASON, CHOICE_SCATTER))
    window, mean = days[start:], run / years
    like_a_boat = _unevenness(window, mean) if _whole(years) else 1.0
    season = like_a_boat * SEASON
    scatter = _scatter(window, mean, like_a_boat * SCATTER)
    return Use(
        hours_per_year=mean,
        told=f"from {len(window)} readings over {_long(years)}",
        doubt=_doubt(days, years, today),
        known=tuple(days),
        season=season,
        scatter=scatter,
        variance=_variance(years, season, scatter),
    )


def _one_a_day(known: Sequence[Known]) -> list[Known]:
    """Return what was known at the end of each day; hours never fall."""
    found: dict[dt.date, float] = {}
    most = 0.0
    for date, hours in sorted(known):
        found[date] = most = max(most, hours)
    return list(found.items())


def _season(years: Years, season: float) -> Years:
    beyond = years % 1
    return season * beyond * (1 - beyond)  # Eq. 1


def _variance(years: float, season: float, scatter: float) -> float:
    lost = float(_season(np.array(years), season)) / years
    return lost**2 + scatter**2 / years + DRIFT**2 * years / 3  # Eq. 2


def _whole(years: float) -> bool:
    return years >= 1 - FEWEST_DAYS / YEAR


def _unevenness(window: Sequence[Known], mean: float) -> float:
    """Return how unevenly an engine runs from reading to reading: 0 like a clock, 1 like a boat.

    A piece of l years differs from its share by scatter sqrt(l) if pieces have nothing in common.
    """
    pieces = [((b[0] - a[0]).days / YEAR, b[1] - a[1]) for a, b in pairwise(window)]
    squares = sum((run / mean - years) ** 2 / years for years, run in pieces)
    own = len(pieces) - 1
    return min(1.0, math.sqrt((BELIEVED * SCATTER**2 + squares) / (BELIEVED + own)) / SCATTER)


def _scatter(window: Sequence[Known], mean: float, believed: float) -> float:
    """Return how whole years back from the last reading differ: standard deviation over mean."""
    last = window[-1][0]
    whole = int((last - window[0][0]).days / YEAR)
    back = [
        _between(window, last - dt.timedelta(days=round(YEAR * years)))
        for years in range(whole, -1, -1)
    ]
    if whole < 2:
        return believed
    squares = float(np.sum((np.diff(back) / mean - 1) ** 2))
    return math.sqrt((BELIEVED * believed**2 + squares) / (BELIEVED + whole - 1))


def _between(known: Sequence[Known], date: dt.date) -> float:
    """Return the hours on a day within the known ones, on a straight line."""
    days = [day.toordinal() for day, _ in known]
    return float(np.interp(date.toordinal(), days, [hours for _, hours in known]))


def _long(years: float) -> str:
    if years >= 1.95:  # reads 2.0
        return f"{years:.1f} years"
    months = round(12 * years)
    return f"{months} months" if months > 1 else "one month"


def _doubt(known: Sequence[Known], years: float, today: dt.date) -> str:
    last, hours = known[-1]
    still_since = next(date for date, then in known if then == hours)
    said = []
    if not _whole(years):
        said.append("Less than a year of use is known: a season may mislead, the range is wide.")
    if (last - still_since).days > YEAR:
        said.append(f"The hours have stood still since {still_since}.")
    if (today - last).days > YEAR:
        said.append(f"The hours were last read on {last}: {READ_IT}")
    return " ".join(said)
