"""True engine hours from what an hour meter shows, when it was replaced or rolled over.

Every change moves what is shown by a step that stays from then on:

    true = shown + sum of (before - after) of all changes until then      (1)

Imports nothing of ours.
"""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

CHANGES = ("replaced", "rolled-over")
"""What may happen to a meter."""

DAY_HOURS = 24.0
"""What a meter gains in a day at most."""

_DIGITS = 6  # a sum of tenths stays a number of tenths


@dataclass(frozen=True)
class MeterChange:
    """An hour meter replaced by another, or past its highest number.

    Raises
    ------
    ValueError
        If a number is no number of hours, or the meter that rolled over shows no less.
    """

    date: dt.date
    before: float  # hours that the old meter showed last
    after: float  # hours that the new one showed first; 0 for a roll-over
    what: str  # one of `CHANGES`

    def __post_init__(self) -> None:
        if self.what not in CHANGES:
            raise ValueError(f"{self.what!r} is no change of a meter; it is {' or '.join(CHANGES)}")
        _check(self.before)
        _check(self.after)
        if self.what == "rolled-over" and self.after >= self.before:
            raise ValueError(
                f"a meter that rolls over shows less than before, not {self.after:g} h after "
                f"{self.before:g} h"
            )


def in_order(changes: Sequence[MeterChange]) -> list[MeterChange]:
    """Return changes by date; those of one day stay as they come."""
    return sorted(changes, key=lambda each: each.date)


def change_hours(changes: Sequence[MeterChange]) -> list[float]:
    """Return the true hours at which each change happened, in the order of `in_order`."""
    arranged = in_order(changes)
    return [_true(arranged[:number], each.before) for number, each in enumerate(arranged)]


def true_hours(changes: Sequence[MeterChange], date: dt.date, shown: float) -> float:
    """Return the true engine hours (h) when a meter showed `shown` (h) on a day; equation 1.

    On the day of a change it is the first meter that can have shown it: the old one up to its
    last reading and 24 h less, the new one from its first and 24 h more. What none can have
    shown is the old one's if it is not above its last reading, else the new one's.

    Raises
    ------
    ValueError
        If `shown` is no number of hours.
    """
    _check(shown)
    arranged = in_order(changes)
    return _true(arranged[: _meter_read(arranged, date, shown)], shown)


def shown_hours(changes: Sequence[MeterChange], date: dt.date, true: float) -> float:
    """Return what the meter shows (h) at true engine hours on a day.

    At the very hours of a change it is what the new meter shows.

    Raises
    ------
    ValueError
        If `true` is no number of hours.
    """
    _check(true)
    arranged = in_order(changes)
    done = [
        each
        for each, then in zip(arranged, change_hours(arranged), strict=True)
        if each.date < date or (each.date == date and then <= true)
    ]
    return round(true - _step(done), _DIGITS) if done else true


def _meter_read(arranged: Sequence[MeterChange], date: dt.date, shown: float) -> int:
    """Return how many changes lay behind the meter that showed this."""
    first = sum(each.date < date for each in arranged)
    last = sum(each.date <= date for each in arranged)
    if first == last:
        return first
    for number in range(first, last + 1):
        ended = arranged[number].before if number < last else arranged[number - 1].after + DAY_HOURS
        began = arranged[number - 1].after if number > first else ended - DAY_HOURS
        if began <= shown <= ended:
            return number
    return next((k for k in range(first, last) if shown <= arranged[k].before), last)


def _true(done: Sequence[MeterChange], shown: float) -> float:
    return round(shown + _step(done), _DIGITS) if done else shown


def _step(done: Sequence[MeterChange]) -> float:
    return math.fsum(each.before - each.after for each in done)


def _check(hours: float) -> None:
    if not 0 <= hours < math.inf:
        raise ValueError(f"{hours:g} cannot be engine hours; give a number from 0 up")
