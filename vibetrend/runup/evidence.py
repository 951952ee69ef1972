"""How well a track explains the samples: least squares of all half orders, stretch by stretch.

The fit is made at the samples' own times, so that orders above half the rate count where they
fold. A comb on a spectrum cannot do that: where much folds, what folds passes for orders of half
the speed. Tracks are compared over the same stretches with as many numbers fitted, so that what
each leaves over can be set side by side.
"""

from collections.abc import Sequence

import numpy as np
import scipy.linalg

from vibetrend.orders.fit import ComplexArray, phasors
from vibetrend.orders.signal import Signal
from vibetrend.recording import FloatArray
from vibetrend.runup.track import Track

_ORDERS = np.arange(1, 25) / 2
_STRETCHES = 24
_TURNS = 10.0  # in each at least: fewer, and half orders run into each other
_SAMPLES_EACH = 2.0  # for each number fitted
_USABLE = 0.95  # of half the rate
_SILENT = 1e-300
_RIDGE = 1e-9
_BESIDE = (0.943, 1.061)  # ratios at which few orders of a track meet those of another
_SAME, _POINTS = 0.01, 5  # of the speed; where it is looked at in a stretch
_BETTER, _MORE = 0.03, 0.15  # log power, and share of it: explained by another track, to be taken
_VALLEY, _SHOWN = 0.15, 0.5  # share of what is explained before and after; log power there
_CLEAR_VALLEY, _CLEAR = 0.35, 2.0  # the same where nearly all is explained before and after
_PLAIN = 1.0  # log power: much is explained
_KNOCK = 1.5  # log power above the median
_NOTHING, _FEW = 0.15, 2  # share and number of stretches; of noise it is half of them


def best_of(signal: Signal, tracks: Sequence[Track]) -> Track:
    """Return the track that explains the samples best; an earlier one where it is a near thing.

    Only stretches count in which two tracks differ.
    """
    best = tracks[0]
    within = np.linspace(0.0, signal.duration, _STRETCHES * _POINTS)
    for track in tracks[1:]:
        left = left_over(signal, [best, track, *_beside(best)])
        apart = np.abs(np.log(track.hertz_at(within) / best.hertz_at(within)))
        differ = apart.reshape(_STRETCHES, _POINTS).max(axis=1) > _SAME
        differ &= np.isfinite(left).all(axis=0)
        if not differ.any():
            continue
        old, new = (left[2:].mean(axis=0) - left[:2])[:, differ].mean(axis=1)
        if new > _BETTER + (1 + _MORE) * max(old, 0.0):
            best = track
    return best


def loses_its_way(
    signal: Signal, track: Track, *, first_s: float = 0.0, last_s: float = np.inf
) -> bool:
    """Say whether a track explains next to nothing for a while, and much before and after.

    A track that slides from the speed of the crank to one half as high, or back, does so. A knock
    does so too, but is louder than the rest. Nor may it be nothing at all in many stretches, nor,
    where orders fold and half the speed is a likely mistake, drop at once to next to nothing. Only
    stretches between two times count.
    """
    left = left_over(signal, [track, *_beside(track)])
    centres = _centres(signal)
    kept = np.isfinite(left).all(axis=0) & (centres > first_s) & (centres < last_s)
    total = left[1:, kept].mean(axis=0)
    gain = total - left[0, kept]
    if gain.size < 2:
        return False
    folds = _folds(signal, [track])
    if not folds:
        # One stretch by itself is where an order crosses mains, which any track explains.
        gain, total = np.maximum(gain[1:], gain[:-1]), np.maximum(total[1:], total[:-1])
    before = np.maximum.accumulate(gain)
    after = np.maximum.accumulate(gain[::-1])[::-1]
    around = np.minimum(before, after)
    knock = total > np.median(total) + _KNOCK
    share = np.where(folds & (around > _CLEAR), _CLEAR_VALLEY, _VALLEY)
    valley = (around > _SHOWN) & (gain < share * around) & ~knock
    nothing = (gain <= 0) & ~knock
    one, other = gain[~knock][:-_FEW], gain[~knock][_FEW:]  # from one to the next but one
    high, low = np.maximum(one, other), np.minimum(one, other)
    dropped = (high > _PLAIN) & (low < _VALLEY * high)
    few = nothing.sum() <= max(_FEW, _NOTHING * gain.size)
    return bool(valley.any() or (folds and dropped.any()) or not few)


def left_over(signal: Signal, tracks: Sequence[Track]) -> FloatArray:
    """Return the log power that each track leaves over, shape (tracks, stretches).

    NaN where a stretch has too few samples.
    """
    folds = _folds(signal, tracks)
    centres = _centres(signal)
    found = np.full((len(tracks), _STRETCHES), np.nan)
    for column, centre in enumerate(centres.tolist()):
        hertz = [float(track.hertz_at(centres[column])) for track in tracks]
        orders = _ORDERS
        if not folds:
            orders = orders[orders * max(hertz) < _USABLE * signal.nyquist_hz]
        fitted = 2 * len(orders) + 1
        seconds = max(_TURNS / min(hertz), (1 + _SAMPLES_EACH) * fitted / signal.rate)
        first, last = np.searchsorted(signal.time, [centre - seconds / 2, centre + seconds / 2])
        piece = slice(int(first), int(last))
        samples = signal.samples[piece]
        if not len(orders) or len(samples) < _SAMPLES_EACH * fitted:
            continue
        for row, track in enumerate(tracks):
            lines = phasors(track.turns_at(signal.time[piece]), orders)
            power = _residual_power(samples, lines)
            found[row, column] = np.log(np.maximum(power, _SILENT)).mean()
    return found


def _residual_power(samples: FloatArray, lines: ComplexArray) -> FloatArray:
    """Return the power on each axis that a fit of lines leaves over."""
    design = np.concatenate([lines.real, lines.imag, np.ones((1, len(samples)))])
    normal = design @ design.T
    normal.flat[:: len(normal) + 1] += _RIDGE * len(samples)
    factor = scipy.linalg.cho_factor(normal, overwrite_a=True, check_finite=False)
    solution = scipy.linalg.cho_solve(factor, design @ samples, check_finite=False)
    power: FloatArray = ((samples - design.T @ solution) ** 2).sum(axis=0)
    return power


def _folds(signal: Signal, tracks: Sequence[Track]) -> bool:
    """Say whether orders come to lie above half the rate, where they fold."""
    fastest = max(float(track.hertz.max()) for track in tracks)
    return bool(_ORDERS[-1] * fastest > signal.nyquist_hz)


def _centres(signal: Signal) -> FloatArray:
    return np.asarray((np.arange(_STRETCHES) + 0.5) / _STRETCHES * signal.duration)


def _beside(track: Track) -> list[Track]:
    """Return tracks that are wrong: what they leave over is what there is to be explained."""
    return [track.scaled(ratio) for ratio in _BESIDE]
