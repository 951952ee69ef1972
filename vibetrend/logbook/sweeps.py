"""Sweeps as they are kept: the order curves of each, to be followed over the hours."""

import datetime as dt
import json
from dataclasses import dataclass
from typing import Any

import pandas as pd
import sqlalchemy as sa

from vibetrend.logbook import counting, schema
from vibetrend.logbook.book import Logbook
from vibetrend.logbook.filing import IS_CURRENT, IS_NEWEST
from vibetrend.logbook.recordings import among


@dataclass(frozen=True, kw_only=True, eq=False)
class KeptSweep:
    """One sweep with what it was measured as."""

    recording: str  # its short id
    visit: str
    hours: float  # true engine hours
    date: dt.date
    baseline: bool
    runup: pd.DataFrame  # as in `Measurement`
    circumstances: dict[str, Any]  # stated of the day: temperatures, other engine and so on


def sweeps(book: Logbook, series_id: int, *, before: bool = False) -> list[KeptSweep]:
    """Return the sweeps of a series that can be used, by hours.

    Parameters
    ----------
    before : bool
        Those from before the damper was renewed instead of those since.
    """
    recording, measurement = counting.recording.c, schema.measurement.c
    query = (
        sa.select(
            recording.label,
            recording.visit,
            recording.hours,
            recording.date,
            recording.baseline,
            recording.tags,
            sa.func.json_extract(measurement.result, "$.runup").label("runup"),
        )
        .select_from(counting.recording)
        .join(schema.filing, schema.filing.c.recording_id == recording.id)
        .join(schema.measurement, measurement.recording_id == recording.id)
        .where(
            schema.filing.c.series_id == series_id,
            IS_CURRENT,
            IS_NEWEST,
            recording.before == before,
            ~measurement.unusable,
        )
        .order_by(recording.hours, recording.date, recording.id)
    )
    with book.database.reading() as connection:
        return [_kept(row) for row in connection.execute(query)]


def _kept(row: Any) -> KeptSweep:
    return KeptSweep(
        recording=row.label,
        visit=row.visit,
        hours=row.hours,
        date=dt.date.fromisoformat(row.date),
        baseline=row.baseline,
        runup=pd.DataFrame(json.loads(row.runup or "[]")),
        circumstances=among(json.loads(row.tags)),
    )
