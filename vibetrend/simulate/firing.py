"""How strongly each order of an engine is driven: sums of the cylinders' phase vectors.

A cylinder that fires at crank angle alpha_i and strength s_i contributes, at order o, a vector of
length s_i turned by o * alpha_i; the order is driven by their sum

    S(o) = sum_i s_i exp(j o alpha_i)                                                  (1)

(Den Hartog, Mechanical Vibrations, ch. 5; Ker Wilson, Practical Solution of Torsional Vibration
Problems). With equal cylinders and even firing only multiples of the firing order are left; what
is seen at the orders between them comes from cylinders that are not quite alike.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vibetrend.engine import Engine
from vibetrend.recording import FloatArray

HIGHEST_ORDER = 24.0
_UNLIKE = 0.10  # of cylinders, standard deviation


def firing_angles(engine: Engine) -> FloatArray:
    """Return the crank angle at which each cylinder fires, shape (cylinders,), degrees.

    Cylinder 1 first, in the order of the cylinders' numbers. Simplified: firing is taken as even
    for every layout (`engine.firing` knows better); without a firing order the cylinders fire in
    the order of their numbers.
    """
    sequence = np.array(engine.firing_order or range(1, engine.cylinders + 1))
    angles = np.empty(engine.cylinders)
    angles[sequence - 1] = np.arange(engine.cylinders) * 180.0 * engine.strokes / engine.cylinders
    return angles


def simulated_orders(engine: Engine) -> FloatArray:
    """Return every half order (four-stroke) or whole order (two-stroke) to `HIGHEST_ORDER`."""
    cycles_per_turn = 2 / engine.strokes
    count = round(HIGHEST_ORDER / cycles_per_turn)
    return np.linspace(cycles_per_turn, HIGHEST_ORDER, count)


def vector_sum(
    orders: ArrayLike, angles_deg: ArrayLike, strengths: ArrayLike = 1.0
) -> NDArray[np.complex128]:
    """Return S(o) of equation 1 for each order.

    Parameters
    ----------
    orders : array_like, shape (k,)
        Cycles per turn of the crank.
    angles_deg : array_like, shape (cylinders,)
        Where each cylinder fires, degrees of crank angle.
    strengths : array_like, shape (cylinders,) or a number
        Strength of each cylinder, or the mode shape at its throw.

    Returns
    -------
    ndarray, shape (k,)
        Complex sums in the unit of `strengths`.
    """
    turns = np.outer(np.asarray(orders, dtype=float), np.asarray(angles_deg, dtype=float) / 360)
    sums: NDArray[np.complex128] = np.sum(strengths * np.exp(2j * np.pi * turns), axis=1)
    return sums


def cylinder_strengths(engine: Engine, specimen: int) -> FloatArray:
    """Return how strongly each cylinder of one engine fires, about 1, shape (cylinders,)."""
    drawn = _drawn(engine, specimen).standard_normal(engine.cylinders)
    return np.asarray(1 + _UNLIKE * drawn)


def order_levels(
    engine: Engine, *, rpm: float, specimen: int
) -> tuple[FloatArray, NDArray[np.complex128]]:
    """Return the orders an engine drives and their levels, the firing order's size being 1.

    `specimen` draws one engine of that type: how unlike its cylinders are, its residual imbalance
    and run-out. The same number is the same engine on every day.

    Simplified: a cylinder's combustion reaches the spot less the farther it is from the front; its
    harmonics fall as 1 / (1 + (o / 4)^2), a shape of our own that only follows the fall of
    tabulated gas-torque harmonics; the structure between cylinder and spot has no resonances.

    Returns
    -------
    orders : ndarray, shape (k,)
        As `simulated_orders` gives them.
    levels : ndarray, shape (k,)
        Complex.
    """
    rng = _drawn(engine, specimen)
    orders = simulated_orders(engine)
    angles = firing_angles(engine)

    reach = np.linspace(1.0, 0.5, engine.cylinders)
    strengths = reach * (1 + _UNLIKE * rng.standard_normal(engine.cylinders))
    combustion = vector_sum(orders, angles, strengths) / (1 + (orders / 4) ** 2)
    firing = np.isclose(orders, engine.firing_order_number)
    levels = combustion / np.abs(combustion[firing])

    # Inertia forces grow with speed squared; run-out pulls on the belt the same at any speed.
    faster = (rpm / (engine.usual_rpm or rpm)) ** 2
    imbalance, runout, coupling = 0.2 * faster, 0.1, 0.06 * faster
    secondary = 0.1 * faster * vector_sum([2.0], angles)[0]  # free second-order force, if any
    phase = np.exp(2j * np.pi * rng.random(3))
    levels[orders == 1] += imbalance * phase[0] + runout * phase[1]
    levels[orders == 2] += secondary + coupling * phase[2]
    return orders, levels


def _drawn(engine: Engine, specimen: int) -> np.random.Generator:
    return np.random.default_rng([specimen, 1, engine.cylinders, engine.strokes])
