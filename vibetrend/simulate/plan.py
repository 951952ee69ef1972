"""The demo's plan: which file was recorded when, on which engine, as `demo.toml` lists it."""

import datetime as dt
import tomllib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from pydantic.dataclasses import dataclass

from vibetrend.simulate.errors import SimulateError

PLAN_NAME = "demo.toml"

_STRICT = ConfigDict(extra="forbid")
_Text = Annotated[str, Field(min_length=1)]
_Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
_Hours = Annotated[float, Field(ge=0, allow_inf_nan=False)]
_Files = Annotated[tuple[Path, ...], Field(min_length=1)]


@dataclass(frozen=True, kw_only=True, config=_STRICT)
class PlannedInstallation:
    """The damper whose time on the engine the recordings belong to."""

    date: dt.date
    hours: _Hours  # engine hours
    as_found: bool  # the damper was already there: its own age is not known
    note: str = ""


@dataclass(frozen=True, kw_only=True, config=_STRICT)
class PlannedVisit:
    """Recordings of one kind at one check-up of an engine; what holds for all of them."""

    visit: _Text
    date: dt.date
    hours: _Hours  # engine hours
    baseline: bool
    manner: Literal["steady", "run-up", "coast-down"] = "steady"
    rpm: _Positive  # as the person states it; of a sweep, at its start
    end_rpm: _Positive | None = None  # of a sweep
    damper_c: float | None = None  # of the damper's ring, degrees Celsius
    position: _Text
    device: _Text
    condition: _Text
    files: _Files  # in the order they were recorded


@dataclass(frozen=True, kw_only=True, config=_STRICT)
class PlannedEngine:
    """One engine with all its check-ups, oldest first."""

    name: _Text
    file: Path  # its engine file
    installation: PlannedInstallation
    visits: Annotated[tuple[PlannedVisit, ...], Field(min_length=1)]


@dataclass(frozen=True, kw_only=True, config=_STRICT)
class DemoPlan:
    """Everything in a demo folder."""

    note: _Text  # says that the data is invented
    seed: int
    engines: Annotated[tuple[PlannedEngine, ...], Field(min_length=1)]


def read_plan(path: str | Path) -> DemoPlan:
    """Read a demo's plan; `path` is the file or the folder it lies in.

    Every path in the result leads from where `path` starts, and its file exists.

    Raises
    ------
    SimulateError
        If the plan cannot be read, a value in it is wrong, a check-up is older than the one before
        it, or a file it names is missing.
    """
    path = Path(path)
    if path.is_dir():
        path = path / PLAN_NAME
    try:
        plan = TypeAdapter(DemoPlan).validate_python(tomllib.loads(path.read_text("utf-8")))
    except OSError as error:
        raise SimulateError(
            f"{path}: the demo's plan cannot be read ({error.strerror}); give the folder that "
            f"'vibetrend simulate --demo' has written"
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SimulateError(f"{path}: not valid TOML: {error}; correct that line") from error
    except ValidationError as error:
        faults = "; ".join(_fault(fault) for fault in error.errors())
        raise SimulateError(f"{path}: {faults}; correct the plan") from error
    for engine in plan.engines:
        _check_order(path, engine)
    return replace(plan, engines=tuple(_found(path, engine) for engine in plan.engines))


def _fault(fault: Any) -> str:
    """Name key and fault, e.g. "engines 1, visits 3, hours: field required"."""
    words: list[str] = []
    for step in fault["loc"]:
        if isinstance(step, int):
            words[-1] += f" {step + 1}"
        else:
            words.append(str(step))
    return f"{', '.join(words)}: {fault['msg'][0].lower()}{fault['msg'][1:]}"


def _check_order(path: Path, engine: PlannedEngine) -> None:
    marks = [(engine.installation.date, engine.installation.hours, "the installation")]
    marks += [(visit.date, visit.hours, f"check-up {visit.visit!r}") for visit in engine.visits]
    for (date, hours, name), (next_date, next_hours, next_name) in pairwise(marks):
        if next_date < date or next_hours < hours:
            raise SimulateError(
                f"{path}: engine {engine.name!r}: {next_name} ({next_date}, {next_hours:g} h) is "
                f"earlier than {name} ({date}, {hours:g} h); list them oldest first"
            )


def _found(path: Path, engine: PlannedEngine) -> PlannedEngine:
    folder = path.parent

    def complete(name: Path) -> Path:
        if not (folder / name).is_file():
            raise SimulateError(
                f"{path}: engine {engine.name!r}: the file {name.as_posix()!r} is missing; "
                f"copy the whole folder, or make it anew with 'vibetrend simulate --demo'"
            )
        return folder / name

    visits = (
        replace(visit, files=tuple(complete(file) for file in visit.files))
        for visit in engine.visits
    )
    return replace(engine, file=complete(engine.file), visits=tuple(visits))
