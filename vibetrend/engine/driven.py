"""What the engine drives: parts by belt or gear, a generator."""

import math
from collections.abc import Iterable
from typing import Annotated, Any, Self, TypeGuard

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo, model_validator
from pydantic_core import PydanticKnownError

from vibetrend.engine.contradictions import WITHIN
from vibetrend.engine.faults import ContradictionError
from vibetrend.engine.limits import Line


def _a_number(value: Any, info: ValidationInfo) -> Any:
    """Refuse what only looks like a number; an earlier version took it, so kept files may."""
    kept = bool(info.context and info.context["kept"])
    if isinstance(value, bool | str) and not kept:
        raise PydanticKnownError("float_type")
    return value


Positive = Annotated[float, BeforeValidator(_a_number), Field(gt=0, allow_inf_nan=False)]
Cylinder = Annotated[int, BeforeValidator(_a_number)]
Millimetres = Annotated[float, Field(strict=True, gt=0, le=1e5)]

_ONE_BELT = 1e-3  # share within which two parts' belts are one


class DrivenPart(BaseModel):
    """A belt- or gear-driven part, seen as a line at `ratio` orders.

    The ratio may be left out where both pulleys' diameters are stated.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: Line
    ratio: Positive  # turns per turn of the crank
    crank_pulley_mm: Millimetres | None = None  # diameter at which the belt runs
    pulley_mm: Millimetres | None = None  # of the part's own pulley
    belt_length_mm: Millimetres | None = None

    @model_validator(mode="before")
    @classmethod
    def _by_pulleys(cls, values: Any) -> Any:
        if not isinstance(values, dict) or "ratio" in values:
            return values
        crank, own = values.get("crank_pulley_mm"), values.get("pulley_mm")
        if not (_is_length(crank) and _is_length(own)):
            return values  # the fields say what is missing or no length
        return {**values, "ratio": crank / own}

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        faults = []
        crank, own, length = self.crank_pulley_mm, self.pulley_mm, self.belt_length_mm
        if own is not None and crank is None:
            faults.append((("pulley_mm",), "needs crank_pulley_mm, too; add it"))
        if length is not None and crank is None:
            faults.append((("belt_length_mm",), "needs crank_pulley_mm, too; add it"))
        if own is not None and crank is not None and abs(self.ratio * own / crank - 1) > WITHIN:
            faults.append(
                (
                    ("ratio",),
                    f"{self.ratio:g} and the pulleys, crank_pulley_mm {crank:g} / pulley_mm "
                    f"{own:g} = {crank / own:.3g}, do not agree within 3 %; correct one, or leave "
                    f"ratio out",
                )
            )
        around = math.pi * max(crank or 0.0, own or 0.0)
        if length is not None and length <= around:
            faults.append(
                (
                    ("belt_length_mm",),
                    f"{length:g} mm is too short: the larger pulley alone is {around:.0f} mm "
                    f"around; write it in mm",
                )
            )
        if faults:
            raise ContradictionError(*faults)
        return self

    @property
    def belt_order(self) -> float | None:
        """How often the belt goes round in a turn of the crank; None if it is not known."""
        if self.crank_pulley_mm is None or self.belt_length_mm is None:
            return None
        return math.pi * self.crank_pulley_mm / self.belt_length_mm


class Generator(BaseModel):
    """An alternator on the crank itself, whose governor holds one speed."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    poles: Annotated[int, Field(strict=True, ge=2, le=100, multiple_of=2)]
    frequency_hz: Annotated[float, Field(strict=True, ge=10, le=1000)]

    @property
    def governed_rpm(self) -> float:
        """120 f / poles: a pair of poles makes one cycle."""
        return 120 * self.frequency_hz / self.poles

    @property
    def electrical_orders(self) -> tuple[float, float]:
        """The electrical frequency and twice it, orders of the crank."""
        return self.poles / 2, float(self.poles)


def belt_lines(parts: Iterable[DrivenPart]) -> tuple[tuple[str, float], ...]:
    """Return name and order of each belt that passes: pi D / length, D of the crank's pulley.

    Parts on one belt have one line, called after the first of them.
    """
    found: list[tuple[str, float]] = []
    for part in parts:
        order = part.belt_order
        if order is not None and all(abs(order / each - 1) > _ONE_BELT for _, each in found):
            found.append((f"{part.name} belt", order))
    return tuple(found)


def _is_length(value: Any) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool) and value > 0
