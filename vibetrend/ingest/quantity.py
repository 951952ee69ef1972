"""A number with a unit, as a person states it: what one count stands for, a sensitivity."""

import math
import re
from dataclasses import dataclass, replace

from vibetrend import units
from vibetrend.errors import ReadError, VibetrendError
from vibetrend.units import Unit

_AMOUNT = re.compile(
    r"\s*(?P<number>[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[+-]?\d+)?)?\s*(?P<unit>.*?)\s*",
    re.IGNORECASE | re.DOTALL,
)
_VOLTS = {"v": 1.0, "mv": 1e-3, "uv": 1e-6, "µv": 1e-6, "μv": 1e-6, "kv": 1e3}


@dataclass(frozen=True)
class Sensitivity:
    """What a sensor makes of a quantity: samples in `unit.si` = volts / `volts_per_si`."""

    volts_per_si: float  # volts per SI unit
    unit: Unit  # the one it was stated in; its kind is what the volts become


def unit_of(text: str) -> Unit:
    """Return a unit with or without a number before it, which is what one count stands for.

    Raises
    ------
    ReadError
        If the number is not above 0 or the unit is not known.

    Examples
    --------
    >>> unit_of("0.5 mm/s")
    Unit(kind='velocity', si='m/s', factor=0.0005)
    """
    number, name = _taken_apart(text)
    if not name and text.strip() == "1":
        number, name = None, "1"  # full scale, which is a unit and no number
    if not name:
        raise ReadError(f"unit {text[:40]!r} names no unit; write e.g. 'g' or '0.0039 g'")
    known = _known(name)
    if number is None:
        return known
    return replace(known, factor=_above_zero(number, "unit", text) * known.factor)


def sensitivity(text: str) -> Sensitivity:
    """Return what turns volts into a quantity, from ``"100 mV/g"`` or ``"50 mV/Pa"``.

    Raises
    ------
    ReadError
        If it is not a number of volts per unit.

    Examples
    --------
    >>> sensitivity("4 mV/(mm/s)").volts_per_si
    4.0
    """
    number, name = _taken_apart(text)
    volts, _, per = re.sub(r"\s+per\s+", "/", name, count=1).partition("/")
    scale = _VOLTS.get(volts.strip().lower())
    if number is None or scale is None or not per.strip():
        raise ReadError(
            f"sensitivity {text[:40]!r} is not a number of volts per unit; "
            f"write e.g. '100 mV/g' or '4 mV/(mm/s)'"
        )
    known = _known(per)
    if known.si in ("V", "1"):
        raise ReadError(
            f"sensitivity {text[:40]!r} turns volts into no quantity; write e.g. '100 mV/g'"
        )
    volts_per_unit = _above_zero(number, "sensitivity", text) * scale
    return Sensitivity(volts_per_si=volts_per_unit / known.factor, unit=known)


def _taken_apart(text: str) -> tuple[str | None, str]:
    match = _AMOUNT.fullmatch(text)
    return (match["number"], match["unit"]) if match else (None, text)


def _known(name: str) -> Unit:
    try:
        return units.unit(name)
    except VibetrendError as error:
        raise ReadError(str(error)) from error


def _above_zero(number: str, what: str, text: str) -> float:
    value = float(number.replace(",", "."))
    if not 0 < value < math.inf:
        raise ReadError(f"{what} {text[:40]!r} must have a number above 0, e.g. '100 mV/g'")
    return value
