"""A resonance fitted to the powers of several orders at once.

Near a natural frequency f_n an order's motion is what it would be without the resonance and the
resonance's own part, a mode of one degree of freedom (Ewins, Modal Testing, ch. 4; from memory):

    v = E [B + R h(f)],  h = 2 zeta / (1 - r^2 + 2 i zeta r),  r = f / f_n                     (1)

with E, B, R changing slowly. The sum over axes of the squared sizes is then

    P = E^2 [sum_i c_i x^i + b Re h + d |h|^2],  x = ln(f / f_n)                               (2)

(Im h is proportional to r |h|^2 and so within c and d). c, b and d of each order are linear and are
solved for at each (f_n, zeta), which all orders share: variable projection (Golub and Pereyra,
Inverse Problems 19, 2003; from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from vibetrend.recording import FloatArray
from vibetrend.runup.curves import LOG_STEP, SPAN
from vibetrend.runup.least_squares import CLOSE, SMALL, descend, solve
from vibetrend.runup.powers import Powers

LEAST_DAMPING, MOST_DAMPING = 0.004, 0.2
BREATHING = 0.06  # how far a power strays from any smooth curve, share; more is found from scatter
_NODE, _OUTER = 0.2804, 0.2078  # of a Hann window as long as 1: moments to the fifth are right
_NODES = (
    (float(np.exp(-_NODE * SPAN)), _OUTER),
    (1.0, 1 - 2 * _OUTER),
    (float(np.exp(_NODE * SPAN)), _OUTER),
)
_FEWEST = 14  # points of a window
ROUNDS = (1e-3, 1e-3, CLOSE)
ROUGH = (1e-3, 1e-3)
ROUGHEST = (3e-3,)


@dataclass(frozen=True)
class Mode:
    """One resonance: where it lies and how it is damped."""

    frequency_hz: float
    damping: float


@dataclass(frozen=True, eq=False)
class Window:
    """What K orders show around one frequency, at N steps each; weight 0 where they do not."""

    row: NDArray[np.intp]  # (K,) into the orders of the sweep
    x: FloatArray  # (K, N) ln(f / centre)
    power: FloatArray  # (K, N)
    error: FloatArray  # (K, N) of the amplitude
    floor: FloatArray  # (K, N)
    known: FloatArray  # (K, N) 1 where there is a point, else 0
    level: FloatArray  # (K,) ln E^2 at the centre
    tilt: FloatArray  # (K,) ln E^2 per ln f
    first: NDArray[np.intp]  # (K,) step of its order's row at which it begins, may be below 0

    def of(self, which: NDArray[np.bool_]) -> "Window":
        """Return some of its orders."""
        return Window(**{each.name: getattr(self, each.name)[which] for each in fields(self)})

    def envelope(self, x: FloatArray | None = None) -> FloatArray:
        """Return E^2 of equation 2, shape (K, N)."""
        x = self.x if x is None else x
        return np.asarray(np.exp(self.level[:, np.newaxis] + self.tilt[:, np.newaxis] * x))


@dataclass(frozen=True, eq=False)
class Fit:
    """A resonance as K orders show it together."""

    mode: Mode
    covariance: FloatArray  # (2, 2) of ln f_n and ln zeta; 0 where they were given
    row: NDArray[np.intp]  # (K,) into the orders of the sweep
    own: FloatArray  # (K, 2) b E^2 and d E^2 at f_n; d is the power of the resonance alone
    own_covariance: FloatArray  # (K, 2, 2) at this mode
    own_slope: FloatArray  # (K, 2, 2) how b and d follow ln f_n and ln zeta
    surroundings: FloatArray  # (K,) power at f_n without the resonance, above 0
    tilt: FloatArray  # (K,) ln E^2 per ln f
    gain: FloatArray  # (K,) how much chi-square the resonance explains, over the scatter
    model: FloatArray  # (K, N) powers as fitted, over the window it began with
    without: FloatArray  # (K, N) of them, what is not the resonance's
    first: NDArray[np.intp]  # (K,) where in its order's row each window begins

    @property
    def log_frequency_error(self) -> float:
        """Standard error of ln f_n."""
        return float(np.sqrt(self.covariance[0, 0]))

    @property
    def log_damping_error(self) -> float:
        """Standard error of ln zeta."""
        return float(np.sqrt(self.covariance[1, 1]))

    @property
    def peak(self) -> FloatArray:
        """Power of the resonance alone at its natural frequency, shape (K,)."""
        return self.own[:, 1]

    @property
    def peak_error(self) -> FloatArray:
        """Standard error of `peak`, shape (K,)."""
        return np.asarray(np.sqrt(self.own_covariance[:, 1, 1]))

    @property
    def strength(self) -> FloatArray:
        """What the resonance does to the power, peak or dip, over its surroundings, (K,)."""
        return np.asarray(np.hypot(self.peak, self.own[:, 0] / 2) / self.surroundings)

    @property
    def strength_error(self) -> FloatArray:
        """Standard error of `strength`, shape (K,)."""
        variance = self.own_covariance[:, 1, 1] + self.own_covariance[:, 0, 0] / 4
        return np.asarray(np.sqrt(variance) / self.surroundings)


def shape(x: FloatArray, damping: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Return Re h and |h|^2 of equation 1 at x = ln(f / f_n)."""
    r = np.exp(x)
    real, imaginary = 1 - r * r, 2 * damping * r
    size = real * real + imaginary * imaginary
    return 2 * damping * real / size, 4 * damping * damping / size


def seen(x: FloatArray, damping: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Return Re h and |h|^2 as the windows of a sweep show them.

    A window is a Hann one over `SPAN` of the speed, so it shows the mean of h over as much of ln f:
    by Gauss's three points for that weight.
    """
    speed, twice = np.exp(x), 2 * damping
    real, imaginary = np.zeros(()), np.zeros(())
    for ratio, share in _NODES:
        r = ratio * speed
        stiff, damped = 1 - r * r, twice * r
        part = share * twice / (stiff * stiff + damped * damped)
        real, imaginary = real + part * stiff, imaginary - part * damped
    return np.asarray(real), np.asarray(real * real + imaginary * imaginary)


def half_width(damping: float) -> float:
    """Return how far to either side a fit looks, in ln f."""
    return 0.14 + 3.5 * damping


def window(
    sweep: Powers, centre_hz: float, half: float, rows: NDArray[np.intp] | None = None
) -> Window:
    """Cut out what each order shows within `half` of ln f around a frequency."""
    row = np.arange(sweep.orders.size) if rows is None else np.asarray(rows, dtype=int)
    number = 2 * int(half / LOG_STEP) + 1
    nearest = np.rint((np.log(centre_hz) - sweep.log_frequency[row, 0]) / LOG_STEP).astype(int)
    step = nearest[:, np.newaxis] + np.arange(number) - number // 2
    there = (step >= 0) & (step < sweep.power.shape[1])
    at = row[:, np.newaxis], np.where(there, step, 0)
    power, error, floor = sweep.power[at], sweep.error[at], sweep.floor[at]
    known = there & np.isfinite(power)
    x = sweep.log_frequency[row, 0][:, np.newaxis] + step * LOG_STEP - np.log(centre_hz)
    power, error, floor = (np.where(known, each, 0.0) for each in (power, error, floor))
    level, tilt = _excitation(x, power, floor, known)
    return Window(row, x, power, error, floor, known.astype(float), level, tilt, step[:, 0])


def _excitation(
    x: FloatArray, power: FloatArray, floor: FloatArray, known: NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """Return level and slope of a power law through each order's points."""
    logs = np.log(np.maximum(power, 0.25 * floor**2) + 1e-300)
    count = np.maximum(known.sum(axis=1), 1)
    middle, level = (x * known).sum(axis=1) / count, (logs * known).sum(axis=1) / count
    dx = np.where(known, x - middle[:, np.newaxis], 0.0)
    tilt = np.clip((dx * logs).sum(axis=1) / ((dx * dx).sum(axis=1) + 1e-9), -12, 12)
    return level - tilt * middle, tilt


def _smooth(x: FloatArray) -> list[FloatArray]:
    return [np.ones_like(x), x / 0.2, (x / 0.2) ** 2]


def fit(
    sweep: Powers,
    start: Mode,
    *,
    rows: NDArray[np.intp] | None = None,
    beside: Sequence[Mode] = (),
    free: bool = True,
    rounds: Sequence[float] = ROUNDS,
) -> Fit | None:
    """Fit one resonance to several orders.

    Parameters
    ----------
    sweep : Powers
    start : Mode
        Where to begin.
    rows : ndarray of int, optional
        Which orders; all that have enough points there if left out.
    beside : sequence of Mode
        Other resonances, taken as they are.
    free : bool
        Whether frequency and damping may move; heights always do.
    rounds : sequence of float
        In each, weights are taken from the last and steps end when smaller than that.

    Returns
    -------
    Fit or None
        None where no order has enough points on both sides.
    """
    half = half_width(start.damping)
    cut = window(sweep, start.frequency_hz, half, rows)
    enough = (cut.known.sum(axis=1) >= _FEWEST) & (_sides(cut.known) >= 4)
    if not enough.any():
        return None
    cut = cut.of(enough)
    centre = np.log(start.frequency_hz)
    others = [
        mode for mode in beside if abs(np.log(mode.frequency_hz) - centre) < half + 3 * mode.damping
    ]

    def bare(x: FloatArray) -> list[FloatArray]:
        parts = _smooth(x)
        for mode in others:
            parts += seen(x - np.log(mode.frequency_hz) + centre, mode.damping)
        return parts

    fixed = np.stack(bare(cut.x), axis=-1)
    smooth = fixed.shape[-1]

    def columns(theta: FloatArray) -> FloatArray:
        place, damping = theta[..., 0, np.newaxis, np.newaxis], np.exp(theta[..., 1])
        parts = np.stack(seen(cut.x - place, damping[..., np.newaxis, np.newaxis]), axis=-1)
        still = np.broadcast_to(fixed, (*parts.shape[:-1], smooth))
        return np.concatenate([still, parts], axis=-1)

    scale = cut.envelope()
    model = _smoothed(cut)
    scatter = np.ones(cut.row.size)
    covariance = np.zeros((2, 2))
    theta = np.array([0.0, np.log(start.damping)])
    low = np.array([-half / 2, np.log(LEAST_DAMPING)])
    high = np.array([half / 2, np.log(MOST_DAMPING)])
    for close in rounds:  # the weights are not yet right at first
        weight = cut.known / np.sqrt(variance_of(cut, model) * scatter[:, np.newaxis] + 1e-300)

        def residual(theta: FloatArray, weight: FloatArray = weight) -> FloatArray:
            return solve(columns(theta), cut.power / scale, weight * scale)[2].reshape(
                len(theta), -1
            )

        if free:
            theta, covariance = descend(residual, theta, low, high, close)
        design = columns(theta)
        found, errors, left = solve(design, cut.power / scale, weight * scale)
        model = np.einsum("knp,kp->kn", design, found) * scale
        scatter = scatter * scatter_of(left, cut.known, smooth + 2)
    without = solve(design[:, :, :smooth], cut.power / scale, weight * scale)[2]
    more = scatter_of(left, cut.known, smooth + 2)
    level = np.exp(cut.level + cut.tilt * theta[0])[:, np.newaxis]
    there = np.full((cut.row.size, 1), theta[0])
    alone = sum(part[:, 0] * found[:, p] for p, part in enumerate(bare(there)))
    own = found[:, smooth:] * level
    ahead = [
        solve(columns(theta + small), cut.power / scale, weight * scale)[0][:, smooth:] * level
        for small in SMALL * np.eye(2)
    ]
    return Fit(
        mode=Mode(float(start.frequency_hz * np.exp(theta[0])), float(np.exp(theta[1]))),
        covariance=covariance,
        row=cut.row,
        own=own,
        own_covariance=errors[:, smooth:, smooth:] * level[..., np.newaxis] ** 2,
        own_slope=(np.stack(ahead, axis=-1) - own[..., np.newaxis]) / SMALL,
        surroundings=level[:, 0] * np.maximum(alone, 0.02 * np.abs(found[:, smooth + 1]) + 1e-12),
        tilt=cut.tilt,
        gain=((without**2).sum(axis=1) - (left**2).sum(axis=1)) / more,
        model=model,
        without=np.einsum("knp,kp->kn", design[:, :, :smooth], found[:, :smooth]) * scale,
        first=cut.first,
    )


def _sides(known: FloatArray) -> FloatArray:
    """Return how many points there are on the side of the centre that has fewer, shape (K,)."""
    right = np.arange(known.shape[1]) > known.shape[1] // 2
    return np.asarray(np.minimum(known[:, right].sum(axis=1), known[:, ~right].sum(axis=1)))


def _smoothed(cut: Window) -> FloatArray:
    """Return the mean of each three neighbouring powers: weights without a fit."""
    kernel = np.ones(3)
    total, count = (
        np.stack([np.convolve(row, kernel, mode="same") for row in each])
        for each in (cut.power * cut.known, cut.known)
    )
    return np.asarray(total / np.maximum(count, 1))


def variance_of(cut: Window, power: FloatArray) -> FloatArray:
    """Return the variance to expect of the points of a window if `power` is true, (K, N)."""
    least = np.maximum(power, 0.25 * cut.floor**2)
    return np.asarray(4 * least * cut.error**2 + cut.floor**4 + (BREATHING * least) ** 2)


def scatter_of(residual: FloatArray, known: FloatArray, parameters: int) -> FloatArray:
    """Return how much larger than expected the variance of each order's points is, shape (K,).

    Neighbouring points that stray together count as fewer. Orders with few points lean on all.
    """
    both = known[:, 1:] * known[:, :-1]
    lag = (residual[:, 1:] * residual[:, :-1] * both).sum() / max((residual**2).sum(), 1e-300)
    lag = float(np.clip(lag, 0.0, 0.7))
    square, free = (residual**2).sum(axis=1), np.maximum(known.sum(axis=1) - parameters, 1)
    shared = square.sum() / free.sum()
    return np.asarray((square + 8 * shared) / (free + 8) * (1 + lag) / (1 - lag))
