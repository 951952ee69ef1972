"""Other speeds whose half orders the lines found would fit, once a track follows them.

Where a tag is far off, or belts happen to lie on the half orders of another speed, the track may
follow true lines at a wrong ratio: the engine's own half orders are then left over as lines of no
known part, evenly spaced. Their spacing tells by which ratio the speed is wrong.
"""

import numpy as np

from vibetrend.orders.estimate import Estimate
from vibetrend.orders.lines import BREATHING_ORDERS
from vibetrend.orders.search import REACH, Candidate
from vibetrend.recording import FloatArray

_LEAST, _MOST = 0.4, 2.6  # times the speed found
_CLEAR = 20.0  # strength of a line that counts
_STRONGEST = 8  # lines from which ratios are formed
_WORTH = 0.3  # weight gained, of the weight lost
_FEWEST, _FEWEST_FAR = 2, 4  # lines explained anew, near to the tag and far from it
_TRIED = 3
_APART = 0.01


def other_speeds(best: Estimate, *, tag_hz: float) -> list[Candidate]:
    """Return tracks in proportion to the one found that may explain its lines better."""
    crank = best.phase.mean_hz()
    turns = float(best.theta[-1] - best.theta[0])
    own = len(best.orders)
    places = best.places
    unnamed = np.array([True] * own + [not line.name for line in best.others])
    counted = unnamed & (best.strength > _CLEAR)
    counted &= places * crank < best.signal.nyquist_hz
    places, weight = places[counted], np.log1p(best.strength[counted])
    is_order = (np.arange(len(counted)) < own)[counted]
    if is_order.all():
        return []
    top = float(best.orders[-1])
    strongest = places[np.argsort(-weight)[:_STRONGEST]]
    ratios = np.outer(strongest, 1 / np.arange(0.5, top + 0.5, 0.5)).ravel()
    ratios = ratios[(ratios > _LEAST) & (ratios < _MOST) & (np.abs(ratios - 1) > _APART)]
    slack = 1.0 / turns + 1e-3 * places
    orders = places / ratios[:, np.newaxis]
    nearest = np.clip(np.round(2 * orders), 1, 2 * top) / 2
    fits = np.abs(orders - nearest) * ratios[:, np.newaxis] < slack
    new = fits & ~is_order
    gained, lost = new @ weight, (~fits & is_order) @ weight
    far = np.abs(ratios * crank / tag_hz - 1) > REACH
    enough = new.sum(axis=1) >= np.where(far, _FEWEST_FAR, _FEWEST)
    worth = np.where(enough & (gained > _WORTH * lost), gained - lost, -np.inf)
    found: list[float] = []
    for beyond in (False, True):  # a tag is seldom far off; either has its own tries
        most = len(found) + _TRIED
        for index in np.argsort(np.where(far == beyond, -worth, np.inf)):
            if len(found) == most or far[index] != beyond or not np.isfinite(worth[index]):
                break
            if all(abs(ratios[index] / other - 1) > _APART for other in found):
                found.append(float(ratios[index]))
    return [_in_proportion(best, ratio) for ratio in found]


def strangers(estimate: Estimate) -> float:
    """Return the weight of clear lines that are no order, nor its breathing, nor a known part."""
    count, weight = len(estimate.orders), 0.0
    rows = zip(estimate.others, estimate.places[count:], estimate.strength[count:], strict=True)
    for line, place, strength in rows:
        apart = np.abs(place - estimate.orders).min()
        if not line.name and strength > _CLEAR and apart > BREATHING_ORDERS:
            weight += np.log1p(strength)
    return weight


def _in_proportion(best: Estimate, ratio: float) -> Candidate:
    edges = np.linspace(0.0, best.phase.spline.duration, best.phase.spline.size)
    hertz: FloatArray = np.diff(best.phase.turns(edges)) / np.diff(edges)
    steady = bool(np.ptp(hertz) < 1e-9 * hertz.mean())
    return Candidate((edges[1:] + edges[:-1]) / 2, ratio * hertz, steady=steady)
