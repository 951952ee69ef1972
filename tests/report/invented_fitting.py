"""An invented installation record for the page, put together as the logbook would."""

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any

from invented_report import START, engine, engine_record

from vibetrend.checkup.records import EngineRecord
from vibetrend.engine import Engine, Limits
from vibetrend.installation import (
    Record,
    belt_content,
    bolt_content,
    check_content,
    details_content,
    finish_content,
    mark_content,
    photo_content,
    record_of,
    runout_content,
)
from vibetrend.installation.renewal import renewal

# Common practice, no source: rim within 0.060 in, belt not below 105 lbf after run-in.
LIMITS = Limits.model_validate(
    {
        "runout": {"rim": {"max": 0.060, "unit": "in", "source": "manual, sheet 4"}},
        "bolt_torque": {"value": 135, "tolerance": 5, "unit": "lbf ft", "source": "sheet 5"},
        "belt_tension_run_in": {"min": 105, "unit": "lbf", "source": "sheet 6"},
    }
)
LATER = dt.date(2028, 4, 1)
HASH = "0123456789abcdef" * 4


@dataclass(frozen=True)
class Kept:
    """An entry as the logbook hands it out."""

    id: int
    kind: str
    date: dt.date
    content: dict[str, Any]
    added_at: str = "2026-05-01T10:00:00+00:00"


def rim(readings: list[float], **values: Any) -> dict[str, Any]:
    return runout_content("rim", readings, unit="mm", resolution=0.01, person="A. Example",
                          **values)  # fmt: skip


# 0.05 mm off towards 90 degrees at first; later 0.15 mm off towards 180 degrees.
FIRST = rim([0.0, 0.05, 0.0, -0.05], closing=0.0, instrument="dial indicator")
SECOND = rim([-0.15, 0.0, 0.15, 0.0], closing=-0.15)
SOME: list[tuple[str, dt.date, dict[str, Any]]] = [
    ("details", START, details_content(part="DR-6", serial="0457", who="A. Example")),
    ("bolt", START, bolt_content("crankshaft", new=True, stages=["50 N m", "135 lbf ft"])),
    ("runout", START, FIRST),
    ("belt", START, belt_content("alternator", stage="after-run-in", tension=98, unit="lbf")),
    ("mark", START, mark_content("element-recess", 1.5, "mm")),
    ("check", START, check_content("clean", person="A. Example")),
    ("check", START, check_content("clearance", done=False, note="hose in the way")),
    ("photo", START, photo_content(HASH, "nose.jpg", media_type="image/jpeg", bytes=5,
                                   caption="The nose")),
    ("finish", START, finish_content(person="A. Example", missing=["No run-out of the face."])),
    ("runout", LATER, SECOND),
]  # fmt: skip


def record(
    entries: list[tuple[str, dt.date, dict[str, Any]]] | None = None, *, as_found: bool = False
) -> Record:
    """Return the record that entries of kind, date and content make."""
    described = engine()
    return record_of(
        [Kept(i, *each) for i, each in enumerate(SOME if entries is None else entries)],
        engine=described,
        limits_then=LIMITS,
        limits_now=LIMITS,
        date=START,
        hours=3120.0,
        as_found=as_found,
    )


def recorded(found: Record | None, **changes: Any) -> EngineRecord:
    """Return an engine with a record and nothing else: no recording was ever made."""
    return replace(engine_record("main"), installation_record=found, **changes)


def due(record: EngineRecord, described: Engine, today: dt.date, hours: float, **values: Any) -> (
    EngineRecord
):  # fmt: skip
    """Return an engine whose damper was fitted on `START` at 3120 h, its renewal told anew."""
    told = renewal(
        described.damper, fitted_date=START, fitted_hours=3120.0, today=today, hours=hours,
        hours_date=today, **values,
    )  # fmt: skip
    status = record.status | {"hours": hours, "renewal": told.to_dict()}
    return replace(record, engine=described, renewal=told, status=status)
