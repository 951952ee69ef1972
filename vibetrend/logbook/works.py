"""Work on an engine that may have moved levels for good: each begins a new epoch."""

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import engines, schema
from vibetrend.logbook.database import add_row
from vibetrend.logbook.hours import refuse_impossible

KINDS = (
    "mounts", "injectors", "belt", "alignment", "overhaul", "lay-up", "exhaust", "other",
)  # fmt: skip
"""What may have been worked on."""

LONGEST_NOTE = 500
# No line feed, no terminal escape, nothing that turns the direction of writing, no half character.
_NOT_PLAIN = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


@dataclass(frozen=True)
class Work:
    """Work done within one installation."""

    date: dt.date
    hours: float  # engine hours
    what: str  # one of `KINDS`
    note: str
    epoch: int  # which the work began, counted from 1 within its installation
    installation_id: int
    added_at: str  # UTC, ISO 8601
    duplicate: bool = False  # the same work was here already
    # Told by `Logbook.add_work` alone:
    ends_some: bool = field(default=False, compare=False)  # series with recordings end with it
    until_next: int | None = field(default=None, compare=False)  # recordings between it and the
    # next work or damper; None where none of these is known


def add(
    connection: sa.Connection, name: str, *, date: dt.date, hours: float, what: str, note: str
) -> Work:
    """Add work, or find the same one again.

    Raises
    ------
    LogbookError
        If there is no such kind of work, its note is no plain line, no installation had begun by
        then, or its hours contradict what is known of the engine.
    """
    if what not in KINDS:
        raise LogbookError(f"{what!r} is no kind of work; choose one of {', '.join(KINDS)}")
    engines.check_hours(hours)
    engine_id = engines.number(connection, name)
    note = _plain_line(note.strip())
    entry = {"date": date.isoformat(), "hours": hours, "what": what, "note": note}
    table = schema.work
    same = sa.select(table.c.id).filter_by(engine_id=engine_id, **entry)
    known = connection.scalar(same)
    if known is None:
        refuse_impossible(connection, engine_id, date, hours)
        add_row(connection, table, engine_id=engine_id, **entry, added_at=schema.now())
    for work in of_engine(connection, engine_id):
        if (work.date, work.hours, work.what, work.note) == (date, hours, what, note):
            return Work(**{**vars(work), "duplicate": known is not None})
    raise LogbookError(
        f"no installation on {name!r} had begun by {date} at {hours:g} h; start it: vibetrend "
        f"installation start --engine {name} --date D --hours H (--as-found if the damper was "
        f"fitted long ago)"
    )


def _plain_line(note: str) -> str:
    if odd := _NOT_PLAIN.search(note):
        raise LogbookError(
            f"the note holds the control character {odd[0]!a}; write it as one plain line"
        )
    if len(note) > LONGEST_NOTE:
        raise LogbookError(
            f"the note has {len(note)} characters; shorten it to {LONGEST_NOTE} at most"
        )
    return note


def of_engine(connection: sa.Connection, engine_id: int) -> list[Work]:
    """Return the work on an engine, earliest first.

    What was done at the same date and hours begins one epoch together.
    """
    table = schema.work
    query = sa.select(table).where(table.c.engine_id == engine_id)
    rows = connection.execute(query.order_by(table.c.date, table.c.hours, table.c.id)).all()
    if not rows:
        return []
    installations = engines.installation_rows(connection, engine_id)
    found: list[Work] = []
    for row in rows:
        date = dt.date.fromisoformat(row.date)
        installation_id = engines.installation_at(installations, row.date, row.hours)
        if installation_id is None:
            continue
        last = found[-1] if found else None
        if last is None or last.installation_id != installation_id:
            epoch = 1
        else:
            epoch = last.epoch + ((last.date, last.hours) != (date, row.hours))
        found.append(
            Work(date, row.hours, row.what, row.note, epoch, installation_id, row.added_at)
        )
    return found


def epoch_at(
    works: Sequence[Work], installation_id: int | None, date: str, hours: float, added_at: str
) -> int:
    """Return the epoch of an installation that had begun when something was recorded.

    Date and hours must both be reached. Where both are the work's own, what had been added before
    the work was entered was recorded before it: first record, then work, is the usual sequence.
    """
    begun = [
        work.epoch
        for work in works
        if work.installation_id == installation_id
        and work.date.isoformat() <= date
        and work.hours <= hours
        and ((work.date.isoformat(), work.hours) != (date, hours) or work.added_at <= added_at)
    ]
    return max(begun, default=0)
