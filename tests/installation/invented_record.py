"""An invented damper's record: entries as the logbook hands them out."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from vibetrend.engine import Engine, Limits
from vibetrend.installation import Record, record_of

FITTED = dt.date(2026, 5, 1)
LATER = dt.date(2026, 5, 9)

# Common practice, no source: run-out of rim and face within 0.060 in, pulley within 0.002 in, bolt
# 135 lbf ft, belt 140 lbf as installed and not below 105 lbf after run-in.
ENGINE = Engine.parse(
    """
name = "main"
cylinders = 6
[[driven]]
name = "alternator"
ratio = 2.2
[damper]
type = "rubber"
[limits]
bolt_torque = { value = 135, tolerance = 5, unit = "lbf ft", source = "manual, sheet 5" }
belt_tension_new = { value = 140, unit = "lbf", source = "manual, sheet 6" }
belt_tension_run_in = { min = 105, unit = "lbf", source = "manual, sheet 6" }
mark_offset = { max = 1.5, unit = "mm", source = "manual, sheet 7" }
[limits.runout]
rim = { max = 0.060, unit = "in", source = "manual, sheet 4" }
pulley = { max = 0.002, unit = "in", source = "manual, sheet 4" }
"""
)


@dataclass(frozen=True)
class Entry:
    """One entry."""

    id: int
    kind: str
    date: dt.date
    content: Mapping[str, Any]
    added_at: str = "2026-05-01T12:00:00Z"


def kept(
    *entries: tuple[Any, ...],
    engine: Engine = ENGINE,
    limits_then: Limits | None = None,
    as_found: bool = False,
) -> Record:
    """Return the record of some entries: of each kind, content and, if not `FITTED`, the day."""
    return record_of(
        [
            Entry(i, kind, *(day or [FITTED]), content)
            for i, (kind, content, *day) in enumerate(entries, start=1)
        ],
        engine=engine,
        limits_then=engine.limits if limits_then is None else limits_then,
        limits_now=engine.limits,
        date=FITTED,
        hours=3120.0,
        as_found=as_found,
    )
