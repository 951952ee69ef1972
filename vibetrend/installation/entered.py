"""What a person enters for the record, checked; and the same read back from storage.

A content is a plain dict of what was entered, whose keys are the parameters of the function that
builds it. So whatever comes back from storage passes through the same checks again.
"""

import datetime as dt
import inspect
import math
import re
from collections.abc import Callable, Mapping, Sequence
from numbers import Real
from typing import Any

from vibetrend.errors import InstallationError, VibetrendError
from vibetrend.installation.plausible import fine_enough
from vibetrend.quantities import Dimension, Quantity, Unit
from vibetrend.quantities import unit as known_unit

Content = dict[str, Any]

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]")


def line(value: Any, what: str, *, needed: bool = False) -> str:
    """Return one line of text without blanks around it; `what` names it in an error."""
    if not isinstance(value, str):
        raise InstallationError(f"{what} is {value!r}; write text")
    if _CONTROL.search(value.strip()):
        raise InstallationError(f"{what} holds a line feed or control character; write one line")
    if needed and not value.strip():
        raise InstallationError(f"{what} is empty; write it")
    return value.strip()


def number(value: Any, what: str, *, above: float = -math.inf, least: float = -math.inf) -> float:
    """Return a finite number, greater than `above` and not less than `least`."""
    if isinstance(value, bool) or not isinstance(value, Real):
        raise InstallationError(f"{what} is {value!r}; write a number")
    try:
        finite = math.isfinite(value)
    except OverflowError:  # a whole number that no float holds
        finite = False
    if not finite:
        raise InstallationError(f"{what} is no finite number; write one")
    if value <= above:
        raise InstallationError(f"{what} is {value:g}; it must be above {above:g}")
    if value < least:
        raise InstallationError(f"{what} is {value:g}; it must not be below {least:g}")
    return float(value)


def number_if(value: Any, what: str, *, above: float = -math.inf) -> float | None:
    """Return a number that may be left out."""
    return None if value is None else number(value, what, above=above)


def numbers(values: Any, what: str) -> tuple[float, ...]:
    """Return finite numbers from a list, tuple, array or Series; names the first that is none."""
    if isinstance(values, str | bytes | Mapping) or not hasattr(values, "__iter__"):
        raise InstallationError(f"{what} are {values!r}; write them as a list of numbers")
    found = [value.item() if hasattr(value, "item") else value for value in values]
    return tuple(number(value, f"{what}, number {i}") for i, value in enumerate(found, start=1))


def yes_no(value: Any, what: str) -> bool:
    """Return yes or no."""
    if not isinstance(value, bool):
        raise InstallationError(f"{what} is {value!r}; say yes or no")
    return value


def yes_no_if(value: Any, what: str) -> bool | None:
    """Return yes or no, or None where it is not known."""
    return None if value is None else yes_no(value, what)


def one_of(value: Any, what: str, choices: Sequence[str]) -> str:
    """Return one of the words allowed."""
    if value not in choices:
        raise InstallationError(f"{what} is {value!r}; write one of {', '.join(choices)}")
    return str(value)


def unit_of(text: Any, dimension: Dimension, what: str) -> Unit:
    """Return the unit that a person wrote."""
    if not isinstance(text, str):
        raise InstallationError(
            f"the unit of {what} is missing; write it, e.g. {_EXAMPLES[dimension]}"
        )
    try:
        return known_unit(text, dimension)
    except VibetrendError as error:
        raise InstallationError(f"{what}: {error}") from error


def unit_if(value: float | None, text: Any, dimension: Dimension, what: str) -> str | None:
    """Return the name of the unit that goes with a number; None where neither is there."""
    if value is not None:
        return unit_of(text, dimension, what).name
    if text is not None:
        raise InstallationError(f"the unit of {what} is there, but no number; write both")
    return None


_EXAMPLES: dict[Dimension, str] = {
    "length": "mm or thou",
    "torque": "N m or lbf ft",
    "force": "N or lbf",
    "mass per length": "kg/m or g/m",
    "velocity": "mm/s",
    "angle": "deg",
    "viscosity": "cSt",
    "share": "%",
}


def quantity_of(
    value: float | None, unit_name: str | None, dimension: Dimension
) -> Quantity | None:
    """Return number and unit of a checked content as a quantity; None where there is none."""
    if value is None or unit_name is None:
        return None
    return Quantity(value, known_unit(unit_name, dimension))


def day(value: Any, what: str) -> dt.date | None:
    """Return a date from a date or from ISO text; None where it is left out."""
    if value is None or (isinstance(value, dt.date) and not isinstance(value, dt.datetime)):
        return value
    try:
        return dt.date.fromisoformat(value)
    except (TypeError, ValueError):
        raise InstallationError(f"{what} is {value!r}; write it as 2026-05-01") from None


def common(
    instrument: Any, resolution: Any, person: Any, note: Any, *, kind: str, unit: str | None
) -> Content:
    """Return what every reading holds beside its numbers; `resolution` is of `kind`, in `unit`."""
    what = "the instrument's resolution"
    return {
        "instrument": line(instrument, "the instrument"),
        "resolution": fine_enough(number_if(resolution, what, above=0), what, kind, unit),
        "person": line(person, "the person"),
        "note": line(note, "the note"),
    }


def again(builder: Callable[..., Content], content: Any) -> Content:
    """Check a content that was stored, by the function that built it.

    What this version does not know is refused, not passed over: it may change what the rest means.

    Raises
    ------
    InstallationError
        If the content is damaged, or holds what only another version of vibetrend knows.
    """
    if not isinstance(content, Mapping):
        raise InstallationError("it is no table")
    known = inspect.signature(builder).parameters
    if odd := [repr(key) for key in content if key not in known]:
        raise InstallationError(f"it holds {', '.join(odd)}, which is not known here")
    needed = [name for name, each in known.items() if each.default is inspect.Parameter.empty]
    if lacking := [repr(name) for name in needed if name not in content]:
        raise InstallationError(f"it lacks {', '.join(lacking)}")
    return builder(**content)
