"""Values of an engine file that are right by themselves and wrong together."""

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

from vibetrend.engine.firing import throws_of
from vibetrend.engine.places import Path
from vibetrend.quoting import quoted

if TYPE_CHECKING:
    from vibetrend.engine.description import Engine

Fault = tuple[Path, str]
"""The key to look at, and what is wrong."""

WITHIN = 0.03  # share by which stated numbers may differ from what others amount to
_ROUNDING = 1e-9
_FASTEST_RPM = 10_000.0  # no diesel turns so fast: a digit too many
_RING_HZ = (15.0, 1500.0)  # of ring and rubber on a hub held still: beyond, a unit is wrong
_ONLY_OF = {
    "ring_loss_factor": "rubber",
    "stiffness_percent_per_c": "rubber",
    "ring_damping_nm_s_rad": "viscous",
}
_CYCLE_DEG = 0.5  # intervals written to a tenth of a degree or two need not sum up exactly


def contradictions(engine: "Engine", *, kept: bool) -> Iterator[Fault]:
    """Give each fault; of a file `kept` from an earlier version only those it refused, too."""
    yield from _cylinders(engine)
    yield from _vee(engine)
    yield from _names(engine)
    if not kept:
        yield from _layout(engine)
        yield from _speeds(engine)
    yield from _governed(engine)
    yield from _lengths(engine)
    yield from _ring(engine)


def _cylinders(engine: "Engine") -> Iterator[Fault]:
    order, intervals = engine.firing_order, engine.firing_intervals_deg
    if order is not None and sorted(order) != list(range(1, engine.cylinders + 1)):
        yield (
            ("firing_order",),
            f"firing_order {list(order)} must name each cylinder from 1 to "
            f"{engine.cylinders} exactly once",
        )
    if intervals is None:
        return
    cycle = 180 * engine.strokes
    if len(intervals) != engine.cylinders:
        yield (
            ("firing_intervals_deg",),
            f"firing_intervals_deg has {len(intervals)} numbers; write one for each of the "
            f"{engine.cylinders} cylinders, in the order they fire, the last one back to the first",
        )
    elif abs(sum(intervals) - cycle) > _CYCLE_DEG:
        yield (
            ("firing_intervals_deg",),
            f"firing_intervals_deg sum to {sum(intervals):g}; they must sum to {cycle} degrees, "
            f"one cycle of a {'four' if engine.strokes == 4 else 'two'}-stroke",
        )


def _vee(engine: "Engine") -> Iterator[Fault]:
    if engine.layout == "vee" and engine.bank_angle_deg is None:
        yield ("layout",), "layout 'vee' needs bank_angle_deg, the angle between the banks"
    if engine.layout == "inline":
        for key in ("pins", "bank_numbering"):
            if getattr(engine, key) is not None:
                yield (key,), f"{key} goes with layout 'vee' only; leave it out, or correct layout"


def _layout(engine: "Engine") -> Iterator[Fault]:
    angle = engine.bank_angle_deg
    if engine.layout == "inline" and angle is not None:
        yield (
            ("bank_angle_deg",),
            "bank_angle_deg goes with layout 'vee' only; leave it out, or correct layout",
        )
    if engine.layout == "vee" and angle is not None and angle > 180:
        yield (
            ("bank_angle_deg",),
            f"bank_angle_deg is {angle:g}: two banks lie at most 180 degrees apart; "
            f"write {360 - angle:g}",
        )
    if engine.layout == "vee" and engine.cylinders % 2:
        yield (
            ("cylinders",),
            f"cylinders is {engine.cylinders}: a vee has two banks alike; write an even number, "
            f"or correct layout",
        )


def _speeds(engine: "Engine") -> Iterator[Fault]:
    stated = [
        (key, rpm)
        for key in ("idle_rpm", "fast_idle_rpm", "rated_rpm")
        if (rpm := getattr(engine, key)) is not None
    ]
    for key, rpm in stated:
        if rpm > _FASTEST_RPM:
            yield (key,), f"{key} is {rpm:g}: no diesel turns so fast; write turns per minute"
    for (slow, low), (fast, high) in pairwise(stated):
        if low > high:
            yield (fast,), f"{fast} is {high:g}, below {slow}, {low:g}; correct one of them"


def _names(engine: "Engine") -> Iterator[Fault]:
    belts = {name for name, _ in engine.belt_lines}
    seen: set[str] = set()
    for number, part in enumerate(engine.driven):
        key, name = ("driven", str(number), "name"), quoted(part.name)
        if part.name in seen:
            yield (
                key,
                f"two driven parts have the same name, {name}; give each its own",
            )
        elif part.name in belts:
            yield (
                key,
                f"{name} is what another part's belt is called; choose another name",
            )
        seen.add(part.name)


def _governed(engine: "Engine") -> Iterator[Fault]:
    if engine.generator is None:
        return
    governed = engine.generator.governed_rpm
    for key in ("fast_idle_rpm", "rated_rpm"):
        rpm = getattr(engine, key)
        if rpm is not None and abs(rpm / governed - 1) > WITHIN + _ROUNDING:
            yield (
                (key,),
                f"{key} is {rpm:g}, but {engine.generator.poles} poles at "
                f"{engine.generator.frequency_hz:g} Hz turn at {governed:g} rpm; correct one of "
                f"them, or leave {key} out",
            )


def _lengths(engine: "Engine") -> Iterator[Fault]:
    inertias, stiffnesses = engine.crankshaft.inertias_kg_m2, engine.crankshaft.stiffnesses_nm_rad
    for key, stated, other in (
        ("inertias_kg_m2", inertias, stiffnesses),
        ("stiffnesses_nm_rad", stiffnesses, inertias),
    ):
        if stated is None and other is not None:
            yield (
                ("crankshaft",),
                f"crankshaft.{key} is missing: inertias and stiffnesses are one set; state both, "
                f"or leave both out",
            )
    if inertias is None or stiffnesses is None:
        return
    throws, rotor = throws_of(engine), engine.generator is not None
    needed = throws + 2 + rotor
    if len(inertias) != needed:
        yield (
            ("crankshaft", "inertias_kg_m2"),
            f"crankshaft.inertias_kg_m2 has {len(inertias)} numbers; write {needed}: the nose "
            f"without the damper, each of the {throws} throws, the flywheel"
            f"{', the generator' if rotor else ''}",
        )
    elif len(stiffnesses) != len(inertias) - 1:
        yield (
            ("crankshaft", "stiffnesses_nm_rad"),
            f"crankshaft.stiffnesses_nm_rad has {len(stiffnesses)} numbers; write "
            f"{len(inertias) - 1}, one between each two of inertias_kg_m2",
        )


def _ring(engine: "Engine") -> Iterator[Fault]:
    damper = engine.damper
    for key, kind in _ONLY_OF.items():
        if getattr(damper, key) is None or damper.type == kind:
            continue
        if kind == "viscous" or damper.type == "viscous":
            yield (
                ("damper", key),
                f"damper.{key} goes with type '{kind}' only; leave it out, or correct damper.type",
            )
    inertia, stiffness = damper.ring_inertia_kg_m2, damper.ring_stiffness_nm_rad
    if inertia is None or stiffness is None:
        return
    tuned = math.sqrt(stiffness / inertia) / (2 * math.pi)
    slow = tuned < _RING_HZ[0] and damper.type != "viscous"
    if slow or tuned > _RING_HZ[1]:
        yield (
            ("damper", "ring_stiffness_nm_rad"),
            f"damper.ring_stiffness_nm_rad and ring_inertia_kg_m2 tune the ring to {tuned:.3g} Hz, "
            f"which no damper is; look at their units, N m/rad and kg m2",
        )
