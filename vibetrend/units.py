"""Units a recording may come in, and the SI unit each is kept in.

Factors are exact by definition (NIST SP 811): 1 g = 9.80665 m/s^2, 1 ft = 0.3048 m.
"""

import math
import re
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
    "in/s^2": Unit("acceleration", "m/s^2", 0.0254),
    "ft/s^2": Unit("acceleration", "m/s^2", 0.3048),
    "g": Unit("acceleration", "m/s^2", STANDARD_GRAVITY),
    "mg": Unit("acceleration", "m/s^2", 1e-3 * STANDARD_GRAVITY),
    "ug": Unit("acceleration", "m/s^2", 1e-6 * STANDARD_GRAVITY),
    "m/s": Unit("velocity", "m/s", 1.0),
    "mm/s": Unit("velocity", "m/s", 1e-3),
    "cm/s": Unit("velocity", "m/s", 1e-2),
    "um/s": Unit("velocity", "m/s", 1e-6),
    "in/s": Unit("velocity", "m/s", 0.0254),
    "rad/s": Unit("rotation", "rad/s", 1.0),
    "deg/s": Unit("rotation", "rad/s", math.pi / 180),
    "mrad/s": Unit("rotation", "rad/s", 1e-3),
    "mdeg/s": Unit("rotation", "rad/s", 1e-3 * math.pi / 180),
    "Pa": Unit("pressure", "Pa", 1.0),
    "kPa": Unit("pressure", "Pa", 1e3),
    "bar": Unit("pressure", "Pa", 1e5),
    "hPa": Unit("pressure", "Pa", 1e2),
    "mbar": Unit("pressure", "Pa", 1e2),
    "V": Unit("other", "V", 1.0),
    "mV": Unit("other", "V", 1e-3),
    "uV": Unit("other", "V", 1e-6),
    "1": Unit("sound", "1", 1.0),
}

# What a whole unit is also called, in small letters.
_SPELLINGS = {
    "gal": "cm/s^2",
    **dict.fromkeys(("gn", "g0", "g_n", "gs", "g's", "gee", "gees", "g-force"), "g"),
    **dict.fromkeys(("milli-g", "millig", "mgn", "mg's"), "mg"),
    "micro-g": "ug",
    "ips": "in/s",
    **dict.fromkeys(("dps", "deg_per_s"), "deg/s"),
    "mdps": "mdeg/s",
    "fs": "1",
    **dict.fromkeys(("v", "volt", "volts"), "V"),
    **dict.fromkeys(("mv", "millivolt", "millivolts"), "mV"),
    **dict.fromkeys(("pascal", "pa"), "Pa"),
    "kpa": "kPa",
    "hpa": "hPa",
}
# How parts of a unit are written, put right one after the other.
_PARTS = (
    (r"\*\*", "^"),
    (r"[µμ]", "u"),
    (r"⁻", "-"),
    (r"²", "2"),
    (r"¹", "1"),
    (r"°", "deg"),
    (r"\bdegrees?|\bgrad(?=/)", "deg"),
    (r"\bradians?", "rad"),
    (r"\bmet(?:er|re)s?", "m"),
    (r"\b(?:feet|foot)", "ft"),
    (r"\binch(?:es)?", "in"),
    (r"(?: per |_per_)", "/"),
    (r"[/ ](?:seconds?|secs?|sek)(?![a-z])", "/s"),
    (r"(?: |_)?squared", "^2"),
    (r"[()\s]", ""),
    (r"[·⋅.*]s", " s"),
    (r"/s/s$", "/s^2"),
    (r"(?<=s)2$", "^2"),
    (r"(?<=s)-", "^-"),
    (r"(?<=[a-z]) ?s\^?-2$", "/s^2"),
    (r"(?<=[a-z]) ?s\^?-1$", "/s"),
)


def unit(text: str) -> Unit:
    """Return the unit that a person wrote, e.g. ``"m/s²"``, ``"[g]"``, ``"deg/s"``.

    Raises
    ------
    VibetrendError
        If the unit is not known; the text lists those that are.
    """
    found = _found(text)
    if found is None:
        raise VibetrendError(f"unit {text[:40]!r} is not known; write one of {', '.join(_UNITS)}")
    return found


def is_known(text: str) -> bool:
    """Say whether :func:`unit` knows what a person wrote."""
    return _found(text) is not None


def _found(text: str) -> Unit | None:
    plain = text.strip().strip("[]()").strip()
    spelled = plain
    for written, meant in _PARTS:
        spelled = re.sub(written, meant, spelled, flags=re.IGNORECASE)
    for candidate in (plain, spelled):
        for name in (candidate, _SPELLINGS.get(candidate.lower(), ""), candidate.lower()):
            if name in _UNITS:
                return _UNITS[name]
    return None


def unit_of(feature: str, kind: str, unit: str) -> str:
    """Return the unit of a feature's amplitude; `kind` and `unit` are of the samples.

    The overall velocity of an acceleration is in mm/s, all else in the unit of the samples.
    """
    return "mm/s" if (feature, kind) == ("overall: velocity", "acceleration") else unit
