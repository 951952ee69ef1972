"""Whether a line is surely what it is taken for, or another would do as well.

Sampling shows order k at f_k above half the rate r as a line at |f_k - m r|. It is that order only
if no true line at that frequency would explain the samples as well. What tells them apart is the
wander of the speed, k times as wide in order k as in order 1, and uneven times between samples,
which smear what is folded. In the same way a wandering speed tells a line of the engine from one
that keeps to the clock.
"""

import numpy as np
import pandas as pd

from vibetrend.orders.estimate import Estimate
from vibetrend.orders.fit import ComplexArray
from vibetrend.orders.signal import fold
from vibetrend.recording import FloatArray, Note

_SURE = 10.0  # log likelihood by which a line has to explain more than another: 22 000 to 1
_ALIKE = 0.95  # share of a line's power that another explains too: both are it, in a real recording
_CLUTTER = 0.05  # share of a line's power that anything else near it may have
_BESIDE = 0.1  # orders: another line found so near may be a part of this one
_CELLS = 256  # stretches over which a line's phase against another is averaged
_STEPS = 4  # per cycle per recording, in which the other's place is tried:
_REACH, _AROUND = 3, 64  # so many cycles either side


def surely_folded(estimate: Estimate, row: int, hertz: float) -> bool:
    """Return whether a line above half the rate cannot be a true one where it is folded to.

    A true one that keeps to the crank or to the clock, anywhere near that frequency. And the orders
    below half the rate have to fix the angle by themselves, each second to a radian of this line:
    otherwise one strong line can be made into any order by a track that follows it.
    """
    crank, signal = estimate.phase.mean_hz(), estimate.signal
    true = estimate.orders * crank < signal.nyquist_hz
    strength = estimate.strength[: len(true)][true]
    radians = 2 * float(np.sum(estimate.orders[true] ** 2 * strength))  # 1 / variance of the angle
    if radians < (hertz / crank) ** 2 * signal.duration:
        return False
    shown = fold(hertz, signal.rate)
    alone = _Alone(estimate, row, shown)
    return (
        alone.told_from(signal.time, shown)
        and alone.told_from(estimate.theta, shown / crank)
        and alone.stands_clear()
    )


def surely_follows(estimate: Estimate, row: int, *, crank: bool) -> bool:
    """Return whether an other line keeps to the crank and not to the clock, or the reverse."""
    mean = estimate.phase.mean_hz()
    hertz = estimate.others[row - len(estimate.orders)].hertz(mean)
    alone = _Alone(estimate, row, hertz)
    if crank:
        return alone.told_from(estimate.signal.time, hertz)
    return alone.told_from(estimate.theta, hertz / mean)


class _Alone:
    """One line in what the rest leaves over.

    The rest, but for what was found beside the line where it is seen: that may be a part of it.
    """

    def __init__(self, estimate: Estimate, row: int, seen_hz: float) -> None:
        signal, crank = estimate.signal, estimate.phase.mean_hz()
        self._time, self._line = signal.time, estimate.line(row)
        self._rest = estimate.fit.residual.T.copy()  # (axes, n)
        for other, found in enumerate(estimate.others, len(estimate.orders)):
            if other != row and abs(found.hertz(crank) - seen_hz) < _BESIDE * crank:
                self._rest += np.outer(estimate.fit.amplitude[other], estimate.line(other)).real
        self._left = self._rest + np.outer(estimate.fit.amplitude[row], self._line).real
        # An amplitude c = 2 / n sum has the variance v = S / T, the log likelihood |c|^2 / (2 v).
        self._weight = 2 / (len(signal.time) * signal.rate * estimate.density[row])
        self._own = float(self._weight @ np.abs(self._left @ self._line.conj()) ** 2)

    def told_from(self, along: FloatArray, place: float) -> bool:
        """Return whether no exp(2 pi i q along), q near `place`, explains nearly as much."""
        other = np.exp(2j * np.pi * place * along)
        most = self._most(self._left, other, along, reach=_REACH)
        return most < self._own - _SURE and most < _ALIKE * self._own

    def stands_clear(self) -> bool:
        """Return whether the line is no crumb of another that its track does not follow."""
        most = self._most(self._rest, self._line, self._time, reach=_AROUND)
        return most < _CLUTTER * self._own

    def _most(
        self, left: FloatArray, line: ComplexArray, along: FloatArray, *, reach: int
    ) -> float:
        """Return the log likelihood of the best line within so many cycles of this one."""
        share = (along - along[0]) / (along[-1] - along[0])
        cell = np.clip(share * _CELLS, 0, _CELLS - 1).astype(np.intp)
        sums = [
            np.bincount(cell, axis.real, _CELLS) + 1j * np.bincount(cell, axis.imag, _CELLS)
            for axis in left * line.conj()
        ]
        near = np.arange(-reach * _STEPS, reach * _STEPS + 1)
        spectrum = np.fft.fft(sums, _STEPS * _CELLS, axis=1)[:, near]
        return float((self._weight @ np.abs(spectrum) ** 2).max())


def aliased_notes(orders: pd.DataFrame, *, half_rate_hz: float) -> list[Note]:
    """Name the orders above half the rate that are shown."""
    shown = orders.loc[orders["visible"] & orders["folded_hz"].notna(), "order"]
    if shown.empty:
        return []
    named = ", ".join(f"{order:g}" for order in shown)
    message = (
        f"Above half the sampling rate ({half_rate_hz:.0f} Hz), told apart by the wander of the "
        f"speed or uneven sampling: order {named}. The sensor's own filter weakens them by an "
        f"unknown factor: they are lower bounds."
    )
    return [Note("aliased", "note", message)]
