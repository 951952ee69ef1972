"""Whether a resonance is the crankshaft's own.

Most peaks seen on a block are mounts, covers, exhaust or the room. These answer whatever shakes
them: beside the rest of an order they are about as strong in one as in another. A twisting crank
answers by how the cylinders' phase vectors add up over its mode (Den Hartog, Mechanical Vibrations,
ch. 5), whatever else shakes the block in that order. Several orders that can twist it must show the
resonance, and the heights in all orders must speak for the second rather than for the first.
"""

from collections.abc import Mapping
from typing import Literal

import numpy as np

from vibetrend.engine import Engine
from vibetrend.engine.expected import expected_orders
from vibetrend.recording import FloatArray
from vibetrend.runup.finding import Resonance, visible
from vibetrend.runup.fitting import Fit
from vibetrend.runup.powers import Powers

Cause = Literal["crankshaft", "unknown"]
Place = Literal["nose", "flywheel"]

FEWEST_ORDERS = 2
STRONG_SUM = 0.25  # of the largest: an order that drives less hardly stands out
_FOLLOWED_SUM = 0.19  # a vee's firing order and its multiples alone are too few
_SOME_SUM = 0.1  # one that can show it where little else shakes the block
_UNLIKE = 0.05  # what is left of a sum of 0: cylinders are unlike by 3 to 10 %
_COUPLED = 0.4  # how unlike orders answer beside what is expected, ln of amplitude
_FALLS = (0.0, 1.0, 2.0, 3.0)  # powers of the order by which torque may fall
_DROWNED = 5.0  # strength at which what else there is of an order can hardly be told
_UNTOLD = 1.6  # how far it may then be off, ln of amplitude
_LOUDNESS = np.exp(np.linspace(-5, 5, 101))  # of the resonance, whole: tried
_FARTHEST = 9.0  # chi-square at which an order counts no more against either
_CLEAR = 100.0  # chi-square in the orders that can twist the crank
_SHARPEST, _BLUNTEST = 0.01, 0.12  # damping ratios of a crank behind a damper; assumed
_MINOR_MORE = 2.0  # times the power, beside the rest, in orders that twist more than they shake
_AS_STRONG = 0.35  # of the usual strength among the orders that can show it
_MAJOR = 0.75  # of the largest sum: all cylinders push together, and shake the block together too
_SPEAKS = 1.5  # difference of log-likelihoods that decides; found by simulated boats

Sums = Mapping[float, float]
"""How strongly each order twists a crank, the strongest being 1; one that is not there, 0."""


def sums(engine: Engine | None) -> Sums | None:
    """Return how the phase vectors add up in a linear twist; None where that tells nothing."""
    if engine is None or engine.cylinders == 1:  # one adds up with nothing
        return None
    each = {row.order: row.twist_sum for row in expected_orders(engine) if row.twist_sum}
    return {order: value / max(each.values()) for order, value in each.items()} or None


def excitable(twist: Sums | None) -> frozenset[float] | None:
    """Return the orders in which a crank's twist is followed; None where not known."""
    if twist is None:
        return None
    return frozenset(order for order, value in twist.items() if value > _FOLLOWED_SUM)


def why_no_sums(engine: Engine | None) -> str:
    """Return in words why there are no sums to judge by."""
    if engine is not None and engine.cylinders == 1:
        return "one cylinder twists its crank in every order, so no order speaks for it"
    return "the engine's firing order is not known, so no order speaks for its crank"


def cause(
    resonance: Resonance,
    sweep: Powers,
    *,
    twist: Sums | None,
    tacho_at: Place | None,
    why_none: str = "",
) -> tuple[Cause, str]:
    """Return what a resonance is, and in words why, if it is not known.

    `why_none` says why there is no `twist`.
    """
    covering = resonance.covering
    orders = sweep.orders[covering.row]
    shown = set(orders[visible(covering)]) | set(resonance.each)
    able = set() if twist is None else {k for k in shown if twist.get(k, 0.0) > _SOME_SUM}
    if tacho_at == "nose" and (twist is None or able):
        return "crankshaft", ""
    if twist is None:
        return "unknown", why_none or why_no_sums(None)
    if len(shown) == 1:
        return "unknown", f"only order {next(iter(shown)):g} shows it"
    if len(able) < FEWEST_ORDERS:
        return "unknown", "fewer than two orders that can twist the crank show it"
    clear = covering.gain[np.isin(orders, list(able))].sum() > _CLEAR
    if not (clear and _SHARPEST < resonance.mode.damping < _BLUNTEST):
        return "unknown", "it is too weak, too sharp or too blunt for a damped crank's"
    summed = np.array([twist.get(order, 0.0) for order in orders.tolist()])
    speaks = _speaks_for_twist(resonance, orders, np.hypot(summed, _UNLIKE))
    clearly = _still_ones_lack_it(covering, summed) or not _follows_the_shaking(covering, summed)
    if speaks < _SPEAKS or not clearly:
        return "unknown", "its orders do not tell a twisting crank from a shaken block"
    return "crankshaft", ""


def _still_ones_lack_it(covering: Fit, summed: FloatArray) -> bool:
    """Say whether the orders whose sum is 0 are clear enough to show it, and do not."""
    still = summed < _UNLIKE
    usual = _AS_STRONG * float(np.median(covering.strength[summed > _SOME_SUM]))
    show = still & visible(covering) & (covering.strength > usual)
    lack = still & (covering.strength + 2 * covering.strength_error < usual)
    return bool(not show.any() and lack.sum() >= FEWEST_ORDERS)


def _follows_the_shaking(covering: Fit, summed: FloatArray) -> bool:
    """Say whether orders in which all cylinders push together show it about as well as others.

    There much else shakes the block, so a twist stands out less beside it than in the others.
    """
    major = covering.strength[summed > _MAJOR]
    minor = covering.strength[(summed > STRONG_SUM) & (summed <= _MAJOR)]
    if not (major.size and minor.size):
        return False
    usual = float(np.median(major))
    return usual < _DROWNED and float(np.median(minor)) < _MINOR_MORE * usual


def _speaks_for_twist(resonance: Resonance, orders: FloatArray, driven: FloatArray) -> float:
    """Return by how much the heights are likelier as a twisting crank's than as a shaken block's.

    Amplitudes beside the rest of each order: of a shaken part, all alike; of a crank, what the
    order drives over the rest. Both but for a loudness and for what couples orders unlike.
    """
    covering = resonance.covering
    height = np.sqrt(np.maximum(covering.strength, 1e-4))
    error = covering.strength_error
    error = error / (2 * np.maximum(height, np.sqrt(error) / 1.5))

    def likelihood(expected: FloatArray, coupled: FloatArray | float) -> float:
        middle = np.exp(np.median(np.log(height / expected)))
        tried = _LOUDNESS[:, np.newaxis] * middle * expected
        spread = np.hypot(error, coupled * tried)
        strayed = np.minimum(((height - tried) / spread) ** 2, _FARTHEST)
        return float((-strayed / 2 - np.log(spread)).sum(axis=1).max())

    beside = driven / np.sqrt(covering.surroundings)
    twisting = max(likelihood(beside / orders**falls, _COUPLED) for falls in _FALLS)
    rest_unknown = np.where(covering.strength > _DROWNED, _UNTOLD, _COUPLED)
    return twisting - likelihood(np.ones_like(height), rest_unknown)
