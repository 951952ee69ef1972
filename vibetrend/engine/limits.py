"""The maker's limits, each with its unit and where it stands written."""

from collections.abc import Iterator, Mapping
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from vibetrend.engine.faults import ContradictionError
from vibetrend.errors import VibetrendError
from vibetrend.quantities import Dimension, unit

Number = Annotated[float, Field(strict=True, ge=0, allow_inf_nan=False)]
Above0 = Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)]
# One line of text that can stand in a message: no line feed, no terminal escape.
Line = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$"),
]


class Limit(BaseModel):
    """A limit: a target with the tolerance around it, a least or a greatest value, or both."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    value: Above0 | None = None  # to be reached
    tolerance: Number | None = None  # either way, in `unit`
    min: Number | None = None
    max: Above0 | None = None
    unit: Line
    source: Line  # e.g. "workshop manual, sheet 4"

    @model_validator(mode="after")
    def _makes_sense(self) -> Self:
        if self.value is None and self.min is None and self.max is None:
            raise ContradictionError(((), "there is no number; add value, min or max"))
        if self.tolerance is not None and self.value is None:
            raise ContradictionError(
                (("tolerance",), "a tolerance goes with value; write min and max instead")
            )
        if self.value is not None and self.tolerance is not None and self.tolerance >= self.value:
            raise ContradictionError(
                (("tolerance",), f"{self.tolerance:g} must be less than value, {self.value:g}")
            )
        low, high = self.low, self.high
        if low is not None and high is not None and low > high:
            raise ContradictionError(
                ((), f"the lower end, {low:g}, lies above the upper end, {high:g}; correct them")
            )
        return self

    @property
    def low(self) -> float | None:
        """The least value allowed, in `unit`; None where there is none."""
        if self.value is None or self.tolerance is None:
            return self.min
        low = self.value - self.tolerance
        return low if self.min is None else max(low, self.min)

    @property
    def high(self) -> float | None:
        """The greatest value allowed, in `unit`; None where there is none."""
        if self.value is None or self.tolerance is None:
            return self.max
        high = self.value + self.tolerance
        return high if self.max is None else min(high, self.max)

    @property
    def words(self) -> str:
        """The numbers with their unit: ``135 ± 5 lbf ft``, ``at most 0.06 in``."""
        said = []
        if self.value is not None:
            tolerance = "" if self.tolerance is None else f" ± {self.tolerance:g}"
            said.append(f"{self.value:g}{tolerance}")
        if self.min is not None:
            said.append(f"at least {self.min:g}")
        if self.max is not None:
            said.append(f"at most {self.max:g}")
        return f"{', '.join(said)} {self.unit}"


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

NAMES: Mapping[str, str] = {
    "runout": "run-out",  # of a surface
    "bolt_torque": "bolt torque",
    "bolt_angle": "bolt angle after the torque",
    "belt_tension_new": "belt tension as installed",
    "belt_tension_run_in": "belt tension after run-in",
    "mark_offset": "index marks apart",
    "element_recess": "rubber below the metal",
    "face_wobble": "face wobble of the ring",
    "casing_spread": "spread of casing thickness",
    "casing_thickness": "casing thickness",
    "fluid_viscosity_loss": "loss of viscosity",
}

# What should be nothing at all has only a greatest value; a target would judge nothing.
GREATEST_ONLY = frozenset(
    {
        *("runout", "mark_offset", "element_recess", "face_wobble", "casing_spread"),
        "fluid_viscosity_loss",
    }
)


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
    def _fit_their_kind(self) -> Self:
        faults = [
            ((*place, *inside), sentence)
            for place, limit in self.stated().items()
            for inside, sentence in _faults(place[0], limit)
        ]
        seen: set[str] = set()
        for surface in self.runout:
            if surface.casefold() in seen:
                faults.append(
                    (("runout", surface), "stands there twice, in other letters; leave one out")
                )
            seen.add(surface.casefold())
        if faults:
            raise ContradictionError(*faults)
        return self

    def stated(self) -> dict[tuple[str, ...], Limit]:
        """Return the limits there are, by key: ``("bolt_torque",)``, ``("runout", "rim")``."""
        found: dict[tuple[str, ...], Limit] = {}
        for name in DIMENSIONS:
            limit = getattr(self, name)
            if name == "runout":
                found |= {(name, surface): each for surface, each in limit.items()}
            elif limit is not None:
                found[name,] = limit
        return found


def _faults(name: str, limit: Limit) -> Iterator[tuple[tuple[str, ...], str]]:
    try:
        unit(limit.unit, DIMENSIONS[name])
    except VibetrendError as error:
        yield ("unit",), str(error)
    if name in GREATEST_ONLY and limit.high is None:
        number = limit.min if limit.value is None else limit.value
        yield (), f"only a greatest value makes sense here; write max = {number:g}"
