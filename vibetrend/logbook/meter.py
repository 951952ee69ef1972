"""The log of the hour meter: what it showed, when it was replaced and when it rolled over."""

import datetime as dt
from dataclasses import dataclass, replace

import sqlalchemy as sa

from vibetrend import hour_meter
from vibetrend.errors import LogbookError
from vibetrend.hour_meter import MeterChange
from vibetrend.logbook import engines, hours, schema
from vibetrend.logbook.amending import Why, count_hours_anew
from vibetrend.logbook.chain import add_row
from vibetrend.logbook.plain_text import plain_line


@dataclass(frozen=True)
class MeterEntry:
    """What an hour meter showed on a day, or how it changed."""

    date: dt.date
    what: str  # "reading", "replaced" or "rolled-over"
    shown: float  # hours; of a change, what the old meter showed last
    after: float | None  # hours that the new meter showed first; None for a reading
    note: str
    hours: float  # true engine hours
    added_at: str  # UTC, ISO 8601
    duplicate: bool = False  # the same was here already
    recounted: int = 0  # entries of later dates whose true hours it corrected


def of_engine(connection: sa.Connection, engine_id: int) -> list[MeterEntry]:
    """Return the readings and changes of an engine's hour meter, by date, then hours."""
    changed = hours.changes(connection, engine_id)
    at_change = iter(hour_meter.change_hours(changed))
    found = []
    for row in hours.meter_rows(connection, engine_id):
        date = dt.date.fromisoformat(row.date)
        if row.what == "reading":
            then = hour_meter.true_hours(changed, date, row.shown)
        else:
            then = next(at_change)
        found.append(MeterEntry(date, row.what, row.shown, row.after, row.note, then, row.added_at))
    return sorted(found, key=lambda each: (each.date, each.hours))


def add_reading(connection: sa.Connection, name: str, *, date: dt.date, shown: float) -> MeterEntry:
    """Keep what an engine's hour meter showed on a day, or find the same again.

    Raises
    ------
    LogbookError
        If it is no number of hours, or contradicts what is known of the engine.
    """
    engine_id = engines.number(connection, name)
    true = hours.true_hours(connection, engine_id, date, shown)
    wanted = (date, "reading", shown, None)
    if same := _find(connection, engine_id, wanted):
        return replace(same, duplicate=True)
    hours.refuse_impossible(connection, engine_id, date, true, shown)
    return _add(connection, engine_id, wanted, note="")


def change(
    connection: sa.Connection,
    name: str,
    *,
    date: dt.date,
    before: float,
    after: float,
    what: str,
    note: str,
) -> MeterEntry:
    """Keep that an engine's hour meter was replaced or rolled over, or find the same again.

    Entered late, it corrects the true hours of what was entered before it and made after it.

    Raises
    ------
    LogbookError
        If it is no such change, or contradicts what is known of the engine.
    """
    engine_id = engines.number(connection, name)
    note = plain_line(note.strip(), "the note")
    try:
        MeterChange(date, before, after, what)
    except ValueError as error:
        raise LogbookError(str(error)) from error
    wanted = (date, what, before, after)
    if same := _find(connection, engine_id, wanted):
        return replace(same, duplicate=True)
    kept = _add(connection, engine_id, wanted, note=note)
    recounted = count_hours_anew(connection, engine_id, Why(f"hour meter {what} on {date}"))
    # What follows undoes the entry where it raises: all is one transaction.
    hours.refuse_contradictions(
        connection,
        engine_id,
        [*_rows(connection, engine_id), *recounted],
        because="with this change of the meter",
        instead="correct --before, --after or --date, or enter an earlier change first",
    )
    return replace(kept, recounted=len(recounted))


Wanted = tuple[dt.date, str, float, float | None]


def _find(connection: sa.Connection, engine_id: int, wanted: Wanted) -> MeterEntry | None:
    return next(
        (
            each
            for each in of_engine(connection, engine_id)
            if (each.date, each.what, each.shown, each.after) == wanted
        ),
        None,
    )


def _add(connection: sa.Connection, engine_id: int, wanted: Wanted, *, note: str) -> MeterEntry:
    date, what, shown, after = wanted
    add_row(
        connection,
        schema.meter,
        engine_id=engine_id,
        date=date.isoformat(),
        what=what,
        shown=shown,
        after=after,
        note=note,
        added_at=schema.now(),
    )
    kept = _find(connection, engine_id, wanted)
    assert kept is not None
    return kept


def _rows(connection: sa.Connection, engine_id: int) -> list[tuple[str, int]]:
    """Return the rows of an engine's meter, the newest entered first."""
    keys = [row.id for row in hours.meter_rows(connection, engine_id)]
    return [("meter", key) for key in sorted(keys, reverse=True)]
