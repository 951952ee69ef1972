"""The crank angle through a recording, refined against all orders and axes at once.

The angle is a straight line plus a cubic spline,

    theta(t) = f0 t + sum_j beta_j B_j(t),                                                   (1)

beta having a Gaussian prior that makes the speed a random walk: precision lam P, P from second
differences of beta. Given the amplitudes c_ka of order k on axis a and the residual r_a, one
Gauss-Newton step solves

    (alpha G + lam P) beta_new = B^T g + alpha G beta_old                                    (2)
    g(t)  = sum_ka (1 / s_ka^2) Re[2 pi i k c_ka exp(2 pi i k theta)] r_a                    (3)
    alpha = sum_ka (2 pi k)^2 |c_ka|^2 / (2 s_ka^2),   G = B^T B                             (4)

where s_ka^2 = S_ka rate / 2 is the white noise that would have the density found near the line:
each order counts by its own noise. lam maximises the marginal likelihood of (2), which is a sum
over the generalised eigenvalues of P and G. For a steady engine lam grows until the speed is
constant, so that its standard error is that of Rife & Boorstyn, IEEE Trans. IT-20 (1974).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg
from numpy.typing import NDArray

from vibetrend.orders.fit import ComplexArray
from vibetrend.recording import FloatArray

IntArray = NDArray[np.intp]

_KNOT_SECONDS = 0.15  # about an engine cycle: each has its own speed
_MOST_PIECES = 500
_END_SECONDS, _DRAWN_FROM_SECONDS = 0.25, 0.6
_SAME = 0.03  # turns; a slip by one cycle of order 12 is 0.08
_PERIOD = 2.0  # turns after which all half orders repeat
_PRIOR_STRENGTHS = np.logspace(-14, 14, 113)  # lam alpha^-1 tried, relative to eigenvalues

_STIFF = 1e30  # lam / alpha that leaves nothing but a constant speed


class Spline:
    """Uniform cubic B-splines over a recording, and what the smoothing needs of them."""

    def __init__(self, time: FloatArray) -> None:
        self.duration = float(time[-1])
        pieces = int(np.clip(np.ceil(self.duration / _KNOT_SECONDS), 4, _MOST_PIECES))
        self.knot = self.duration / pieces
        self.size = pieces + 3
        self._first, self._weights = self._basis(time)
        gram = np.zeros((self.size, self.size))
        for a in range(4):
            for b in range(4):
                products = self._weights[:, a] * self._weights[:, b]
                index = (self._first + a) * self.size + self._first + b
                gram += np.bincount(index, products, self.size**2).reshape(gram.shape)
        bend = np.diff(np.eye(self.size), 2, axis=0)
        # A gap longer than a knot leaves splines without samples: a trace of G everywhere.
        self.gram: FloatArray = gram + 1e-9 * gram.trace() / self.size * np.eye(self.size)
        values, vectors = scipy.linalg.eigh(bend.T @ bend, self.gram)
        self.stiffness = np.where(np.arange(self.size) < 2, 0.0, np.maximum(values, 0.0))
        self.modes = vectors  # modes.T G modes = 1, modes.T P modes = stiffness

    def _basis(self, time: FloatArray) -> tuple[IntArray, FloatArray]:
        place = np.clip(time / self.knot, 0, self.size - 3 - 1e-9)
        first = np.floor(place).astype(np.intp)
        u = place - first
        weights = np.stack(
            [(1 - u) ** 3, 3 * u**3 - 6 * u**2 + 4, -3 * u**3 + 3 * u**2 + 3 * u + 1, u**3], axis=1
        )
        return first, weights / 6

    def at_samples(self, beta: FloatArray) -> FloatArray:
        """Return the spline's value at each sample."""
        return self._spread(self._first, self._weights, beta)

    def at(self, time: FloatArray, beta: FloatArray) -> FloatArray:
        """Return the spline's value at any times within the recording."""
        return self._spread(*self._basis(time), beta)

    @staticmethod
    def _spread(first: IntArray, weights: FloatArray, beta: FloatArray) -> FloatArray:
        value = np.zeros(len(first))
        for a in range(4):
            value += weights[:, a] * beta[first + a]
        return value

    def gather(self, values: FloatArray) -> FloatArray:
        """Return B^T values, shape (size,)."""
        total = np.zeros(self.size)
        for a in range(4):
            total += np.bincount(self._first + a, self._weights[:, a] * values, self.size)
        return total

    def fit(self, target: FloatArray) -> FloatArray:
        """Return the coefficients closest to a curve given at the samples."""
        return np.asarray(self.modes @ (self.modes.T @ self.gather(target)))


@dataclass(frozen=True, eq=False)
class Phase:
    """Crank angle of every sample, with what is known of its precision."""

    spline: Spline
    f0: float  # turns per second
    beta: FloatArray  # spline coefficients, turns
    alpha: float = 0.0  # information per sample, 1 / turns^2 (Eq. 4)
    lam: float = np.inf  # strength of the prior
    excess: float = 1.0  # variance of what pulls at the phase, over what alpha says of it

    def turns(self, time: FloatArray) -> FloatArray:
        """Return the crank angle at any times, turns."""
        return self.f0 * time + self.spline.at(time, self.beta)

    def turns_at_samples(self, time: FloatArray) -> FloatArray:
        """Return the crank angle at the samples, turns."""
        return self.f0 * time + self.spline.at_samples(self.beta)

    def complexity(self) -> float:
        """Return the log evidence that the wander of this track costs (Occam's factor)."""
        spline = self.spline
        if self.alpha <= 0 or self.lam >= _STIFF * self.alpha:
            return 0.0
        bending = spline.stiffness > 0
        prior = self.lam * spline.stiffness[bending]
        bent = (spline.modes.T @ (spline.gram @ self.beta))[bending]
        return float(0.5 * np.sum(np.log1p(self.alpha / prior) + prior * bent**2))

    def redrawn(self, time: FloatArray, strayed: Sequence[tuple[float, float]] = ()) -> "Phase":
        """Return the phase with both ends, and stretches that strayed, drawn from their neighbours.

        The last knots rest on few samples and may have settled into a wrong cycle of a high
        order, where a Gauss-Newton step cannot get them out again. And where a stretch within
        lost or gained two whole turns, all half orders agree again behind it: only the speed
        either side tells how far the crank turned in between.

        Parameters
        ----------
        time : array, shape (n,)
        strayed : sequence of (start, end), seconds
            In order, not overlapping.
        """
        last = self.spline.duration
        if last < 4 * (_END_SECONDS + _DRAWN_FROM_SECONDS):
            return self
        head, tail = _END_SECONDS, last - _END_SECONDS
        original = self.spline.at_samples(self.beta)
        curve, gained = original.copy(), 0.0
        for start, end in strayed:
            if start < _DRAWN_FROM_SECONDS:
                head = max(head, end)
                continue
            if end > last - _DRAWN_FROM_SECONDS:
                tail = min(tail, start)
                continue
            before, after = self._near(start, -_DRAWN_FROM_SECONDS), self._near(end)
            left, right = before(start), after(end)
            rise, fall = before.deriv()(start) * (end - start), after.deriv()(end) * (end - start)
            jump = _PERIOD * round((left + (rise + fall) / 2 - right) / _PERIOD)
            inside = (time >= start) & (time < end)
            u = (time[inside] - start) / (end - start)
            # Hermite's cubic: both values and slopes kept
            bridge = (left * (1 + 2 * u) + rise * u) * (1 - u) ** 2
            bridge += ((right + jump) * (3 - 2 * u) - fall * (1 - u)) * u**2
            curve[inside] = gained + bridge
            curve[time >= end] += jump
            gained += jump
        head, tail = min(head, _DRAWN_FROM_SECONDS), max(tail, last - _DRAWN_FROM_SECONDS)
        early, late = time < head, time > tail
        curve[early] = self._near(head)(time[early])
        curve[late] = gained + self._near(tail, -_DRAWN_FROM_SECONDS)(time[late])
        if np.abs(curve - original).max() < _SAME:
            return self
        return replace(self, beta=self.spline.fit(curve))

    def _near(self, at: float, seconds: float = _DRAWN_FROM_SECONDS) -> np.polynomial.Polynomial:
        """Return the spline beside a time as a parabola: the governor's swing bends it."""
        times = at + np.linspace(0.0, seconds, 20)
        return np.polynomial.Polynomial.fit(times, self.spline.at(times, self.beta), 2)

    def mean_hz(self) -> float:
        """Return turns made over time taken, Hz."""
        start, end = self.turns(np.array([0.0, self.spline.duration]))
        return float((end - start) / self.spline.duration)

    def mean_standard_error_hz(self) -> float:
        """Return the standard error of `mean_hz`, Hz."""
        if self.alpha <= 0:
            return np.inf
        spline = self.spline
        unit = np.eye(spline.size)
        ends = np.array([0.0, spline.duration])
        difference = np.array([np.diff(spline.at(ends, row))[0] for row in unit]) / spline.duration
        seen = spline.modes.T @ difference
        prior = np.zeros_like(spline.stiffness)
        bending = spline.stiffness > 0
        prior[bending] = self.lam * spline.stiffness[bending]
        return float(np.sqrt(self.excess * np.sum(seen**2 / (self.alpha + prior))))


def start_phase(spline: Spline, time: FloatArray, at: FloatArray, hertz: FloatArray) -> Phase:
    """Return the phase that follows a coarse speed track."""
    fine = np.linspace(0.0, spline.duration, 20 * spline.size)
    speed = np.interp(fine, at, hertz)
    turned = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(fine))])
    f0 = float(turned[-1] / spline.duration)
    return Phase(spline, f0, spline.fit(np.interp(time, fine, turned) - f0 * time))


def phase_through(spline: Spline, time: FloatArray, turns: FloatArray) -> Phase:
    """Return the phase nearest to turns known at the samples."""
    f0 = float((turns[-1] - turns[0]) / (time[-1] - time[0]))
    return Phase(spline, f0, spline.fit(turns - f0 * time))


def refine(
    phase: Phase,
    lines: ComplexArray,
    orders: FloatArray,
    amplitude: ComplexArray,
    variance: FloatArray,
    residual: FloatArray,
    *,
    stiff: bool,
) -> Phase:
    """Make one Gauss-Newton step (Eq. 2) with the likeliest smoothness.

    Parameters
    ----------
    lines : complex array, shape (orders, n)
        exp(2 pi i k theta) at the present phase.
    amplitude, variance : arrays, shape (orders, axes)
        c_ka, and s_ka^2 of Eq. 3.
    residual : array, shape (n, axes)
    stiff : bool
        Hold the speed constant, whatever the likelihood says.
    """
    spline = phase.spline
    slope = 2j * np.pi * orders[:, np.newaxis] * amplitude
    weight = slope / variance  # (orders, axes)
    pull = np.einsum("na,na->n", (weight.T @ lines).real.T, residual)
    alpha = float(np.sum(np.abs(slope) ** 2 / variance) / 2)
    if alpha <= 0:  # silence: nothing to follow
        return replace(phase, alpha=0.0, lam=np.inf)
    known = spline.modes.T @ (spline.gather(pull) + alpha * spline.gram @ phase.beta)
    lam = _STIFF * alpha if stiff else _likeliest_prior(known, alpha, spline.stiffness)
    prior = lam * spline.stiffness
    beta = spline.modes @ (known / (alpha + prior))
    freedom = float(np.sum(alpha / (alpha + prior)))
    excess = _excess(pull, alpha, turns=phase.f0 * spline.duration, freedom=freedom)
    return replace(phase, beta=beta, alpha=alpha, lam=lam, excess=excess)


def _excess(pull: FloatArray, alpha: float, *, turns: float, freedom: float) -> float:
    """Return the variance of the pull summed over each turn, as a share of what alpha gives it.

    More than 1 where errors are common to all orders and axes, as those of rounded stamps are, or
    where the speed changes faster than the spline can follow.
    """
    length = max(2, round(len(pull) / turns))
    sums = np.add.reduceat(pull, np.arange(0, len(pull), length))
    left = max(0.1, 1 - freedom / len(sums))  # the spline has followed part of it
    return max(1.0, float(np.sum(sums**2)) / (alpha * len(pull) * left))


def _likeliest_prior(known: FloatArray, alpha: float, stiffness: FloatArray) -> float:
    """Return the lam with the highest marginal likelihood of Eq. 2."""
    bending = stiffness > 0
    mu, b2 = stiffness[bending], known[bending] ** 2
    lam = _PRIOR_STRENGTHS[:, np.newaxis] * alpha / np.median(mu)
    total = alpha + alpha**2 / (lam * mu)  # variance of b under the prior
    score = -0.5 * np.sum(np.log(total) + b2 / total, axis=1)
    return float(lam[np.argmax(score), 0])
