"""A reading held against the maker's limit, in whatever units the two were written."""

from dataclasses import dataclass
from typing import Literal

from vibetrend.engine import Limit
from vibetrend.installation.digits import written_step
from vibetrend.quantities import Quantity, unit

State = Literal["within", "beyond", "at-limit", "limit-unknown", "information"]
Side = Literal["below", "above", ""]

_ROUNDING = 1e-9  # relative: 0.060 in written as 1.524 mm is the same


@dataclass(frozen=True)
class Judgement:
    """Where a reading stands."""

    state: State
    side: Side = ""  # of the limit, where it is beyond, or lies there but too near to tell


def judged(
    quantity: Quantity,
    limit: Limit | None,
    *,
    resolution: Quantity | None = None,
    standard_error: Quantity | None = None,
) -> Judgement:
    """Return where a reading stands against a limit.

    Nearer to a limit than the instrument's resolution, or than twice the standard error, is
    ``at-limit``: too close to tell. Where neither is known, exactly on the limit is within it, as
    is what only the rounding of another unit moves off it (:func:`same_figure`). A value without
    tolerance and without ends is reached within that much.

    Parameters
    ----------
    quantity : Quantity
        The reading.
    limit : Limit, optional
        In any unit of the same dimension; None is ``limit-unknown``.
    resolution, standard_error : Quantity, optional
        What is known of the reading's error.
    """
    if limit is None:
        return Judgement("limit-unknown")
    factor = unit(limit.unit, quantity.unit.dimension).factor
    doubt = max(
        0.0 if resolution is None else resolution.si,
        0.0 if standard_error is None else 2 * standard_error.si,
    )
    ends: list[tuple[float, Side]] = []
    if limit.low is not None:
        ends.append((limit.low, "below"))
    if limit.high is not None:
        ends.append((limit.high, "above"))
    if not ends and limit.value is not None:
        off = quantity.si - limit.value * factor
        if abs(off) <= doubt or same_figure(quantity, limit.value, limit):
            return Judgement("within")
        return Judgement("beyond", "below" if off < 0 else "above")
    found = Judgement("within")
    for end, side in ends:
        past = end * factor - quantity.si if side == "below" else quantity.si - end * factor
        rounding = _ROUNDING * max(abs(end * factor), abs(quantity.si))
        lies_past = past > 0 and not same_figure(quantity, end, limit)
        if lies_past and past > doubt - rounding:
            return Judgement("beyond", side)
        if abs(past) < doubt - rounding:
            found = Judgement("at-limit", side if lies_past else found.side)
    return found


def same_figure(quantity: Quantity, number: float, limit: Limit) -> bool:
    """Say whether a reading and a number of a limit are one figure, written in two units.

    Makers round when they convert: 0.080 in is 2.032 mm, and their tables say 2.03 mm. So what is
    nearer than half the last digit of both is the same.
    """
    written = unit(limit.unit, quantity.unit.dimension)
    off = abs(quantity.si - number * written.factor)
    steps = (
        written_step((float(f"{number:.9g}"),)) * written.factor,
        written_step((float(f"{quantity.value:.9g}"),)) * quantity.unit.factor,
    )
    rounding = _ROUNDING * max(abs(number * written.factor), abs(quantity.si))
    return off <= max(rounding, min(steps) / 2)
