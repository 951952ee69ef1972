"""Corrections: what was entered stays, and what counts instead is an entry of its own."""

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.hour_meter import MeterChange
from vibetrend.logbook import counting, engines, filing, schema
from vibetrend.logbook import hours as engine_hours
from vibetrend.logbook.amending import (
    Kept,
    Why,
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

_WORDS = ("position", "device", "condition")
_DEGREES = ("coolant_c", "damper_c", "room_c")
TAGS = (*_WORDS, "end_rpm", *_DEGREES)
"""What is corrected within the tags of a recording."""

FIELDS = {
    "recording": ("hours", "date", "visit", "rpm", "baseline", "before", *TAGS),
    "installation": ("hours", "date"),
    "work": ("hours", "date"),
    "meter": ("date", "shown", "after"),
}
"""What may be corrected of an entry, by kind. Hours are what the meter showed; of a change of the
meter, `shown` is what the old one showed last and `after` what the new one showed first."""

_TOGETHER = (
    "correct --hours or --date, and what was entered wrongly together in one command, with all "
    "their ids"
)
_SLOWEST, _FASTEST = 1.0, 20_000.0  # rpm
_COLDEST, _HOTTEST = -60.0, 250.0  # degrees C, as a recording may state


@dataclass(frozen=True)
class Correction:
    """One value that counts instead of another."""

    of: str  # the entry's id: a recording's short id, or "work-3" and so on
    what: str  # one of those in `FIELDS`, "meter_hours" or "set_aside"
    was: Any
    now: Any
    reason: str
    person: str  # "" if not stated
    made_at: str  # UTC, ISO 8601


@dataclass(frozen=True)
class SetAside:
    """What setting aside, or using again, has changed."""

    entries: tuple[str, ...]  # ids of those that were not so before
    recounted: int  # entries whose true hours rest on the meter's log and are others now


def correct(
    book: Logbook,
    entries: Sequence[str],
    stated: Mapping[str, Any],
    *,
    reason: str,
    person: str = "",
    measurements: Mapping[str, "Measurement"] = MappingProxyType({}),
) -> list[Correction]:
    """Let other values count of entries; what they were entered with stays to be read.

    Parameters
    ----------
    entries : sequence of str
        Short ids of recordings, or ``installation-1``, ``work-3``, ``meter-2``: all or none.
    stated : mapping
        The new values by `FIELDS`.
    measurements : mapping
        By id, of recordings at a new speed, or a new one at a sweep's end, which they then have to
        be measured at.

    Returns
    -------
    list of Correction
        Empty where all of it counts already. Recordings are filed anew where they now belong.

    Raises
    ------
    LogbookError
        If there is no such entry or field, or the values contradict what else is known.
    """
    why = _why(reason, person)
    with book.database.writing() as connection:
        every = [find(connection, each) for each in dict.fromkeys(entries)]
        made: list[tuple[Kept, Any]] = []
        for kept in every:
            now = _columns(connection, kept, stated)
            made += [
                (kept, amend(connection, kept, name, value, why))
                for name, value in now.items()
                if _differs(getattr(kept.row, name), value)
            ]
        changed = list({kept.id: kept for kept, _ in made}.values())
        for kept in changed:
            if kept.id in measurements:
                add_measurement(connection, kept.row.id, measurements[kept.id])
        _settle(connection, changed, why, because="as corrected")
        for kept in changed:
            if kept.table == "recording":
                filing.file(connection, kept.row.id)
                _check_recording(connection, kept)
        return [each for kept, row in made for each in _told(kept.id, row)]


def set_aside(
    book: Logbook, entries: Sequence[str], *, reason: str, person: str = "", back: bool = False
) -> SetAside:
    """Use entries for nothing from now on, or with `back` use them again; they stay to be read.

    Parameters
    ----------
    entries : sequence of str
        Short ids of recordings, or ``installation-1``, ``work-3``, ``meter-2``, ``entry-12``: all
        or none.

    Raises
    ------
    LogbookError
        If there is no such entry, others rest on it, or it was entered again.
    """
    why = _why(reason, person)
    with book.database.writing() as connection:
        every = [find(connection, each) for each in dict.fromkeys(entries)]
        changed = [kept for kept in every if bool(kept.row.set_aside) == back]
        for kept in changed:
            amend(connection, kept, counting.SET_ASIDE, not back, why)
        for kept in changed:
            if back:
                _refuse_twin(connection, kept)
            elif kept.table == "installation":
                _refuse_with_a_record(connection, kept)
        because = "used again" if back else "with that set aside"
        recounted = _settle(connection, changed, why, because=because)
        return SetAside(tuple(kept.id for kept in changed), recounted)


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


def _why(reason: str, person: str) -> Why:
    if not reason.strip():
        raise LogbookError("a correction needs its reason, for whoever reads it later; give one")
    return Why(plain_line(reason.strip(), "the reason"), plain_line(person.strip(), "the name"))


def _engine_of(connection: sa.Connection, kept: Kept) -> int:
    if kept.table != "entry":
        return int(kept.row.engine_id)
    return int(by_key(connection, "installation", kept.row.installation_id).row.engine_id)


def _columns(connection: sa.Connection, kept: Kept, stated: Mapping[str, Any]) -> dict[str, Any]:
    """Return the new values by column; what else is known is held against them later."""
    _refuse_fields(kept, stated)
    row = kept.row
    date = stated.get("date", dt.date.fromisoformat(row.date))
    if kept.table == "meter":
        return _of_meter(row, date, stated)
    now: dict[str, Any] = {}
    if "hours" in stated or "date" in stated:
        meter = stated.get("hours", shown(row))
        hours = engine_hours.true_hours(connection, row.engine_id, date, meter)
        now |= {"date": date.isoformat(), "hours": hours, "meter_hours": meter}
    if kept.table != "recording":
        return now
    visit = stated.get("visit", "").strip()
    if not visit and ("visit" in stated or row.visit == row.date):  # it is called by its day
        visit = date.isoformat()
    if visit:
        now["visit"] = plain_line(visit, "the check-up's name")
    marks = {name: stated[name] for name in ("baseline", "before") if name in stated}
    if marks:
        now |= {"baseline": False, "before": False} | marks
    if now.get("baseline") and now.get("before"):
        raise LogbookError(
            "a recording is either part of the baseline or from before the damper was renewed; "
            "leave out --baseline or --before"
        )
    if "rpm" in stated:
        now["rpm"] = _speed(stated["rpm"])
    was = json.loads(row.tags)
    if tags := {name: _tag(name, stated[name], was) for name in TAGS if name in stated}:
        now["tags"] = was | tags
    return now


def _tag(name: str, value: Any, of: Mapping[str, Any]) -> Any:
    if name in _WORDS:
        return plain_line(value.strip(), f"the {name}")
    if name in _DEGREES:
        if not _COLDEST <= value <= _HOTTEST:
            raise LogbookError(f"{value:g} degrees C cannot be; give {_COLDEST:g} to {_HOTTEST:g}")
        return float(value)
    if of["manner"] == "steady":
        raise LogbookError(
            "a steady recording has no speed at its end; leave out --end-rpm, or set it aside and "
            "add it again with --manner run-up or --manner coast-down"
        )
    return _speed(value)


def _refuse_fields(kept: Kept, stated: Mapping[str, Any]) -> None:
    fields = FIELDS.get(kept.table, ())
    if not fields:
        raise LogbookError(
            f"{kept.id}: it cannot be corrected, but set aside and entered again: vibetrend "
            f"logbook set-aside {kept.id} --reason TEXT"
        )
    if odd := [name for name in stated if name not in fields]:
        raise LogbookError(
            f"{kept.id}: its {odd[0]} cannot be corrected; {', '.join(fields)} can, and what else "
            f"is wrong is set aside and entered again"
        )


def _of_meter(row: Any, date: dt.date, stated: Mapping[str, Any]) -> dict[str, Any]:
    now = {"date": date.isoformat(), "shown": stated.get("shown", row.shown)}
    if row.what == "reading":
        engine_hours.check_hours(now["shown"])
        if "after" in stated:
            raise LogbookError("a reading of the meter has no hours after it; leave out --after")
        return now
    now["after"] = stated.get("after", row.after)
    try:
        MeterChange(date, now["shown"], now["after"], row.what)
    except ValueError as error:
        raise LogbookError(str(error)) from error
    return now


def _speed(rpm: float) -> float:
    if not _SLOWEST <= rpm <= _FASTEST:
        raise LogbookError(
            f"{rpm:g} rpm is no speed of an engine; give {_SLOWEST:g} to {_FASTEST:g}"
        )
    return float(rpm)


def _differs(was: Any, now: Any) -> bool:
    return bool((json.loads(was) if isinstance(now, dict) else was) != now)


def _settle(connection: sa.Connection, changed: Sequence[Kept], why: Why, *, because: str) -> int:
    """Bring what rests on changed entries into line; return how many hours were counted anew.

    Raises
    ------
    LogbookError
        If hours would contradict each other then.
    """
    count = 0
    for engine_id in {_engine_of(connection, kept) for kept in changed}:
        of_engine = [kept for kept in changed if _engine_of(connection, kept) == engine_id]
        recounted = count_hours_anew(connection, engine_id, why)
        rows = [(kept.table, kept.row.id) for kept in of_engine]
        if any(kept.table == "meter" for kept in of_engine):
            rows += [("meter", row.id) for row in engine_hours.meter_rows(connection, engine_id)]
        engine_hours.refuse_contradictions(
            connection, engine_id, [*rows, *recounted], because=because, instead=_TOGETHER
        )
        filing.file_again(connection, engine_id)
        count += len(recounted)
    return count


def _check_recording(connection: sa.Connection, kept: Kept) -> None:
    """Refuse a recording as corrected where one added so would be refused."""
    row = by_key(connection, "recording", kept.row.id).row
    date, engine_id = dt.date.fromisoformat(row.date), int(row.engine_id)
    refuse_another_day(
        connection,
        engine_id,
        row.visit,
        date,
        without=row.id,
        instead="correct all of that check-up in one command, with all their ids, or --visit",
    )
    if row.before and not kept.row.before:
        refuse_present_damper(connection, engine_id, date, row.hours, shown(row))
    if row.baseline and not kept.row.baseline:
        refuse_what_comes_late(connection, recording_by_key(connection, row.id))


def _refuse_twin(connection: sa.Connection, kept: Kept) -> None:
    """Refuse to use again what was entered again meanwhile."""
    if kept.table == "recording":  # the same content is one recording
        return
    table = counting.ANY[kept.table]
    apart = ("id", "added_at", "engine_toml", counting.SET_ASIDE)
    alike = [each == getattr(kept.row, each.key) for each in table.c if each.key not in apart]
    query = sa.select(table.c.id).where(*alike, ~table.c.set_aside, table.c.id != kept.row.id)
    if (twin := connection.scalar(query)) is not None:
        raise LogbookError(
            f"{kept.id}: the same was entered again as {kept.table}-{twin}; set that aside first, "
            f"or leave it so"
        )


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
