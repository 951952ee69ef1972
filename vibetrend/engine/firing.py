"""When each cylinder fires, and what the orders' phase vectors sum to.

A cylinder that fires at crank angle alpha_i, with weight a_i, adds to order o a vector of length
a_i turned by o alpha_i; the order is driven by their sum

    |S(o)| = |sum_i a_i exp(j o alpha_i)|                                                  (1)

(Den Hartog, Mechanical Vibrations, ch. 5; Ker Wilson, Practical Solution of Torsional Vibration
Problems). Orders count cycles per turn of the crank.
"""

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from vibetrend.engine.description import Engine

Numbering = Literal["across", "along"]
_NUMBERINGS: tuple[Numbering, ...] = ("across", "along")
_SAME = 0.1  # degrees


@dataclass(frozen=True, kw_only=True)
class Firing:
    """When the cylinders fire, and where along the crank they stand."""

    sequence: tuple[int, ...]  # the cylinders as they fire
    intervals_deg: tuple[float, ...]  # from each of these to the next
    angles_deg: tuple[float, ...]  # at which cylinder 1, 2, ... fires
    throws: tuple[int, ...] | None  # of cylinder 1, 2, ..., from the front; None if not known
    remarks: tuple[str, ...]  # what had to be assumed

    @property
    def even(self) -> bool:
        """Whether all intervals are alike."""
        return max(self.intervals_deg) - min(self.intervals_deg) < _SAME


def firing(engine: "Engine") -> Firing:
    """Return when the cylinders of an engine fire.

    Evenly, unless `firing_intervals_deg` says otherwise or two cylinders share a crank pin: these
    fire one bank angle apart, or that and a turn, whichever is nearer to even firing; the next
    pair follows evenly. A 90 degree V6 on shared pins so fires 90 and 150 degrees apart in turn.
    Without a firing order the cylinders are taken in the order of their numbers.
    """
    sequence = engine.firing_order or tuple(range(1, engine.cylinders + 1))
    cycle, count = engine.strokes * 180.0, engine.cylinders
    remarks: list[str] = []
    if engine.firing_intervals_deg is not None:
        steps = [engine.firing_intervals_deg]
    else:
        steps = [(cycle / count,) * count]
        if _shares_pins(engine):
            shared = _shared_pins(engine)
            if engine.pins is None and shared[0] != steps[0]:
                remarks.append(
                    f"Taken as firing evenly. On shared crank pins it would fire "
                    f"{shared[0][0]:g} and {shared[0][1]:g} degrees apart in turn; state pins."
                )
            else:
                steps = shared
    tried = [(each, _angles(sequence, each)) for each in steps]
    intervals, angles, numbering = _fitting(engine, tried)
    if numbering is None and engine.layout == "vee" and engine.firing_order is not None:
        remarks.append(_no_throws(engine))
    return Firing(
        sequence=sequence,
        intervals_deg=intervals,
        angles_deg=angles,
        throws=_throws(engine, numbering),
        remarks=tuple(remarks),
    )


def phase_sum(
    angles_deg: Sequence[float], order: float, weights: Sequence[float] | None = None
) -> float:
    """Return the size of an order's vector sum, equation 1, in the unit of the weights.

    Parameters
    ----------
    angles_deg : sequence of float
        Where each cylinder fires, degrees of crank angle.
    order : float
        Cycles per turn of the crank.
    weights : sequence of float, optional
        Strength of each cylinder, or the mode shape at its throw; 1 each if left out.

    Examples
    --------
    >>> round(phase_sum([0, 180, 360, 540], 2), 9)
    4.0
    """
    each = [1.0] * len(angles_deg) if weights is None else weights
    return abs(
        sum(
            weight * cmath.rect(1.0, order * math.radians(angle))
            for weight, angle in zip(each, angles_deg, strict=True)
        )
    )


def twist_weights(engine: "Engine", fired: Firing) -> tuple[float, ...] | None:
    """Return how far a linear twist of the crank turns each cylinder's throw.

    As many as there are throws at cylinder 1, 1 at the flywheel's; None where it is not known which
    cylinder fires when, or stands where.
    """
    if engine.firing_order is None or fired.throws is None:
        return None
    count = max(fired.throws)
    return tuple(float(count + 1 - throw) for throw in fired.throws)


def throws_of(engine: "Engine") -> int:
    """Return how many throws the crank has: of a vee one for each two cylinders."""
    paired = engine.layout == "vee" and engine.cylinders % 2 == 0
    return engine.cylinders // 2 if paired else engine.cylinders


def _shares_pins(engine: "Engine") -> bool:
    """Say whether two cylinders on one pin is what the layout allows and the file does not deny."""
    paired = engine.layout == "vee" and engine.cylinders % 2 == 0
    return paired and engine.bank_angle_deg is not None and engine.pins != "split"


def _shared_pins(engine: "Engine") -> list[tuple[float, ...]]:
    """Return the intervals of a vee on shared pins: bank angle first, or last."""
    assert engine.bank_angle_deg is not None
    turns = engine.strokes // 2
    pair = 2 * 180.0 * engine.strokes / engine.cylinders  # from one pair to the next
    apart = [(engine.bank_angle_deg + 360 * turn) % pair for turn in range(turns)]
    first = min(apart, key=lambda each: abs(each - pair / 2))
    if abs(first - pair / 2) < _SAME:
        return [(pair / 2,) * engine.cylinders]
    pairs = engine.cylinders // 2
    return [(first, pair - first) * pairs, (pair - first, first) * pairs]


def _angles(sequence: Sequence[int], intervals: Sequence[float]) -> tuple[float, ...]:
    fired_at = dict(zip(sequence, accumulate(intervals[:-1], initial=0.0), strict=True))
    return tuple(fired_at[cylinder] for cylinder in sorted(sequence))


_Tried = tuple[tuple[float, ...], tuple[float, ...]]  # intervals and angles


def _fitting(
    engine: "Engine", tried: Sequence[_Tried]
) -> tuple[tuple[float, ...], tuple[float, ...], Numbering | None]:
    """Return the first intervals and numbering by which each pair's cylinders share a pin."""
    stated = engine.bank_numbering
    if _shares_pins(engine) and engine.firing_order is not None:
        for numbering in _NUMBERINGS if stated is None else (stated,):
            for intervals, angles in tried:
                if _on_one_pin(engine, angles, numbering):
                    return intervals, angles, numbering
        if engine.pins == "shared":
            return *tried[0], None
    return *tried[0], stated


def _on_one_pin(engine: "Engine", angles: Sequence[float], numbering: Numbering) -> bool:
    """Say whether all pairs fire one bank angle apart, the same bank first in each."""
    assert engine.bank_angle_deg is not None
    bank = engine.bank_angle_deg
    apart = [angles[two - 1] - angles[one - 1] for one, two in _pairs(engine, numbering)]
    return any(all(_turned(each - way) < _SAME for each in apart) for way in (bank, -bank))


def _turned(degrees: float) -> float:
    """Return how far an angle is from whole turns, degrees."""
    return abs((degrees + 180) % 360 - 180)


def _pairs(engine: "Engine", numbering: Numbering) -> list[tuple[int, int]]:
    pins = range(1, engine.cylinders // 2 + 1)
    if numbering == "across":
        return [(2 * pin - 1, 2 * pin) for pin in pins]
    return [(pin, pin + engine.cylinders // 2) for pin in pins]


def _throws(engine: "Engine", numbering: Numbering | None) -> tuple[int, ...] | None:
    if engine.layout == "inline":
        return tuple(range(1, engine.cylinders + 1))
    if numbering is None or engine.cylinders % 2:
        return None
    pairs = enumerate(_pairs(engine, numbering), start=1)
    throw_of = {cylinder: throw for throw, pair in pairs for cylinder in pair}
    return tuple(throw_of[cylinder] for cylinder in sorted(throw_of))


def _no_throws(engine: "Engine") -> str:
    if engine.pins == "shared":
        return (
            "No numbering of the cylinders was found by which each two on one crank pin would fire "
            f"{engine.bank_angle_deg:g} degrees apart, with or without a turn: check firing_order, "
            "bank_angle_deg and bank_numbering, or state firing_intervals_deg."
        )
    return "Which cylinders stand at which throw is not known; state bank_numbering."
