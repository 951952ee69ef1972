"""Quantities as text: in the unit a person wants, with no more digits than were read."""

import math
from collections.abc import Sequence
from decimal import Decimal

from vibetrend.engine import Limit
from vibetrend.quantities import Quantity, ShownUnits, Unit, unit

_MOST_DECIMALS = 6  # of computed readings, whose last decimal means nothing
_FINEST = -12  # power of ten: nobody writes more decimals; what is finer is the computer's
_MOST_MORE = 5  # digits given beyond the usual
FEWEST = 3  # significant digits of what was converted and whose step is not known


def told(quantity: Quantity, shown: ShownUnits, step: Quantity | None = None) -> str:
    """Return a quantity with its unit, to the step it is known to; else as it was written."""
    return with_unit(_number(quantity, shown, step), shown.of(quantity).unit)


def told_beside(
    quantity: Quantity,
    step: Quantity | None,
    ends: Sequence[float],
    limit: Limit,
    shown: ShownUnits,
) -> tuple[str, str]:
    """Return a reading and ends of its limit, with digits enough to see on which side it lies.

    Where the usual digits show both alike, or the other way round, the limit is given more of
    them, and then the reading.
    """
    factor, wanted = unit(limit.unit).factor, shown.of(quantity).unit
    truth = [_order(quantity.si, end * factor) for end in ends]
    extra = [(ours, theirs) for ours in range(_MOST_MORE) for theirs in range(_MOST_MORE)]
    for ours, theirs in extra:
        value = _number(quantity, shown, step, more=ours)
        each = [_of_end(end, limit, shown, more=theirs) for end in ends]
        if [_order(float(value), float(end)) for end in each] == truth:
            return with_unit(value, wanted), with_unit(" to ".join(each), wanted)
    return told(quantity, shown, step), of_limit(ends, limit, shown)


def _order(one: float, other: float) -> int:
    return 0 if math.isclose(one, other) else int(math.copysign(1, one - other))


def decimals_told(quantity: Quantity, shown: ShownUnits) -> int:
    """Return the decimals that a quantity is shown with where its step is not known."""
    return len(_number(quantity, shown, None).partition(".")[2])


def _number(quantity: Quantity, shown: ShownUnits, step: Quantity | None, *, more: int = 0) -> str:
    found = shown.of(quantity)
    if step is not None and step.value > 0:
        return _to_step(found.value, step.to(found.unit).value, more)
    digits = 6 if found.unit == quantity.unit else max(FEWEST, _written_digits(quantity.value))
    return plain(f"{found.value:.{digits + more}g}")


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


def of_limit(ends: Sequence[float], limit: Limit, shown: ShownUnits) -> str:
    """Return one or both ends of a limit: as written, or three digits of what was converted."""
    wanted = shown.of(Quantity(1.0, unit(limit.unit))).unit
    return with_unit(" to ".join(_of_end(end, limit, shown) for end in ends), wanted)


def _of_end(end: float, limit: Limit, shown: ShownUnits, *, more: int = 0) -> str:
    written = Quantity(end, unit(limit.unit))
    found = shown.of(written)
    digits = 6 if found.unit == written.unit else FEWEST
    return plain(f"{found.value:.{digits + more}g}")


def with_unit(number: str, one: Unit) -> str:
    """Return a number and its unit; degrees as a sign."""
    return f"{number}°" if one.name == "deg" else f"{number} {one.name}"


def plain(text: str) -> str:
    """Return a number without powers of ten."""
    return f"{float(text):.0f}" if "e+" in text else text


def written_step(values: tuple[float, ...]) -> float:
    """Return the last decimal that some value was written to, at most 1."""
    exponents = [Decimal(repr(value)).normalize().as_tuple().exponent for value in values]
    return 10.0 ** max(_FINEST, min(0, *(each for each in exponents if isinstance(each, int))))


def decimals(step: float) -> int:
    """Return the decimals to show of what is known to a step."""
    return max(math.ceil(-math.log10(step) - 1e-9), 0)


def _to_step(value: float, step: float, more: int = 0) -> str:
    return f"{value:z.{min(decimals(step), _MOST_DECIMALS) + more}f}"


def _written_digits(value: float) -> int:
    return len(Decimal(f"{value:.6g}").normalize().as_tuple().digits)
