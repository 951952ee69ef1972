"""The speed through a sweep, refined in the crank's own angle.

Along a coarse track theta, each axis is turned back by each order k and averaged over a few turns,

    c_k(s) = 2 <x exp(-2 pi i k theta)>,                                                    (1)

and where the track is right, c_k turns by the resonances alone. From s to s + h turns it turns by

    arg sum_a c_ka(s + h) conj(c_ka(s)) / S_ka = 2 pi k h delta + resonance + noise,         (2)

delta being the share by which the track is slow. All orders give one delta: weighted by k^2 over
the variance of (2), in which a fixed part for the resonances keeps a strong order that passes one
from bending the speed alone; what stays far from the others counts less and less. A smoothing
spline through log speed, as stiff as is likeliest, goes over to the next round.
"""

from dataclasses import dataclass

import numpy as np
import scipy.linalg
from numpy.typing import NDArray

from vibetrend.orders.fit import ComplexArray
from vibetrend.orders.signal import Signal
from vibetrend.recording import FloatArray
from vibetrend.runup.track import Track, track_through
from vibetrend.runup.tracking import Coarse

IntArray = NDArray[np.intp]

ORDERS = np.arange(1, 25) / 2
_ROUNDS = 3
_FEW_ORDERS = 6.0  # in the first round, whose track is off by more
_HOP_TURNS, _FEWEST_HOPS = 4.0, 10
_PER_HOP = 4  # steps of the window
_STRONGEST = 3  # orders
_RESONANCE_RAD = 0.03  # a turn: what a resonance turns an order by beside the others
_FAR = 2.5  # standard errors from which on an order counts less
_STRENGTHS = np.logspace(-6, 12, 37)
_UNSEEN = 1e-9
_SILENT = 1e-300


@dataclass(frozen=True, eq=False)
class Followed:
    """A refined track with its standard error."""

    track: Track
    middle_s: FloatArray  # (m,) of the steps that Eq. 2 was seen over
    error: FloatArray  # (m,) standard error of the speed there, share
    seen: FloatArray  # (m,) signal over noise of all orders together


def refined(signal: Signal, coarse: Coarse, track: Track) -> Followed:
    """Return the track near a first one that the phases of all orders agree on best."""
    followed = None
    for each in range(_ROUNDS):
        orders = ORDERS[ORDERS <= _FEW_ORDERS] if each == 0 else ORDERS
        followed = _round(signal, coarse, track, orders)
        track = followed.track
    assert followed is not None
    return followed


def _round(signal: Signal, coarse: Coarse, track: Track, orders: FloatArray) -> Followed:
    turns = track.turns[-1] - track.turns[0]
    hop = float(np.clip(turns / _FEWEST_HOPS, 1.0, _HOP_TURNS))
    time, value = demodulated(signal, track, orders, hop)
    middle = (time[1:] + time[:-1]) / 2
    hertz = track.hertz_at(middle)
    noise = 1.5 * _noise(coarse, orders[:, np.newaxis] * hertz, signal) * hertz[:, np.newaxis] / hop
    turned = np.sum(value[:, 1:] * value[:, :-1].conj() / np.maximum(noise, _SILENT), axis=2)
    strength = np.abs(turned)
    variance = 1 / np.maximum(strength, _UNSEEN) + 1 / np.maximum(strength, _UNSEEN) ** 2
    variance += (_RESONANCE_RAD * hop) ** 2
    steps = 2 * np.pi * orders[:, np.newaxis] * hop
    angle = np.angle(turned)
    weight = steps**2 / variance
    doubt = np.ones_like(weight)
    for _ in range(4):
        use = weight * doubt
        total = np.maximum(use.sum(axis=0), _UNSEEN)
        delta = (use * angle / steps).sum(axis=0) / total
        off = np.abs(angle - steps * delta) / np.sqrt(variance)
        doubt = 1 / (1 + (off / _FAR) ** 2)
    smooth, error = _smooth(middle, np.log(hertz) + delta, total)
    better = track_through(*_to_the_ends(middle, np.exp(smooth), signal))
    return Followed(better, middle, error, strength.sum(axis=0))


def demodulated(
    signal: Signal, track: Track, orders: FloatArray, hop: float
) -> tuple[FloatArray, ComplexArray]:
    """Return Eq. 1 at every `hop` turns: times, and values (orders, steps, axes).

    A Hann window two hops long, in eight steps. The strongest orders change within it as they pass
    their resonances, and would show in the weak ones: those are looked at with the strong ones
    taken out.
    """
    theta = track.turns_at(signal.time)
    span = theta[-1] - theta[0]
    count = max(3 * _PER_HOP, int(span / hop * _PER_HOP))
    segment = np.minimum(((theta - theta[0]) / span * count).astype(np.intp), count - 1)
    starts = np.searchsorted(segment, np.arange(count))
    value = _averaged(signal.samples, theta, orders, starts)
    centre = np.arange(value.shape[1]) * _PER_HOP / count * span + theta[0]
    size = np.linalg.norm(value, axis=2).mean(axis=1)
    strong = np.zeros(len(orders), bool)
    strong[np.argsort(-size)[:_STRONGEST]] = True
    rest = signal.samples.copy()
    for row in np.flatnonzero(strong).tolist():
        turning = np.exp(2j * np.pi * orders[row] * theta)
        for axis in range(rest.shape[1]):
            rest[:, axis] -= (np.interp(theta, centre, value[row, :, axis]) * turning).real
    value[~strong] = _averaged(rest, theta, orders[~strong], starts)
    return np.interp(centre, theta, signal.time), value


def _averaged(
    samples: FloatArray, theta: FloatArray, orders: FloatArray, starts: IntArray
) -> ComplexArray:
    """Return samples turned back by each order, averaged over a Hann window at every hop."""
    pieces = np.diff(starts, append=len(theta))
    window = np.sin(np.pi * (np.arange(2 * _PER_HOP) + 0.5) / (2 * _PER_HOP)) ** 2
    weight = np.convolve(pieces.astype(float), window, mode="same")[::_PER_HOP]
    value = np.empty((len(orders), len(weight), samples.shape[1]), complex)
    half = np.exp(-1j * np.pi * theta)
    power, reached = half.copy(), 0.5
    first = np.minimum(starts, len(theta) - 1)
    for row, order in enumerate(orders.tolist()):
        while reached < order:
            power *= half
            reached += 0.5
        sums = np.add.reduceat(power[:, np.newaxis] * samples, first, axis=0)
        sums[pieces == 0] = 0
        for axis in range(sums.shape[1]):
            smooth = np.convolve(sums[:, axis], window, mode="same")[::_PER_HOP]
            value[row, :, axis] = 2 * smooth / np.maximum(weight, 0.5)
    return value


def _noise(coarse: Coarse, hertz: FloatArray, signal: Signal) -> FloatArray:
    """Return the noise density at each frequency, axes last; endless if unsampled."""
    seen = np.stack([np.interp(hertz, coarse.hertz, row) for row in coarse.density], axis=-1)
    seen[hertz > 0.95 * signal.nyquist_hz] = np.inf
    return np.asarray(seen)


def _smooth(
    time: FloatArray, value: FloatArray, known: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the smoothing spline of values with weights `known`, and its standard error.

    Discrete: the second divided differences are white; as strong as is likeliest.
    """
    known = np.minimum(known, 1e4 * np.median(known) + _UNSEEN)
    count = len(time)
    if count < 5:
        return value, 1 / np.sqrt(known)
    h = np.diff(time) / np.mean(np.diff(time))
    bands = np.zeros((3, count))  # of D^T D, lower
    rows = np.stack([1 / h[:-1], -1 / h[:-1] - 1 / h[1:], 1 / h[1:]])
    for a in range(3):
        for b in range(a, 3):
            bands[b - a, a : a + count - 2] += rows[a] * rows[b]
    known = known * _fair(value, known)
    best: tuple[float, FloatArray, FloatArray] | None = None
    scale = float(np.median(known))
    for strength in _STRENGTHS * scale:
        matrix = strength * bands
        matrix[0] += known
        factor = scipy.linalg.cholesky_banded(matrix, lower=True)
        fit = scipy.linalg.cho_solve_banded((factor, True), known * value)
        bend = np.diff(np.diff(fit) / h)
        cost = float(np.sum(known * (value - fit) ** 2) + strength * np.sum(bend**2))
        score = (
            -float(np.sum(np.log(factor[0]))) + 0.5 * (count - 2) * np.log(strength) - 0.5 * cost
        )
        if best is None or score > best[0]:
            best = (score, np.asarray(fit), factor)
    assert best is not None
    return best[1], np.sqrt(_diagonal_of_inverse(best[2]))


def _fair(value: FloatArray, known: FloatArray) -> float:
    """Return by what the weights must be multiplied for third differences to be as they say."""
    rough = np.diff(value, 3)
    expected = np.convolve(1 / known, [1, 9, 9, 1], mode="valid")
    return float(min(1.0, 1 / max(np.median(rough**2 / expected) / 0.455, 1e-6)))


def _diagonal_of_inverse(factor: FloatArray) -> FloatArray:
    """Return the diagonal of the inverse, from a banded Cholesky factor (Takahashi's equations)."""
    count = factor.shape[1]
    inverse = np.zeros((3, count + 2))
    for j in range(count - 1, -1, -1):
        pivot = factor[0, j]
        one, two = factor[1, j] / pivot, factor[2, j] / pivot
        near, far, across = inverse[0, j + 1], inverse[0, j + 2], inverse[1, j + 1]
        inverse[1, j] = -one * near - two * across
        inverse[2, j] = -one * across - two * far
        inverse[0, j] = 1 / pivot**2 - one * inverse[1, j] - two * inverse[2, j]
    return np.maximum(inverse[0, :count], 0.0)


def _to_the_ends(
    time: FloatArray, hertz: FloatArray, signal: Signal
) -> tuple[FloatArray, FloatArray]:
    """Return a track from the first sample to the last, straight on beyond what was seen."""
    last = float(signal.time[-1])
    slope = [
        np.log(hertz[1] / hertz[0]) / (time[1] - time[0]),
        np.log(hertz[-1] / hertz[-2]) / (time[-1] - time[-2]),
    ]
    first = hertz[0] * np.exp(-slope[0] * time[0])
    final = hertz[-1] * np.exp(slope[1] * (last - time[-1]))
    inside = (time > 0) & (time < last)
    return (
        np.concatenate([[0.0], time[inside], [last]]),
        np.concatenate([[first], hertz[inside], [final]]),
    )
