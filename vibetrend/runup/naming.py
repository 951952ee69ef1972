"""Whether a resonance is the crankshaft's own.

Most peaks seen on a block are mounts, covers, exhaust or the room. These answer whatever order
shakes them. A twisting crank answers only orders whose phase vectors do not cancel over its mode
(Den Hartog, Mechanical Vibrations, ch. 5): it must be seen in several of those and not just as
strongly in the others, some of which must have been able to show it.
"""

from typing import Literal

import numpy as np

from vibetrend.engine import Engine
from vibetrend.engine.expected import expected_orders
from vibetrend.runup.finding import SEEN, Resonance
from vibetrend.runup.powers import Powers

Cause = Literal["crankshaft", "unknown"]
Place = Literal["nose", "flywheel"]

FEWEST_ORDERS = 2
_WEAK_SUM = 0.25  # of the largest: an order that drives less does not stand out
_AS_STRONG = 0.35  # of the usual strength among the orders that may show it
_MOST_OTHERS = 1 / 3  # of the orders that cannot excite it; unlike cylinders excite a few


def excitable(engine: Engine | None) -> frozenset[float] | None:
    """Return the orders whose phase vectors add up in a linear twist; None where not known."""
    if engine is None:
        return None
    sums = {row.order: row.twist_sum for row in expected_orders(engine) if row.twist_sum}
    if not sums:
        return None
    return frozenset(order for order, each in sums.items() if each > _WEAK_SUM * max(sums.values()))


def cause(
    resonance: Resonance,
    sweep: Powers,
    *,
    excited: frozenset[float] | None,
    tacho_at: Place | None,
) -> tuple[Cause, str]:
    """Return what a resonance is, and in words why, if it is not known."""
    seen = set(resonance.each)
    if tacho_at == "nose" and (excited is None or seen & excited):
        return "crankshaft", ""
    if excited is None:
        return "unknown", "the engine's firing order is not known, so no order speaks for its crank"
    may = sorted(seen & excited)
    if len(seen) == 1:
        return "unknown", f"only order {next(iter(seen)):g} shows it"
    if len(may) < FEWEST_ORDERS:
        return "unknown", "fewer than two orders that can twist the crank show it"
    covering = resonance.covering
    orders = sweep.orders[covering.row]
    strength = covering.strength
    usual = float(np.median(strength[np.isin(orders, may)]))
    others = ~np.isin(orders, list(excited))
    strong = others & (covering.gain > SEEN) & (strength >= _AS_STRONG * usual)
    without = others & (strength + 2 * covering.strength_error < _AS_STRONG * usual)
    if strong.sum() > _MOST_OTHERS * (strong.sum() + without.sum()):
        named = ", ".join(f"{order:g}" for order in orders[strong][:4])
        return "unknown", f"orders that cannot twist the crank show it as strongly: {named}"
    if not without.any():
        return "unknown", "no order that cannot twist the crank was clear enough to tell it apart"
    return "crankshaft", ""
