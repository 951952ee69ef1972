"""Corrections: what was entered stays, and what counts instead is an entry of its own."""

import datetime as dt
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from vibetrend import hour_meter
from vibetrend.errors import LogbookError
from vibetrend.logbook import counting, engines, filing, schema
from vibetrend.logbook import hours as engine_hours
from vibetrend.logbook.book import Logbook
from vibetrend.logbook.chain import add_row
from vibetrend.logbook.closing import refuse_what_comes_late
from vibetrend.logbook.plain_text import plain_line
from vibetrend.logbook.recordings import (
    add_measurement,
    as_json,
    by_key,
    refuse_another_day,
    refuse_present_damper,
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


@dataclass(frozen=True)
class _Kept:
    """The row an id stands for, as it counts now."""

    id: str
    table: str
    row: Any


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
        kept = _find(connection, entry)
        fields = FIELDS if kept.table == "recording" else _OF_OTHERS
        if kept.table not in ("recording", "installation", "work"):
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
            _add(connection, kept, name, value, reason, person)
            for name, value in now.items()
            if _differs(getattr(kept.row, name), value)
        ]
        if measurement is not None and made:
            add_measurement(connection, kept.row.id, measurement)
        if made:
            filing.file_again(connection, kept.row.engine_id)
            if kept.table == "recording":
                _file_anew(connection, kept, now)
        return [each for one in made for each in _told(one)]


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
        kept = _find(connection, entry)
        if bool(kept.row.set_aside) != back:
            return False
        engine_id = _engine_of(connection, kept)
        if kept.table == "installation" and not back:
            _refuse_with_a_record(connection, kept)
        _add(connection, kept, counting.SET_ASIDE, not back, reason, person)
        if back:
            _refuse_if_it_contradicts(connection, kept)
        if kept.table == "meter":
            _count_hours_anew(connection, engine_id, reason, person)
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
            if _engine_of(connection, kept := _row(connection, row.table_name, row.row_id))
            == engine_id
            for each in _told(_Made(kept.id, row))
        ]


@dataclass(frozen=True)
class _Made:
    of: str
    row: Any


def _told(made: _Made) -> list[Correction]:
    """Return a correction as people see it: of tags, each on its own."""
    row = made.row
    was, now = json.loads(row.was), json.loads(row.now)
    pairs = [(row.what, was, now)]
    if row.what == "tags":
        pairs = [(name, was.get(name, ""), now.get(name, "")) for name in TAGS]
        pairs = [(name, one, other) for name, one, other in pairs if one != other]
    return [
        Correction(made.of, what, one, other, row.reason, row.person, row.made_at)
        for what, one, other in pairs
    ]


def _why(reason: str, person: str) -> tuple[str, str]:
    if not reason.strip():
        raise LogbookError("a correction needs its reason, for whoever reads it later; give one")
    return plain_line(reason.strip(), "the reason"), plain_line(person.strip(), "the name")


# Finding what an id stands for


def _find(connection: sa.Connection, entry: str) -> _Kept:
    numbered = re.fullmatch(r"(installation|work|meter|entry)-([1-9][0-9]{0,9})", entry)
    if numbered:
        return _row(connection, numbered[1], int(numbered[2]))
    table = counting.any_recording
    row = connection.execute(sa.select(table).where(table.c.label == entry)).one_or_none()
    if row is None:
        raise LogbookError(
            f"{entry!r} is not in the logbook; 'vibetrend logbook list' shows every entry with its "
            f"id"
        )
    return _Kept(entry, "recording", row)


def _row(connection: sa.Connection, name: str, key: int) -> _Kept:
    table = counting.ANY[name]
    row = connection.execute(sa.select(table).where(table.c.id == key)).one_or_none()
    if row is None:
        raise LogbookError(
            f"{name}-{key} is not in the logbook; 'vibetrend logbook list' shows every entry with "
            f"its id"
        )
    return _Kept(row.label if name == "recording" else f"{name}-{key}", name, row)


def _engine_of(connection: sa.Connection, kept: _Kept) -> int:
    if kept.table != "entry":
        return int(kept.row.engine_id)
    return int(_row(connection, "installation", kept.row.installation_id).row.engine_id)


# What a correction changes


def _columns(connection: sa.Connection, kept: _Kept, stated: Mapping[str, Any]) -> dict[str, Any]:
    """Return the new values by column; refuses what cannot be."""
    row, engine_id = kept.row, int(kept.row.engine_id)
    now: dict[str, Any] = {}
    date = stated.get("date", dt.date.fromisoformat(row.date))
    if "hours" in stated or "date" in stated:
        shown = stated.get("hours", row.hours if row.meter_hours is None else row.meter_hours)
        hours = engine_hours.true_hours(connection, engine_id, date, shown)
        engine_hours.refuse_impossible(
            connection, engine_id, date, hours, shown, without=(kept.table, row.id)
        )
        now |= {"date": date.isoformat(), "hours": hours, "meter_hours": shown}
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
        hours, shown = now.get("hours", row.hours), now.get("meter_hours", row.meter_hours)
        refuse_present_damper(connection, engine_id, date, hours, hours if shown is None else shown)
    if "rpm" in stated:
        now["rpm"] = float(stated["rpm"])
    tags = {name: plain_line(stated[name], f"the {name}") for name in TAGS if name in stated}
    if tags:
        now["tags"] = json.loads(row.tags) | tags
    return now


def _differs(was: Any, now: Any) -> bool:
    return bool((json.loads(was) if isinstance(now, dict) else was) != now)


def _add(
    connection: sa.Connection, kept: _Kept, what: str, now: Any, reason: str, person: str
) -> _Made:
    was = getattr(kept.row, what)
    key = add_row(
        connection,
        schema.correction,
        table_name=kept.table,
        row_id=kept.row.id,
        what=what,
        was=was if what == "tags" else as_json(was),
        now=as_json(now),
        reason=reason,
        person=person,
        made_at=schema.now(),
    )
    table = schema.correction
    return _Made(kept.id, connection.execute(sa.select(table).where(table.c.id == key)).one())


def _file_anew(connection: sa.Connection, kept: _Kept, now: Mapping[str, Any]) -> None:
    """File a recording where it belongs by its new tags and speed."""
    if {"tags", "rpm"} & now.keys():
        filing.file(connection, kept.row.id)
    if now.get("baseline"):
        refuse_what_comes_late(connection, by_key(connection, kept.row.id))


def _refuse_with_a_record(connection: sa.Connection, kept: _Kept) -> None:
    table = counting.entry
    query = sa.select(sa.func.count()).where(
        table.c.installation_id == kept.row.id, table.c.kind != "details"
    )
    if count := connection.scalar(query):
        raise LogbookError(
            f"{kept.id}: its record holds entries ({count}); set these aside first, or correct its "
            f"date or hours: vibetrend logbook correct {kept.id}"
        )


def _refuse_if_it_contradicts(connection: sa.Connection, kept: _Kept) -> None:
    """Refuse to use again what has been contradicted by what was entered since."""
    if kept.table not in ("recording", "installation", "work"):
        return
    row = kept.row
    shown = row.hours if row.meter_hours is None else row.meter_hours
    engine_hours.refuse_impossible(
        connection,
        row.engine_id,
        dt.date.fromisoformat(row.date),
        row.hours,
        shown,
        without=(kept.table, row.id),
    )


def _count_hours_anew(connection: sa.Connection, engine_id: int, reason: str, person: str) -> None:
    """Correct every true hours that rested on a change of the meter that counts no more."""
    changed = engine_hours.changes(connection, engine_id)
    for name in ("recording", "installation", "work"):
        table = counting.ANY[name]
        for row in connection.execute(sa.select(table).where(table.c.engine_id == engine_id)).all():
            shown = row.hours if row.meter_hours is None else row.meter_hours
            true = hour_meter.true_hours(changed, dt.date.fromisoformat(row.date), shown)
            if abs(true - row.hours) > engine_hours.ROUNDING:
                kept = _row(connection, name, row.id)
                _add(connection, kept, "hours", true, reason, person)
