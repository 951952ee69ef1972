"""The part of a sweep in which the speed goes one way, holds at either end included."""

from dataclasses import dataclass

import numpy as np

from vibetrend.recording import FloatArray

_HOLD = 0.015  # share of the speed that a hold may wander by
_AS_STATED = 0.7  # of the other way's change
_LEAST_BACK = 0.08  # of log speed: a way back that is worth telling


@dataclass(frozen=True)
class OneWay:
    """From where to where."""

    first_s: float
    last_s: float
    rises: bool
    change: float  # of log speed, above 0
    back: float  # of log speed the other way within the whole track

    def ends(self, time: FloatArray, speed: FloatArray) -> tuple[float, float]:
        """Return the speed that it begins and the one that it ends with."""
        inside = speed[(time >= self.first_s) & (time <= self.last_s)]
        low, high = float(inside.min()), float(inside.max())
        return (low, high) if self.rises else (high, low)


def one_way(time: FloatArray, hertz: FloatArray, *, rises: bool) -> OneWay:
    """Return the part with the greatest change of speed one way.

    The way that is stated (`rises`) counts where it has nearly as much.
    """
    level = np.log(hertz)
    up, down = _greatest(level), _greatest(-level)
    stated, other = (up, down) if rises else (down, up)
    rises = rises == bool(stated[2] >= _AS_STATED * other[2])
    first, last, change = up if rises else down
    begin, end = level[first], level[last]
    while first > 0 and abs(level[first - 1] - begin) < _HOLD:
        first -= 1
    while last < len(level) - 1 and abs(level[last + 1] - end) < _HOLD:
        last += 1
    back = down[2] if rises else up[2]
    return OneWay(float(time[first]), float(time[last]), rises, change, back)


def worth_telling(found: OneWay) -> bool:
    """Say whether the speed also went the other way."""
    return found.back > max(_LEAST_BACK, found.change / 4)


def _greatest(level: FloatArray) -> tuple[int, int, float]:
    """Return from where to where the level rises most."""
    lowest = np.minimum.accumulate(level)
    last = int(np.argmax(level - lowest))
    first = int(np.argmin(level[: last + 1]))
    return first, last, float(level[last] - level[first])
