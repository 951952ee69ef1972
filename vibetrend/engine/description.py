"""What is looked after: the engine, its damper and the parts it drives."""

import re
import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
    model_validator,
)

from vibetrend.engine.limits import Limits
from vibetrend.errors import EngineError

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
# One line of text that can stand in a message: no line feed, no terminal escape.
Name = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$"),
]


class _Described(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class DrivenPart(_Described):
    """A belt- or gear-driven part, seen as a line at `ratio` orders."""

    name: Name
    ratio: Positive  # turns per turn of the crank


class Damper(_Described):
    """The crankshaft vibration damper and when its maker says to renew it."""

    type: Literal["rubber", "viscous", "other", "unknown"] = "unknown"
    renew_hours: Annotated[Positive, Field(le=1e6)] | None = None
    renew_years: Annotated[Positive, Field(le=100)] | None = None


class Engine(_Described):
    """An engine as its file describes it; read one with `load` or `parse`."""

    name: Name
    cylinders: Annotated[int, Field(strict=True, ge=1, le=24)]
    strokes: Literal[2, 4] = 4
    firing_order: tuple[int, ...] | None = None
    layout: Literal["inline", "vee"] = "inline"
    bank_angle_deg: Annotated[float, Field(gt=0, lt=360)] | None = None
    idle_rpm: Positive | None = None
    fast_idle_rpm: Positive | None = None
    rated_rpm: Positive | None = None
    # The rise that matters: a smaller one than 1 dB is within what placements differ by.
    limit_db: Annotated[float, Field(strict=True, ge=1, le=60)] | None = None
    # Rms, below it an order does not matter.
    small_velocity_mm_s: Annotated[float, Field(strict=True, gt=0, le=1000)] | None = None
    driven: tuple[DrivenPart, ...] = ()
    damper: Damper = Damper()
    limits: Limits = Limits()

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        order = self.firing_order
        if order is not None and sorted(order) != list(range(1, self.cylinders + 1)):
            raise ValueError(
                f"firing_order {list(order)} must name each cylinder from 1 to "
                f"{self.cylinders} exactly once"
            )
        if self.layout == "vee" and self.bank_angle_deg is None:
            raise ValueError("layout 'vee' needs bank_angle_deg, the angle between the banks")
        names = [part.name for part in self.driven]
        if len(set(names)) < len(names):
            raise ValueError("two driven parts have the same name; give each its own")
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
    def parse(cls, text: str, *, where: str = "engine file") -> Self:
        """Return the engine that TOML text describes; `where` names it in errors.

        Raises
        ------
        EngineError
            If the text is no TOML or a value in it is wrong; names key and line.
        """
        try:
            values = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise EngineError(f"{where}: not valid TOML: {error}; correct that line") from error
        try:
            return cls.model_validate(values)
        except ValidationError as error:
            raise EngineError(f"{where}: {_faults(error, text)}") from error

    @property
    def firing_order_number(self) -> float:
        """Firings per turn of the crank: the order of the firing frequency."""
        return 2 * self.cylinders / self.strokes


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


_KEYS = {
    "": Engine.model_fields,
    "driven": DrivenPart.model_fields,
    "damper": Damper.model_fields,
}


def _reason(error: Exception) -> str:
    return (
        (error.strerror or "unreadable") if isinstance(error, OSError) else "it is not UTF-8 text"
    )


def _faults(error: ValidationError, text: str | None = None) -> str:
    """Return every fault as plain words, with the key and where possible its line."""
    return "; ".join(_fault(fault, text) for fault in error.errors())


def _fault(fault: Any, text: str | None) -> str:
    path = [str(step) for step in fault["loc"]]
    key = ".".join(path)
    if path[:1] == ["driven"] and len(path) > 1:
        key = ", ".join([f"driven part {int(path[1]) + 1}", *path[2:]])
    line = _line_of(path, text)
    place = f"line {line}: {key}" if line else key
    match fault["type"]:
        case "missing":
            return f"{key} is missing; add it"
        case "extra_forbidden":
            known = list(_KEYS[path[0] if len(path) > 1 else ""])
            near = get_close_matches(path[-1], known, n=1)
            hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}"
            return f"{place} is not a known key; {hint}"
        case "model_type":
            return f"{place} is {fault['input']!r}: write it as a table, [{path[0]}]"
        case "string_pattern_mismatch":
            return f"{place} is {fault['input']!r}: line feeds and control characters are no name"
        case "value_error":
            return str(fault["ctx"]["error"])
        case _:
            return f"{place} is {fault['input']!r}: {fault['msg'][0].lower()}{fault['msg'][1:]}"


def _line_of(path: list[str], text: str | None) -> int | None:
    """Find the line of a key by its table; good enough to point a person at it."""
    if text is None:
        return None
    names = [step for step in path if not step.isdigit()]
    if not names:
        return None
    index = next((int(step) for step in path if step.isdigit()), 0)
    table, key, seen = "", names[-1], -1
    for number, line in enumerate(text.splitlines(), start=1):
        if header := re.match(r"\s*\[+\s*([\w.]+)\s*\]+", line):
            table = header[1]
            seen += table == names[0]
        elif re.match(rf"\s*{re.escape(key)}\s*=", line) and (
            (len(names) == 1 and not table) or (table == names[0] and seen == index)
        ):
            return number
    return None
