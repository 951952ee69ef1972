"""One reading of the record, with the limit it is held against."""

import datetime as dt
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from vibetrend.engine import Limit, Limits
from vibetrend.installation.belts import Belt, belt_content, belt_of
from vibetrend.installation.bolts import Bolt, bolt_content, bolt_of
from vibetrend.installation.entered import Content, again
from vibetrend.installation.judging import Judgement, Side, State, judged
from vibetrend.installation.marks import Mark, mark_content, mark_of
from vibetrend.installation.runout import RunOut, runout_content, runout_of
from vibetrend.installation.viscous import (
    Casing,
    Fluid,
    casing_content,
    casing_of,
    fluid_content,
    fluid_of,
)
from vibetrend.quantities import Quantity, unit

ReadingKind = Literal["runout", "bolt", "belt", "mark", "casing", "fluid"]
Details = RunOut | Belt | Bolt | Mark | Casing | Fluid


class Entry(Protocol):
    """An entry as the logbook hands it out."""

    @property
    def id(self) -> int:
        """Number of the entry."""

    @property
    def kind(self) -> str:
        """E.g. ``runout``."""

    @property
    def date(self) -> dt.date:
        """Day it was read."""

    @property
    def content(self) -> Mapping[str, Any]:
        """What was entered."""

    @property
    def added_at(self) -> str:
        """When it was entered."""


STAGE_WORDS = {"as-installed": "as installed", "after-run-in": "after run-in"}
"""How a stage is named; the others as they are."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One reading; an entry may hold two, such as torque and angle of a bolt."""

    entry_id: int
    kind: ReadingKind
    name: str  # surface, bolt, belt, key of `MARKS`, "casing" or "fluid"
    what: str  # "TIR", "torque", "angle", "tension", "offset", "recess", "wobble", "spread",
    # "greatest thickness", "least thickness" or "viscosity loss"
    date: dt.date
    stage: str  # "as-installed", "after-run-in", "re-check" or ""
    quantity: Quantity | None  # what is held against the limit, as it was read
    standard_error: Quantity | None
    limit: Limit | None
    limit_added_later: bool  # the limit was not in the engine file when the damper was fitted
    state: State
    side: Side  # of the limit, where it is "beyond", or there and "at-limit": too near to tell
    details: Details
    instrument: str
    resolution: Quantity | None  # in the unit of `quantity`; of a belt's frequency in `details`
    person: str
    note: str
    added_at: str


@dataclass(frozen=True, kw_only=True)
class _Held:
    """What of an entry is held against which limit."""

    name: str
    what: str
    quantity: Quantity | None
    limit: Callable[[Limits], Limit | None]
    resolution: float | None = None  # in the unit of `quantity`
    error: Quantity | None = None
    stage: str = ""
    judge: bool = True


def readings_of(entry: Entry, *, limits_then: Limits, limits_now: Limits) -> tuple[Reading, ...]:
    """Return the readings that an entry holds, judged.

    Parameters
    ----------
    entry : Entry
        Of a kind in `READING_KINDS`.
    limits_then, limits_now : Limits
        Those of the engine file when the damper was fitted, and now. The former decide; a limit
        that they lack may have been written in since.

    Raises
    ------
    InstallationError
        If the entry's content is damaged, or another version's.
    """
    builder, reader = _KINDS[entry.kind]
    content = again(builder, entry.content)
    details = reader(content)
    found = (
        _reading(entry, content, details, held, limits_then, limits_now)
        for held in _held(content, details)
    )
    # The least thickness of a casing is of interest only where the maker allows no less.
    return tuple(each for each in found if each.what != "least thickness" or _has_least(each))


def _reading(
    entry: Entry, content: Content, details: Details, held: _Held, then: Limits, now: Limits
) -> Reading:
    resolution = None
    if held.resolution is not None and held.quantity is not None:
        resolution = Quantity(held.resolution, held.quantity.unit)
    limit, later = held.limit(then), False
    if limit is None:
        limit = held.limit(now)
        later = limit is not None
    judgement = Judgement("information")
    if held.quantity is not None and held.judge:
        judgement = judged(held.quantity, limit, resolution=resolution, standard_error=held.error)
        if judgement.state == "within" and above_between_stations(details, limit):
            judgement = Judgement("at-limit")
    return Reading(
        entry_id=entry.id,
        kind=entry.kind,  # type: ignore[arg-type]  # one of `_KINDS`
        name=held.name,
        what=held.what,
        date=entry.date,
        stage=held.stage,
        quantity=held.quantity,
        standard_error=held.error,
        limit=limit,
        limit_added_later=later,
        state=judgement.state,
        side=judgement.side,
        details=details,
        instrument=content["instrument"],
        resolution=resolution,
        person=content["person"],
        note=content["note"],
        added_at=entry.added_at,
    )


def _held(content: Content, details: Details) -> Iterator[_Held]:
    resolution = content["resolution"]
    match details:
        case RunOut():
            length, error = unit(details.unit), details.tir_standard_error
            yield _Held(
                name=content["surface"],
                what="TIR",
                quantity=Quantity(details.tir, length),
                limit=lambda limits: _of_surface(limits, content["surface"]),
                resolution=resolution,
                error=None if math.isnan(error) else Quantity(error, length),
            )
        case Bolt():
            stage = "re-check" if details.recheck else "as-installed"
            yield _Held(
                name=details.name,
                what="torque",
                quantity=details.torque,
                limit=lambda limits: limits.bolt_torque,
                resolution=resolution,
                stage=stage,
            )
            if details.angle is not None:
                yield _Held(
                    name=details.name,
                    what="angle",
                    quantity=details.angle,
                    limit=lambda limits: limits.bolt_angle,
                    stage=stage,
                )
        case Belt():
            new = details.stage == "as-installed"
            yield _Held(
                name=details.name,
                what="tension",
                quantity=details.tension,
                limit=lambda limits: limits.belt_tension_new if new else limits.belt_tension_run_in,
                resolution=resolution if details.by == "gauge" else None,
                error=details.standard_error,
                stage=details.stage,
                judge=not details.automatic_tensioner,
            )
        case Mark():
            what, limit = _MARK_LIMITS[details.what]
            size = abs(details.value.value) if what == "offset" else details.value.value
            yield _Held(
                name=details.what,
                what=what,
                quantity=Quantity(size, details.value.unit),
                limit=limit,
                resolution=resolution,
            )
        case Casing():
            yield _Held(
                name="casing",
                what="spread",
                quantity=details.spread,
                limit=lambda limits: limits.casing_spread,
                resolution=resolution,
            )
            for what, quantity in (
                ("greatest thickness", details.greatest),
                ("least thickness", details.least),
            ):
                yield _Held(
                    name="casing",
                    what=what,
                    quantity=quantity,
                    limit=lambda limits: limits.casing_thickness,
                    resolution=resolution,
                )
        case Fluid():
            yield _Held(
                name="fluid",
                what="viscosity loss",
                quantity=details.viscosity_loss,
                limit=lambda limits: limits.fluid_viscosity_loss,
                resolution=resolution,
            )


def above_between_stations(details: Details, limit: Limit | None) -> bool:
    """Say whether the eccentricity alone lies above a run-out limit, which stations can miss."""
    if not isinstance(details, RunOut) or limit is None or limit.high is None:
        return False
    eccentric = Quantity(details.eccentric_tir, unit(details.unit))
    return judged(eccentric, limit).side == "above"


def _has_least(reading: Reading) -> bool:
    return reading.limit is not None and reading.limit.low is not None


def _of_surface(limits: Limits, surface: str) -> Limit | None:
    """Return the limit of a surface, whatever letters its name is written in."""
    wanted = surface.casefold()
    return next((limit for name, limit in limits.runout.items() if name.casefold() == wanted), None)


_MARK_LIMITS: dict[str, tuple[str, Callable[[Limits], Limit | None]]] = {
    "index-offset": ("offset", lambda limits: limits.mark_offset),
    "element-recess": ("recess", lambda limits: limits.element_recess),
    "face-wobble": ("wobble", lambda limits: limits.face_wobble),
}
_KINDS: dict[str, tuple[Callable[..., Content], Callable[[Content], Details]]] = {
    "runout": (runout_content, runout_of),
    "bolt": (bolt_content, bolt_of),
    "belt": (belt_content, belt_of),
    "mark": (mark_content, mark_of),
    "casing": (casing_content, casing_of),
    "fluid": (fluid_content, fluid_of),
}
READING_KINDS = frozenset(_KINDS)
