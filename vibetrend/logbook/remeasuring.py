"""Recordings that are to be measured again, and what that came to."""

import datetime as dt
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from vibetrend.logbook import counting, engines, filing, schema
from vibetrend.logbook.book import Logbook
from vibetrend.logbook.plain_text import as_json
from vibetrend.logbook.recordings import add_measurement, as_kept

if TYPE_CHECKING:  # only the type: to look into a logbook, nothing has to be measured
    from vibetrend.orders.measurement import Measurement


@dataclass(frozen=True)
class Remeasurable:
    """A recording with all that measuring it again takes."""

    id: str  # its short id
    engine_name: str
    name: str  # the file name it came with
    sha256: str
    date: dt.date
    hours: float  # true engine hours
    rpm: float | None  # as stated
    tags: dict[str, Any]  # position, device, kind, circumstances and so on, as stated
    reading: dict[str, Any]  # options of `ingest.read`
    method_version: int  # of what it was measured with last


def remeasurable(book: Logbook, engine_name: str | None = None) -> list[Remeasurable]:
    """Return every recording, of one engine or of all, in the order they were added."""
    recording, measurement = counting.any_recording.c, schema.measurement.c
    query = (
        sa.select(
            recording.label,
            schema.engine.c.name.label("engine_name"),
            recording.name,
            recording.sha256,
            recording.date,
            recording.hours,
            recording.rpm,
            recording.tags,
            recording.reading,
            measurement.method_version,
        )
        .select_from(counting.any_recording)
        .join(schema.measurement, measurement.recording_id == recording.id)
        .join(schema.engine, schema.engine.c.id == recording.engine_id)
        .where(filing.IS_NEWEST)
        .order_by(recording.id)
    )
    if engine_name is not None:
        query = query.where(schema.engine.c.name == engine_name)
    with book.database.reading() as connection:
        return [
            Remeasurable(
                id=row.label,
                engine_name=row.engine_name,
                name=row.name,
                sha256=row.sha256,
                date=dt.date.fromisoformat(row.date),
                hours=row.hours,
                rpm=row.rpm,
                tags=json.loads(row.tags),
                reading=json.loads(row.reading),
                method_version=row.method_version,
            )
            for row in connection.execute(query)
        ]


@dataclass(frozen=True)
class MeasuredAgain:
    """A later result of a recording."""

    series_id: int  # that it is filed in now
    made_at: str  # UTC, ISO 8601
    method_version: int


def times_measured_again(book: Logbook, engine_name: str) -> list[MeasuredAgain]:
    """Return every result of an engine's recordings but the first of each, oldest first."""
    recording, measurement = counting.recording.c, schema.measurement.c
    earlier = schema.measurement.alias("earlier").c
    query = (
        sa.select(schema.filing.c.series_id, measurement.made_at, measurement.method_version)
        .select_from(counting.recording)
        .join(schema.filing, schema.filing.c.recording_id == recording.id)
        .join(schema.measurement, measurement.recording_id == recording.id)
        .where(
            filing.IS_CURRENT,
            sa.exists().where(
                earlier.recording_id == measurement.recording_id, earlier.id < measurement.id
            ),
        )
        .order_by(measurement.id)
    )
    with book.database.reading() as connection:
        query = query.where(recording.engine_id == engines.number(connection, engine_name))
        return [MeasuredAgain(*row) for row in connection.execute(query)]


def keep_measurement(book: Logbook, recording: str, measurement: "Measurement") -> None:
    """Keep what a recording, by its short id, was measured as anew; the older one stays.

    The same result again, as of two that measure at once, is one.
    """
    table, result = counting.any_recording, schema.measurement.c.result
    with book.database.writing() as connection:
        query = sa.select(table.c.id, table.c.rpm).where(table.c.label == recording)
        key, rpm = connection.execute(query).one()
        newest = sa.select(result).where(schema.measurement.c.recording_id == key, filing.IS_NEWEST)
        if connection.scalar(newest) == as_json(as_kept(measurement)):
            return
        add_measurement(connection, key, measurement)
        if rpm is None:  # its series goes by the speed measured
            filing.file(connection, key)
