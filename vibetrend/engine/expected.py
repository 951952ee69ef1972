"""The orders to expect of an engine, how strongly it drives them, and what each speaks of.

An engine of equal cylinders drives only the orders whose phase vectors do not cancel, the major
ones; what is seen at the others speaks of cylinders that are not alike, of balance, of parts driven
along. How strongly an order twists the crank is told by the same sum with each cylinder weighted by
how far its throw turns in a linear twist (Ker Wilson, Practical Solution of Torsional Vibration
Problems; Taylor, The Internal-Combustion Engine, vol. 2). What each order usually speaks of is
common practice, no published source.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from vibetrend.engine.firing import firing, phase_sum, twist_weights

if TYPE_CHECKING:
    from vibetrend.engine.description import Engine

HIGHEST_ORDER = 12.0
OWN_ELECTRICITY = "includes the generator's own"

_NONE = 1e-6  # sums below it have cancelled
_ROCKS = 1.0  # of a linear twist: less of a couple is not felt
_CREEP = 0.02  # how far a belt may creep, share
_NEAR = 0.02  # orders: nearer to an order than this a line is that order's own breathing

Role = Literal["major", "minor", "driven", "belt", "generator"]


@dataclass(frozen=True, kw_only=True)
class ExpectedOrder:
    """A line to expect."""

    order: float
    frequency_hz: float | None  # None where no speed is known
    role: Role  # major: equal cylinders add up to half of all of them or more
    phase_sum: float | None  # of equal cylinders, 1 each; None for what no cylinder drives
    twist_sum: float | None  # in a linear twist; None, too, where the throws are not known
    speaks_of: str
    note: str | None = None  # what it shares its frequency with


def expected_orders(engine: "Engine", *, rpm: float | None = None) -> tuple[ExpectedOrder, ...]:
    """Return the lines to expect, lowest first, to order 12 and twice the firing order.

    Parameters
    ----------
    engine : Engine
        Its firing order and layout say what adds up, its parts what else there is.
    rpm : float, optional
        Speed that the frequencies are for; the one it is usually recorded at if left out.
    """
    speed = engine.usual_rpm if rpm is None else rpm
    rows = [*_of_cylinders(engine, speed), *_of_parts(engine, speed)]
    known = {row.order for row in rows}
    electrical = () if engine.generator is None else engine.generator.electrical_orders
    rows += [
        ExpectedOrder(
            order=order,
            frequency_hz=_hertz(order, speed),
            role="generator",
            phase_sum=None,
            twist_sum=None,
            speaks_of=("twice " if times else "") + "the generator's electrical frequency",
            note=OWN_ELECTRICITY,
        )
        for times, order in enumerate(electrical)
        if order not in known
    ]
    return tuple(sorted(rows, key=lambda row: row.order))


def cylinder_orders(engine: "Engine") -> list[float]:
    """Return the orders a cycle has, half or whole ones, to `HIGHEST_ORDER` and twice firing."""
    lowest = 2 / engine.strokes
    orders = [lowest * number for number in range(1, round(HIGHEST_ORDER / lowest) + 1)]
    firing_orders = (engine.firing_order_number, 2 * engine.firing_order_number)
    return sorted({*orders, *firing_orders})


def _of_cylinders(engine: "Engine", rpm: float | None) -> Iterator[ExpectedOrder]:
    fired = firing(engine)
    weights = twist_weights(engine, fired)
    electrical = () if engine.generator is None else engine.generator.electrical_orders
    for order in cylinder_orders(engine):
        alike = phase_sum(fired.angles_deg, order)
        twist = None if weights is None else phase_sum(fired.angles_deg, order, weights)
        yield ExpectedOrder(
            order=order,
            frequency_hz=_hertz(order, rpm),
            role="major" if alike >= engine.cylinders / 2 else "minor",
            phase_sum=round(alike, 6),
            twist_sum=None if twist is None else round(twist, 6),
            speaks_of=_speaks_of(engine, order, alike, twist or 0.0),
            note=OWN_ELECTRICITY if order in electrical else None,
        )


def _of_parts(engine: "Engine", rpm: float | None) -> Iterator[ExpectedOrder]:
    belts, measured = dict(engine.belt_lines), cylinder_orders(engine)
    lines = [(part.name, part.ratio) for part in engine.driven] + list(belts.items())
    for name, order in lines:
        belt = name in belts
        yield ExpectedOrder(
            order=order,
            frequency_hz=_hertz(order, rpm),
            role="belt" if belt else "driven",
            phase_sum=None,
            twist_sum=None,
            speaks_of=f"{name} going round: a splice or a damaged spot, its tension"
            if belt
            else f"{name}: its belt or gear, pulley and bearings",
            note=_beside(order, measured),
        )


def _hertz(order: float, rpm: float | None) -> float | None:
    return None if rpm is None else order * rpm / 60


def _beside(order: float, measured: Iterable[float]) -> str | None:
    """Name the orders that a driven line, creeping, may come to lie on."""
    lowest = order * (1 - _CREEP) - _NEAR
    met = [f"{each:g}" for each in measured if lowest <= each <= order + _NEAR]
    return f"may lie on order {' or '.join(met)} and not be told from it" if met else None


def _speaks_of(engine: "Engine", order: float, alike: float, twist: float) -> str:
    said = []
    multiple = order / engine.firing_order_number
    if alike > _NONE and multiple == 1:
        said.append("firing: all cylinders together; mounts")
    elif alike > _NONE and multiple.is_integer():
        said.append(f"firing, {multiple:.0f} times: combustion, load")
    elif alike > _NONE:
        said.append(f"firing at uneven intervals, as built; {_unlike(engine, order)}")
    if order == 1:
        said.append("balance and run-out of damper and pulleys")
    if order in (1, 2) and engine.layout == "inline":
        if alike > _NONE:
            said.append("piston inertia")
        elif twist >= _ROCKS:
            said.append("piston inertia, which rocks the engine")
    if order == 2 and multiple != 1:
        said.append("mounts, alignment, coupling")
    return "; ".join(said or [_unlike(engine, order)])


def _unlike(engine: "Engine", order: float) -> str:
    if engine.cylinders == 1:
        return "combustion that differs from cycle to cycle"
    if order == 0.5:
        return "one cylinder unlike the rest: injection, valves, compression"
    if order.is_integer():
        return "cylinders that work unevenly; loose parts"
    return "cylinders that work unevenly"
