"""Work on an engine that may have moved levels for good: each begins a new epoch."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import counting, engines, schema
from vibetrend.logbook import hours as engine_hours
from vibetrend.logbook.chain import add_row
from vibetrend.logbook.plain_text import plain_line

KINDS = (
    "mounts", "injection", "belt", "driven-part", "alignment", "overhaul", "lay-up", "exhaust",
    "other",
)  # fmt: skip
"""What may have been worked on."""

_ONCE_CALLED = {"injection": "injectors"}
"""Names that kinds had in earlier versions: still taken, and read as they were kept."""


@dataclass(frozen=True)
class Work:
    """Work done within one installation."""

    date: dt.date
    hours: float  # true engine hours
    what: str  # one of `KINDS`, or "injectors" from before
    note: str
    epoch: int  # which the work began, counted from 1 within its installation
    installation_id: int
    added_at: str  # UTC, ISO 8601
    meter_hours: float  # what the meter showed
    duplicate: bool = False  # the same work was here already
    # Told by `Logbook.add_work` alone:
    ends_some: bool = field(default=False, compare=False)  # series with recordings end with it
    until_next: int | None = field(default=None, compare=False)  # recordings between it and the
    # next work or damper; None where none of these is known


def add(
    connection: sa.Connection, name: str, *, date: dt.date, shown: float, what: str, note: str
) -> Work:
    """Add work, or find the same one again.

    Raises
    ------
    LogbookError
        If there is no such kind of work, its note is no plain line, no installation had begun by
        then, or its hours contradict what is known of the engine.
    """
    what = next((kind for kind, once in _ONCE_CALLED.items() if what == once), what)
    if what not in KINDS:
        raise LogbookError(f"{what!r} is no kind of work; choose one of {', '.join(KINDS)}")
    engine_id = engines.number(connection, name)
    hours = engine_hours.true_hours(connection, engine_id, date, shown)
    note = plain_line(note.strip(), "the note")
    kinds = (what, _ONCE_CALLED.get(what))

    def same() -> Work | None:
        return next(
            (
                work
                for work in of_engine(connection, engine_id)
                if work.what in kinds
                and (work.date, work.meter_hours, work.note) == (date, shown, note)
            ),
            None,
        )

    if known := same():
        return replace(known, duplicate=True)
    engine_hours.refuse_impossible(connection, engine_id, date, hours, shown)
    add_row(
        connection,
        schema.work,
        engine_id=engine_id,
        date=date.isoformat(),
        hours=hours,
        meter_hours=shown,
        what=what,
        note=note,
        added_at=schema.now(),
    )
    if added := same():
        return added
    raise LogbookError(engines.none_begun(name, f"{date} at {engine_hours.in_words(hours, shown)}"))


def of_engine(connection: sa.Connection, engine_id: int) -> list[Work]:
    """Return the work on an engine, earliest first.

    What was done at the same date and hours begins one epoch together.
    """
    table = counting.work
    query = sa.select(table, engine_hours.shown_then(table).label("shown"))
    query = query.where(table.c.engine_id == engine_id)
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
            Work(
                date=date,
                hours=row.hours,
                what=row.what,
                note=row.note,
                epoch=epoch,
                installation_id=installation_id,
                added_at=row.added_at,
                meter_hours=row.shown,
            )
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
