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

_WINDOW_TURNS = 14.0
_SHIFTS = np.arange(-96, 96) / 96  # turns: an eighth of a cycle at order 12
_NEAR = 0.06  # what the refinement itself puts right, turns
_CLEAR = 15.0  # log likelihood gained before a slip is believed


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
    ) -> None:
        count = max(4, round(float(theta[-1] - theta[0]) / _WINDOW_TURNS))
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
        self._information = float(np.sum(np.abs(amplitude) ** 2 / variance)) / 2

    def coherence(self) -> tuple[FloatArray, FloatArray]:
        """Return each window's share of the orders' amplitude, and its standard error.

        1 where a window holds the orders as the whole recording does, about 0 where it does not.
        """
        expected = self._information * self._counts
        share = self._agreement.real.sum(axis=0) / expected
        return np.asarray(share), 1 / np.sqrt(expected)

    def slips(self) -> FloatArray | None:
        """Return the shift to add to every sample's phase, turns; None if nothing slipped."""
        turned = np.exp(-2j * np.pi * np.outer(_SHIFTS, self._orders))
        likelihood = (turned @ self._agreement).real  # (shifts, windows)
        near = np.abs(_SHIFTS) <= _NEAR
        best = likelihood.argmax(axis=0)
        slipped = likelihood.max(axis=0) - likelihood[near].max(axis=0) > _CLEAR
        if not slipped.any():
            return None
        middles = self._edges + self._counts / 2
        shifts = np.where(slipped, _SHIFTS[best], 0.0)
        return np.interp(np.arange(self._length), middles, shifts)
