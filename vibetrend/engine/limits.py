"""The maker's limits, each with its unit and where it stands written."""

from collections.abc import Mapping
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from vibetrend.quantities import Dimension, unit

Finite = Annotated[float, Field(strict=True, allow_inf_nan=False)]
# One line of text that can stand in a message: no line feed, no terminal escape.
Line = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$"),
]


class Limit(BaseModel):
    """A limit: a target with the tolerance around it, a least or a greatest value, or both."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    value: Finite | None = None  # to be reached
    tolerance: Annotated[Finite, Field(ge=0)] | None = None  # either way, in `unit`
    min: Finite | None = None
    max: Finite | None = None
    unit: Line
    source: Line  # e.g. "workshop manual, sheet 4"

    @model_validator(mode="after")
    def _makes_sense(self) -> Self:
        if self.value is None and self.min is None and self.max is None:
            raise ValueError("a limit needs value, min or max")
        if self.tolerance is not None and self.value is None:
            raise ValueError("tolerance belongs to value; write min and max instead")
        low, high = self.low, self.high
        if low is not None and high is not None and low > high:
            raise ValueError(f"the limit's lower end {low:g} lies above its upper end {high:g}")
        return self

    @property
    def low(self) -> float | None:
        """The least value allowed, in `unit`; None where there is none."""
        if self.value is None or self.tolerance is None:
            return self.min
        return max(self.value - self.tolerance, *([] if self.min is None else [self.min]))

    @property
    def high(self) -> float | None:
        """The greatest value allowed, in `unit`; None where there is none."""
        if self.value is None or self.tolerance is None:
            return self.max
        return min(self.value + self.tolerance, *([] if self.max is None else [self.max]))


DIMENSIONS: Mapping[str, Dimension] = {
    "runout": "length",
    "bolt_torque": "torque",
    "bolt_angle": "angle",
    "belt_tension_new": "force",
    "belt_tension_run_in": "force",
    "mark_offset": "length",
    "element_recess": "length",
    "face_wobble": "length",
    "casing_spread": "length",
    "casing_thickness": "length",
    "fluid_viscosity_loss": "share",
}


class Limits(BaseModel):
    """The maker's limits for one engine; what is not stated is not known."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    runout: dict[Line, Limit] = {}  # TIR, by surface: rim, face, pulley or any other
    bolt_torque: Limit | None = None
    bolt_angle: Limit | None = None  # after the torque, where the maker tightens by angle
    belt_tension_new: Limit | None = None  # as installed
    belt_tension_run_in: Limit | None = None
    mark_offset: Limit | None = None  # rubber: hub mark to ring mark, along the rim
    element_recess: Limit | None = None  # rubber: below the metal
    face_wobble: Limit | None = None  # rubber: of the ring's face, TIR
    casing_spread: Limit | None = None  # viscous: greatest less least thickness
    casing_thickness: Limit | None = None  # viscous: at any point
    fluid_viscosity_loss: Limit | None = None  # viscous: share lost since new

    @model_validator(mode="after")
    def _units_fit(self) -> Self:
        for name, dimension in DIMENSIONS.items():
            found = getattr(self, name)
            each = found.values() if name == "runout" else [found]
            for limit in each:
                if limit is not None:
                    unit(limit.unit, dimension)
        return self
