"""The crank's angle and speed through a sweep."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from vibetrend.orders.teeth_track import TachoTrack
from vibetrend.recording import FloatArray

CYCLE_TURNS = 2.0  # of a four-stroke: over it the speed's own half orders cancel
_STEP_TURNS = 0.1  # between knots; a straight line between them is right to 1e-4 turns
_TABLE_STEP_S = 0.1
_FEWEST_ROWS = 25


@dataclass(frozen=True, eq=False)
class Track:
    """Angle and speed at knots a tenth of a turn apart; straight lines between them."""

    time: FloatArray  # (n,) seconds, rising
    turns: FloatArray  # (n,) rising
    hertz: FloatArray  # (n,) turns per second, over an engine cycle

    def turns_at(self, time: FloatArray) -> FloatArray:
        """Return the crank's angle, turns; straight on beyond the ends."""
        turns = np.interp(time, self.time, self.turns)
        turns += np.minimum(time - self.time[0], 0) * self.hertz[0]
        return np.asarray(turns + np.maximum(time - self.time[-1], 0) * self.hertz[-1])

    def hertz_at(self, time: FloatArray) -> FloatArray:
        """Return turns per second."""
        return np.asarray(np.interp(time, self.time, self.hertz))

    def mean_hz(self) -> float:
        """Return turns made over time taken."""
        return float((self.turns[-1] - self.turns[0]) / (self.time[-1] - self.time[0]))

    def scaled(self, factor: float) -> "Track":
        """Return the track of a crank that turns so many times as fast."""
        return Track(self.time, factor * self.turns, factor * self.hertz)

    def turned(self, turns: float) -> "Track":
        """Return the same track, its angle counted from another mark."""
        return Track(self.time, self.turns + turns, self.hertz)

    def table(self, *, begins: float = 0.0) -> pd.DataFrame:
        """Return `time_s` and `rpm` on steps of 0.1 s, or shorter ones of a short sweep."""
        span = self.time[-1] - self.time[0]
        count = max(_FEWEST_ROWS, int(span / _TABLE_STEP_S) + 1)
        time = np.linspace(self.time[0], self.time[-1], count)
        return pd.DataFrame({"time_s": begins + time, "rpm": 60 * self.hertz_at(time)})


def track_through(time: FloatArray, hertz: FloatArray) -> Track:
    """Return the track through speeds known at some times; its angle begins at 0."""
    knots = _knots(time, hertz)
    speed = np.exp(np.interp(knots, time, np.log(hertz)))
    steps = (speed[1:] + speed[:-1]) / 2 * np.diff(knots)
    return Track(knots, np.concatenate([[0.0], np.cumsum(steps)]), speed)


def track_of_tacho(tacho: TachoTrack) -> Track:
    """Return the track that a tacho's edges give, its angle counted from the wheel's mark."""
    count = min(max(8, tacho.time.size), 20_000)
    rough = np.linspace(float(tacho.time[0]), float(tacho.time[-1]), count)
    knots = _knots(rough, np.maximum(np.gradient(tacho.turns(rough), rough), 1e-3))
    turns = np.maximum.accumulate(tacho.turns(knots) + 1e-9 * np.arange(knots.size))
    half = CYCLE_TURNS / 2
    low = np.clip(turns - half, turns[0], turns[-1] - 2 * half)
    early, late = np.interp(low, turns, knots), np.interp(low + 2 * half, turns, knots)
    middle = (early + late) / 2  # at both ends the first and last whole cycle
    return Track(knots, turns, np.interp(knots, middle, 2 * half / (late - early)))


def _knots(time: FloatArray, hertz: FloatArray) -> FloatArray:
    turned = np.concatenate([[0.0], np.cumsum((hertz[1:] + hertz[:-1]) / 2 * np.diff(time))])
    count = max(8, int(turned[-1] / _STEP_TURNS))
    return np.asarray(np.interp(np.linspace(0.0, turned[-1], count), turned, time))
