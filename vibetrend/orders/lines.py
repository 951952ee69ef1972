"""Lines that are not the engine's half orders: driven parts, mains, anything else.

A line left in would leak into the orders near it, so each is found in what the fit leaves over
and then fitted along with the orders. Some keep to the crank (belts, pumps: a fixed ratio),
some to the clock (mains, another machine): the residual is searched against both.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from vibetrend.orders.fit import ComplexArray
from vibetrend.orders.spectrum import grid, transform
from vibetrend.recording import FloatArray

MAX_OTHERS = 16  # lines beyond the orders that are fitted along
_PER_ROUND = 5
MAINS_HZ = (50.0, 60.0)
_MAINS_MULTIPLES = (1, 2, 3, 4)
_MAINS_APART = (0.8, 3.0)  # from the order, 1 / duration: nearer they are one line
_MAINS_CLEAR = 30.0  # log likelihood, from all axes
_FALSE_LINES = 1e-3  # expected number of lines found in noise alone, per search
_FAINT = 10.0  # chi-square over 2 below which a line is given up
_CLEAR = 1.5  # nearest distance to a half order, in 1 / duration
BREATHING_ORDERS = 0.02  # nearer than this to a half order it is that order's own breathing


@dataclass(frozen=True)
class OtherLine:
    """A line at `place` orders, if it keeps to the crank, or at `place` Hz."""

    place: float
    follows_crank: bool
    name: str = ""  # of the driven part, where known

    def hertz(self, crank_hz: float) -> float:
        """Return the line's mean frequency, Hz."""
        return self.place * (crank_hz if self.follows_crank else 1.0)

    def turns(self, theta: FloatArray, time: FloatArray) -> FloatArray:
        """Return the line's own phase at each sample, turns."""
        return self.place * (theta if self.follows_crank else time)


@dataclass(frozen=True, eq=False)
class _Peak:
    place: float
    height: float  # summed over axes, over the local noise


def find_driven(
    theta: FloatArray, residual: FloatArray, *, name: str, ratio: float, orders: FloatArray
) -> OtherLine:
    """Return the strongest line within 3 % of a driven part's ratio (belts creep).

    Half orders keep their own: a ratio that creeps onto one stays where it was stated.
    """
    step, power = _order_power(theta, residual, ratio * 1.06)
    places = np.arange(power.shape[0]).astype(float) * step
    turns = theta[-1] - theta[0]
    near = np.abs(places / ratio - 1) <= 0.03
    near &= _distance(places, orders) > max(BREATHING_ORDERS, _CLEAR / turns)
    if not near.any():
        return OtherLine(ratio, True, name)
    best = int(np.argmax(np.where(near, power, -1.0)))
    return OtherLine(_summit(power, best) * step, True, name)


def find_others(
    time: FloatArray,
    theta: FloatArray,
    residual: FloatArray,
    *,
    orders: FloatArray,
    known: list[OtherLine],
    least: float,
    top_hz: float,
    even_rate: float | None,
) -> list[OtherLine]:
    """Return the lines that stand out of the residual, strongest first."""
    duration = time[-1] - time[0]
    turns = theta[-1] - theta[0]
    crank = turns / duration
    step, spectrum = transform(
        grid(time, residual, top=top_hz, even_rate=even_rate), top=top_hz, hann=True
    )
    in_time = _peaks(np.abs(spectrum) ** 2, step, least)
    in_time = [
        peak
        for peak in in_time
        if _distance(np.array([peak.place]), orders * crank)[0] > _CLEAR / duration
    ]
    step, spectrum = transform(
        grid(theta, residual, top=top_hz / crank, even_rate=None),
        top=top_hz / crank,
        hann=True,
    )
    in_turns = [
        peak
        for peak in _peaks(np.abs(spectrum) ** 2, step, least)
        if _distance(np.array([peak.place]), orders)[0] > max(BREATHING_ORDERS, _CLEAR / turns)
    ]
    found: list[OtherLine] = []
    taken = [line.hertz(crank) for line in known]
    both = [(peak.height, peak.place, False) for peak in in_time]
    both += [(peak.height, peak.place, True) for peak in in_turns]
    for _, place, follows in sorted(both, reverse=True):
        hertz = place * crank if follows else place
        # The speed's wander smears a line of one family over this much in the other.
        if taken and np.min(np.abs(np.array(taken) - hertz)) < max(3 / duration, 0.004 * hertz):
            continue
        found.append(OtherLine(place, follows))
        taken.append(hertz)
        if len(found) == _PER_ROUND:
            break
    return found


def find_mains(
    time: FloatArray,
    residual: FloatArray,
    line: Callable[[int], ComplexArray],
    variance: FloatArray,
    *,
    hertz: FloatArray,
    strongest: int,
    top_hz: float,
) -> list[OtherLine]:
    """Return the mains lines so near to an order that the order has taken most of their energy.

    Their frequencies are known: what the residual holds there beyond what the nearest order
    (phasor `line(row)` at `hertz[row]`, white noise `variance[row]` near it on each axis) leaves to
    be seen is tested. Lines further away :func:`find_others` finds by itself, and beside the
    strongest order, which makes the speed, nothing can be told.
    """
    duration, found = time[-1] - time[0], []
    for place in np.outer(MAINS_HZ, _MAINS_MULTIPLES).ravel().tolist():
        nearest = int(np.abs(hertz - place).argmin())
        apart = abs(hertz[nearest] - place) * duration
        if place > top_hz or nearest == strongest or not _MAINS_APART[0] < apart < _MAINS_APART[1]:
            continue
        phasor = np.exp(-2j * np.pi * place * time)
        hidden = np.abs(phasor @ line(nearest) / len(time)) ** 2
        seen = np.abs(phasor @ residual) ** 2 / (variance[nearest] * len(time))
        if float(seen.sum()) > _MAINS_CLEAR * (1 - hidden):
            found.append(OtherLine(place, follows_crank=False))
    return found


def kept(
    lines: list[OtherLine],
    *,
    time: FloatArray,
    theta: FloatArray,
    phasor: ComplexArray,
    amplitude: ComplexArray,
    strength: FloatArray,
    residual: FloatArray,
    density: FloatArray,
) -> list[OtherLine]:
    """Return the lines that still stand out, each kept to what it follows better.

    What was found beside a track that had not settled may have been taken for the wrong family,
    whose wander smears it, or have been such a smear itself.

    Parameters
    ----------
    phasor : complex array, shape (lines, n)
    amplitude, density : arrays, shape (lines, axes)
    strength : array, shape (lines,)
        Chi-square over 2.
    """
    crank = (theta[-1] - theta[0]) / (time[-1] - time[0])
    result = []
    for line, unit, size, strong, noise in zip(
        lines, phasor, amplitude, strength, density, strict=True
    ):
        if line.name:
            result.append(line)
            continue
        if strong < _FAINT:
            continue
        place = line.place * crank if line.follows_crank else line.place / crank
        other = OtherLine(place, not line.follows_crank)
        own = residual + np.outer(unit, size).real
        along = [np.conj(unit), np.exp(-2j * np.pi * other.turns(theta, time))]
        here, there = (float(np.sum(np.abs(way @ own) ** 2 / noise)) for way in along)
        result.append(other if there > here else line)
    return result


def retuned(
    lines: list[OtherLine],
    *,
    time: FloatArray,
    theta: FloatArray,
    phasor: ComplexArray,
    amplitude: ComplexArray,
    residual: FloatArray,
    density: FloatArray,
) -> list[OtherLine]:
    """Move each line by one Gauss-Newton step towards what the residual still holds of it.

    Parameters
    ----------
    phasor : complex array, shape (lines, n)
    amplitude, density : arrays, shape (lines, axes)
    """
    result = []
    for line, unit, size, noise in zip(lines, phasor, amplitude, density, strict=True):
        along = theta if line.follows_crank else time
        along = along - along.mean()
        slope = 2j * np.pi * size / noise  # (axes,)
        # d/dplace of Re[d exp(2 pi i place along)], each axis by its own noise
        pull = np.sum(along * np.sum((np.outer(slope, unit)).real * residual.T, axis=0))
        information = np.sum(np.abs(2 * np.pi * size) ** 2 / noise) * np.sum(along**2) / 2
        reach = 1 / (along[-1] - along[0])
        if information > 0:  # silence holds nothing to move to
            move = float(np.clip(pull / information, -reach / 2, reach / 2))
            line = replace(line, place=line.place + move)
        result.append(line)
    return result


def _order_power(theta: FloatArray, residual: FloatArray, top: float) -> tuple[float, FloatArray]:
    step, spectrum = transform(
        grid(theta, residual, top=top, even_rate=None), top=top, padding=4, hann=True
    )
    return step, (np.abs(spectrum) ** 2).sum(axis=0)


def _peaks(power: FloatArray, step: float, least: float) -> list[_Peak]:
    """Return the peaks no noise would make, summed over axes after whitening.

    Below `least`, amplitude squared, there is nothing to be found: rounding, not recording.
    """
    axes, count = power.shape
    width = max(32, count // 60)
    blocks = count // width
    if blocks < 1:
        return []
    level = np.median(power[:, : blocks * width].reshape(axes, blocks, width), axis=-1)
    level = np.maximum(level / np.log(2), least + 1e-200)
    centres = (np.arange(blocks) + 0.5) * width
    floor = np.stack([np.interp(np.arange(count), centres, row) for row in level])
    height = (power / floor).sum(axis=0)
    # Sum of `axes` exponentials: the bound exp(-h) h^(axes-1) on its tail, padding 2.
    limit = np.log(count / _FALSE_LINES) + (axes - 1) * 3.0
    inner = height[1:-1]
    tops = np.flatnonzero((inner > height[:-2]) & (inner >= height[2:]) & (inner > limit)) + 1
    return [_Peak(_summit(height, int(top)) * step, float(height[top])) for top in tops if top > 3]


def _summit(power: FloatArray, index: int) -> float:
    """Return the place of a peak between bins: a parabola through three log powers."""
    if not 0 < index < len(power) - 1:
        return float(index)
    left, middle, right = np.log(power[index - 1 : index + 2] + 1e-300)
    bend = left - 2 * middle + right
    return float(index + (0.5 * (left - right) / bend if bend < 0 else 0.0))


def _distance(places: FloatArray, marks: FloatArray) -> FloatArray:
    apart: FloatArray = np.abs(places[:, np.newaxis] - marks).min(axis=1)
    return apart
