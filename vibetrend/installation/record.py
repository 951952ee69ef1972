"""The record of one installation, put together from its entries."""

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from vibetrend.engine import Engine, Limits
from vibetrend.errors import InstallationError
from vibetrend.installation.as_json import as_json
from vibetrend.installation.belts import BeltDrop
from vibetrend.installation.beside import (
    Finish,
    Photo,
    WrittenNote,
    finish_content,
    note_content,
    photo_content,
)
from vibetrend.installation.checklist import Check, check_content, checks_of
from vibetrend.installation.comparing import (
    Moved,
    drops,
    hub_and_ring,
    marks_moved,
    not_run_in,
    then_and_now,
)
from vibetrend.installation.details import Details, details_content, details_of
from vibetrend.installation.entered import Content, again
from vibetrend.installation.marks import MarkChange
from vibetrend.installation.missing import called, missing
from vibetrend.installation.reading import READING_KINDS, Entry, Reading, readings_of


@dataclass(frozen=True, kw_only=True)
class Record:
    """One damper's installation record."""

    date: dt.date
    hours: float
    as_found: bool
    details: Details
    readings: tuple[Reading, ...]  # by date, then as entered
    checks: tuple[Check, ...]  # every point that applies, and those answered beside
    photos: tuple[Photo, ...]  # each once, as it was kept last
    notes: tuple[WrittenNote, ...]
    finished: Finish | None
    unreadable: tuple[str, ...]  # entries left out of all the rest, and why, plain sentences
    missing: tuple[str, ...]  # these first, then what a careful record would still hold
    belts_settled: bool | None  # read again after run-in; None where no belt is recorded
    belt_drops: tuple[BeltDrop, ...]
    moved: tuple[Moved, ...]  # each surface read twice, first and latest; hub and ring
    marks_moved: tuple[MarkChange, ...]  # each mark measured twice, first and latest

    @property
    def latest(self) -> tuple[Reading, ...]:
        """The latest reading of each thing: one that was put right no longer counts."""
        found = {(each.kind, each.name.casefold(), each.what): each for each in self.readings}
        return tuple(found.values())

    @property
    def beyond(self) -> tuple[str, ...]:
        """What stands beyond the maker's limit by its latest reading, by name."""
        return tuple(called(each) for each in self.latest if each.state == "beyond")

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        found: dict[str, Any] = as_json(self)
        return found


_LONGEST_WHY = 200  # characters

_BUILDERS: dict[str, Callable[..., Content]] = {
    "details": details_content,
    "check": check_content,
    "photo": photo_content,
    "note": note_content,
    "finish": finish_content,
}


def record_of(
    entries: Iterable[Entry],
    *,
    engine: Engine,
    limits_then: Limits,
    limits_now: Limits,
    date: dt.date,
    hours: float,
    as_found: bool,
) -> Record:
    """Return the record of one installation.

    An entry that is damaged, or that another version wrote, closes the record to nobody: it is
    left out, and `unreadable` says so.

    Parameters
    ----------
    entries : iterable of Entry
        Those of this installation, in any order.
    engine : Engine
        As its file is now: which belts it drives, which kind of damper it has.
    limits_then, limits_now : Limits
        Those of the engine file when the damper was fitted, and now. The former decide; a limit
        that they lack may have been written in since.
    date, hours, as_found
        When the damper was fitted, at how many true hours; or found, fitted before.
    """
    readings, contents, unreadable = _read(entries, limits_then, limits_now)
    limits = _merged(limits_then, limits_now)
    unsettled = not_run_in(readings)
    record = Record(
        date=date,
        hours=hours,
        as_found=as_found,
        details=details_of([content for _, content in contents["details"]]),
        readings=tuple(readings),
        checks=checks_of(
            [(entry.date, content) for entry, content in contents["check"]],
            damper=engine.damper.type,
            as_found=as_found,
        ),
        photos=_once(
            Photo(entry_id=entry.id, date=entry.date, **content)
            for entry, content in contents["photo"]
        ),
        notes=tuple(
            WrittenNote(entry_id=entry.id, date=entry.date, **content)
            for entry, content in contents["note"]
        ),
        finished=_finished(contents["finish"]),
        unreadable=tuple(unreadable),
        missing=(),
        belts_settled=not unsettled if any(each.kind == "belt" for each in readings) else None,
        belt_drops=tuple(drops(readings, limits)),
        moved=(*then_and_now(readings), *hub_and_ring(readings)),
        marks_moved=tuple(marks_moved(readings)),
    )
    lacking = missing(
        record.readings,
        record.checks,
        record.details,
        engine=engine,
        limits=limits,
        as_found=as_found,
        unsettled=unsettled,
        has_photo=bool(record.photos),
    )
    return replace(record, missing=(*unreadable, *lacking))


def _read(
    entries: Iterable[Entry], limits_then: Limits, limits_now: Limits
) -> tuple[list[Reading], Mapping[str, list[tuple[Entry, Content]]], list[str]]:
    """Return the readings, the contents of every other kind, and why some entries are neither."""
    readings: list[Reading] = []
    contents: dict[str, list[tuple[Entry, Content]]] = {kind: [] for kind in _BUILDERS}
    unreadable = []
    for entry in sorted(entries, key=lambda each: (each.date, each.id)):
        try:
            if entry.kind in READING_KINDS:
                readings += readings_of(entry, limits_then=limits_then, limits_now=limits_now)
            elif entry.kind in _BUILDERS:
                contents[entry.kind].append((entry, content_of(entry)))
            else:
                raise InstallationError("its kind is not known here")
        except InstallationError as error:
            unreadable.append(_left_out(entry, str(error)))
        except ArithmeticError:
            unreadable.append(_left_out(entry, "its numbers are too large or small to reckon with"))
    return readings, contents, unreadable


def content_of(entry: Entry) -> Content:
    """Return what an entry that is no reading holds, checked again.

    Raises
    ------
    InstallationError
        If it is damaged, or only another version knows it.
    """
    return again(_BUILDERS[entry.kind], entry.content)


def _left_out(entry: Entry, why: str) -> str:
    if len(why) > _LONGEST_WHY:
        why = f"{why[: _LONGEST_WHY - 3]}..."
    return (
        f"Entry {entry.id} of {entry.date} ({ascii(entry.kind)[1:-1]}) cannot be read, and nothing "
        f"in it is counted: {why}. If a newer vibetrend wrote it, update vibetrend; else it is "
        f"damaged: restore the logbook from a backup."
    )


def _once(photos: Iterable[Photo]) -> tuple[Photo, ...]:
    """Return each photo once, as it was kept last; its caption stays until there is another."""
    found: dict[str, Photo] = {}
    for each in sorted(photos, key=lambda photo: photo.entry_id):
        before = found.get(each.sha256)
        caption = each.caption or (before.caption if before else "")
        found[each.sha256] = replace(each, caption=caption)
    return tuple(sorted(found.values(), key=lambda photo: (photo.date, photo.entry_id)))


def _finished(found: Sequence[tuple[Entry, Content]]) -> Finish | None:
    if not found:
        return None
    entry, content = found[-1]
    return Finish(date=entry.date, **{**content, "missing": tuple(content["missing"])})


def _merged(then: Limits, now: Limits) -> Limits:
    """Return the limits of then, with those added that were written in since."""
    names = {surface.casefold() for surface in then.runout}
    later = {name: limit for name, limit in now.runout.items() if name.casefold() not in names}
    return then.model_copy(
        update={
            "runout": {**then.runout, **later},
            **{
                name: getattr(now, name)
                for name in Limits.model_fields
                if name != "runout" and getattr(then, name) is None
            },
        }
    )
