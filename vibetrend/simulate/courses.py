"""How what can be seen of a damper goes with its ageing, by the model of the crank."""

from collections.abc import Sequence

import numpy as np

from vibetrend.engine import Engine
from vibetrend.recording import FloatArray
from vibetrend.simulate.habits import Habits, telling_orders
from vibetrend.torsion import Crankshaft, forced, operating_range
from vibetrend.torsion.crankshaft import NOSE

SPEED, HEIGHT, WIDTH = "critical speed", "height of the peak", "width of the peak"
SWEPT = (SPEED, HEIGHT, WIDTH)
"""What a sweep shows of the crankshaft's lowest resonance."""

IDLE = "an order at fast idle"
IDLE_SHARE = 0.8  # of the resonance: orders above it move with the least change of speed, too

_FAINT = 0.01  # of the loudest order: below it an order drowns
_AROUND = np.linspace(0.9, 1.1, 41)  # where a peak is looked for, shares of its speed


def swept_courses(
    engine: Engine, fresh: Crankshaft, later: Sequence[Crankshaft]
) -> dict[str, FloatArray]:
    """Return how the lowest resonance goes, dB from as new, by observable, shape (later,).

    `later` grows out of `fresh` step by step, so that the resonance is followed; its height is that
    of the order that twists the nose most.
    """
    near = float(fresh.damped_modes.frequency_hz[0])
    order = _strongest(engine, fresh, near)
    found = []
    for now in (fresh, *later):
        own = now.damped_modes
        same = int(np.argmin(np.abs(own.frequency_hz - near)))
        near = float(own.frequency_hz[same])
        found.append((near, _height(engine, now, order, near), own.damping_ratio[same]))
    levels = 20 * np.log10(np.array(found[1:]) / found[0])
    return dict(zip(SWEPT, levels.T, strict=True))


def idle_course(
    engine: Engine, habits: Habits, fresh: Crankshaft, later: Sequence[Crankshaft]
) -> tuple[FloatArray, FloatArray]:
    """Return the largest change of an order at fast idle, dB, and which order, each (later,).

    Of the orders that stand out and lie well below the resonance.
    """
    highest = min(habits.reach_hz, IDLE_SHARE * float(fresh.damped_modes.frequency_hz[0]))
    speed = np.array([idle_rpm(engine)])
    ear = habits.ear(engine, silent=not telling_orders(engine, fresh).size)

    def levels(now: Crankshaft) -> FloatArray:
        return np.asarray(np.linalg.norm(ear.heard(now, speed).whole[:, 0], axis=1))

    orders, before = ear.heard(fresh, speed).orders, levels(fresh)
    told = (orders * speed[0] / 60 < highest) & (before > _FAINT * before.max())
    changes = np.array([20 * np.log10(levels(now)[told] / before[told]) for now in later])
    largest = np.argmax(np.abs(changes), axis=1)
    return changes[np.arange(len(later)), largest], orders[told][largest]


def idle_rpm(engine: Engine) -> float:
    """Return the speed of steady recordings; idle speed where none is stated."""
    return engine.usual_rpm or operating_range(engine).idle_rpm


def _strongest(engine: Engine, fresh: Crankshaft, near_hz: float) -> float:
    orders = telling_orders(engine, fresh).tolist()
    return float(max(orders, key=lambda order: _height(engine, fresh, order, near_hz)))


def _height(engine: Engine, crankshaft: Crankshaft, order: float, near_hz: float) -> float:
    """Return how far an order twists the nose at its peak near a frequency, rad."""
    speeds = 60 * near_hz / order * _AROUND
    return float(np.abs(forced(crankshaft, engine, [order], speeds)[0, :, NOSE]).max())
