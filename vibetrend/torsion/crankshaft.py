"""An engine's crankshaft with its damper, as a chain from the damper's ring to the flywheel.

A rubber damper is a ring on a spring with a loss factor; a viscous one a ring in fluid, joined by
viscous damping and, if stated, a small stiffness. Out of gear nothing hangs on behind the flywheel;
a generator set has its rotor there.
"""

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Self

import numpy as np

from vibetrend.engine import Engine
from vibetrend.engine.firing import throws_of
from vibetrend.torsion import typical
from vibetrend.torsion.chain import Chain, DampedModes, damped_modes, link_shares, modes
from vibetrend.torsion.change import Change
from vibetrend.torsion.cylinder import Cylinder

RING, NOSE = 0, 1  # places in the chain


@dataclass(frozen=True, kw_only=True)
class Mode:
    """One way in which the crankshaft twists to and fro."""

    number: int  # from 1
    frequency_hz: float
    damping_ratio: float
    shape: tuple[complex, ...]  # of each place, 1 at the nose
    ring_share: float  # of its elastic energy in the ring's spring

    @property
    def swings(self) -> tuple[float, ...]:
        """How far each place swings in step with the nose."""
        return tuple(each.real for each in self.shape)

    @property
    def least_rate_hz(self) -> float:
        """Sampling rate above which a recording reaches it at all."""
        return 2 * self.frequency_hz

    @property
    def nodes(self) -> int:
        """How many places along the chain stand still while it swings."""
        signs = np.array(self.swings) >= 0
        return int(np.sum(signs[1:] != signs[:-1]))

    def to_dict(self) -> dict[str, Any]:
        """Return it as JSON holds it; swings are of the places from ring to flywheel."""
        return {
            "number": self.number,
            "frequency_hz": self.frequency_hz,
            "damping_ratio": self.damping_ratio,
            "ring_share": self.ring_share,
            "swings": list(self.swings),
            "least_rate_hz": self.least_rate_hz,
        }

    @property
    def half_power_width(self) -> float:
        """Width of its peak at 0.71 of its height, share of its frequency or speed."""
        return 2 * self.damping_ratio


@dataclass(frozen=True, kw_only=True, eq=False)
class Crankshaft:
    """The chain, what stands where in it, and which of its values are typical ones."""

    chain: Chain
    places: tuple[str, ...]  # ring, nose, throw 1, ..., flywheel
    cylinder_at: tuple[int, ...]  # place of cylinder 1, 2, ... in the chain
    cylinder: Cylinder
    viscous: bool
    typical: tuple[str, ...]  # what the engine file does not state, with the value taken
    order_1_factor: float = 1.0  # a wobbling ring's part in the first order

    @classmethod
    def of(cls, engine: Engine) -> Self:
        """Return the model of an engine, with typical values for what its file leaves out."""
        arranged = typical.arrangement(engine)
        assumed = [*arranged.typical, *typical.operating_range(engine).typical]
        cylinder, size = _cylinder(engine, assumed)
        crank, places = _crank(engine, size, assumed)
        viscous = engine.damper.type == "viscous"
        chain = _with_damper(engine, crank, size, assumed)
        return cls(
            chain=chain,
            places=("ring", *places),
            cylinder_at=tuple(NOSE + throw for throw in arranged.throws),
            cylinder=cylinder,
            viscous=viscous,
            typical=tuple(assumed),
        )

    @property
    def flywheel(self) -> int:
        """The flywheel's place in the chain."""
        return self.places.index("flywheel")

    @cached_property
    def damped_modes(self) -> DampedModes:
        """The chain's own modes, damping and all."""
        return damped_modes(self.chain)

    @cached_property
    def modes(self) -> tuple[Mode, ...]:
        """All modes, lowest first."""
        own = self.damped_modes
        shares = link_shares(self.chain, own, RING)
        return tuple(
            Mode(
                number=number + 1,
                frequency_hz=float(own.frequency_hz[number]),
                damping_ratio=float(own.damping_ratio[number]),
                shape=tuple(complex(each) for each in own.shape[number] / own.shape[number][NOSE]),
                ring_share=float(shares[number]),
            )
            for number in range(own.frequency_hz.size)
        )

    def with_change(self, change: Change) -> Self:
        """Return the crankshaft with its damper changed; changes add up."""
        stiffness, loss, damping = (
            np.array(each)
            for each in (
                self.chain.stiffness_nm_rad,
                self.chain.loss_factor,
                self.chain.damping_nm_s_rad,
            )
        )
        stiffness[RING] *= change.stiffness
        loss[RING] = change.loss(loss[RING])
        damping[RING] *= change.viscous_factor
        chain = replace(
            self.chain, stiffness_nm_rad=stiffness, loss_factor=loss, damping_nm_s_rad=damping
        )
        return replace(
            self, chain=chain, order_1_factor=self.order_1_factor * change.order_1_factor
        )


def _cylinder(engine: Engine, assumed: list[str]) -> tuple[Cylinder, float]:
    """Return what makes a cylinder's torque, and the engine's size against the typical six."""
    stated = engine.crankshaft
    if stated.stroke_mm is not None:
        stroke = stated.stroke_mm / 1e3
    elif stated.bore_mm is not None:
        stroke = stated.bore_mm / 1e3 / typical.BORE_TO_STROKE
        assumed.append(f"stroke, {1e3 * stroke:.0f} mm")
    else:
        stroke = typical.stroke_m(engine)
        assumed.append(f"stroke, {1e3 * stroke:.0f} mm")
    size = stroke / typical.STROKE_M
    bore = _or(stated.bore_mm, 1e3 * stroke * typical.BORE_TO_STROKE, "bore", "mm", assumed)
    return (
        Cylinder(
            bore_m=bore / 1e3,
            stroke_m=stroke,
            rod_ratio=_or(stated.rod_ratio, typical.ROD_RATIO, "rod over stroke", "", assumed),
            reciprocating_mass_kg=_or(
                stated.reciprocating_mass_kg,
                typical.RECIPROCATING_KG * size**3,
                "reciprocating mass of a cylinder",
                "kg",
                assumed,
            ),
            compression_ratio=_or(
                stated.compression_ratio,
                typical.COMPRESSION_RATIO,
                "compression ratio",
                "",
                assumed,
            ),
            strokes=engine.strokes,
        ),
        size,
    )


def _crank(engine: Engine, size: float, assumed: list[str]) -> tuple[Chain, tuple[str, ...]]:
    """Return the crank without its damper, nose to flywheel or rotor."""
    stated, throws = engine.crankshaft, throws_of(engine)
    inertias, stiffnesses = stated.inertias_kg_m2, stated.stiffnesses_nm_rad
    rotor = engine.generator is not None
    places = ("nose", *(f"throw {n}" for n in range(1, throws + 1)), "flywheel")
    if inertias is None or stiffnesses is None:
        rods = typical.SECOND_ROD if throws < engine.cylinders else 1.0
        five, three = size**5, size**3
        tail = [typical.FLYWHEEL_KG_M2] + [typical.ROTOR_KG_M2] * rotor
        heads = [typical.NOSE_KG_M2, *[typical.THROW_KG_M2 * rods] * throws, *tail]
        links = [typical.NOSE_NM_RAD, *[typical.THROW_NM_RAD] * (throws - 1)]
        links += [typical.FLYWHEEL_NM_RAD] + [typical.ROTOR_NM_RAD] * rotor
        inertias = tuple(five * each for each in heads)
        stiffnesses = tuple(three * each for each in links)
        assumed.append("inertias and stiffnesses of the crank")
    chain = Chain(
        inertia_kg_m2=np.array(inertias),
        stiffness_nm_rad=np.array(stiffnesses),
        loss_factor=np.array(
            [_or(stated.loss_factor, typical.CRANK_LOSS, "loss factor of the crank", "", assumed)]
        ),
    )
    return chain, (*places, *(["generator"] * rotor))


def _with_damper(engine: Engine, crank: Chain, size: float, assumed: list[str]) -> Chain:
    """Return the crank with hub and ring of its damper."""
    damper = engine.damper
    viscous = damper.type == "viscous"
    kind = "viscous" if viscous else "rubber"
    if damper.type in ("other", "unknown"):
        assumed.append("a damper with a rubber ring")
    hub = _or(
        damper.hub_inertia_kg_m2, typical.HUB_KG_M2 * size**5, "the damper's hub", "kg m2", assumed
    )
    inertia = np.array(crank.inertia_kg_m2)
    inertia[0] += hub
    first = modes(replace(crank, inertia_kg_m2=inertia))
    shape = first.shape[1] / first.shape[1][0]
    seen = float(inertia @ shape**2)  # what the ring sees of the crank in its first mode
    omega = 2 * math.pi * first.frequency_hz[1]

    ring = _or(
        damper.ring_inertia_kg_m2,
        typical.RING_TO_CRANK[kind] * seen,
        "inertia of the damper's ring",
        "kg m2",
        assumed,
    )
    ratio = ring / seen
    if viscous:
        best = 2 * ring * omega / math.sqrt(2 * (1 + ratio) * (2 + ratio))
        stiffness, loss = damper.ring_stiffness_nm_rad or 0.0, 0.0
        damping = _or(
            damper.ring_damping_nm_s_rad, best, "damping of its fluid", "N m s/rad", assumed
        )
    else:
        best = ring * (omega / (1 + ratio)) ** 2
        stiffness = _or(
            damper.ring_stiffness_nm_rad, best, "stiffness of its rubber", "N m/rad", assumed
        )
        loss = _or(
            damper.ring_loss_factor, typical.RING_LOSS, "loss factor of its rubber", "", assumed
        )
        damping = 0.0
    return Chain(
        inertia_kg_m2=np.concatenate([[ring], inertia]),
        stiffness_nm_rad=np.concatenate([[stiffness], crank.stiffness_nm_rad]),
        damping_nm_s_rad=np.concatenate([[damping], crank.damping_nm_s_rad]),
        loss_factor=np.concatenate([[loss], crank.loss_factor]),
    )


def _or(stated: float | None, usual: float, name: str, unit: str, assumed: list[str]) -> float:
    """Return what is stated, else what is usual, which then is told."""
    if stated is not None:
        return stated
    assumed.append(f"{name}, {float(f'{usual:.3g}'):g} {unit}".rstrip())
    return usual
