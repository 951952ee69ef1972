"""The ways a damper ages, by name and to any degree, as simulated recordings show them."""

import math

from vibetrend.simulate.errors import SimulateError
from vibetrend.torsion import AGEING, Change


def aged(kind: str, degree: float = 1.0) -> Change:
    """Return what has become of a damper; degree 0 is as good as new, 1 the example of `AGEING`.

    Factors go with the power of the degree, so that one degree after another multiplies.

    Raises
    ------
    SimulateError
        If the kind is not known, or the degree is no number from 0 to 10.
    """
    if kind not in AGEING:
        raise SimulateError(f"no ageing is called {kind!r}; choose {', '.join(AGEING)}")
    if not 0 <= degree <= 10:
        raise SimulateError(f"the degree of ageing is {degree:g}; a number from 0 to 10 is needed")
    full = AGEING[kind]
    return Change(
        stiffness_factor=full.stiffness_factor**degree,
        loss_factor=full.loss_factor**degree,
        ring_slip=1 - (1 - full.ring_slip) ** degree,
        viscous_factor=full.viscous_factor**degree,
        order_1_factor=full.order_1_factor**degree,
    )


def steady_changes_db(change: Change) -> dict[float, float]:
    """Return what a change does at one steady speed: a wobbling ring adds to order 1.

    Simplified: the twist at fast idle, far below its resonance, hardly knows the damper.
    """
    return {1.0: 20 * math.log10(change.order_1_factor)} if change.order_1_factor > 0 else {}
