"""When a baseline closes: what would be added to it later could only blur it."""

import json

import pandas as pd
import sqlalchemy as sa

from vibetrend.baseline import FULL_BASELINE, FULL_DAY, marked_late
from vibetrend.errors import LogbookError
from vibetrend.logbook import schema, tables
from vibetrend.logbook.recordings import KeptRecording

_INSTEAD = (
    "leave out --baseline, and it is an ordinary check-up. A baseline of its own begins after work "
    "on the engine (enter it first: vibetrend work add) and with a new phone or spot (name it: "
    "--device or --position)"
)


def refuse_what_comes_late(connection: sa.Connection, kept: KeptRecording) -> None:
    """Refuse a baseline recording that its series' baseline has no place for.

    The baseline is the run of check-ups that the judge takes for it, and closes after three
    complete days: dates with three placements that could be used. A placement that the last
    verdict left out completes no day.
    """

    def late(some: pd.DataFrame) -> set[str]:
        return set(some.index[marked_late(some["baseline"].to_numpy())])

    rows = tables.recordings(connection, kept.series_id)
    is_new = rows["recording"] == kept.id
    rows = rows.loc[~rows["before"] & (~rows["unusable"] | is_new)]
    others = rows.loc[rows["recording"] != kept.id]
    visits = _visits(rows)
    marked, come_late = visits["baseline"], late(visits)
    marked_before = _visits(others)["baseline"]  # a check-up that this one alone marks is no part
    run = others.loc[others["visit"].isin(set(marked_before.index[marked_before]) - come_late)]
    used = run.loc[~run["recording"].isin(_left_out(connection, kept.series_id))]
    full_days = (used.groupby("date").size() >= FULL_DAY).sum()
    if full_days >= FULL_BASELINE and kept.date not in set(run["date"]):
        raise LogbookError(
            f"the baseline of this series is complete ({used['date'].min()} to "
            f"{used['date'].max()}) and closed: {_INSTEAD}"
        )
    if kept.visit in come_late or come_late - late(_visits(others)):
        end = visits.loc[~marked & marked.cummax()].iloc[0]
        raise LogbookError(
            f"the baseline of this series ended with the ordinary check-up of {end['date']} at "
            f"{end['hours']:.0f} h, and what comes later is no part of it: {_INSTEAD}"
        )


def _visits(rows: pd.DataFrame) -> pd.DataFrame:
    """Return a row for each check-up, by hours, then date, as the judge orders them."""
    table = rows.groupby("visit").agg({"hours": "mean", "date": "min", "baseline": "any"})
    return table.sort_values(["hours", "date"])


def _left_out(connection: sa.Connection, series_id: int) -> list[str]:
    table = schema.verdict.c
    query = sa.select(table.result).where(table.series_id == series_id)
    result = connection.scalar(query.order_by(table.id.desc()).limit(1))
    rows = json.loads(result).get("recordings", []) if result else []
    return [row["recording"] for row in rows if not row["used"]]
