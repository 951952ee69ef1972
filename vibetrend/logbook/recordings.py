"""Recordings: added once each with what was measured, and found again."""

import datetime as dt
import json
import math
import re
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any, BinaryIO

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.hashing import digest
from vibetrend.logbook import counting, engines, filing, schema
from vibetrend.logbook import hours as engine_hours
from vibetrend.logbook.chain import add_row, seal
from vibetrend.logbook.plain_text import as_json
from vibetrend.recording import Circumstances, Recording

if TYPE_CHECKING:  # only the type: to look into a logbook, nothing has to be measured
    from vibetrend.orders.measurement import Measurement

SHORTEST_LABEL = 10
"""Hex digits of the id shown to people; one more for each recording that has these already."""


@dataclass(frozen=True)
class KeptRecording:
    """A recording as the logbook holds it."""

    id: str  # the short id shown to people, the first hex digits of `sha256`
    series_id: int
    sha256: str
    name: str  # the file name it came with
    visit: str
    hours: float  # true engine hours
    date: dt.date
    rpm: float | None  # as stated
    baseline: bool
    before: bool
    meter_hours: float  # what the meter showed
    set_aside: bool = False  # by a correction: kept, and used for nothing
    duplicate: bool = False  # the content was here already and what is kept was left as it is


_KEPT = (
    sa.select(
        counting.any_recording,
        engine_hours.shown_then(counting.any_recording).label("shown"),
        schema.filing.c.series_id,
    )
    .join(schema.filing, schema.filing.c.recording_id == counting.any_recording.c.id)
    .where(filing.IS_CURRENT)
)


def find(connection: sa.Connection, engine_id: int, sha256: str) -> KeptRecording | None:
    """Return the recording with this content, None if there is none."""
    table = counting.any_recording.c
    query = _KEPT.where(table.engine_id == engine_id, table.sha256 == sha256)
    row = connection.execute(query).one_or_none()
    return None if row is None else _kept(row)


def add(
    connection: sa.Connection,
    engine_id: int,
    sha256: str,
    measurement: "Measurement",
    *,
    visit: str,
    shown: float,
    date: dt.date,
    baseline: bool,
    before: bool,
) -> KeptRecording:
    """Add a recording that is not there yet, with its measurement, and file it in a series."""
    hours = engine_hours.true_hours(connection, engine_id, date, shown)
    if before:
        refuse_present_damper(connection, engine_id, date, hours, shown)
    engine_hours.refuse_impossible(connection, engine_id, date, hours, shown)
    refuse_another_day(connection, engine_id, visit, date)
    recording = measurement.recording
    path = recording.source.path if recording.source else ""
    recording_id = add_row(
        connection,
        schema.recording,
        engine_id=engine_id,
        label=_label(connection, sha256),
        sha256=sha256,
        name=file_name(path),
        visit=visit,
        hours=hours,
        meter_hours=shown,
        date=date.isoformat(),
        rpm=recording.rpm,
        baseline=baseline,
        before=before,
        tags=as_json(_tags(recording)),
        reading=as_json(dict(recording.source.reading) if recording.source else {}),
        added_at=schema.now(),
    )
    add_measurement(connection, recording_id, measurement)
    filing.file(connection, recording_id)
    return by_key(connection, recording_id)


def by_key(connection: sa.Connection, key: int) -> KeptRecording:
    """Return a recording by its key."""
    return _kept(connection.execute(_KEPT.where(counting.any_recording.c.id == key)).one())


def circumstances(connection: sa.Connection, engine_id: int, visit: str) -> dict[str, Any]:
    """Return what the recordings of a check-up state of the circumstances; the newest counts."""
    table = counting.recording.c
    query = sa.select(table.tags).where(table.engine_id == engine_id, table.visit == visit)
    stated: dict[str, Any] = {}
    for text in connection.scalars(query.order_by(table.id)):
        stated |= among(json.loads(text))
    return stated


def among(tags: dict[str, Any]) -> dict[str, Any]:
    """Return the circumstances among a recording's tags."""
    return {field.name: tags[field.name] for field in fields(Circumstances) if field.name in tags}


def _tags(recording: Recording) -> dict[str, Any]:
    """Return what is stated of a recording beside speed and time."""
    end = {} if recording.end_rpm is None else {"end_rpm": recording.end_rpm}
    return asdict(filing.Tags.of(recording)) | end | _stated(recording.circumstances)


def _stated(circumstances: Circumstances) -> dict[str, Any]:
    return {name: value for name, value in asdict(circumstances).items() if value not in (None, "")}


def check_entry(*, visit: str, hours: float, baseline: bool, before: bool) -> None:
    """Refuse what would make an entry that cannot be judged."""
    engine_hours.check_hours(hours)
    if not visit.strip():
        raise LogbookError("a recording needs the check-up it belongs to; give one with --visit")
    if baseline and before:
        raise LogbookError(
            "a recording is either part of the baseline or from before the damper was renewed; "
            "leave out --baseline or --before"
        )


def check_content(content: BinaryIO, measurement: "Measurement") -> str:
    """Return the digest of a file's content; refuse what is not what was measured."""
    sha256 = digest(content)
    source = measurement.recording.source
    if source is not None and source.sha256 and source.sha256 != sha256:
        raise LogbookError(
            f"{source.path}: the file changed while it was being read; wait until it is "
            f"complete, then add it again"
        )
    return sha256


def refuse_another_day(
    connection: sa.Connection,
    engine_id: int,
    visit: str,
    date: dt.date,
    *,
    without: int | None = None,
    instead: str = "leave out --visit, or give another name",
) -> None:
    """Refuse a check-up's name that another day has; a check-up may run past midnight."""
    table = counting.recording
    query = sa.select(table.c.label, table.c.date).where(
        table.c.engine_id == engine_id, table.c.visit == visit, table.c.id.is_distinct_from(without)
    )
    for label, day in connection.execute(query):
        if abs(date - dt.date.fromisoformat(day)) > dt.timedelta(days=1):
            raise LogbookError(
                f"check-up {visit!r} holds recording {label} of {day}, and one of {date} is of "
                f"another day; {instead}"
            )


def refuse_present_damper(
    connection: sa.Connection, engine_id: int, date: dt.date, hours: float, shown: float
) -> None:
    """Refuse as "the damper before" what was recorded since the present one was fitted.

    At the very date and hours of the installation it may have been recorded just before the job.
    """
    for row in engines.installation_rows(connection, engine_id)[-1:]:
        if date.isoformat() > row.date or hours > row.hours:
            raise LogbookError(
                f"{date} at {engine_hours.in_words(hours, shown)} lies after the installation of "
                f"{row.date} at {engine_hours.in_words(row.hours, row.shown)}, so it is not of the "
                f"damper before; leave out --before (the last check-up on a damper is set beside "
                f"the next one by itself), or enter the newer damper first: vibetrend "
                f"installation start"
            )


def measured(connection: sa.Connection, label: str) -> dict[str, Any]:
    """Return the newest result of a recording, by its short id.

    Raises
    ------
    LogbookError
        If no recording has this id.
    """
    query = (
        sa.select(schema.measurement.c.result)
        .join(schema.recording)
        .where(schema.recording.c.label == label, filing.IS_NEWEST)
    )
    text = connection.scalar(query)
    if text is None:
        raise LogbookError(
            f"recording {label!r} is not in the logbook; 'vibetrend report' lists those that are"
        )
    result: dict[str, Any] = json.loads(text)
    return result


def _kept(row: Any) -> KeptRecording:
    return KeptRecording(
        id=row.label,
        series_id=row.series_id,
        sha256=row.sha256,
        name=row.name,
        visit=row.visit,
        hours=row.hours,
        date=dt.date.fromisoformat(row.date),
        rpm=row.rpm,
        baseline=row.baseline,
        before=row.before,
        meter_hours=row.shown,
        set_aside=row.set_aside,
    )


def _label(connection: sa.Connection, sha256: str) -> str:
    column = schema.recording.c.label
    like = sa.select(column).where(column.startswith(sha256[:SHORTEST_LABEL]))
    taken = set(connection.scalars(like))
    return next(
        sha256[:length]
        for length in range(SHORTEST_LABEL, len(sha256) + 1)
        if sha256[:length] not in taken
    )


def as_kept(measurement: "Measurement") -> dict[str, Any]:
    """Return what is kept of a measurement: of a path, which may name a person, the last part."""
    result = measurement.to_dict()
    result["recording"]["path"] = file_name(result["recording"]["path"] or "")
    return result


def file_name(path: str) -> str:
    """Return the last part of a path of whatever system: a browser may send one of either kind."""
    return re.split(r"[/\\]", path)[-1]


def add_measurement(
    connection: sa.Connection, recording_id: int, measurement: "Measurement"
) -> None:
    """Add what was measured in a recording; the newest counts."""
    rpm = measurement.speed.rpm
    result = as_kept(measurement)
    measurement_id = add_row(
        connection,
        schema.measurement,
        recording_id=recording_id,
        method_version=measurement.method_version,
        speed_rpm=rpm if math.isfinite(rpm) and rpm > 0 else None,
        unusable=measurement.unusable,
        result=as_json(result),
        made_at=schema.now(),
    )
    rows = [
        {"measurement_id": measurement_id, "place": place, **feature}
        for place, feature in enumerate(_features(result))
    ]
    if rows:
        connection.execute(schema.amplitude.insert(), rows)
        seal(connection, schema.amplitude, measurement_id)


def _features(result: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the amplitudes that histories are made of, one row for each feature."""
    # A belt creeps, so the order of a driven line is no part of its identity: its name is.
    lines = [("order", row["order"], row) for row in result["orders"]]
    lines += [(f"driven: {row['name']}", None, row) for row in result["driven"]]
    features = [
        {
            "feature": feature,
            "order_number": order,
            "amplitude": row["amplitude"],
            "standard_error": row["standard_error"],
            "floor": row["floor"],
            "visible": bool(row["visible"]),
            "velocity_mm_s": row["velocity_mm_s"] if feature == "order" else None,
        }
        for feature, order, row in lines
    ]
    return features + [
        {
            "feature": f"overall: {row['name']}",
            "order_number": None,
            "amplitude": row["value"],
            "standard_error": None,
            "floor": None,
            "visible": True,
            "velocity_mm_s": None,
        }
        for row in result["overall"]
    ]
