"""What drives the crank's twist, order by order, and how the crank answers.

Cylinder i fires at crank angle alpha_i. Its torque of order o is T_o exp(j o (theta - alpha_i)), so
what drives a mode with shape a is the vector sum

    S(o) = sum_i a_i exp(-j o alpha_i)                                                     (1)

(Den Hartog, Mechanical Vibrations, ch. 5; Ker Wilson, Practical Solution of Torsional Vibration
Problems). Angles of twist are rad, 0 to peak, phases those of cylinder 1's firing dead centre.
"""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from vibetrend.engine import Engine
from vibetrend.engine.expected import cylinder_orders, expected_orders
from vibetrend.recording import FloatArray
from vibetrend.torsion.chain import ComplexArray, response
from vibetrend.torsion.crankshaft import Crankshaft, Mode
from vibetrend.torsion.typical import arrangement, operating_range

DRIVES = 0.08  # of the largest vector sum; an order below it drives a mode only by unlike cylinders
_STRONG = 0.25  # of the largest in a linear twist, as where a measured resonance is named


def vector_sums(engine: Engine, shape: ArrayLike, orders: ArrayLike) -> ComplexArray:
    """Return S(o) of equation 1 for each order.

    Parameters
    ----------
    engine : Engine
    shape : array_like, shape (cylinders,) or a number
        How far each cylinder's throw turns in the mode; 1 for all that they do together.
    orders : array_like, shape (K,)

    Returns
    -------
    ndarray, shape (K,)
        Complex, unit of the shape.
    """
    turned = _turned(engine, np.asarray(orders, dtype=float))
    sums: ComplexArray = np.sum(np.asarray(shape) * turned, axis=1)
    return sums


def mode_sums(crankshaft: Crankshaft, engine: Engine, mode: Mode, orders: ArrayLike) -> FloatArray:
    """Return the size of each order's vector sum with a mode's own shape, 1 at the nose."""
    shape = [mode.swings[place] for place in crankshaft.cylinder_at]
    return np.abs(vector_sums(engine, shape, orders))


def excited_orders(
    crankshaft: Crankshaft, engine: Engine, *, mode: int = 1, highest: float = 12.0
) -> frozenset[float]:
    """Return the orders that drive a mode, counted from 1, in an engine of equal cylinders.

    Unlike cylinders drive the others too, a little.
    """
    orders = [each for each in cylinder_orders(engine) if each <= highest]
    sums = mode_sums(crankshaft, engine, crankshaft.modes[mode - 1], orders)
    return frozenset(
        each for each, size in zip(orders, sums, strict=True) if size >= DRIVES * sums.max()
    )


def forcing(
    engine: Engine,
    crankshaft: Crankshaft,
    orders: ArrayLike,
    speed_rpm: ArrayLike,
    *,
    strengths: ArrayLike = 1.0,
) -> ComplexArray:
    """Return the torque of each cylinder, from gas and inertia.

    Parameters
    ----------
    engine : Engine
    crankshaft : Crankshaft
    orders : array_like, shape (K,)
    speed_rpm : array_like, shape (M,)
    strengths : array_like, shape (cylinders,), optional
        Each cylinder's gas torque against the usual one.

    Returns
    -------
    ndarray, shape (K, M, cylinders)
        Complex, N m, 0 to peak.
    """
    order, speed = np.asarray(orders, float), np.asarray(speed_rpm, float)
    gas = crankshaft.cylinder.gas_harmonics(order)[:, None, None] * np.asarray(strengths)
    inertia = crankshaft.cylinder.inertia_harmonics(order)[:, None] * (speed * np.pi / 30) ** 2
    torque: ComplexArray = (gas + inertia[..., None]) * _turned(engine, order)[:, None, :]
    return torque


def forced(
    crankshaft: Crankshaft,
    engine: Engine,
    orders: ArrayLike,
    speed_rpm: ArrayLike,
    *,
    strengths: ArrayLike = 1.0,
) -> ComplexArray:
    """Return the twist of each place of the chain, complex, rad, 0 to peak, shape (K, M, n).

    What the chain turns as a whole is part of it: the crank never runs quite evenly.
    """
    order, speed = np.asarray(orders, float), np.asarray(speed_rpm, float)
    torque = forcing(engine, crankshaft, order, speed, strengths=strengths)
    on_places = np.zeros((*torque.shape[:2], len(crankshaft.places)), dtype=complex)
    for cylinder, place in enumerate(crankshaft.cylinder_at):
        on_places[..., place] += torque[..., cylinder]
    return response(crankshaft.chain, np.outer(order, speed) * np.pi / 30, on_places)


def interference(crankshaft: Crankshaft, engine: Engine, *, highest: float = 12.0) -> pd.DataFrame:
    """Return where each order meets each mode: a diagram's crossings as a table.

    Columns mode (from 1), frequency_hz, order, speed_rpm, vector_sum (1 for each cylinder at the
    nose's own swing), drives (not by unlike cylinders alone), strong (so much that it should stand
    out of a recording: by the sums of a linear twist, whatever the mode), within (idle to rated
    speed). Modes are those that the highest order meets below rated speed, but always the first.
    """
    running = operating_range(engine)
    orders = np.array([each for each in cylinder_orders(engine) if each <= highest])
    rows, strong = [], _strong(engine)
    for mode in crankshaft.modes:
        if mode.number > 1 and mode.frequency_hz > highest * running.rated_rpm / 60:
            break
        sums = mode_sums(crankshaft, engine, mode, orders)
        for order, size in zip(orders, sums, strict=True):
            speed = 60 * mode.frequency_hz / order
            rows.append(
                {
                    "mode": mode.number,
                    "frequency_hz": mode.frequency_hz,
                    "order": float(order),
                    "speed_rpm": speed,
                    "vector_sum": float(size),
                    "drives": bool(size >= DRIVES * sums.max()),
                    "strong": bool(
                        size > _STRONG * sums.max() if strong is None else order in strong
                    ),
                    "within": bool(running.idle_rpm <= speed <= running.rated_rpm),
                }
            )
    return pd.DataFrame(rows)


def _strong(engine: Engine) -> frozenset[float] | None:
    """Return the orders that twist the crank strongly, by one rule with what is measured.

    None where the engine's file does not say how it fires.
    """
    sums = {each.order: each.twist_sum for each in expected_orders(engine) if each.twist_sum}
    if not sums:
        return None
    return frozenset(order for order, size in sums.items() if size > _STRONG * max(sums.values()))


def _turned(engine: Engine, orders: FloatArray) -> ComplexArray:
    """Return exp(-j o alpha_i), shape (K, cylinders)."""
    angles = np.radians(arrangement(engine).angles_deg)
    return np.exp(-1j * np.outer(orders, angles))
