"""Records -> tidy tables as CSV files (RFC 4180, UTF-8) for other programs.

A number stands in full, in the unit that its column or the column beside it says; what is not
known is an empty cell.
"""

import csv
import datetime as dt
import io
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.installation import Reading, Record
from vibetrend.report import sweep_tables, words
from vibetrend.report.columns import COLUMNS, OF_ORDERS, explained
from vibetrend.report.levels import levels
from vibetrend.report.sweeps import is_sweep
from vibetrend.report.writing import File, Kind
from vibetrend.units import unit_of

KIND = Kind(name="table", signature=b"engine,damper_since,", option="--csv")
ABOUT = "README.txt"
_ABOUT_KIND = Kind(name="list of columns", signature=b"Tables of vibetrend", option="--csv")

Row = Mapping[str, Any]

_ALL_COLUMNS = {**COLUMNS, **sweep_tables.COLUMNS}

# A spreadsheet takes a cell that begins like this for a formula (OWASP, CSV Injection).
_FORMULAS = tuple("=+-@\t\r\n＝＋－＠")


def files(engines: Sequence[EngineRecord], folder: Path, *, made_at: dt.datetime) -> list[File]:
    """Return the tables as files of a folder, and the list of their columns and units."""
    found = tables(engines).items()
    columns = {name: _ALL_COLUMNS[name] for name, _ in found}
    text = explained(made_at, columns).encode("utf-8")
    about = File(path=folder / ABOUT, content=text, kind=_ABOUT_KIND)
    return [
        *(File(path=folder / name, content=content, kind=KIND) for name, content in found),
        about,
    ]


def tables(engines: Sequence[EngineRecord]) -> dict[str, bytes]:
    """Return each table by the name of its file; those of sweeps where there are any."""
    rows = {
        "series.csv": _each(engines, _series),
        "changes.csv": _each(engines, _changes),
        "amplitudes.csv": _each(engines, _amplitudes),
        "recordings.csv": _each(engines, _recordings),
        "installation.csv": (row for record in engines for row in _installation(record)),
        "work.csv": (row for record in engines for row in _work(record)),
        "hours.csv": (row for record in engines for row in _hours(record)),
        "corrections.csv": (row for record in engines for row in _corrections(record)),
    }
    if any(is_sweep(one) for each in engines for one in (*each.series, *each.earlier_series)):
        rows["resonances.csv"] = _each(engines, sweep_tables.resonances)
        rows["runup.csv"] = _each(engines, sweep_tables.runup)
    return {name: _csv(list(_ALL_COLUMNS[name]), found) for name, found in rows.items()}


# Cells


def _csv(columns: Sequence[str], rows: Iterable[Row]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(row[column]) for column in columns])
    return text.getvalue().encode("utf-8", errors="replace")


def _cell(value: Any) -> str:
    """Return a value as it is written; a text that a spreadsheet would run is made harmless."""
    if hasattr(value, "item"):  # a numpy scalar
        value = value.item()
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value) if math.isfinite(value) else ""
    if value is None or value is pd.NaT:
        return ""
    if isinstance(value, dt.date):
        return value.isoformat()
    text = str(value)
    return f"'{text}" if text.startswith(_FORMULAS) else text


def _never(value: Any) -> bool | None:
    """Return whether a number of hours is "never"; None where it is not known."""
    return None if value is None or math.isnan(value) else math.isinf(value)


# Rows


def _each(
    engines: Iterable[EngineRecord], rows: Callable[[SeriesRecord], Iterator[Row]]
) -> Iterator[Row]:
    for record in engines:
        for one in (*record.series, *record.earlier_series):
            since = one.damper.date if one.damper else record.installation_date
            begin = {
                "engine": record.engine.name, "damper_since": since, "series": one.info["id"],
            }  # fmt: skip
            yield from ({**begin, **row} for row in rows(one))


def _series(one: SeriesRecord) -> Iterator[Row]:
    verdict = one.verdict
    names = (
        "position", "device", "kind", "unit", "codec", "condition", "manner", "speed_rpm", "epoch",
    )  # fmt: skip
    yield {
        **{name: one.info.get(name) for name in names},
        "baseline_kind": one.info["baseline"],
        "ended": one.info["ended"],
        "state": verdict.state,
        "common_change_db": verdict.common_change_db,
        "common_state": verdict.common_state,
    }


def _changes(one: SeriesRecord) -> Iterator[Row]:
    for row in one.verdict.orders.to_dict(orient="records"):
        yield {
            **{name: row[name] for name in OF_ORDERS},
            **{
                f"{name}_never": _never(row[name])
                for name in ("hours_to_limit", "hours_to_limit_low", "hours_to_limit_high")
            },
        }


def _amplitudes(one: SeriesRecord) -> Iterator[Row]:
    level = levels(one.history, one.verdict.recordings).placements
    changes = {
        (row["recording"], row["feature"], _number(row["order"])): row
        for row in level.to_dict(orient="records")
    }
    used = _used(one)
    for row in one.history.to_dict(orient="records"):
        feature = row.get("feature", "order")
        change = changes.get((row["recording"], feature, _number(row["order"])), {})
        yield {
            **{
                name: row.get(name)
                for name in ("recording", "visit", "hours", "date", "order", "amplitude",
                             "standard_error", "velocity_mm_s")
            },
            "feature": feature,
            "unit": unit_of(feature, one.info["kind"], one.info["unit"]),
            "noise_level": row.get("floor"),
            "visible": row.get("visible", True),
            "baseline": row["baseline"],
            "used": used.get(row["recording"], {}).get("used", False),
            "change_db": change.get("change_db"),
            "together_db": change.get("together_db"),
        }  # fmt: skip


def _number(order: float) -> float | None:
    return None if pd.isna(order) else float(order)


def _used(one: SeriesRecord) -> dict[Any, Row]:
    """Return what the verdict did with each recording."""
    rows = one.verdict.recordings.to_dict(orient="records")
    return {row["recording"]: {str(name): value for name, value in row.items()} for row in rows}


def _recordings(one: SeriesRecord) -> Iterator[Row]:
    used = _used(one)
    names = (
        "recording", "name", "sha256", "visit", "hours", "date", "speed_rpm",
        "speed_standard_error_rpm", "speed_spread_percent", "baseline", "unusable",
        "method_version",
    )  # fmt: skip
    for row in one.recordings.to_dict(orient="records"):
        judged = used.get(row["recording"], {})
        why_not = judged.get("why_not")
        yield {
            **{name: row.get(name) for name in names},
            "stated_rpm": row["rpm"],
            "used": judged.get("used", False),
            "why_not": why_not if isinstance(why_not, str) else None,
            "quality": " ".join(dict.fromkeys(note["code"] for note in row["quality"] or ())),
            "circumstances": words.circumstances(row.get("circumstances") or {}),
        }


def _installation(record: EngineRecord) -> Iterator[Row]:
    earlier = [each.record for each in record.earlier_installations]
    present = [record.installation_record] if record.installation_record else []
    for kept in (*earlier, *present):
        for each in kept.readings:
            yield _reading(each, kept, record.engine.name)


def _reading(each: Reading, kept: Record, engine: str) -> Row:
    limit, resolution = each.limit, each.resolution
    error = each.standard_error
    if error is not None and each.quantity is not None:
        error = error.to(each.quantity.unit)
    return {
        "engine": engine,
        "damper_since": kept.date,
        "entry": each.entry_id,
        "kind": each.kind,
        "name": each.name,
        "what": each.what,
        "stage": each.stage,
        "date": each.date,
        "value": each.quantity and each.quantity.value,
        "unit": each.quantity and each.quantity.unit.name,
        "standard_error": error and error.value,
        "resolution": resolution and resolution.value,
        "limit_value": limit and limit.value,
        "limit_tolerance": limit and limit.tolerance,
        "limit_min": limit and limit.min,
        "limit_max": limit and limit.max,
        "limit_unit": limit and limit.unit,
        "limit_source": limit and limit.source,
        "limit_added_later": each.limit_added_later if limit else None,
        "state": each.state,
        "side": each.side,
        "person": each.person,
        "instrument": each.instrument,
        "note": each.note,
    }


def _work(record: EngineRecord) -> Iterator[Row]:
    for each in record.work:
        yield {
            "engine": record.engine.name,
            "damper_since": record.installation_date,
            "date": each.date,
            "hours": each.hours,
            "what": each.what,
            "note": each.note,
        }


def _hours(record: EngineRecord) -> Iterator[Row]:
    for each in record.hours_log:
        yield {
            "engine": record.engine.name,
            "damper_since": _damper_on(record, each.date),
            "date": each.date,
            "hours": each.hours,
            "meter_hours": each.meter_hours,
            "what": each.what,
        }


def _corrections(record: EngineRecord) -> Iterator[Row]:
    names = ("entry", "about", "what", "was", "now", "reason", "person", "made_at")
    for each in record.corrections:
        yield {
            "engine": record.engine.name,
            "damper_since": _damper_on(record, each.date),
            **{name: getattr(each, name) for name in names},
        }


def _damper_on(record: EngineRecord, day: dt.date) -> dt.date | None:
    """Return since when the damper was on the engine that was there on a day."""
    days = [each.date for each in record.earlier_installations]
    if record.installation_date is not None:
        days.append(record.installation_date)
    return max((each for each in days if each <= day), default=None)
