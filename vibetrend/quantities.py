"""Lengths, torques and forces that a person reads off an instrument, kept in SI.

Factors are exact by definition (NIST SP 811): 1 in = 0.0254 m, 1 lb = 0.45359237 kg,
1 lbf = 1 lb x 9.80665 m/s^2.
"""

import math
from dataclasses import dataclass
from typing import Literal

from vibetrend.errors import VibetrendError

Dimension = Literal[
    "length", "torque", "force", "mass per length", "velocity", "angle", "viscosity", "share"
]

_IN, _FT, _LB, _LBF = 0.0254, 0.3048, 0.45359237, 4.4482216152605


@dataclass(frozen=True)
class Unit:
    """A unit of an instrument: value_in_si = factor * value."""

    name: str
    dimension: Dimension
    factor: float


_FACTORS: dict[Dimension, dict[str, float]] = {
    "length": {"mm": 1e-3, "m": 1.0, "cm": 1e-2, "um": 1e-6, "thou": 1e-3 * _IN, "in": _IN,
               "ft": _FT},
    "torque": {"N m": 1.0, "kgf m": 9.80665, "lbf ft": _LBF * _FT, "lbf in": _LBF * _IN},
    "force": {"N": 1.0, "daN": 10.0, "kN": 1e3, "kgf": 9.80665, "lbf": _LBF},
    "mass per length": {"kg/m": 1.0, "g/m": 1e-3, "lb/ft": _LB / _FT, "lb/in": _LB / _IN},
    "velocity": {"mm/s": 1e-3, "in/s": _IN, "m/s": 1.0},
    "angle": {"deg": math.pi / 180, "rad": 1.0},
    "viscosity": {"mm^2/s": 1e-6, "cSt": 1e-6},
    "share": {"%": 1e-2},
}  # fmt: skip
_UNITS = {
    name: Unit(name, dimension, factor)
    for dimension, units in _FACTORS.items()
    for name, factor in units.items()
}
"""By the name each is printed with."""

# What a unit is also called, in small letters, without blanks, points, hyphens and stars.
_SPELLINGS = {
    **dict.fromkeys(("millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("µm", "μm", "micron", "microns"), "um"),
    **dict.fromkeys(("thou", "thous", "0001in", "0001inch", "0001\"", "mil", "mils"), "thou"),
    "1/1000in": "thou",
    **dict.fromkeys(("in", "inch", "inches", '"', "″"), "in"),
    **dict.fromkeys(("ft", "foot", "feet"), "ft"),
    **dict.fromkeys(("nm", "newtonmetre", "newtonmetres", "newtonmeter", "newtonmeters"), "N m"),
    **dict.fromkeys(("kgm", "kgfm", "mkg", "mkp", "kpm"), "kgf m"),
    **dict.fromkeys(("lbfft", "ftlbf", "lbft", "ftlb", "ftlbs", "lbsft", "footpounds"), "lbf ft"),
    **dict.fromkeys(("lbfin", "inlbf", "lbin", "inlb", "inlbs", "lbsin"), "lbf in"),
    **dict.fromkeys(("newton", "newtons"), "N"),
    **dict.fromkeys(("kg", "kp"), "kgf"),
    **dict.fromkeys(("lb", "lbs", "lbf", "pound", "pounds"), "lbf"),
    **dict.fromkeys(("ips", "inch/s"), "in/s"),
    **dict.fromkeys(("°", "degree", "degrees"), "deg"),
    **dict.fromkeys(("mm2/s", "mm²/s", "centistokes"), "mm^2/s"),
    **dict.fromkeys(("percent", "pct"), "%"),
}  # fmt: skip
_BY_SPELLING = {name.lower().replace(" ", ""): name for name in _UNITS} | _SPELLINGS


def unit(text: str, dimension: Dimension | None = None) -> Unit:
    """Return the unit that a person wrote, e.g. ``"thou"``, ``"0.001 in"``, ``"ft-lb"``.

    Raises
    ------
    VibetrendError
        If it is not known, or is no unit of `dimension`; the text lists those that are.
    """
    plain = text.strip().lower()
    for each in " .-*·⋅":
        plain = plain.replace(each, "")
    found = _UNITS.get(_BY_SPELLING.get(plain, ""))
    if found is None or dimension not in (None, found.dimension):
        wanted = [one.name for one in _UNITS.values() if dimension in (None, one.dimension)]
        raise VibetrendError(
            f"unit {text[:40]!r} is no unit of {dimension or 'an instrument'} known here; write "
            f"one of {', '.join(wanted)}"
        )
    return found


@dataclass(frozen=True)
class Quantity:
    """A number as it was read, with its unit."""

    value: float
    unit: Unit

    @property
    def si(self) -> float:
        """The value in m, N m, N, kg/m, m/s, rad, m^2/s or as a plain share."""
        return self.value * self.unit.factor

    def to(self, other: Unit) -> "Quantity":
        """Return the same in another unit of the same dimension."""
        if other.dimension != self.unit.dimension:
            raise ValueError(f"{other.name} is no unit of {self.unit.dimension}")
        return Quantity(self.si / other.factor, other)


@dataclass(frozen=True, kw_only=True)
class ShownUnits:
    """The units a person wants to see; what is kept stays in SI, and as it was read."""

    velocity: Unit = _UNITS["mm/s"]
    length: Unit = _UNITS["mm"]
    torque: Unit = _UNITS["N m"]
    force: Unit = _UNITS["N"]

    def of(self, quantity: Quantity) -> Quantity:
        """Return a quantity in the unit wanted; as it was read where there is no choice."""
        match quantity.unit.dimension:
            case "velocity":
                return quantity.to(self.velocity)
            case "length":
                return quantity.to(self.length)
            case "torque":
                return quantity.to(self.torque)
            case "force":
                return quantity.to(self.force)
            case _:
                return quantity
