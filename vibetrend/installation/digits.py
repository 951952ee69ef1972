"""Quantities as text: in the unit a person wants, with no more digits than were read."""

import math
from collections.abc import Sequence
from decimal import Decimal

from vibetrend.engine import Limit
from vibetrend.quantities import Quantity, ShownUnits, Unit, unit

_MOST_DECIMALS = 6  # of computed readings, whose last decimal means nothing
FEWEST = 3  # significant digits of what was converted and whose step is not known


def told(quantity: Quantity, shown: ShownUnits, step: Quantity | None = None) -> str:
    """Return a quantity with its unit, to the step it is known to; else as it was written."""
    found = shown.of(quantity)
    if step is not None and step.value > 0:
        return with_unit(_to_step(found.value, step.to(found.unit).value), found.unit)
    digits = 6 if found.unit == quantity.unit else max(FEWEST, _written_digits(quantity.value))
    return with_unit(plain(f"{found.value:.{digits}g}"), found.unit)


def with_error(quantity: Quantity, error: Quantity, shown: ShownUnits) -> str:
    """Return a quantity and its standard error, both to the first digit of the error."""
    found, doubt = shown.of(quantity), shown.of(error)
    step = first_digit(doubt).value
    value, around = (_to_step(each.value, step) for each in (found, doubt))
    return with_unit(f"{value} ± {around}", found.unit)


def first_digit(error: Quantity) -> Quantity:
    """Return the place of an error's first digit: 0.01 for 0.023."""
    return Quantity(10.0 ** math.floor(math.log10(error.value)), error.unit)


def about(quantity: Quantity, shown: ShownUnits) -> str:
    """Return a quantity with three digits."""
    found = shown.of(quantity)
    return with_unit(plain(f"{found.value:.{FEWEST}g}"), found.unit)


def as_written(quantity: Quantity) -> str:
    """Return a quantity in the unit it was written in."""
    return with_unit(plain(f"{quantity.value:.6g}"), quantity.unit)


def of_limit(ends: Sequence[float], limit: Limit, shown: ShownUnits, *, unlike: str = "") -> str:
    """Return one or both ends of a limit, with more digits where they would read `unlike`."""
    written = unit(limit.unit)
    wanted = shown.of(Quantity(1.0, written)).unit
    text = ""
    for digits in (6, 7) if wanted == written else range(FEWEST, 8):
        values = (Quantity(end, written).to(wanted).value for end in ends)
        text = with_unit(" to ".join(plain(f"{value:.{digits}g}") for value in values), wanted)
        if text != unlike:
            break
    return text


def with_unit(number: str, one: Unit) -> str:
    """Return a number and its unit; degrees as a sign."""
    return f"{number}°" if one.name == "deg" else f"{number} {one.name}"


def plain(text: str) -> str:
    """Return a number without powers of ten."""
    return f"{float(text):.0f}" if "e+" in text else text


def written_step(values: tuple[float, ...]) -> float:
    """Return the last decimal that some value was written to, at most 1."""
    exponents = [Decimal(repr(value)).normalize().as_tuple().exponent for value in values]
    return 10.0 ** min(0, *(each for each in exponents if isinstance(each, int)))


def _to_step(value: float, step: float) -> str:
    decimals = min(max(0, math.ceil(-math.log10(step) - 1e-9)), _MOST_DECIMALS)
    return f"{value:z.{decimals}f}"


def _written_digits(value: float) -> int:
    return len(Decimal(f"{value:.6g}").normalize().as_tuple().digits)
