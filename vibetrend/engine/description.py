"""What is looked after: the engine, its damper, and all that its file may say."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    model_validator,
)

from vibetrend import toml
from vibetrend.engine.contradictions import contradictions
from vibetrend.engine.crank import Crank, Inertia, LossFactor, Stiffness
from vibetrend.engine.driven import Cylinder, DrivenPart, Generator, Positive, belt_lines
from vibetrend.engine.faults import ContradictionError, Tables, fault_words
from vibetrend.engine.limits import Limit, Limits, Line
from vibetrend.errors import EngineError

Degrees = Annotated[float, Field(strict=True, ge=0, le=720)]


class Damper(BaseModel):
    """The crankshaft vibration damper and when its maker says to renew it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    type: Literal["rubber", "viscous", "other", "unknown"] = "unknown"
    renew_hours: Annotated[Positive, Field(le=1e6)] | None = None
    renew_years: Annotated[Positive, Field(le=100)] | None = None
    renew_source: Line | None = None  # where the maker says so
    # For the model of the crank's twist; the hub turns with the crank, the ring against it.
    hub_inertia_kg_m2: Inertia | None = None
    ring_inertia_kg_m2: Inertia | None = None
    ring_stiffness_nm_rad: Stiffness | None = None
    ring_loss_factor: LossFactor | None = None  # rubber
    ring_damping_nm_s_rad: Annotated[Positive, Field(le=1e9)] | None = None  # viscous
    stiffness_percent_per_c: Annotated[Positive, Field(le=10)] | None = None  # lost when warmer


class Engine(BaseModel):
    """An engine as its file describes it; read one with `load` or `parse`."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: Line
    cylinders: Annotated[int, Field(strict=True, ge=1, le=24)]
    strokes: Literal[2, 4] = 4
    firing_order: tuple[Cylinder, ...] | None = None
    # From one firing to the next, the last one back to the first.
    firing_intervals_deg: tuple[Degrees, ...] | None = None
    layout: Literal["inline", "vee"] = "inline"
    bank_angle_deg: Annotated[Positive, Field(lt=360)] | None = None
    pins: Literal["shared", "split"] | None = None  # of a vee: two rods on one crank pin, or not
    # Of a vee: cylinders 1 and 2 share a throw, or 1 to N/2 stand in one bank, counted from the
    # front in either case.
    bank_numbering: Literal["across", "along"] | None = None
    idle_rpm: Positive | None = None
    fast_idle_rpm: Positive | None = None
    rated_rpm: Positive | None = None
    mounts: Literal["rigid", "resilient", "unknown"] = "unknown"
    # The rise that matters: a smaller one than 1 dB is within what placements differ by.
    limit_db: Annotated[float, Field(strict=True, ge=1, le=60)] | None = None
    # Rms, below it an order does not matter.
    small_velocity_mm_s: Annotated[float, Field(strict=True, gt=0, le=1000)] | None = None
    driven: tuple[DrivenPart, ...] = ()
    generator: Generator | None = None
    damper: Damper = Damper()
    crankshaft: Crank = Crank()
    limits: Limits = Limits()

    @model_validator(mode="after")
    def _fits_together(self, info: ValidationInfo) -> Self:
        kept = bool(info.context and info.context["kept"])
        if faults := list(contradictions(self, kept=kept)):
            raise ContradictionError(*faults)
        return self

    @classmethod
    def load(cls, path: str | Path) -> Self:
        """Read an engine file.

        Raises
        ------
        EngineError
            If the file cannot be read or a value in it is wrong; names file, key and line.
        """
        return cls.parse(read_text(path), where=str(path))

    @classmethod
    def parse(cls, text: str, *, where: str = "engine file", kept: bool = False) -> Self:
        """Return the engine that TOML text describes; `where` names it in errors.

        `kept` text was taken by an earlier version: what that version let pass is no error now.

        Raises
        ------
        EngineError
            If the text is no TOML or a value in it is wrong; names key and line.
        """
        try:
            values = toml.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise EngineError(f"{where}: not valid TOML: {error}; correct that line") from error
        try:
            return cls.model_validate(values, context={"kept": kept})
        except ValidationError as error:
            raise EngineError(f"{where}: {fault_words(error, _TABLES, text=text)}") from error

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Self:
        """Return the engine that values describe, named and nested as in its file.

        Raises
        ------
        EngineError
            If one is wrong; names its key.
        """
        try:
            return cls.model_validate(values)
        except ValidationError as error:
            raise EngineError(fault_words(error, _TABLES)) from error

    @property
    def firing_order_number(self) -> float:
        """Firings per turn of the crank: the order of the firing frequency."""
        return 2 * self.cylinders / self.strokes

    @property
    def belt_lines(self) -> tuple[tuple[str, float], ...]:
        """Name and order of each belt whose length is known: ``("alternator belt", 0.47)``."""
        return belt_lines(self.driven)

    @property
    def usual_rpm(self) -> float | None:
        """The speed it is recorded at: a generator set's governed speed, else its fast idle."""
        return self.fast_idle_rpm if self.generator is None else self.generator.governed_rpm


_TABLES: Tables = {
    "": Engine,
    "driven": DrivenPart,
    "generator": Generator,
    "damper": Damper,
    "crankshaft": Crank,
    "limits": Limits,
    "limits.*": Limit,
    "limits.runout.*": Limit,
}


def read_text(path: str | Path) -> str:
    """Return the text of an engine file.

    Raises
    ------
    EngineError
        If it cannot be read.
    """
    try:
        return Path(path).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise EngineError(
            f"{path}: the engine file cannot be read ({_reason(error)}); "
            f"give the path of a TOML text file"
        ) from error


def _reason(error: Exception) -> str:
    return (
        (error.strerror or "unreadable") if isinstance(error, OSError) else "it is not UTF-8 text"
    )
