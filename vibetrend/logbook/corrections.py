"""Corrections: what was entered stays, and what counts instead is an entry of its own."""

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import counting, engines, filing, schema
from vibetrend.logbook import hours as engine_hours
from vibetrend.logbook.amending import (
    WITH_HOURS,
    Kept,
    amend,
    by_key,
    count_hours_anew,
    find,
    shown,
)
from vibetrend.logbook.book import Logbook
from vibetrend.logbook.closing import refuse_what_comes_late
from vibetrend.logbook.plain_text import plain_line
from vibetrend.logbook.recordings import (
    add_measurement,
    refuse_another_day,
    refuse_present_damper,
)
from vibetrend.logbook.recordings import (
    by_key as recording_by_key,
)

if TYPE_CHECKING:  # only the type: to look into a logbook, nothing has to be measured
    from vibetrend.orders.measurement import Measurement

TAGS = ("position", "device", "condition")
"""What is corrected within the tags of a recording."""

FIELDS = ("hours", "date", "visit", "rpm", "baseline", "before", *TAGS)
"""What may be corrected of a recording; of an installation or work, hours and date."""

_OF_OTHERS = ("hours", "date")


@dataclass(frozen=True)
class Correction:
    """One value that counts instead of another."""

    of: str  # the entry's id: a recording's short id, or "work-3" and so on
    what: str  # one of `FIELDS`, "meter_hours" or "set_aside"
    was: Any
    now: Any
    reason: str
    person: str  # "" if not stated
    made_at: str  # UTC, ISO 8601


def correct(
    book: Logbook,
    entry: str,
    stated: Mapping[str, Any],
    *,
    reason: str,
    person: str = "",
    measurement: "Measurement | None" = None,
) -> list[Correction]:
    """Let other values count of an entry; what it was entered with stays to be read.

    Parameters
    ----------
    entry : str
        A recording's short id, or ``installation-1``, ``work-3``.
    stated : mapping
        The new values by `FIELDS`; hours are what the meter showed.
    measurement : Measurement, optional
        Of the recording at its new speed, which it then has to be measured at.

    Returns
    -------
    list of Correction
        Empty where all of it counts already. Recordings are filed anew where they now belong.

    Raises
    ------
    LogbookError
        If there is no such entry or field, or the values contradict what else is known.
    """
    reason, person = _why(reason, person)
    with book.database.writing() as connection:
        kept = find(connection, entry)
        fields = FIELDS if kept.table == "recording" else _OF_OTHERS
        if kept.table not in WITH_HOURS:
            raise LogbookError(
                f"{entry}: it cannot be corrected, but set aside and entered again: vibetrend "
                f"logbook set-aside {entry} --reason TEXT"
            )
        for name in stated:
            if name not in fields:
                raise LogbookError(
                    f"{entry}: its {name} cannot be corrected; {', '.join(fields)} can, and what "
                    f"else is wrong is set aside and entered again"
                )
        now = _columns(connection, kept, stated)
        made = [
            amend(connection, kept, name, value, reason=reason, person=person)
            for name, value in now.items()
            if _differs(getattr(kept.row, name), value)
        ]
        if measurement is not None and made:
            add_measurement(connection, kept.row.id, measurement)
        if made:
            filing.file_again(connection, kept.row.engine_id)
            if kept.table == "recording":
                _file_anew(connection, kept, now)
        return [each for one in made for each in _told(entry, one)]


def set_aside(
    book: Logbook, entry: str, *, reason: str, person: str = "", back: bool = False
) -> bool:
    """Use an entry for nothing from now on, or with `back` use it again; it stays to be read.

    Parameters
    ----------
    entry : str
        A recording's short id, or ``installation-1``, ``work-3``, ``meter-2``, ``entry-12``.

    Returns
    -------
    bool
        Whether that changed anything.

    Raises
    ------
    LogbookError
        If there is no such entry, or others rest on it.
    """
    reason, person = _why(reason, person)
    with book.database.writing() as connection:
        kept = find(connection, entry)
        if bool(kept.row.set_aside) != back:
            return False
        engine_id = _engine_of(connection, kept)
        if kept.table == "installation" and not back:
            _refuse_with_a_record(connection, kept)
        amend(connection, kept, counting.SET_ASIDE, not back, reason=reason, person=person)
        if back or kept.table == "meter":
            count_hours_anew(connection, engine_id, reason=reason, person=person)
        if back:
            _refuse_if_it_contradicts(connection, find(connection, entry))
        filing.file_again(connection, engine_id)
        return True


def corrections(book: Logbook, engine_name: str) -> list[Correction]:
    """Return every correction of an engine's entries, oldest first."""
    with book.database.reading() as connection:
        engine_id = engines.number(connection, engine_name)
        query = sa.select(schema.correction).order_by(schema.correction.c.id)
        return [
            each
            for row in connection.execute(query)
            if _engine_of(connection, kept := by_key(connection, row.table_name, row.row_id))
            == engine_id
            for each in _told(kept.id, row)
        ]


def _told(entry: str, row: Any) -> list[Correction]:
    """Return a correction as people see it: of tags, each on its own."""
    was, now = json.loads(row.was), json.loads(row.now)
    pairs = [(row.what, was, now)]
    if row.what == "tags":
        pairs = [(name, was.get(name, ""), now.get(name, "")) for name in TAGS]
        pairs = [(name, one, other) for name, one, other in pairs if one != other]
    return [
        Correction(entry, what, one, other, row.reason, row.person, row.made_at)
        for what, one, other in pairs
    ]


def _why(reason: str, person: str) -> tuple[str, str]:
    if not reason.strip():
        raise LogbookError("a correction needs its reason, for whoever reads it later; give one")
    return plain_line(reason.strip(), "the reason"), plain_line(person.strip(), "the name")


def _engine_of(connection: sa.Connection, kept: Kept) -> int:
    if kept.table != "entry":
        return int(kept.row.engine_id)
    return int(by_key(connection, "installation", kept.row.installation_id).row.engine_id)


def _columns(connection: sa.Connection, kept: Kept, stated: Mapping[str, Any]) -> dict[str, Any]:
    """Return the new values by column; refuses what cannot be."""
    row, engine_id = kept.row, int(kept.row.engine_id)
    now: dict[str, Any] = {}
    date = stated.get("date", dt.date.fromisoformat(row.date))
    if "hours" in stated or "date" in stated:
        meter = stated.get("hours", shown(row))
        hours = engine_hours.true_hours(connection, engine_id, date, meter)
        engine_hours.refuse_impossible(
            connection, engine_id, date, hours, meter, without=(kept.table, row.id)
        )
        now |= {"date": date.isoformat(), "hours": hours, "meter_hours": meter}
    if kept.table != "recording":
        return now
    visit = stated.get("visit")
    if visit is None and row.visit == row.date:  # it was called by its day and stays so
        visit = date.isoformat()
    if visit is not None and visit != row.visit:
        now["visit"] = plain_line(visit, "the check-up's name")
    if now.get("visit") or "date" in stated:
        refuse_another_day(connection, engine_id, visit or row.visit, date, without=row.id)
    marks = {name: stated[name] for name in ("baseline", "before") if name in stated}
    if marks:
        now |= {"baseline": False, "before": False} | marks
    if now.get("baseline") and now.get("before"):
        raise LogbookError(
            "a recording is either part of the baseline or from before the damper was renewed; "
            "leave out --baseline or --before"
        )
    if now.get("before"):
        hours, meter = now.get("hours", row.hours), now.get("meter_hours", shown(row))
        refuse_present_damper(connection, engine_id, date, hours, meter)
    if "rpm" in stated:
        now["rpm"] = float(stated["rpm"])
    tags = {name: plain_line(stated[name], f"the {name}") for name in TAGS if name in stated}
    if tags:
        now["tags"] = json.loads(row.tags) | tags
    return now


def _differs(was: Any, now: Any) -> bool:
    return bool((json.loads(was) if isinstance(now, dict) else was) != now)


def _file_anew(connection: sa.Connection, kept: Kept, now: Mapping[str, Any]) -> None:
    """File a recording where it belongs by its new tags and speed."""
    if {"tags", "rpm"} & now.keys():
        filing.file(connection, kept.row.id)
    if now.get("baseline"):
        refuse_what_comes_late(connection, recording_by_key(connection, kept.row.id))


def _refuse_with_a_record(connection: sa.Connection, kept: Kept) -> None:
    table = counting.entry
    query = sa.select(sa.func.count()).where(
        table.c.installation_id == kept.row.id, table.c.kind != "details"
    )
    if count := connection.scalar(query):
        raise LogbookError(
            f"{kept.id}: its record holds entries ({count}); set these aside first, or correct its "
            f"date or hours: vibetrend logbook correct {kept.id}"
        )


def _refuse_if_it_contradicts(connection: sa.Connection, kept: Kept) -> None:
    """Refuse to use again what has been contradicted by what was entered since."""
    if kept.table not in WITH_HOURS:
        return
    row = kept.row
    engine_hours.refuse_impossible(
        connection,
        row.engine_id,
        dt.date.fromisoformat(row.date),
        row.hours,
        shown(row),
        without=(kept.table, row.id),
    )
