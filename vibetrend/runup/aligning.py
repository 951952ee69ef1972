"""How far a resonance has moved, by laying a sweep over the baseline.

The baseline's curves are taken as they are, bumps and all; only the resonance's own part, as fitted
to them, is moved along frequency, widened and raised:

    P = g (1 + t x) [P_0 + M(x - s, w, q) - M(x, 1, 1)],
    M = E^2 [(q e + sqrt(q) (d - e)) |h|^2 + sqrt(q) b Re h]                                   (1)

P_0 the baseline's powers, x = ln(f / f_n), s the shift, w the ratio of the damping, q of the
resonance's power, shared by all orders; g and t are each order's own change of level and of slope.
What stands still (mounts, covers, an imperfect model) is in P_0 and takes no part in the shift.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vibetrend.recording import FloatArray
from vibetrend.runup.finding import Resonance
from vibetrend.runup.fitting import (
    Mode,
    Window,
    fit,
    half_width,
    scatter_of,
    seen,
    variance_of,
    window,
)
from vibetrend.runup.least_squares import CLOSE, descend, solve
from vibetrend.runup.powers import Powers, gain, on_one_grid

MOST_SHIFT = 0.15  # of ln f; a quarter to a half of a damper's stiffness
_TELLS = 12.0  # chi-square a resonance explains in an order that takes part
_MAY_TELL = 4.0  # in one that is known to be excited
_FEWEST = 12  # points of an order, 4 of them on either side
_LEVEL = 0.4  # an order's own change of power beside the sweep's gain, standard deviation
_SLOPE = 1.0  # of that per ln f
_FREE = np.array([0.7, 1.0])  # ln w and ln q, standard deviation where nothing tells
_SCALE = 0.2
_CHOSEN = 1.2  # errors are larger by that: weights come from the same points; found by trial
_MOST_ORDERS = 8  # the clearest
_COHERENT = 0.5  # of one axis or three
_MIDDLE = 0.8  # share of the points around the peak that must be there
_BOUND = np.array([MOST_SHIFT, 1.5, 2.5, 0.05, 0.7])
_SMALL_SHIFT = 0.01  # of ln f: up to here the laid curves say all
_STRETCH = 0.15  # of a larger one they may be wrong by that share
_NO_PEAK = 0.06  # of ln f: a peak farther off is another
_USUAL = 0.05  # of ln f: of two places that fit as well the nearer one
_TRIED = np.linspace(-0.12, 0.12, 17)


@dataclass(frozen=True)
class Shift:
    """A resonance against its baseline; standard errors are of one sweep, temperature apart."""

    shift: float  # of ln f
    error: float
    width: float  # ln of the ratio of the damping
    width_error: float
    height: float  # ln of the ratio of the peak's amplitude to its surroundings
    height_error: float


def align(
    resonance: Resonance,
    baseline: Powers,
    sweep: Powers,
    *,
    level: float = 0.0,
    excited: frozenset[float] | None = None,
    most: float = MOST_SHIFT,
) -> Shift | None:
    """Lay a sweep over the baseline around one resonance.

    Parameters
    ----------
    resonance : Resonance
        As found in `baseline`.
    baseline, sweep : Powers
    level : float
        Of `level_of`: how much louder the sweep is.
    excited : set of float, optional
        The orders that can show it, strongly or weakly; those that clearly do if left out.
    most : float
        A larger shift, of ln f, is none: something else lies there.

    Returns
    -------
    Shift or None
        None where the sweep does not reach the resonance in an order that shows it, or it is not
        found within `most`.
    """
    covering, mode = resonance.covering, resonance.mode
    orders = baseline.orders[covering.row]
    if excited is None:
        tells = covering.gain > _TELLS
    else:
        tells = np.isin(orders, list(excited)) & (covering.gain > _MAY_TELL)
    tells &= np.isin(orders, sweep.orders)
    clearest = np.argsort(-np.where(tells, covering.gain, 0.0), kind="stable")[:_MOST_ORDERS]
    rows = np.sort(clearest[tells[clearest]])
    if rows.size == 0:
        return None
    half = half_width(mode.damping)
    before = window(baseline, mode.frequency_hz, half, covering.row[rows])
    after = window(sweep, mode.frequency_hz, half, np.searchsorted(sweep.orders, orders[rows]))
    known = before.known * after.known
    middle = np.abs(before.x) < 0.02 + mode.damping
    enough = known.sum(axis=1) >= _FEWEST
    enough &= (known * middle).sum(axis=1) >= _MIDDLE * middle.sum(axis=1)
    if not enough.any():
        return None
    own = _Own(resonance, rows[enough])
    shift = _laid_over(before.of(enough), after.of(enough), own, level)
    shift = _with_own_peak(
        shift, resonance, sweep, np.searchsorted(sweep.orders, baseline.orders[own.rows])
    )
    return shift if abs(shift.shift) < 0.97 * most else None


def _with_own_peak(
    shift: Shift, resonance: Resonance, sweep: Powers, rows: NDArray[np.intp]
) -> Shift:
    """Return a large shift together with that of the peak fitted anew.

    Laying over is surest for small shifts. A resonance that has moved far has changed in other
    ways too, which the baseline's shape knows nothing of: its error grows with the shift.
    """
    if abs(shift.shift) < _SMALL_SHIFT:
        return shift
    mode = resonance.mode
    start = Mode(
        mode.frequency_hz * float(np.exp(shift.shift)),
        float(np.clip(mode.damping * np.exp(shift.width), 0.01, 0.1)),
    )
    peak = fit(sweep, start, rows=rows, beside=resonance.beside)
    if peak is None:
        return shift
    moved = float(np.log(peak.mode.frequency_hz / mode.frequency_hz))
    errors = np.array(
        [
            np.hypot(shift.error, _STRETCH * shift.shift),
            np.hypot(peak.log_frequency_error, resonance.joint.log_frequency_error),
        ]
    )
    if abs(moved - shift.shift) > _NO_PEAK:
        return replace(shift, error=float(errors[0]))
    weights = errors**-2 / (errors**-2).sum()
    apart = abs(moved - shift.shift) / float(np.hypot(*errors))
    return replace(
        shift,
        shift=float(weights @ [shift.shift, moved]),
        error=float((errors**-2).sum() ** -0.5 * max(1.0, apart)),
    )


class _Own:
    """The resonance's own part of each order's power, M of equation 1, and how sure it is.

    theta = s, ln w, ln q, and by how much the baseline is wrong about ln f_n and ln zeta.
    """

    def __init__(self, resonance: Resonance, rows: NDArray[np.intp]) -> None:
        covering = resonance.covering
        self.rows = covering.row[rows]
        self.damping, self.tilt = resonance.mode.damping, covering.tilt[rows][:, np.newaxis]
        self.own, self.slope = covering.own[rows], covering.own_slope[rows]
        self.root = np.linalg.inv(np.linalg.cholesky(covering.own_covariance[rows]))
        self.model = covering.model[rows]
        self.alone, self.alone_error = _alone(self.own, covering.surroundings[rows])
        self.mode_root = np.linalg.inv(np.linalg.cholesky(resonance.joint.covariance))

    def parts(self, x: FloatArray, theta: FloatArray) -> FloatArray:
        """Return what b, d and e are multiplied by, (..., K, N, 3) for `theta` (..., 5)."""
        shift, width, height, place, damping = np.moveaxis(theta, -1, 0)[..., None, None]
        real, size = seen(x - shift - place, self.damping * np.exp(width + damping))
        root = np.exp(height / 2)
        parts = np.stack([root * real, root * size, (root * root - root) * size], axis=-1)
        return np.asarray(parts * np.exp(self.tilt * x)[..., np.newaxis])

    def expected(self, theta: FloatArray) -> FloatArray:
        """Return b and d as the baseline has them with another f_n and zeta, (..., K, 2)."""
        return self.own + (self.slope @ theta[..., None, 3:, None])[..., 0]


def _alone(own: FloatArray, surroundings: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return e, the power of the resonance without its surroundings, and its standard error.

    d is e and a part of the interference, as b is the other part; all axes alike would have
    b^2 + (d - e)^2 = 4 e surroundings. Three axes of different phase have about half of that.
    """
    b, d = own[:, 0], own[:, 1]
    half = d + 2 * _COHERENT * surroundings
    alone = half - np.sqrt(np.maximum(half * half - d * d - b * b, 0.0))
    alone = np.maximum(alone, 0.0)
    return alone, 0.5 * alone + 0.1 * np.abs(d) + 1e-3 * surroundings


def _laid_over(before: Window, after: Window, own: _Own, level: float) -> Shift:
    x, known = before.x, before.known * after.known
    power = after.power * np.exp(-level)
    base = own.model + _pattern(before, own.model)
    levels = np.stack([base, base * x / _SCALE], axis=-1)
    more, count = np.ones(len(x)), len(x)
    held = np.zeros((count, 5, 5))
    held[:, 0, 0], held[:, 1, 1] = 1 / _LEVEL, 1 / (_SLOPE * _SCALE)
    held[:, 2:4, 2:4] = own.root
    held[:, 4, 4] = 1 / own.alone_error

    def weigh(expected: FloatArray) -> FloatArray:
        variance = variance_of(after, expected * np.exp(level)) * np.exp(-2 * level)
        return np.asarray(known / np.sqrt(variance * more[:, np.newaxis] + 1e-300))

    def left(theta: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Solve for g, t, b, d and e: what the baseline says of them comes as further points."""
        as_before = np.concatenate([np.zeros_like(theta[..., :3]), theta[..., 3:]], axis=-1)
        change = (own.parts(x, theta) - own.parts(x, as_before)) * bent[..., np.newaxis]
        still = np.broadcast_to(levels, (*change.shape[:-1], 2))
        design = np.concatenate([still, change], axis=-1)
        known_before = np.broadcast_to(held, (*theta.shape[:-1], count, 5, 5))
        wanted = np.zeros((*theta.shape[:-1], count, 5))
        wanted[..., 0] = 1 / _LEVEL
        wanted[..., 4] = own.alone / own.alone_error
        wanted[..., 2:4] = (own.root @ own.expected(theta)[..., np.newaxis])[..., 0]
        found, _, residual = solve(
            np.concatenate([design, known_before], axis=-2),
            np.concatenate([np.broadcast_to(power, (*design.shape[:-1],)), wanted], axis=-1),
            np.concatenate([weight, np.ones((count, 5))], axis=1),
        )
        return found, residual, design

    weight, bent = weigh(before.power), np.ones_like(x)

    def residual(theta: FloatArray) -> FloatArray:
        over = left(theta, weight)[1].reshape(len(theta), -1)
        return np.concatenate([over, theta[:, 1:3] / _FREE, theta[:, 3:] @ own.mode_root.T], axis=1)

    tried = np.stack([_TRIED, *np.zeros((4, _TRIED.size))], axis=1)
    strayed = (residual(tried) ** 2).sum(axis=1) + (_TRIED / _USUAL) ** 2
    theta = tried[int(np.argmin(strayed))]
    for close in (1e-3, 1e-3, CLOSE):  # the weights are not yet right at first
        theta, covariance = descend(residual, theta, -_BOUND, _BOUND, close)
        found, over, design = left(theta, weight)
        more = more * scatter_of(over[:, :-5], known, 2)
        weight = weigh(np.einsum("knp,kp->kn", design, found))
        bent = np.clip(found[:, :1] + found[:, 1:2] * x / _SCALE, 0.3, 3.0)
    error = _CHOSEN * np.sqrt(np.diag(covariance))
    error[1:3] = np.hypot(error[1:3], _STRETCH * theta[1:3])
    return Shift(
        *(float(each) for each in (theta[0], error[0], theta[1], error[1])),
        *(float(each) for each in (theta[2] / 2, error[2] / 2)),
    )


def _pattern(cut: Window, model: FloatArray) -> FloatArray:
    """Return what of the baseline's strays from the model is no noise: it lasts over many points.

    Noise kept in the baseline's curves would pull the orders' levels down.
    """
    usual = np.maximum(model, 0.25 * cut.floor**2)
    stray = (cut.power - model) * cut.known / np.where(cut.known > 0, usual, 1.0)
    both = (stray[:, 1:] * stray[:, :-1]).sum(axis=1)
    lasting = np.clip(2 * both / np.maximum((stray**2).sum(axis=1), 1e-300), 0.0, 1.0)
    return np.asarray(lasting[:, np.newaxis] * (cut.power - model) * cut.known)


def level_of(baseline: Powers, sweep: Powers) -> float:
    """Return the logarithm of how much more power a sweep shows than the baseline, all orders."""
    _, _, laid = on_one_grid([baseline, sweep])
    return gain(laid[0][1], laid[0][0])
