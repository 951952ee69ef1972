"""Engine hours that cannot be, held against all that the logbook knows of an engine's past."""

import datetime as dt

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import schema


def refuse_impossible(
    connection: sa.Connection, engine_id: int, date: dt.date, hours: float
) -> None:
    """Refuse engine hours that run back against the date, or faster than a clock does."""
    recorded, worked, fitted = schema.recording.c, schema.work.c, schema.installation.c
    known = sa.union_all(
        sa.select(recorded.date, recorded.hours, "recording " + recorded.label, sa.true()).where(
            recorded.engine_id == engine_id
        ),
        sa.select(worked.date, worked.hours, sa.literal("the work"), sa.true()).where(
            worked.engine_id == engine_id
        ),
        sa.select(fitted.date, fitted.hours, sa.literal("the installation"), sa.false()).where(
            fitted.engine_id == engine_id
        ),
    )
    for day, then, what, binds in connection.execute(known):
        days = (date - dt.date.fromisoformat(day)).days
        run = hours - then
        back = binds and ((days > 0 and run < 0) or (days < 0 and run > 0))
        if back or (abs(run) > 24 * (abs(days) + 1) and days * run >= 0):
            raise LogbookError(
                f"{date} at {hours:g} h contradicts {what} of {day} at {then:g} h: engine hours "
                f"only grow, and by 24 a day at most; correct --hours or --date"
            )
