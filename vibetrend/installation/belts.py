"""Belts: tension by a gauge, or by the frequency at which a plucked span sounds.

A span of free length L and mass per length m sounds at f = sqrt(T / m) / (2 L), the lowest mode of
a stretched string (Rayleigh, The Theory of Sound, vol. 1, ch. 6), so that

    T = 4 m L^2 f^2      (1)
    dT / T = sqrt((2 df / f)^2 + (2 dL / L)^2 + (dm / m)^2)      (2)
"""

import math
from dataclasses import dataclass
from typing import Any, Literal

from vibetrend.engine import Limits
from vibetrend.errors import InstallationError
from vibetrend.installation.entered import (
    Content,
    common,
    line,
    number_if,
    one_of,
    quantity_of,
    unit_if,
    yes_no,
)
from vibetrend.installation.plausible import fine_enough, plausible, plausible_if
from vibetrend.quantities import Quantity, unit

DropState = Literal["within", "beyond", "at-limit", "limit-unknown", "information"]
BeltStage = Literal["as-installed", "after-run-in"]
STAGES: tuple[BeltStage, ...] = ("as-installed", "after-run-in")
_UNIFORM = math.sqrt(12)  # a division over this is the standard deviation of reading to it
_NEWTON = unit("N")


@dataclass(frozen=True, kw_only=True)
class Belt:
    """One belt's tension."""

    name: str
    stage: BeltStage
    by: Literal["gauge", "frequency", "none"]
    tension: Quantity | None  # as read, or in N by Eq. 1
    standard_error: Quantity | None  # None where nothing tells it
    error_from: tuple[str, ...]  # what it takes in: "gauge", "frequency", "span", "mass"
    error_shares: tuple[float, ...]  # of the tension, from each of these
    frequency_hz: float | None
    span: Quantity | None
    mass_per_length: Quantity | None
    automatic_tensioner: bool


@dataclass(frozen=True, kw_only=True)
class BeltDrop:
    """How a belt's tension fell while it ran in, against the maker's own two figures.

    A belt gains no tension by running in: more than when new tells no drop, and the state is
    ``information``.
    """

    belt: str
    new: Quantity
    run_in: Quantity
    ratio: float  # run-in over new
    standard_error: float  # of `ratio`; NaN where unknown
    least: float | None  # ratio of the maker's figures; None where one is missing
    state: DropState


def belt_content(
    belt: str,
    *,
    stage: str,
    tension: float | None = None,
    unit: str | None = None,
    frequency_hz: float | None = None,
    frequency_standard_error_hz: float | None = None,
    span: float | None = None,
    span_unit: str | None = None,
    span_resolution: float | None = None,
    mass_per_length: float | None = None,
    mass_unit: str | None = None,
    mass_resolution: float | None = None,
    automatic_tensioner: bool = False,
    instrument: str = "",
    resolution: float | None = None,
    person: str = "",
    note: str = "",
) -> Content:
    """Return the content of an entry of kind ``belt``.

    Parameters
    ----------
    stage : str
        ``"as-installed"`` or ``"after-run-in"``.
    tension, unit
        As a gauge shows it; or else
    frequency_hz, span, span_unit, mass_per_length, mass_unit
        what Eq. 1 needs: the span's lowest frequency in hertz (not turns per minute), its free
        length between the pulleys, and the belt's mass per length.
    frequency_standard_error_hz, span_resolution, mass_resolution : float, optional
        What is known of their errors, in the same units.
    automatic_tensioner : bool
        The belt has one: its arm between the stops is what counts, and no tension is judged.
    resolution : float, optional
        The gauge's division in `unit`, or that of the frequency in hertz.

    Raises
    ------
    InstallationError
        If neither or both ways are given, one lacks a number or unit, or a value makes no sense or
        is none of an engine.
    """
    name = line(belt, "the belt's name", needed=True)
    string = {
        "frequency_hz": frequency_hz,
        "span": span,
        "span_unit": span_unit,
        "mass_per_length": mass_per_length,
        "mass_unit": mass_unit,
    }
    automatic = yes_no(automatic_tensioner, "whether the belt has an automatic tensioner")
    if tension is not None and frequency_hz is not None:
        raise InstallationError(
            f"belt {name}: give the tension of a gauge or the span's frequency, not both in one "
            f"entry"
        )
    if tension is None and frequency_hz is None and not automatic:
        raise InstallationError(
            f"belt {name}: no reading; give the tension of a gauge, or the span's frequency with "
            f"its length and mass per length"
        )
    if frequency_hz is not None and (lacking := [k for k, v in string.items() if v is None]):
        raise InstallationError(
            f"belt {name}: a tension by frequency needs {', '.join(lacking)} too"
        )
    force = unit_if(tension, unit, "force", "the tension")
    length = unit_if(span, span_unit, "length", "the span's length")
    mass = unit_if(mass_per_length, mass_unit, "mass per length", "the belt's mass per length")

    def read(value: Any, what: str, kind: str, one: str | None) -> float | None:
        return plausible_if(number_if(value, what, above=0), what, kind, one)

    def known_to(value: Any, what: str, kind: str, one: str | None) -> float | None:
        return fine_enough(number_if(value, what, above=0), what, kind, one)

    content = {
        "belt": name,
        "stage": one_of(stage, "the stage", STAGES),
        "tension": read(tension, "the tension", "tension", force),
        "unit": force,
        "frequency_hz": read(frequency_hz, "the frequency", "frequency", "Hz"),
        "frequency_standard_error_hz": known_to(
            frequency_standard_error_hz, "the frequency's standard error", "frequency", "Hz"
        ),
        "span": read(span, "the span's length", "span", length),
        "span_unit": length,
        "span_resolution": known_to(span_resolution, "the span's resolution", "span", length),
        "mass_per_length": read(
            mass_per_length, "the belt's mass per length", "mass per length", mass
        ),
        "mass_unit": mass,
        "mass_resolution": known_to(
            mass_resolution, "the resolution of the mass", "mass per length", mass
        ),
        "automatic_tensioner": automatic,
        **common(
            instrument,
            resolution,
            person,
            note,
            kind="tension" if frequency_hz is None else "frequency",
            unit=force if frequency_hz is None else "Hz",
        ),
    }
    found = belt_of(content)
    if found.by == "frequency" and found.tension is not None:
        what = f"belt {name}: what frequency, span and mass per length make of the tension"
        plausible(found.tension.value, what, "tension", found.tension.unit.name)
    return content


def belt_of(content: Content) -> Belt:
    """Return the belt of a checked content."""
    span = quantity_of(content["span"], content["span_unit"], "length")
    mass = quantity_of(content["mass_per_length"], content["mass_unit"], "mass per length")
    by: Literal["gauge", "frequency", "none"] = "none"
    tension: Quantity | None = None
    shares: dict[str, float] = {}  # of Eq. 2
    if content["tension"] is not None:
        by, tension = "gauge", quantity_of(content["tension"], content["unit"], "force")
        if content["resolution"]:
            shares["gauge"] = content["resolution"] / _UNIFORM / content["tension"]
    elif content["frequency_hz"] is not None and span is not None and mass is not None:
        by, frequency = "frequency", content["frequency_hz"]
        tension = Quantity(4 * mass.si * span.si**2 * frequency**2, _NEWTON)  # Eq. 1
        error = max(
            content["frequency_standard_error_hz"] or 0.0,
            (content["resolution"] or 0.0) / _UNIFORM,
        )
        shares["frequency"] = 2 * error / frequency
        shares["span"] = 2 * (content["span_resolution"] or 0.0) / _UNIFORM / span.value
        shares["mass"] = (content["mass_resolution"] or 0.0) / _UNIFORM / mass.value
    shares = {name: share for name, share in shares.items() if share}
    return Belt(
        name=content["belt"],
        stage=content["stage"],
        by=by,
        tension=tension,
        standard_error=Quantity(tension.value * math.hypot(*shares.values()), tension.unit)
        if tension and shares
        else None,
        error_from=tuple(shares),
        error_shares=tuple(shares.values()),
        frequency_hz=content["frequency_hz"],
        span=span,
        mass_per_length=mass,
        automatic_tensioner=content["automatic_tensioner"],
    )


def belt_drop(new: Belt, run_in: Belt, limits: Limits) -> BeltDrop | None:
    """Return how one belt's tension fell while it ran in; None where there is nothing to compare.

    The maker's own two figures say how far: the least allowed after run-in (else the value asked
    for) over the value asked for when new (else the middle of what is allowed).
    """
    if new.tension is None or run_in.tension is None:
        return None
    if new.automatic_tensioner or run_in.automatic_tensioner:
        return None
    ratio = run_in.tension.si / new.tension.si
    error = ratio * _error_of_ratio(new, run_in)
    least = _least(limits)
    return BeltDrop(
        belt=new.name,
        new=new.tension,
        run_in=run_in.tension,
        ratio=ratio,
        standard_error=error,
        least=least,
        state=_state(ratio, error, least),
    )


def _state(ratio: float, error: float, least: float | None) -> DropState:
    if ratio > 1 + max(1e-9, 0.0 if math.isnan(error) else 2 * error):
        return "information"
    if least is None:
        return "limit-unknown"
    if abs(ratio - least) < 2 * error:
        return "at-limit"
    return "within" if ratio >= least * (1 - 1e-9) else "beyond"


def _error_of_ratio(new: Belt, run_in: Belt) -> float:
    """Return the relative error of the ratio of two tensions; NaN where one's is not known.

    By frequency, the error of a span or mass that both were told from drops out.
    """
    alike = {
        "span": new.span is not None and new.span == run_in.span,
        "mass": new.mass_per_length is not None and new.mass_per_length == run_in.mass_per_length,
    }
    own = [
        [
            share
            for name, share in zip(each.error_from, each.error_shares, strict=True)
            if not alike.get(name, False)
        ]
        for each in (new, run_in)
    ]
    return math.hypot(*own[0], *own[1]) if all(own) else math.nan


def _least(limits: Limits) -> float | None:
    """Return the least ratio that the maker's figures let expect; None where one is missing."""
    new, run_in = limits.belt_tension_new, limits.belt_tension_run_in
    if new is None or run_in is None:
        return None
    asked = new.value
    if asked is None:
        ends = [end for end in (new.low, new.high) if end is not None]
        asked = sum(ends) / len(ends)
    allowed = run_in.value if run_in.low is None else run_in.low
    if allowed is None or asked <= 0:
        return None
    return allowed * unit(run_in.unit, "force").factor / (asked * unit(new.unit, "force").factor)
