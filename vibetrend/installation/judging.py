"""A reading held against the maker's limit, in whatever units the two were written."""

from dataclasses import dataclass
from typing import Literal

from vibetrend.engine import Limit
from vibetrend.quantities import Quantity, unit

State = Literal["within", "beyond", "at-limit", "limit-unknown", "information"]
Side = Literal["below", "above", ""]

_ROUNDING = 1e-9  # relative: 0.060 in written as 1.524 mm is the same


@dataclass(frozen=True)
class Judgement:
    """Where a reading stands."""

    state: State
    side: Side = ""  # of the limit, where it is beyond


def judged(
    quantity: Quantity,
    limit: Limit | None,
    *,
    resolution: Quantity | None = None,
    standard_error: Quantity | None = None,
) -> Judgement:
    """Return where a reading stands against a limit.

    Nearer to a limit than the instrument's resolution, or than twice the standard error, is
    ``at-limit``: too close to tell. Where neither is known, exactly on the limit is within it. A
    value without tolerance and without ends is reached within that much.

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
        ends.append((limit.low * factor, "below"))
    if limit.high is not None:
        ends.append((limit.high * factor, "above"))
    if not ends and limit.value is not None:
        return _reached(quantity.si, limit.value * factor, doubt)
    near = False
    for end, side in ends:
        past = end - quantity.si if side == "below" else quantity.si - end
        rounding = _ROUNDING * max(abs(end), abs(quantity.si))
        if past > max(rounding, doubt - rounding):
            return Judgement("beyond", side)
        near |= abs(past) < doubt - rounding
    return Judgement("at-limit" if near else "within")


def _reached(value: float, wanted: float, doubt: float) -> Judgement:
    """Judge against a value without tolerance."""
    off = value - wanted
    if abs(off) <= max(doubt, _ROUNDING * abs(wanted)):
        return Judgement("within")
    return Judgement("beyond", "below" if off < 0 else "above")
