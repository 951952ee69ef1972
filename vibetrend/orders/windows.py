"""Whether every stretch of a recording agrees with the whole.

Window by window, the orders are compared with their amplitudes over the whole recording.

A stretch may have *slipped*: the strongest order alone fixes the phase only to one of its own
cycles, a third of a turn on a six. Where the coarse track was off by half such a cycle the
refinement settles into the wrong one, and every other order loses coherence there. So each
window is asked by which shift all orders together would agree with the rest.

Or it may not hold the engine at all, or the engine at another speed: then no shift helps.
"""

import numpy as np

from vibetrend.orders.fit import ComplexArray
from vibetrend.recording import FloatArray

_PERIOD = 2.0  # turns after which all half orders repeat
_SHIFTS = np.arange(-96, 96) / 96  # turns: an eighth of a cycle at order 12
_NEAR = 0.06  # what the refinement itself puts right, turns
_STRAYED = 0.2  # of the orders' amplitude missing
_SHORT_SECONDS = 1.5  # over which the speeds either side tell how far the crank turned
_CREEP, _JUMP = 2.0, 15.0  # log likelihood that a step of the shift, or any, has to gain


class Windows:
    """Agreement of windows of some turns with the whole recording.

    Parameters
    ----------
    theta : array, shape (n,)
        Present phase, turns.
    samples : array, shape (n, axes)
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

    def slips(self) -> FloatArray | None:
        """Return the shift to add to every sample's phase, turns; None if nothing slipped.

        The likeliest path of shifts through the windows (Viterbi): it may creep by a step from
        window to window, and jump at the price of `_JUMP`.
        """
        turned = np.exp(-2j * np.pi * np.outer(_SHIFTS, self._orders))
        likelihood = (turned @ self._agreement).real.T  # (windows, shifts)
        came_from = np.empty(likelihood.shape, np.intp)
        score = likelihood[0]
        here = np.arange(len(_SHIFTS))
        for row in range(1, len(likelihood)):
            crept = np.stack([np.roll(score, 1), score, np.roll(score, -1)])
            crept[[0, 2]] -= _CREEP
            step = crept.argmax(axis=0)
            before, came = crept[step, here], (here + step - 1) % len(_SHIFTS)
            top = int(score.argmax())
            jumped = score[top] - _JUMP > before
            came_from[row] = np.where(jumped, top, came)
            score = np.where(jumped, score[top] - _JUMP, before) + likelihood[row]
        path = np.empty(len(likelihood), np.intp)
        path[-1] = score.argmax()
        for row in range(len(likelihood) - 1, 0, -1):
            path[row - 1] = came_from[row, path[row]]
        shifts = np.unwrap(_SHIFTS[path], period=_PERIOD)
        shifts -= np.median(shifts)
        if np.abs(shifts).max() <= _NEAR:
            return None
        return np.interp(np.arange(self._length), self._edges + self._counts / 2, shifts)
