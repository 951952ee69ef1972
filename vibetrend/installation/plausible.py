"""What can be read off a marine diesel at all: a number beyond it has a slipped unit or digit.

Common practice, no source: wide bounds at human scale. They judge no reading, they catch a slip.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from vibetrend.errors import InstallationError
from vibetrend.quantities import unit


@dataclass(frozen=True)
class Bounds:
    """From least to greatest, and the finest division or standard error of what reads it."""

    least: float
    greatest: float
    unit: str
    finest: float


BOUNDS: Mapping[str, Bounds] = MappingProxyType(
    {
        "run-out": Bounds(0, 50, "mm", 1e-6),  # greatest less least reading
        "diameter": Bounds(10, 5000, "mm", 1e-6),
        "mark": Bounds(-50, 50, "mm", 1e-6),
        "casing": Bounds(1, 1000, "mm", 1e-6),
        "torque": Bounds(0.01, 20e3, "N m", 1e-4),
        "angle": Bounds(0.1, 720, "deg", 1e-3),
        "tension": Bounds(1, 50e3, "N", 1e-3),
        "frequency": Bounds(1, 5000, "Hz", 1e-6),
        "span": Bounds(10, 10e3, "mm", 1e-3),
        "mass per length": Bounds(0.001, 100, "kg/m", 1e-6),
        "fluid hours": Bounds(0, 1e6, "h", 1e-3),
        "viscosity loss": Bounds(-1000, 100, "%", 1e-3),  # below 0: thickened
    }
)
"""The one table of them."""

_ROUNDING = 1e-9  # relative: 50 mm written as 5 cm is the same


def plausible(value: float, what: str, kind: str, one: str) -> float:
    """Return a number that lies within its bounds.

    Parameters
    ----------
    value, one
        The number and the name of its unit.
    what : str
        Names it in an error, e.g. ``the tension``.
    kind : str
        A key of `BOUNDS`.

    Raises
    ------
    InstallationError
        If it lies beyond them; the text says which slip is likely.
    """
    return _within(value, what, one, BOUNDS[kind], BOUNDS[kind].least)


def plausible_if(value: float | None, what: str, kind: str, one: str | None) -> float | None:
    """Return such a number where it is there, with its unit."""
    return value if value is None or one is None else plausible(value, what, kind, one)


def fine_enough(value: float | None, what: str, kind: str, one: str | None) -> float | None:
    """Return a division or standard error that an instrument can have, where it is there."""
    if value is None or one is None:
        return value
    return _within(value, what, one, BOUNDS[kind], BOUNDS[kind].finest)


def _within(value: float, what: str, one: str, bounds: Bounds, least: float) -> float:
    factor = 1.0 if one == bounds.unit else unit(one).factor / unit(bounds.unit).factor
    low, high = least - _ROUNDING * abs(least), bounds.greatest * (1 + _ROUNDING)
    if not low <= factor * value <= high:
        raise InstallationError(
            f"{what} is {value:g} {one}, and {least:g} to {bounds.greatest:g} {bounds.unit} is "
            f"what can be read off an engine; most likely the unit is another, or the decimal "
            f"point slipped: correct it"
        )
    return value
