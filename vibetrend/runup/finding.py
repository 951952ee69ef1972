"""Where the orders of a sweep show resonances.

Every frequency the orders cover is tried: how much better is an order's curve explained with a
resonance there than by a smooth bend alone. Where several orders, or one clearly, say so, a
resonance is fitted to them together; then each order by itself says whether it shows the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from vibetrend.recording import FloatArray
from vibetrend.runup.curves import LOG_STEP
from vibetrend.runup.fitting import Fit, Mode, fit, half_width, shape
from vibetrend.runup.powers import Powers

MOST = 8  # resonances told of one sweep, the clearest
SEEN = 16.0  # chi-square a resonance has to explain in one order, two parameters
LEAST_STRENGTH = 0.1  # of a power over its surroundings: 0.4 dB
_TRIED_DAMPING = (0.012, 0.03, 0.07)
_CLEAR = 40.0  # chi-square in all orders that show it: all frequencies were tried
_TOO_NARROW, _TOO_WIDE = 0.006, 0.19  # one step of the grid; a smooth bend
_HELPS = 10.0  # chi-square in an order that shows it too weakly by itself
_SIDE = 4  # points needed on either side
_ONE_ORDER = 60.0  # no order counts for more than this
_ENOUGH = 30.0
_APART = 0.03  # of ln f: nearer ones are one


@dataclass(frozen=True, eq=False)
class Resonance:
    """One natural frequency and the orders that show it."""

    joint: Fit  # of the orders that show it
    each: dict[float, Fit]  # order -> its own fit
    covering: Fit  # all orders that reach it, at the joint frequency and damping
    beside: tuple[Mode, ...]  # the other resonances

    @property
    def mode(self) -> Mode:
        """Frequency and damping, of all orders together."""
        return self.joint.mode


def find(sweep: Powers) -> list[Resonance]:
    """Return the resonances of a sweep, lowest first; none where it shows none."""
    if sweep.power.size == 0:
        return []
    frequency, score = scan(sweep)
    fits: list[Fit] = []
    for at in _candidates(score):
        rows = np.flatnonzero(score[:, max(at - 2, 0) : at + 3].max(axis=1) > SEEN / 2)
        found = fit(sweep, Mode(float(np.exp(frequency[at])), _TRIED_DAMPING[1]), rows=rows)
        if found is not None and not _same(found.mode, [each.mode for each in fits]):
            fits.append(found)
    fits = fits[:MOST]
    resonances: list[Resonance] = []
    for number, each in enumerate(fits):
        beside = [other.mode for place, other in enumerate(fits) if place != number]
        clear = _resolve(sweep, each, beside)
        if clear is not None and not _same(clear.mode, [one.mode for one in resonances]):
            resonances.append(clear)
    return sorted(resonances, key=lambda one: one.mode.frequency_hz)


def scan(sweep: Powers) -> tuple[FloatArray, FloatArray]:
    """Return how clearly each order shows a resonance at each frequency.

    Returns
    -------
    log_frequency : ndarray, shape (G,)
        Natural logarithm of Hz, in steps of the grid.
    score : ndarray, shape (K, G)
        Chi-square that the best of a few dampings explains, over the scatter; 0 where an order
        does not reach.
    """
    offset = np.rint(np.log(sweep.orders) / LOG_STEP).astype(int)
    count = sweep.power.shape[1]
    score = np.zeros((sweep.orders.size, count + offset.max() - offset.min()))
    for damping in _TRIED_DAMPING:
        half = int(half_width(damping) / LOG_STEP)
        x = np.arange(-half, half + 1, dtype=float) * LOG_STEP
        design = np.stack([np.ones_like(x), x, x * x, *shape(x, damping)], axis=1)
        for row, start in enumerate(offset - offset.min()):
            better = _better(sweep, row, design, half)
            place = score[row, start : start + count]
            np.maximum(place, better, out=place)
    first = sweep.log_speed[0] + offset.min() * LOG_STEP
    return first + np.arange(score.shape[1]) * LOG_STEP, score


def _better(sweep: Powers, row: int, design: FloatArray, half: int) -> FloatArray:
    """Return what a resonance centred at each step explains in one order's logarithms, (M,)."""
    power = sweep.power[row]
    variance = sweep.variance(power[np.newaxis] * (np.arange(sweep.orders.size) == row)[:, None])
    known = np.isfinite(power) & (power > 0)
    logs = np.where(known, np.log(np.where(known, power, 1.0)), 0.0)
    relative = variance[row] / np.where(known, power, 1.0) ** 2
    weight = np.where(known, 1 / (relative + 0.01), 0.0)
    y, w = (sliding_window_view(np.pad(each, half), 2 * half + 1) for each in (logs, weight))
    free = (w > 0).sum(axis=1) - design.shape[1]
    left = _left(design, y, w)
    without = _left(design[:, :3], y, w)
    sides = np.minimum((w[:, :half] > 0).sum(axis=1), (w[:, half + 1 :] > 0).sum(axis=1))
    usable = (free > 2 * _SIDE) & (sides >= _SIDE)
    return np.where(usable, (without - left) / np.maximum(left / np.maximum(free, 1), 1e-12), 0.0)


def _left(design: FloatArray, y: FloatArray, w: FloatArray) -> FloatArray:
    """Return the weighted squares left over in each window, shape (M,)."""
    pairs = np.einsum("np,nq->npq", design, design).reshape(len(design), -1)
    size = design.shape[1]
    normal = (w @ pairs).reshape(-1, size, size)
    normal += (1e-9 * np.trace(normal, axis1=1, axis2=2) + 1e-12)[:, None, None] * np.eye(size)
    side = (w * y) @ design
    found = np.linalg.solve(normal, side[..., np.newaxis])[..., 0]
    return np.asarray((w * y * y).sum(axis=1) - (found * side).sum(axis=1))


def _candidates(score: FloatArray) -> list[int]:
    """Return where the orders together peak, the clearest first."""
    total = np.minimum(score, _ONE_ORDER).sum(axis=0)
    around = sliding_window_view(np.pad(total, 3), 7).max(axis=1)
    peaks = np.flatnonzero((total >= around) & (total > _ENOUGH))
    return [int(at) for at in peaks[np.argsort(-total[peaks], kind="stable")]][: 3 * MOST]


def _same(mode: Mode, others: Sequence[Mode]) -> bool:
    return any(
        abs(np.log(mode.frequency_hz / other.frequency_hz))
        < max(_APART, min(mode.damping, other.damping))
        for other in others
    )


def _resolve(sweep: Powers, first: Fit, beside: Sequence[Mode]) -> Resonance | None:
    """Let each order say whether it shows a resonance, and fit those that do together."""
    joint = fit(sweep, first.mode, rows=first.row, beside=beside)
    covering = joint and fit(sweep, joint.mode, beside=beside, free=False)
    if joint is None or covering is None:
        return None
    each = _alone(sweep, joint, covering, beside)
    if not each:
        return None
    seen = np.isin(sweep.orders[covering.row], list(each))
    rows = covering.row[seen | (covering.gain > _HELPS)]
    joint = fit(sweep, joint.mode, rows=rows, beside=beside)
    covering = joint and fit(sweep, joint.mode, beside=beside, free=False)
    if joint is None or covering is None:
        return None
    clear = sum(float(one.gain[0]) for one in each.values())
    if clear < _CLEAR or not _TOO_NARROW < joint.mode.damping < _TOO_WIDE:
        return None
    return Resonance(joint, each, covering, tuple(beside))


def _alone(sweep: Powers, joint: Fit, covering: Fit, beside: Sequence[Mode]) -> dict[float, Fit]:
    """Return the fits of the orders that show the resonance by themselves, at its frequency."""
    shown = {}
    for row in covering.row[visible(covering)]:
        one = fit(sweep, joint.mode, rows=np.array([row]), beside=beside)
        if one is None or not visible(one)[0]:
            continue
        apart = abs(np.log(one.mode.frequency_hz / joint.mode.frequency_hz))
        unsure = np.hypot(one.log_frequency_error, joint.log_frequency_error)
        if apart < min(max(3 * unsure, 0.5 * joint.mode.damping), 0.05):
            shown[float(sweep.orders[row])] = one
    return shown


def visible(fitted: Fit) -> NDArray[np.bool_]:
    """Say which orders show a peak that a smooth curve does not explain, shape (K,)."""
    stands_out = (fitted.peak > 0) & (fitted.strength > LEAST_STRENGTH)
    return np.asarray((fitted.gain > SEEN) & stands_out)
