"""Verdicts as they were at the time: kept, so that a later one can be held against them."""

import datetime as dt
from typing import Any

import pandas as pd
import sqlalchemy as sa

from vibetrend.logbook import counting, filing, schema
from vibetrend.logbook.chain import add_row
from vibetrend.logbook.database import Database
from vibetrend.logbook.plain_text import as_json


def keep(
    database: Database,
    series_id: int,
    verdict: dict[str, Any],
    state: str,
    *,
    newest: str | None,
) -> None:
    """Add a verdict, unless it equals the last one of its series.

    `newest` is the short id of the newest recording it knew, None where it knew none.
    """
    with database.reading() as connection:  # mostly it does, and nobody has to wait for a lock
        filing.check_series(connection, series_id)
        if _is_last(connection, series_id, verdict, state):
            return
    with database.writing() as connection:
        if _is_last(connection, series_id, verdict, state):  # another process came first
            return
        add_row(
            connection,
            schema.verdict,
            series_id=series_id,
            made_at=schema.now(),
            state=state,
            result=as_json(verdict),
            newest_recording_id=_key(connection, newest),
        )


def _key(connection: sa.Connection, recording: str | None) -> int | None:
    table = counting.any_recording.c
    return connection.scalar(sa.select(table.id).where(table.label == recording))


def _is_last(
    connection: sa.Connection, series_id: int, verdict: dict[str, Any], state: str
) -> bool:
    table = schema.verdict
    last = connection.execute(
        sa.select(table.c.state, table.c.result)
        .where(table.c.series_id == series_id)
        .order_by(table.c.id.desc())
        .limit(1)
    ).one_or_none()
    return last is not None and (last.state, last.result) == (state, as_json(verdict))


def table(connection: sa.Connection, series_id: int) -> pd.DataFrame:
    """Return the verdicts of a series, oldest first.

    Columns: `made_at` (UTC), `state`, `newest` (date of the newest recording it knew, else None).
    """
    columns, recording = schema.verdict.c, counting.any_recording
    query = (
        sa.select(columns.made_at, columns.state, recording.c.date.label("newest"))
        .select_from(
            schema.verdict.outerjoin(recording, columns.newest_recording_id == recording.c.id)
        )
        .where(columns.series_id == series_id)
        .order_by(columns.id)
    )
    rows = list(map(tuple, connection.execute(query)))
    found = pd.DataFrame(rows, columns=["made_at", "state", "newest"])
    found["made_at"] = pd.to_datetime(found["made_at"], utc=True)
    days = [dt.date.fromisoformat(row[2]) if row[2] else None for row in rows]
    found["newest"] = pd.Series(days, dtype=object)
    return found
