"""Whether every stretch of a recording agrees with the whole.

Window by window, the orders are compared with their amplitudes over the whole recording.

A stretch may have *slipped*: the strongest order alone fixes the phase only to one of its own
cycles, a third of a turn on a six. Where the coarse track was off by half such a cycle the
refinement settles into the wrong one, and every other order loses coherence there. So it is
asked of each boundary by which shift all orders behind it would agree with those before.

Or it may not hold the engine at all, or the engine at another speed: then no shift helps.
"""

import numpy as np

from vibetrend.orders.fit import ComplexArray
from vibetrend.recording import FloatArray

# Turns. More than half a turn is half a cycle of order 1, and told by weaker half orders alone.
_SHIFTS = np.arange(-48, 49) / 96
_NEAR = 0.06  # what the refinement itself puts right, turns
_STRAYED = 0.2  # of the orders' amplitude missing
_SHORT_SECONDS = 1.5  # over which the speeds either side tell how far the crank turned
_CLEAR = 25.0  # log likelihood that a slip has to gain: all boundaries and shifts are tried
_REACHES = (6, 24)  # windows before and behind a boundary that are compared, besides all


class Windows:
    """Agreement of windows of some turns with the whole recording.

    Parameters
    ----------
    theta : array, shape (n,)
        Present phase, turns.
    samples : array, shape (n, axes)
        Without lines that are no orders.
    lines : complex array, shape (orders, n)
        exp(2 pi i k theta).
    orders : array, shape (orders,)
    amplitude, variance : arrays, shape (orders, axes)
        Amplitudes over the whole recording, and the white noise variance near each order.
    turns : float
        Length of a window, about.
    """

    def __init__(
        self,
        *,
        theta: FloatArray,
        samples: FloatArray,
        lines: ComplexArray,
        orders: FloatArray,
        amplitude: ComplexArray,
        variance: FloatArray,
        turns: float,
    ) -> None:
        count = max(4, round(float(theta[-1] - theta[0]) / turns))
        starts = np.searchsorted(theta, np.linspace(theta[0], theta[-1], count + 1)[:-1])
        edges = np.unique(np.maximum.accumulate(starts))
        self._length = len(theta)
        self._orders = orders
        self._edges = edges
        self._counts = np.diff(np.append(edges, len(theta)))
        # sum over each window of x exp(-2 pi i k theta): (axes, orders, windows)
        local = np.stack(
            [[np.add.reduceat(line.conj() * axis, edges) for line in lines] for axis in samples.T]
        )
        self._agreement = np.einsum("ka,akw->kw", (amplitude / variance).conj(), local)
        self._white = np.asarray(local / np.sqrt(variance.T)[..., np.newaxis], complex)
        self._information = float(np.sum(np.abs(amplitude) ** 2 / variance)) / 2 + 1e-300

    def coherence(self) -> tuple[FloatArray, FloatArray]:
        """Return each window's share of the orders' amplitude, and its standard error.

        1 where a window holds the orders as the whole recording does, about 0 where it does not.
        """
        expected = self._information * self._counts
        share = self._agreement.real.sum(axis=0) / expected
        return np.asarray(share), 1 / np.sqrt(expected)

    def strayed(self, time: FloatArray) -> list[tuple[float, float]]:
        """Return short stretches that hold little of the orders, each as (start, end), seconds."""
        share, error = self.coherence()
        low = share < 1 - np.maximum(_STRAYED, 5 * error)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], low.astype(int), [0]])))
        bounds = np.append(time[self._edges], time[-1])
        beside = (time[-1] - time[0]) / len(self._edges) / 2  # the next windows hold some of it
        stretches = [
            (float(bounds[a]) - beside, float(bounds[b]) + beside) for a, b in edges.reshape(-1, 2)
        ]
        return [(start, end) for start, end in stretches if end - start < _SHORT_SECONDS]

    def slip(self) -> FloatArray | None:
        """Return the shift to add to every sample's phase, turns; None if nothing slipped.

        What lies before a boundary and what lies behind it are compared at every shift, near to
        the boundary and far from it; behind the one that gains most all is shifted.
        """
        reaches = (*_REACHES, len(self._edges))
        gained, boundary, shift = max(self._best_cut(reach) for reach in reaches)
        if gained < _CLEAR:
            return None
        middles = self._edges + self._counts / 2
        steps = np.where(np.arange(len(middles)) < boundary, 0.0, shift)
        return np.interp(np.arange(self._length), middles, steps)

    def _best_cut(self, reach: int) -> tuple[float, int, float]:
        """Return the log likelihood gained, the boundary and the shift of what lies behind it."""
        sums = np.cumsum(np.pad(self._white, ((0, 0), (0, 0), (1, 0))), axis=-1)
        counts = np.concatenate([[0], np.cumsum(self._counts)])
        here = np.arange(1, len(self._edges))
        first, last = np.maximum(here - reach, 0), np.minimum(here + reach, len(self._edges))
        before, behind = sums[..., here] - sums[..., first], sums[..., last] - sums[..., here]
        common = np.sum(before.conj() * behind, axis=0) * 2 / (counts[last] - counts[first])
        likelihood = (np.exp(-2j * np.pi * np.outer(_SHIFTS, self._orders)) @ common).real
        near = np.abs(_SHIFTS) <= _NEAR
        gained = likelihood.max(axis=0) - likelihood[near].max(axis=0)
        best = int(gained.argmax())
        return float(gained[best]), best + 1, float(_SHIFTS[likelihood[:, best].argmax()])
