"""What a crankshaft and its damper are like where the engine file does not say.

Engines of one kind are built alike in every length L: inertias go with L^5, stiffnesses with L^3,
masses with L^3, and natural frequencies with 1 / L. The size comes from the stroke, or from the
speed by a usual mean piston speed. The six that all is scaled from is invented, no real engine; its
damper is tuned as Den Hartog (Mechanical Vibrations, on the dynamic absorber) and Thomson tune it.
All this is common practice, no published source: right to some 20 % of a frequency at best.
"""

from dataclasses import dataclass

from vibetrend.engine import Engine
from vibetrend.engine.firing import Firing, firing, throws_of

STROKE_M = 0.115  # of the six that all is scaled from
BORE_TO_STROKE = 0.87
ROD_RATIO = 1.75
COMPRESSION_RATIO = 17.0
RECIPROCATING_KG = 1.6

NOSE_KG_M2 = 0.02
HUB_KG_M2 = 0.015
THROW_KG_M2 = 0.042
FLYWHEEL_KG_M2 = 1.1
ROTOR_KG_M2 = 2.0  # of a generator set, in place of most of the flywheel's own

NOSE_NM_RAD = 0.9e6
THROW_NM_RAD = 1.3e6
FLYWHEEL_NM_RAD = 1.5e6
ROTOR_NM_RAD = 1.2e6  # disc coupling and rotor shaft

CRANK_LOSS = 0.03  # one length in bending and twist, oil and all: magnifies some 33 times
RING_LOSS = 0.20  # of rubber
RING_TO_CRANK = {"rubber": 0.31, "viscous": 0.5}  # the ring's inertia to what it sees of the crank
SECOND_ROD = 1.35  # the inertia of a throw that carries two rods

PISTON_SPEED_M_S, PISTON_SPEED_SET_M_S = 10.0, 6.0  # mean; generator sets are run more slowly
IDLE_SHARE = 0.27  # of rated speed
SET_IDLE_SHARE = 0.5  # a generator set passes it when it starts and stops
RATED_RPM = 2600.0

_USUAL_ORDER = {
    ("inline", 4, 3): (1, 3, 2),
    ("inline", 4, 4): (1, 3, 4, 2),
    ("inline", 4, 5): (1, 2, 4, 5, 3),
    ("inline", 4, 6): (1, 5, 3, 6, 2, 4),
    ("inline", 2, 3): (1, 3, 2),
    ("inline", 2, 4): (1, 3, 4, 2),
    ("inline", 2, 6): (1, 5, 3, 4, 2, 6),
    ("vee", 4, 8): (1, 8, 4, 3, 6, 5, 7, 2),
}


@dataclass(frozen=True, kw_only=True)
class Arrangement:
    """When each cylinder fires and on which throw it stands, with what had to be taken as usual."""

    angles_deg: tuple[float, ...]  # of cylinder 1, 2, ...
    throws: tuple[int, ...]  # from 1 at the nose
    typical: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Range:
    """From idle to rated speed, with what had to be taken as usual."""

    idle_rpm: float
    rated_rpm: float
    typical: tuple[str, ...]


def arrangement(engine: Engine) -> Arrangement:
    """Return firing angles and throws; the usual firing order where none is stated."""
    typical: list[str] = []
    usual = _USUAL_ORDER.get((engine.layout, engine.strokes, engine.cylinders))
    if engine.firing_order is None and engine.cylinders > 1:
        if usual is None:
            typical.append("firing order, by number: state it, or the orders are not this engine's")
        else:
            typical.append(f"firing order, {'-'.join(map(str, usual))}")
            engine = engine.model_copy(update={"firing_order": usual})
    fired: Firing = firing(engine)
    throws = fired.throws
    if throws is None:
        typical.append("cylinders 1 and 2 on the first throw, 3 and 4 on the next")
        paired = throws_of(engine) < engine.cylinders
        throws = tuple(n // 2 + 1 if paired else n + 1 for n in range(engine.cylinders))
    return Arrangement(angles_deg=fired.angles_deg, throws=throws, typical=tuple(typical))


def operating_range(engine: Engine) -> Range:
    """Return from where to where an engine runs; a generator set up to its governed speed."""
    typical: list[str] = []
    rated = engine.rated_rpm
    if engine.generator is not None:
        rated = engine.generator.governed_rpm
    if rated is None:
        rated = max(RATED_RPM, engine.fast_idle_rpm or 0.0)
        typical.append(f"rated speed, {rated:g} rpm")
    idle = engine.idle_rpm
    if idle is None:
        share = IDLE_SHARE if engine.generator is None else SET_IDLE_SHARE
        idle = min(round(share * rated, -1), engine.fast_idle_rpm or rated)
        typical.append(f"idle speed, {idle:g} rpm")
    return Range(idle_rpm=idle, rated_rpm=rated, typical=tuple(typical))


def stroke_m(engine: Engine) -> float:
    """Return the stroke of an engine that runs at a usual piston speed, m."""
    speed = PISTON_SPEED_M_S if engine.generator is None else PISTON_SPEED_SET_M_S
    return 30 * speed / operating_range(engine).rated_rpm
