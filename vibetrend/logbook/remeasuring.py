"""Recordings that are to be measured again, and what that came to."""

import datetime as dt
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from vibetrend.logbook import counting, filing, schema
from vibetrend.logbook.book import Logbook
from vibetrend.logbook.recordings import add_measurement

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


def keep_measurement(book: Logbook, recording: str, measurement: "Measurement") -> None:
    """Keep what a recording, by its short id, was measured as anew; the older one stays."""
    table = counting.any_recording
    with book.database.writing() as connection:
        query = sa.select(table.c.id).where(table.c.label == recording)
        add_measurement(connection, connection.scalars(query).one(), measurement)
