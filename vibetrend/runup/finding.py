"""Where the orders of a sweep show resonances.

Every frequency the orders cover is tried: how much better is an order's curve explained with a
resonance there than by a smooth bend alone. Where several orders, or one clearly, say so, a
resonance is fitted to them together; then each order by itself says whether it shows the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from vibetrend.recording import FloatArray
from vibetrend.runup.curves import LOG_STEP, SPAN
from vibetrend.runup.fitting import ROUGH, ROUGHEST, Fit, Mode, fit, half_width, seen
from vibetrend.runup.powers import Powers

MOST = 8  # resonances told of one sweep, the clearest
SEEN = 16.0  # chi-square a resonance has to explain in one order, two parameters
LEAST_STRENGTH = 0.1  # of a power over its surroundings: 0.4 dB
_TRIED_DAMPING = (0.012, 0.03, 0.07)
_CLEAR = 40.0  # chi-square in all orders that show it: all frequencies were tried
_TOO_NARROW, _TOO_WIDE = 0.007, 0.19  # less than a step of the grid; a smooth bend
_HELPS = 10.0  # chi-square in an order that shows it too weakly by itself
_FEWEST_SPEEDS = 24  # in a few turns fewer are told: those show nothing for sure
_SIDE = 4  # points needed on either side
_ONE_ORDER = 60.0  # no order counts for more than this
_ENOUGH = 30.0
_LOOKS = 2
_LEAST_LEFT = 0.02  # share of a power that taking a resonance away may leave
_ONE_CLEAR = 60.0  # chi-square where only one order shows it
MODEL_ERROR = 0.07  # of the damping ratio, in ln f: other modes beside; by simulated boats
MODEL_ERROR_ALONE = 0.12  # of one order by itself
_DAMPING_ERROR = 1.7  # of ln zeta, times zeta: wide ones run into others; by simulated sweeps
_DAMPING_ERROR_ALONE = 3.0
_WINDOW_ERROR = 0.016  # of ln zeta, times (SPAN / zeta)^2: a quarter of what a window adds
_MAINS_HZ, _MAINS_TIMES = (50.0, 60.0), (1, 2, 3)
_MAINS_APART, _MAINS_SHARP = 0.015, 0.012  # of ln f; damping ratio: no resonance, but hum crossed
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

    @property
    def log_frequency_error(self) -> float:
        """Standard error of ln f_n, with what a mode of one degree of freedom leaves out."""
        return float(np.hypot(self.joint.log_frequency_error, MODEL_ERROR * self.mode.damping))


def damping_error(fitted: Fit, *, alone: bool) -> float:
    """Return the standard error of ln zeta, with what the model leaves out.

    Other modes beside, and that an engine which hunts passes more than `SPAN` in a window.
    """
    zeta = fitted.mode.damping
    beside = (_DAMPING_ERROR_ALONE if alone else _DAMPING_ERROR) * zeta
    window = min(_WINDOW_ERROR * (SPAN / zeta) ** 2, 0.5)
    return float(np.linalg.norm([fitted.log_damping_error, beside, window]))


def find(sweep: Powers) -> list[Resonance]:
    """Return the resonances of a sweep, lowest first; none where it shows none."""
    if sweep.power.size == 0 or np.isfinite(sweep.power).any(axis=0).sum() < _FEWEST_SPEEDS:
        return []
    fits: list[Fit] = []
    for _ in range(_LOOKS):  # what a strong one hides shows once that is taken away
        shown = _without(sweep, fits)
        frequency, score = scan(shown)
        for at in _candidates(score):
            rows = np.flatnonzero(score[:, max(at - 2, 0) : at + 3].max(axis=1) > SEEN / 2)
            start = Mode(float(np.exp(frequency[at])), _TRIED_DAMPING[1])
            found = fit(shown, start, rows=rows, rounds=ROUGHEST)
            if found is not None and not _same(found.mode, [each.mode for each in fits]):
                fits.append(found)
        fits = _beside_each_other(sweep, sorted(fits, key=_clearness, reverse=True)[:MOST])
    resonances: list[Resonance] = []
    for number, each in enumerate(fits):
        beside = [other.mode for place, other in enumerate(fits) if place != number]
        clear = _resolve(sweep, each, beside)
        if clear is not None and not _same(clear.mode, [one.mode for one in resonances]):
            resonances.append(clear)
    return sorted(resonances, key=lambda one: one.mode.frequency_hz)


def _beside_each_other(sweep: Powers, fits: Sequence[Fit]) -> list[Fit]:
    """Return the fits once more, each beside the others, without those that are no more there."""
    kept: list[Fit] = []
    for number, each in enumerate(fits):
        beside = [one.mode for one in (*kept, *fits[number + 1 :])]
        again = fit(sweep, each.mode, rows=each.row, beside=beside, rounds=ROUGH)
        if again is None or not _TOO_NARROW < again.mode.damping < _TOO_WIDE:
            continue
        if _clearness(again) > _ENOUGH and not _same(again.mode, [one.mode for one in kept]):
            kept.append(again)
    return kept


def _clearness(fitted: Fit) -> float:
    return float(np.minimum(fitted.gain, _ONE_ORDER).sum())


def _without(sweep: Powers, fits: Sequence[Fit]) -> Powers:
    """Return a sweep's powers, what is fitted of resonances taken away."""
    power = sweep.power.copy()
    for each in fits:
        whole = np.maximum(each.model, 1e-3 * each.model.max(axis=1, keepdims=True))
        ratio = np.clip(each.without / whole, _LEAST_LEFT, 1 / _LEAST_LEFT)
        for row, first, share in zip(each.row, each.first, ratio, strict=True):
            begin, end = max(first, 0), min(first + share.size, power.shape[1])
            power[row, begin:end] *= share[begin - first : end - first]
    return replace(sweep, power=power)


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
        design = np.stack([np.ones_like(x), x, x * x, *seen(x, damping)], axis=1)
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


def _of_the_mains(mode: Mode) -> bool:
    """Say whether this is what is left where orders cross a line of the mains."""
    lines = np.outer(_MAINS_HZ, _MAINS_TIMES)
    near = np.abs(np.log(mode.frequency_hz / lines)).min() < _MAINS_APART
    return bool(near and mode.damping < _MAINS_SHARP)


def _candidates(score: FloatArray) -> list[int]:
    """Return where the orders together peak, the clearest first."""
    total = np.minimum(score, _ONE_ORDER).sum(axis=0)
    around = sliding_window_view(np.pad(total, 3), 7).max(axis=1)
    peaks = np.flatnonzero((total >= around) & (total > _ENOUGH))
    return [int(at) for at in peaks[np.argsort(-total[peaks], kind="stable")]][: 2 * MOST]


def _same(mode: Mode, others: Sequence[Mode]) -> bool:
    return any(
        abs(np.log(mode.frequency_hz / other.frequency_hz))
        < max(_APART, min(mode.damping, other.damping))
        for other in others
    )


def _resolve(sweep: Powers, first: Fit, beside: Sequence[Mode]) -> Resonance | None:
    """Let each order say whether it shows a resonance, and fit those that do together."""
    covering = fit(sweep, first.mode, beside=beside, free=False)
    if covering is None:
        return None
    each = _alone(sweep, first, covering, beside)
    if not each:
        return None
    seen = np.isin(sweep.orders[covering.row], list(each))
    rows = covering.row[seen | (covering.gain > _HELPS)]
    joint = fit(sweep, first.mode, rows=rows, beside=beside)
    covering = joint and fit(sweep, joint.mode, beside=beside, free=False)
    if joint is None or covering is None:
        return None
    clear = sum(float(one.gain[0]) for one in each.values())
    if (
        clear < (_CLEAR if len(each) > 1 else _ONE_CLEAR)
        or not _TOO_NARROW < joint.mode.damping < _TOO_WIDE
        or _of_the_mains(joint.mode)
    ):
        return None
    return Resonance(joint, each, covering, tuple(beside))


def _alone(sweep: Powers, joint: Fit, covering: Fit, beside: Sequence[Mode]) -> dict[float, Fit]:
    """Return the fits of the orders that show the resonance by themselves, at its frequency."""
    shown = {}
    for row in covering.row[visible(covering)]:
        one = fit(sweep, joint.mode, rows=np.array([row]), beside=beside, rounds=ROUGH)
        if one is None or not visible(one)[0]:
            continue
        apart = abs(np.log(one.mode.frequency_hz / joint.mode.frequency_hz))
        unsure = np.hypot(one.log_frequency_error, joint.log_frequency_error)
        if apart < min(max(3 * unsure, 0.5 * joint.mode.damping), 0.05):
            shown[float(sweep.orders[row])] = one
    return shown


def visible(fitted: Fit) -> NDArray[np.bool_]:
    """Say which orders show a peak or dip that a smooth curve does not explain, shape (K,)."""
    return np.asarray((fitted.gain > SEEN) & (fitted.strength > LEAST_STRENGTH))
