"""The crank angle from the edges of a tacho.

Edge j passes when the crank has turned by phi_j, known from the wheel but for the error of its
tooth's place. With edge times t_j, and g a random walk of the speed (an integrated Wiener process),

    phi_j = g(t_j) + p_s(j) + noise                                                          (1)

The noise is the jitter of the edge times, white. The strength of the walk beside it is the
likeliest one, found from the second divided differences of Eq. 1, whose covariance is banded; g is
then the cubic smoothing spline of that strength (Wahba, J. R. Stat. Soc. B 40, 1978; Green &
Silverman, Nonparametric Regression and Generalized Linear Models, ch. 2).

p_s repeats every turn, one value for each tooth. It holds the errors of tooth spacing *and* what
the crank itself does alike in every turn, its whole orders: an integer number of teeth cannot tell
one from the other. All of p is taken out. The angle that is left turns evenly within a turn but for
half orders and wander, as the angle found from a recording without a tacho does, so that orders of
both can be compared. Where the teeth in a turn are no whole number nothing repeats, and all stays.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import scipy.linalg
from numpy.typing import NDArray
from scipy.linalg.lapack import dtbtrs

from vibetrend.errors import MeasureError
from vibetrend.recording import FloatArray, Tacho

_FEWEST_EDGES, _FEWEST_TURNS = 6, 2.0
_FEWEST_FOLDED = 4  # turns: two engine cycles, over which half orders cancel
_RATIOS = np.logspace(-12, 3, 16)  # strength of the walk tried, jitter and mean step being 1
_ENOUGH_EDGES = 10_000  # tell the strength of the walk
_TRACK_STEP_S, _SPREAD_STEP_S = 0.1, 0.25
_CYCLE_TURNS = 2.0  # of a four-stroke: over it the speed's own half orders cancel


@dataclass(frozen=True, eq=False)
class Edges:
    """Edge times with the angle at which each should come.

    Turns are whole at the tooth that follows the widest gap, or at the first edge of a wheel
    without any.
    """

    time: FloatArray  # (n,) seconds
    turns: FloatArray  # (n,) phi_j
    a_turn: int | None  # edges, after which the same tooth comes; None if none ever does

    @property
    def tooth(self) -> NDArray[np.intp]:
        """The tooth behind each edge, 0 to a_turn - 1; shape (n,)."""
        return np.arange(len(self.time)) % (self.a_turn or 1)


class Walk:
    """Second divided differences of Eq. 1, and how a random walk of speed correlates them.

    Parameters
    ----------
    steps : array, shape (n - 1,)
        From edge to edge, seconds.
    ratio : float, optional
        Strength of the walk, the jitter and the mean step being 1.
    """

    def __init__(self, steps: FloatArray, ratio: float = 1.0) -> None:
        self._steps = steps / steps.mean()
        self.ratio = ratio
        self._factor = self._factored()

    def bends(self, values: FloatArray) -> FloatArray:
        """Return Q^T values: what is left of (n,) or (n, columns) without straight lines."""
        steps = self._steps if values.ndim == 1 else self._steps[:, np.newaxis]
        return np.asarray(np.diff(np.diff(values, axis=0) / steps, axis=0))

    def spread_out(self, bends: FloatArray) -> FloatArray:
        """Return Q bends, shape (n,)."""
        slopes = np.diff(bends, prepend=0.0, append=0.0) / self._steps
        return np.diff(slopes, prepend=0.0, append=0.0)

    def white(self, bends: FloatArray) -> FloatArray:
        """Return bends with the predicted correlation taken out: variance that of the jitter."""
        flat = bends.reshape(len(bends), -1)
        return np.asarray(dtbtrs(self._factor, flat, uplo="L")[0]).reshape(bends.shape)

    def solved(self, bends: FloatArray) -> FloatArray:
        """Return S^-1 bends, S being the covariance in units of the jitter's variance."""
        return np.asarray(scipy.linalg.cho_solve_banded((self._factor, True), bends))

    def likeliest(self, bends: FloatArray) -> "Walk":
        """Return the walk under which these bends are the likeliest."""
        count = min(len(bends), _ENOUGH_EDGES)
        first = (len(bends) - count) // 2
        part = self._steps[first : first + count + 1]
        seen = bends[first : first + count]
        scores = [Walk(part, ratio)._log_likelihood(seen) for ratio in _RATIOS]
        return Walk(self._steps, float(_RATIOS[int(np.argmax(scores))]))

    def _log_likelihood(self, bends: FloatArray) -> float:
        chi2 = max(float(np.sum(self.white(bends) ** 2)), np.finfo(float).tiny)
        return -float(np.sum(np.log(self._factor[0])) + 0.5 * len(bends) * np.log(chi2))

    def _factored(self) -> FloatArray:
        """Return the Cholesky factor of S = ratio R + Q^T Q, lower bands, shape (3, n - 2)."""
        h = self._steps
        inverse = 1 / h
        middle = -(inverse[:-1] + inverse[1:])
        bands = np.zeros((3, len(h) - 1))
        bands[0] = (
            self.ratio * (h[:-1] + h[1:]) / 3 + inverse[:-1] ** 2 + middle**2 + inverse[1:] ** 2
        )
        bands[1, :-1] = self.ratio * h[1:-1] / 6 + inverse[1:-1] * (middle[:-1] + middle[1:])
        bands[2, :-2] = inverse[1:-2] * inverse[2:-1]
        return np.asarray(scipy.linalg.cholesky_banded(bands, lower=True))


@dataclass(frozen=True, eq=False)
class TachoTrack:
    """The crank's angle through the time that a tacho covers."""

    time: FloatArray  # (n,) seconds, of the edges
    jitter_s: float  # standard deviation of an edge's time that the wheel does not explain
    _angle: FloatArray  # (n,) turns
    _bend: FloatArray  # (n,) second derivative of the angle, turns / s^2
    _walk: Walk
    _tooth: NDArray[np.intp]
    _tooth_error: FloatArray = field(repr=False)  # (teeth,) standard error of p, turns

    def turns(self, time: FloatArray) -> FloatArray:
        """Return the crank's angle at any times, turns; straight on beyond the edges."""
        knots, angle, bend = self.time, self._angle, self._bend
        left = np.clip(np.searchsorted(knots, time) - 1, 0, len(knots) - 2)
        h = knots[left + 1] - knots[left]
        inside = np.clip(time, knots[0], knots[-1])
        b = (inside - knots[left]) / h
        a = 1 - b
        curve = (a**3 - a) * bend[left] + (b**3 - b) * bend[left + 1]
        slope = (angle[left + 1] - angle[left]) / h
        slope += h / 6 * ((1 - 3 * a**2) * bend[left] + (3 * b**2 - 1) * bend[left + 1])
        result = a * angle[left] + b * angle[left + 1] + h**2 / 6 * curve
        return np.asarray(result + slope * (time - inside))

    def mean_hz(self, start: float | None = None, end: float | None = None) -> float:
        """Return turns made over time taken, Hz; from the first to the last edge if not said."""
        ends = self._ends(start, end)
        return float(np.diff(self.turns(ends))[0] / np.diff(ends)[0])

    def standard_error_hz(self, start: float | None = None, end: float | None = None) -> float:
        """Return the standard error of `mean_hz`, Hz: that of the angle at both ends."""
        ends = self._ends(start, end)
        first, last = np.clip(np.searchsorted(self.time, ends), 0, len(self.time) - 1)
        if first == last:
            return float("inf")
        apart = np.zeros(len(self.time))
        apart[first], apart[last] = -1.0, 1.0
        seen = self._walk.bends(apart)
        jitter = self.jitter_s * self.mean_hz()
        variance = jitter**2 * (2 - float(seen @ self._walk.solved(seen)))
        if self._tooth[first] != self._tooth[last]:
            variance += float(np.sum(self._tooth_error[self._tooth[[first, last]]] ** 2))
        return float(np.sqrt(max(variance, 0.0)) / (ends[1] - ends[0]))

    def spread_percent(self, start: float | None = None, end: float | None = None) -> float:
        """Return the standard deviation of the speed over quarter seconds, % of the mean."""
        speeds = self._speeds(_SPREAD_STEP_S, *self._ends(start, end))[1]
        return float(100 * np.std(speeds) / np.mean(speeds))

    def track(self, start: float | None = None, end: float | None = None) -> pd.DataFrame:
        """Return `time_s` and `rpm` on steps of 0.1 s, each over an engine cycle or longer."""
        middles, hertz = self._speeds(_TRACK_STEP_S, *self._ends(start, end))
        return pd.DataFrame({"time_s": middles, "rpm": 60 * hertz})

    def _ends(self, start: float | None, end: float | None) -> FloatArray:
        return np.array(
            [self.time[0] if start is None else start, self.time[-1] if end is None else end]
        )

    def _speeds(self, step_s: float, first: float, last: float) -> tuple[FloatArray, FloatArray]:
        edges = np.linspace(first, last, max(3, int((last - first) / step_s) + 1))
        middles = (edges[1:] + edges[:-1]) / 2
        half = min(max(step_s, _CYCLE_TURNS / self.mean_hz()), (last - first) / 2) / 2
        centres = np.clip(middles, first + half, last - half)
        return centres, (self.turns(centres + half) - self.turns(centres - half)) / (2 * half)


def tacho_track(tacho: Tacho) -> TachoTrack:
    """Return the crank's angle, mean speed and wander that a tacho tells.

    Raises
    ------
    MeasureError
        If there are too few edges, or their times do not rise.
    """
    edges = edges_of(tacho)
    repeats, tooth_error = _repeating(edges)
    angle = edges.turns - repeats[edges.tooth]
    walk = Walk(np.diff(edges.time))
    bends = walk.bends(angle)
    walk = walk.likeliest(bends)
    solved = walk.solved(bends)
    step = float(np.diff(edges.time).mean())
    mean_hz = float((angle[-1] - angle[0]) / (edges.time[-1] - edges.time[0]))
    return TachoTrack(
        time=edges.time,
        jitter_s=_jitter(edges.time, angle) / mean_hz,
        _angle=angle - walk.spread_out(solved),
        _bend=np.pad(walk.ratio * solved, 1) / step**2,
        _walk=walk,
        _tooth=edges.tooth,
        _tooth_error=tooth_error,
    )


def _jitter(time: FloatArray, angle: FloatArray) -> float:
    """Return the jitter of edges, turns, from how far each lies off the cubic through four others.

    They are the nearest ones. Unlike the walk's own figure it is not low where few edges a turn
    show a speed that changes more smoothly than a random walk.
    """
    count = len(time) - 4
    others = [i for i in range(5) if i != 2]
    t = np.stack([time[i : i + count] for i in range(5)])
    off, spread = angle[2:-2] - angle[2], np.ones(count)
    for i in others:
        weight = np.ones(count)
        for k in others:
            if k != i:
                weight *= (t[2] - t[k]) / (t[i] - t[k])
        off = off - weight * (angle[i : i + count] - angle[2])
        spread += weight**2
    return float(np.sqrt(np.mean(off**2 / spread)))


def edges_of(tacho: Tacho) -> Edges:
    """Return the angle at each edge, the gaps of missing teeth found and counted.

    Raises
    ------
    MeasureError
        If there are too few edges, or their times do not rise.
    """
    time = np.asarray(tacho.edge_times, dtype=float)
    missing = tacho.missing_teeth
    gaps = sorted((missing,) if isinstance(missing, int) else missing)
    gaps = [count for count in gaps if count]
    per_turn = float(tacho.teeth_per_turn - sum(gaps))
    if len(time) < _FEWEST_EDGES or len(time) - 1 < _FEWEST_TURNS * per_turn:
        raise MeasureError(
            f"the tacho holds {len(time)} edges at {per_turn:g} a turn, too few for a crank angle; "
            f"{_FEWEST_EDGES} edges and {_FEWEST_TURNS:.0f} turns are needed: record longer"
        )
    if not (np.diff(time) > 0).all():
        raise MeasureError(
            "the tacho's edge times do not rise throughout; sort them and leave out what is double"
        )
    if not per_turn.is_integer():
        return Edges(time, np.arange(len(time)) / tacho.teeth_per_turn, None)
    a_turn = int(per_turn)
    pitches = _pitches(time, a_turn, gaps)
    turns = np.concatenate([[0.0], np.cumsum(np.resize(pitches, len(time) - 1))])
    turns /= tacho.teeth_per_turn
    if gaps:
        turns -= turns[int(np.argmax(pitches)) + 1]
    return Edges(time, turns, a_turn)


def _pitches(time: FloatArray, a_turn: int, gaps: list[int]) -> FloatArray:
    """Return how many tooth pitches lie after each of the first `a_turn` edges.

    The widest steps are the gaps, whatever a sensor makes of the teeth beside them.
    """
    count = (len(time) - 1) // a_turn
    steps = np.diff(time)[: count * a_turn].reshape(count, a_turn)
    wide = np.median(steps / steps.mean(axis=1, keepdims=True), axis=0)
    pitches = np.ones(a_turn)
    if gaps:
        pitches[np.argsort(wide)[-len(gaps) :]] += gaps  # both from narrow to wide
    return pitches


def _repeating(edges: Edges) -> tuple[FloatArray, FloatArray]:
    """Return p of Eq. 1 and its standard error, shape (teeth,), turns; 0 where unknown.

    Each edge is compared with the mean angle over the turn around it, which neither p nor a
    steady change of speed moves from tooth to tooth. Half orders cancel over pairs of turns.
    """
    count = edges.a_turn or 1
    unknown = np.zeros(count)
    folded = 2 * int((edges.turns[-1] - edges.turns[0] - 1.5) / 2)
    if count == 1 or folded < _FEWEST_FOLDED:
        return unknown, unknown
    time, turns = edges.time, edges.turns
    line = np.polynomial.Polynomial.fit(time, turns, 1)
    off = turns - line(time)
    area = np.concatenate([[0.0], np.cumsum((off[1:] + off[:-1]) / 2 * np.diff(time))])
    first = int(np.searchsorted(turns, turns[0] + 0.5))
    chosen = np.arange(first, first + folded * count)
    starts, ends = (np.interp(turns[chosen] + half, turns, time) for half in (-0.5, 0.5))
    mean = (np.interp(ends, time, area) - np.interp(starts, time, area)) / (ends - starts)
    left = (off[chosen] - mean).reshape(folded, count)
    left -= left.mean(axis=1, keepdims=True)
    left = np.roll(left, first % count, axis=1)
    pairs = (left[::2] + left[1::2]) / 2
    return left.mean(axis=0), pairs.std(axis=0, ddof=1) / np.sqrt(len(pairs))
