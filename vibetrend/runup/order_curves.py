"""Order curves of a sweep: least squares in the crank's angle, speed by speed.

Around each speed of the grid, samples count by a Hann window in turns. All half orders are fitted
at once, with lines at odd ratios, at the samples' own times (Eq. 1 of
:mod:`vibetrend.orders.fit`, weighted). The window covers `SPAN` of the speed: a peak of damping
ratio zeta then loses (0.18 SPAN)^2 / (2 zeta^2) of its height, 2.5 % at zeta = 0.02. It is never
shorter than `FEWEST_TURNS`: below eight turns half orders would run into each other. So in a sweep
faster than `SPAN` over those turns the window covers more, and peaks come out lower and wider.

What a window loses where a curve bends, half the second derivative times the window's variance,
is looked up in the curve itself and counts as error.

The noise of order k is what the same window holds between orders, at k - 1/4 and its neighbours in
order and speed, over what the fit left; its variance is that times the variance inflation of the
fit.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg
from numpy.typing import NDArray

from vibetrend.orders.fit import ComplexArray, phasors
from vibetrend.orders.signal import Signal
from vibetrend.recording import FloatArray
from vibetrend.runup.curves import LOG_STEP, SPAN, SPEED_RATIO, Curves, grid_rpm
from vibetrend.runup.track import Track

FEWEST_TURNS, MOST_TURNS = 10.0, 200.0
_SHORT_TURNS = 5.0  # what a sweep of few turns has to do with
_USABLE = 0.95  # of half the sampling rate
_COVERED = 0.7  # of a window's weight
_GAP = 3.0  # steps between samples; what is longer counts for no more
_INFLATED = 6.0  # variance inflation above which an order is not to be told
_SAMPLES_EACH = 3.0  # effective samples for each number fitted
_RIDGE = 1e-9
_BLOCK = 4096  # samples; fits the cache
_HANN_SD = 0.1808  # standard deviation of a Hann window, share of its length
_OVERLAP = 5.0  # values in a window at most: more would be the same samples again
_CROSSED = 1.2  # windows' spans to either side of a line of the clock
_LESS_SURE = 5.0  # times the variance right at one; by simulated sweeps
_BEND = 2  # steps of the grid over which a curve's bend is looked at
_NOISE_ORDERS, _NOISE_SPEEDS = 1, 3  # neighbours to either side


@dataclass(frozen=True, eq=False)
class Windows:
    """Where on the grid of speeds a sweep is looked at."""

    speed_rpm: FloatArray  # (M,)
    centre: FloatArray  # (M,) turns
    length: FloatArray  # (M,) turns in all, of a Hann window
    span: FloatArray  # (M,) share of the speed that it covers


def counted_from_crest(found: Curves, order: float | None) -> tuple[Curves, float]:
    """Return curves with phases counted from a crest of an order where it is strongest.

    Of the order of the strongest value if `order` is None. Returns the order taken, too.
    """
    size = np.nan_to_num(np.linalg.norm(found.value, axis=2))
    row = int(np.argmax(size.max(axis=1)))
    if order is not None:
        row = int(np.argmin(np.abs(found.orders - order)))
    at = found.value[row, int(np.argmax(size[row]))]
    crest = np.angle(at[int(np.argmax(np.abs(at)))]) / (2 * np.pi * found.orders[row])
    turned = np.exp(-2j * np.pi * found.orders * crest)[:, np.newaxis, np.newaxis]
    return replace(found, value=found.value * turned), float(found.orders[row])


@dataclass(frozen=True, eq=False)
class Fitted:
    """What was fitted in each window; 0-to-peak."""

    windows: Windows
    orders: FloatArray  # (K,)
    value: ComplexArray  # (K, M, A); NaN where not to be told
    between: FloatArray  # (K, M, A) power of the residual at k - 1/4, as that of a value
    inflation: FloatArray  # (K, M)

    def model(self, theta: FloatArray) -> FloatArray:
        """Return the orders as samples at crank angles, shape (n, A); 0 beyond the windows."""
        order = np.argsort(self.windows.centre)
        centre, half = self.windows.centre[order], self.windows.length[order] / 2
        covered = (theta >= centre[0] - half[0]) & (theta <= centre[-1] + half[-1])
        at = theta[covered]
        model = np.zeros((len(theta), self.value.shape[2]))
        for first in range(0, len(at), _BLOCK):
            piece = at[first : first + _BLOCK]
            turning = phasors(piece, self.orders)
            total = np.empty((len(piece), model.shape[1]))
            for axis, values in enumerate(np.moveaxis(np.nan_to_num(self.value[:, order]), 2, 0)):
                each = np.stack([np.interp(piece, centre, value) for value in values])
                total[:, axis] = (each.real * turning.real - each.imag * turning.imag).sum(axis=0)
            model[np.flatnonzero(covered)[first : first + _BLOCK]] = total
        return model


def windows(track: Track, *, first_s: float, last_s: float) -> Windows:
    """Return a window for each speed of the grid that a one-way sweep passes."""
    inside = (track.time >= first_s) & (track.time <= last_s)
    turns, hertz = track.turns[inside], track.hertz[inside]
    if hertz[-1] < hertz[0]:
        turns, hertz = turns[::-1], hertz[::-1]
    # speeds are crossed several times where the engine hunts: the middle of first and last
    first = np.maximum.accumulate(hertz)
    last = np.minimum.accumulate(hertz[::-1])[::-1]
    speeds = grid_rpm(60 * float(hertz.min()), 60 * float(hertz.max()))
    at = speeds / 60

    def crossed(level: FloatArray) -> FloatArray:
        early = np.interp(level, first + 1e-9 * np.arange(len(first)), turns)
        late = np.interp(level, last + 1e-9 * np.arange(len(last)), turns)
        return np.asarray((early + late) / 2)

    low, high = crossed(at * (1 - SPAN / 2)), crossed(at * (1 + SPAN / 2))
    below, above = at * (1 - SPAN / 2) < hertz.min(), at * (1 + SPAN / 2) > hertz.max()
    centre = crossed(at)
    low[below], high[above] = 2 * centre[below] - high[below], 2 * centre[above] - low[above]
    whole = abs(turns[-1] - turns[0])
    least = FEWEST_TURNS if whole > 6 * FEWEST_TURNS else _SHORT_TURNS
    length = np.clip(np.abs(high - low), least, min(MOST_TURNS, whole))
    span = SPAN * np.maximum(length / np.maximum(np.abs(high - low), 1e-9), 1.0)
    return Windows(speeds, centre, length, span)


def fitted(
    signal: Signal,
    theta: FloatArray,
    places: Windows,
    *,
    orders: FloatArray,
    ratios: FloatArray,
    hertz: FloatArray,
) -> Fitted:
    """Fit all orders in every window.

    Parameters
    ----------
    theta : array, shape (n,)
        The crank's angle at each sample, turns.
    orders, ratios : arrays
        Orders wanted, and ratios of other lines that follow the crank.
    hertz : array, shape (M,)
        Turns per second at each window.
    """
    axes = signal.samples.shape[1]
    count = len(places.centre)
    value = np.full((len(orders), count, axes), complex(np.nan, np.nan))
    between = np.full((len(orders), count, axes), np.nan)
    inflation = np.full((len(orders), count), np.inf)
    folds = signal.rate > 1.9 * signal.nyquist_hz and signal.rate < 2.1 * signal.nyquist_hz
    for column in range(count):
        half = places.length[column] / 2
        centre = places.centre[column]
        first, last = np.searchsorted(theta, [centre - half, centre + half]).tolist()
        if last - first < 8:
            continue
        place = (theta[first:last] - centre) / (2 * half)
        weight = np.cos(np.pi * place) ** 2
        steps = np.diff(theta[first:last], append=theta[last - 1])
        if weight @ np.minimum(steps, _GAP * np.median(steps)) < _COVERED * half:
            continue
        shown = orders * hertz[column] < _USABLE * signal.nyquist_hz
        used = shown.copy()
        if folds and weight.sum() > _SAMPLES_EACH * 2 * (len(orders) + len(ratios)):
            used[:] = True  # folded ones would pass for those below
        beside = ratios[ratios * hertz[column] < _USABLE * signal.nyquist_hz]
        if not shown.any() or weight.sum() < _SAMPLES_EACH * used.sum():
            continue
        rows = np.concatenate([orders[used], beside])
        lines = phasors(theta[first:last], rows)
        amplitude, inflated, left = _weighted(signal.samples[first:last], lines, weight)
        quarter = np.exp(0.5j * np.pi * theta[first:last]) * weight
        leftover = 2 * (lines[: used.sum()].conj() * quarter) @ left / weight.sum()
        kept = shown[used]
        value[shown, column] = amplitude[: used.sum()][kept]
        between[shown, column] = np.abs(leftover[kept]) ** 2
        inflation[shown, column] = inflated[: used.sum()][kept]
    value[inflation > _INFLATED] = complex(np.nan, np.nan)
    return Fitted(places, orders, value, between, inflation)


def curves(
    fit: Fitted,
    signal: Signal,
    *,
    unit: str,
    rms: FloatArray | None = None,
    taken_out: Sequence[float] = (),
) -> Curves:
    """Return the curves of a fit.

    `rms`, shape (K, M), is by what values are multiplied to become rms in `unit`; `taken_out` are
    the frequencies of lines of the clock that were: where an order crosses one it is less sure.
    """
    orders, rpm = fit.orders, fit.windows.speed_rpm
    if rms is None:
        gain = np.asarray(signal.rounding_gain(orders[:, np.newaxis] * rpm / 60))
        rms = 1 / (np.sqrt(2) * np.maximum(gain, 0.5))
    inflation = np.where(fit.inflation <= _INFLATED, fit.inflation, np.nan)
    noise = _smoothed(fit.between) * inflation[:, :, np.newaxis]
    noise = noise + np.maximum(_bent(fit) - noise, 0.0)
    noise = noise * _crossing(fit, taken_out)[:, :, np.newaxis]
    scale = rms[:, :, np.newaxis]
    value = np.where(np.isfinite(noise), fit.value * scale, complex(np.nan, np.nan))
    value[:, ~_telling(fit.windows)] = complex(np.nan, np.nan)
    return Curves(
        orders=orders,
        speed_rpm=rpm,
        value=value,
        variance=np.where(np.isfinite(value), noise * scale**2, np.nan),
        unit=unit,
    )


def _telling(places: Windows) -> NDArray[np.bool_]:
    """Say which speeds tell something new, shape (M,): where windows are wide only some do."""
    kept = np.zeros(places.span.size, bool)
    last = -np.inf
    for number, span in enumerate(places.span.tolist()):
        if (number - last) * LOG_STEP >= span / _OVERLAP - LOG_STEP / 2:
            kept[number], last = True, number
    return kept


def _crossing(fit: Fitted, lines: Sequence[float]) -> FloatArray:
    """Return by how much what is left of lines of the clock raises the variance, shape (K, M)."""
    more = np.ones(fit.value.shape[:2])
    hertz = fit.orders[:, np.newaxis] * fit.windows.speed_rpm / 60
    for line in lines:
        apart = np.abs(np.log(hertz / line)) / (_CROSSED * fit.windows.span)
        more += (_LESS_SURE - 1) * np.cos(np.pi / 2 * np.minimum(apart, 1.0)) ** 2
    return more


def _bent(fit: Fitted) -> FloatArray:
    """Return the power of what windows lose where curves bend, shape (K, M, A); 0 where unknown."""
    value = np.pad(fit.value, ((0, 0), (_BEND, _BEND), (0, 0)), constant_values=complex(np.nan))
    middle = slice(_BEND, -_BEND)
    second = (value[:, 2 * _BEND :] - 2 * value[:, middle] + value[:, : -2 * _BEND]) / (
        _BEND * np.log(SPEED_RATIO)
    ) ** 2
    lost = 0.5 * (_HANN_SD * fit.windows.span[:, np.newaxis]) ** 2 * second
    return np.asarray(np.nan_to_num(np.abs(lost) ** 2))


def _smoothed(power: FloatArray) -> FloatArray:
    """Return the median of each value's neighbours in order and speed, as a mean."""
    reach = ((_NOISE_ORDERS, _NOISE_ORDERS + 1), (_NOISE_SPEEDS, _NOISE_SPEEDS), (0, 0))
    padded = np.pad(power, reach, constant_values=np.nan)
    size = (2 * _NOISE_ORDERS + 2, 2 * _NOISE_SPEEDS + 1)
    near = np.lib.stride_tricks.sliding_window_view(padded, size, axis=(0, 1))
    flat = near.reshape(*near.shape[:3], -1)
    seen = np.isfinite(flat).any(axis=-1)
    level = np.full(seen.shape, np.nan)
    level[seen] = np.nanmedian(flat[seen], axis=-1) / np.log(2)
    return level


def _weighted(
    samples: FloatArray, lines: ComplexArray, weight: FloatArray
) -> tuple[ComplexArray, FloatArray, FloatArray]:
    """Return amplitudes, variance inflation, and what is left over, of a weighted fit."""
    count = len(lines)
    design = np.empty((2 * count + 1, len(weight)))
    design[:count] = lines.real
    design[count:-1] = -lines.imag
    design[-1] = 1.0
    heavy = design * weight
    normal = heavy @ design.T
    total = weight.sum()
    factor = scipy.linalg.cho_factor(normal + _RIDGE * total * np.eye(len(normal)))
    solution = scipy.linalg.cho_solve(factor, heavy @ samples)
    inverse = scipy.linalg.cho_solve(factor, np.eye(len(normal))).diagonal()
    inflation = (inverse[:count] + inverse[count:-1]) * total / 4
    return solution[:count] + 1j * solution[count:-1], inflation, samples - design.T @ solution
