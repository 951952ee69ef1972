"""When a baseline closes: what would be added to it later could only blur it."""

import json

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import schema, tables
from vibetrend.logbook.recordings import KeptRecording

DAYS = 3
PLACEMENTS = 3  # that could be used, on each of these days


def refuse_another_day(connection: sa.Connection, kept: KeptRecording) -> None:
    """Refuse a recording that would begin one more day of a complete baseline.

    A placement that the last verdict left out does not make a day complete.
    """
    rows = tables.recordings(connection, kept.series_id)
    others = rows.loc[rows["baseline"] & (rows["recording"] != kept.id)]
    used = others.loc[
        ~others["unusable"] & ~others["recording"].isin(_left_out(connection, kept.series_id))
    ]
    complete = (used.groupby("visit").size() >= PLACEMENTS).sum()
    if complete < DAYS or kept.visit in set(others["visit"]):
        return
    raise LogbookError(
        f"the baseline of this series is complete ({used['date'].min()} to {used['date'].max()}) "
        f"and closed: leave out --baseline, and it is an ordinary check-up. A baseline of its own "
        f"begins after work on the engine (enter it first: vibetrend work add) and with a new "
        f"phone or spot (name it: --device or --position)"
    )


def _left_out(connection: sa.Connection, series_id: int) -> list[str]:
    table = schema.verdict.c
    query = sa.select(table.result).where(table.series_id == series_id)
    result = connection.scalar(query.order_by(table.id.desc()).limit(1))
    rows = json.loads(result).get("recordings", []) if result else []
    return [row["recording"] for row in rows if not row["used"]]
