"""With what each series was read, measured and judged, for the page's last section."""

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from vibetrend.report.groups import Group
from vibetrend.report.parts import EnginePart, SeriesPart
from vibetrend.report.words import NOTHING, count, date, fixed, series_name


@dataclass(frozen=True, kw_only=True)
class Used:
    """What stood fixed when one series was read and judged."""

    engine: str
    series: str
    method: str  # versions of the method
    reading: str  # options other than those of the file
    baseline: str
    limit: str
    scatter: str  # usual scatter, least and greatest


def settings_used(engines: Sequence[EnginePart]) -> list[Used]:
    """Return a row for each series of each engine."""
    return [
        _of(part, engine.record.engine.name) for engine in engines for part in engine.every_series
    ]


def method_versions(engines: Sequence[EnginePart]) -> str:
    """Return the method versions of all recordings, e.g. ``1, 2``; empty where there are none."""
    tables = [p.record.recordings for e in engines for p in e.every_series]
    found = {version for table in tables for version in table["method_version"]}
    return ", ".join(str(version) for version in sorted(found))


def _of(part: SeriesPart, engine: str) -> Used:
    table = part.record.recordings
    base = table[table["baseline"].astype(bool)]
    limits = sorted({round(f.limit_db, 1) for f in part.facts if math.isfinite(f.limit_db)})
    days = sorted(set(base["date"]))
    return Used(
        engine=engine,
        series=series_name(part.record.info),
        method=", ".join(str(one) for one in sorted(set(table["method_version"]))),
        reading=reading_words(table["reading"]),
        baseline=_days(days),
        limit=", ".join(f"{fixed(one, 1, sign=True)} dB" for one in limits) or NOTHING,
        scatter="; ".join(filter(None, map(_scatter, part.groups))) or NOTHING,
    )


def _scatter(group: Group) -> str:
    """Return the least and the greatest usual scatter of a group; empty where none is known."""
    known = [fact.scatter_db for fact, _ in group.rows if math.isfinite(fact.scatter_db)]
    if not known:
        return ""
    least, greatest = group.scale.of(min(known)), group.scale.of(max(known))
    named = f"{group.title.lower()} " if group.title else ""
    return f"{named}±{least:.1f} to ±{greatest:.1f} {group.scale.unit}"


def _days(days: Sequence[dt.date]) -> str:
    """Return how many days, and from when to when."""
    if not days:
        return NOTHING
    span = " to ".join(map(date, dict.fromkeys((days[0], days[-1]))))
    return f"{count(len(days), 'day')}, {span}"


def reading_words(options: Iterable[dict[str, Any]]) -> str:
    """Return with which options the files were read, where any were given."""
    told: dict[str, int] = {}
    for one in options:
        said = ", ".join(f"{key.replace('_', ' ')} {_value(value)}" for key, value in one.items())
        told[said or "as the files say"] = told.get(said or "as the files say", 0) + 1
    if len(told) < 2:
        return "".join(told) or NOTHING
    return "; ".join(f"{said} ({count(number, 'file')})" for said, number in told.items())


def _value(value: Any) -> str:
    return ", ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)
