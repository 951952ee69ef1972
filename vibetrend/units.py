"""Units a recording may come in, and the SI unit each is kept in.

Factors are exact by definition (NIST SP 811): 1 g = 9.80665 m/s^2, 1 ft = 0.3048 m.
"""

import math
from dataclasses import dataclass

from vibetrend.errors import VibetrendError

STANDARD_GRAVITY = 9.80665  # m/s^2


@dataclass(frozen=True)
class Unit:
    """A unit of what a recording holds: value_in_si = factor * value."""

    kind: str  # "acceleration", "velocity", "rotation", "pressure", "sound" or "other"
    si: str
    factor: float


_UNITS = {
    "m/s^2": Unit("acceleration", "m/s^2", 1.0),
    "mm/s^2": Unit("acceleration", "m/s^2", 1e-3),
    "cm/s^2": Unit("acceleration", "m/s^2", 1e-2),
    "ft/s^2": Unit("acceleration", "m/s^2", 0.3048),
    "g": Unit("acceleration", "m/s^2", STANDARD_GRAVITY),
    "mg": Unit("acceleration", "m/s^2", 1e-3 * STANDARD_GRAVITY),
    "m/s": Unit("velocity", "m/s", 1.0),
    "mm/s": Unit("velocity", "m/s", 1e-3),
    "in/s": Unit("velocity", "m/s", 0.0254),
    "rad/s": Unit("rotation", "rad/s", 1.0),
    "deg/s": Unit("rotation", "rad/s", math.pi / 180),
    "Pa": Unit("pressure", "Pa", 1.0),
    "kPa": Unit("pressure", "Pa", 1e3),
    "bar": Unit("pressure", "Pa", 1e5),
    "V": Unit("other", "V", 1.0),
    "mV": Unit("other", "V", 1e-3),
    "1": Unit("sound", "1", 1.0),
}

_SPELLINGS = {
    "gal": "cm/s^2",
    "gn": "g",
    "g0": "g",
    "milli-g": "mg",
    "°/s": "deg/s",
    "dps": "deg/s",
    "fs": "1",
}


def unit(text: str) -> Unit:
    """Return the unit that a person wrote, e.g. ``"m/s²"``, ``"[g]"``, ``"deg/s"``.

    Raises
    ------
    VibetrendError
        If the unit is not known; the text lists those that are.
    """
    plain = text.strip().strip("[]()").strip()
    spelled = plain.replace("²", "^2").replace("**", "^").replace("s2", "s^2").replace(" ", "")
    spelled = spelled.replace("s-2", "s^-2").replace("ms^-2", "m/s^2").replace("m*s^-2", "m/s^2")
    for candidate in (spelled, _SPELLINGS.get(spelled.lower(), ""), spelled.lower()):
        if candidate in _UNITS:
            return _UNITS[candidate]
    raise VibetrendError(f"unit {text!r} is not known; write one of {', '.join(_UNITS)}")
