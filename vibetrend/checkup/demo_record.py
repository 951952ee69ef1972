"""The demo's invented installation record: what a careful person would have written down.

The maker's limits are figures of common practice without a published source, put into the engine
file as those of an invented maker; no real damper, person or reading stands behind any of this.
"""

import datetime as dt
from collections.abc import Iterable, Iterator
from typing import Any

from vibetrend.checkup.installing import finish
from vibetrend.installation import (
    Content,
    belt_content,
    bolt_content,
    check_content,
    details_content,
    mark_content,
    runout_content,
)
from vibetrend.logbook import Logbook

NAME = "main"
"""The engine that has a record."""

_MADE_UP = "invented demo data"
LIMITS = f"""
# the limits of an invented maker: figures of common practice, no published source
[limits.runout]
rim = {{ max = 0.060, unit = "in", source = "{_MADE_UP}" }}
face = {{ max = 0.060, unit = "in", source = "{_MADE_UP}" }}
pulley = {{ max = 0.002, unit = "in", source = "{_MADE_UP}" }}

[limits]
bolt_torque = {{ value = 135, tolerance = 5, unit = "lbf ft", source = "{_MADE_UP}" }}
belt_tension_new = {{ value = 140, tolerance = 10, unit = "lbf", source = "{_MADE_UP}" }}
belt_tension_run_in = {{ min = 105, unit = "lbf", source = "{_MADE_UP}" }}
mark_offset = {{ max = 1.5, unit = "mm", source = "{_MADE_UP}" }}
"""

_WHO = "A. Example"
_RUN_IN_DAYS = 3  # after the fitting, 10 h: the belt read and tensioned again
_LATER_DAYS = 743  # after the fitting, some orders having risen: looked at again


def details(fitted: dt.date) -> Content:
    """Return what is known of the damper itself."""
    return details_content(
        part="DR-6-230 (invented)",
        serial="0457 (invented)",
        made_on=fitted - dt.timedelta(days=70),
        counts_from="made",
        who=_WHO,
        notes="Invented demo data, like every reading below.",
    )


def keep(logbook: Logbook, fitted: dt.date) -> None:
    """Add the whole record of the damper fitted on a day, oldest first."""
    run_in = fitted + dt.timedelta(days=_RUN_IN_DAYS)
    later = fitted + dt.timedelta(days=_LATER_DAYS)
    _add(logbook, fitted, _on_fitting())
    _add(logbook, run_in, _after_run_in())
    finish(logbook, NAME, date=run_in, person=_WHO)
    _add(logbook, later, _looked_at_again())


def _add(logbook: Logbook, date: dt.date, entries: Iterable[tuple[str, Content]]) -> None:
    for kind, content in entries:
        logbook.add_entry(NAME, kind, date=date, content=content)


def _on_fitting() -> Iterator[tuple[str, Content]]:
    yield from (("check", check_content(item, person=_WHO)) for item in _ON_FITTING)
    yield "bolt", _bolt(["60 lbf ft", "135 lbf ft"])
    yield "runout", _rim([0, 0.14, 0.22, 0.20, 0.12, -0.01, -0.11, -0.09], closing=0)
    yield "runout", _face([0, 0.05, 0.10, 0.12, 0.09, 0.03, -0.02, -0.04])
    yield "runout", _pulley([0, 0.010, 0.015, 0.010, 0.005, -0.005, -0.015, -0.010])
    yield "mark", _mark("index-offset", 0)
    yield "mark", _mark("element-recess", 1.5)  # the engine file holds no limit for it
    yield "belt", _belt("as-installed", 142)


def _after_run_in() -> Iterator[tuple[str, Content]]:
    yield "belt", _belt("after-run-in", 98, note="slack after 10 h, tensioned again")
    yield "belt", _belt("after-run-in", 116, note="after tensioning again")
    yield "bolt", _bolt(["135 lbf ft"], recheck=True, note="did not turn")
    yield "check", check_content("warm-recheck", person=_WHO)


def _looked_at_again() -> Iterator[tuple[str, Content]]:
    yield "runout", _rim([0, 0.23, 0.49, 0.65, 0.63, 0.40, 0.14, -0.04], closing=0.01)
    yield "runout", _face([0, 0.05, 0.10, 0.13, 0.09, 0.03, -0.02, -0.03])
    yield "mark", _mark("index-offset", 0.6)


_ON_FITTING = ("clean", "pulled-on", "timing-mark", "ring-mark", "clearance")
_DIAL: dict[str, Any] = {"instrument": "dial indicator, invented", "person": _WHO}


def _rim(readings: list[float], *, closing: float) -> Content:
    return runout_content("rim", readings, unit="mm", closing=closing, resolution=0.01, **_DIAL)


def _face(readings: list[float]) -> Content:
    return runout_content(
        "face", readings, unit="mm", closing=0, resolution=0.01, diameter=230, end_play_held=True,
        **_DIAL,
    )  # fmt: skip


def _pulley(readings: list[float]) -> Content:
    return runout_content("pulley", readings, unit="mm", closing=0, resolution=0.005, **_DIAL)


def _bolt(stages: list[str], **values: Any) -> Content:
    return bolt_content(
        "crankshaft", new=True, sequence=1, stages=stages, treatment="threads oiled",
        instrument="click wrench, invented", resolution=1, person=_WHO, **values,
    )  # fmt: skip


def _belt(stage: str, tension: float, note: str = "") -> Content:
    return belt_content(
        "alternator", stage=stage, tension=tension, unit="lbf", instrument="belt gauge, invented",
        resolution=2, person=_WHO, note=note,
    )  # fmt: skip


def _mark(what: str, value: float) -> Content:
    return mark_content(
        what, value, "mm", instrument="steel rule, invented", resolution=0.5, person=_WHO
    )
