"""The installation record: what a person enters is kept and comes back judged."""

import datetime as dt
import io
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, BinaryIO

from vibetrend.checkup.dampers import on_engine, reading_json, record, record_at, records
from vibetrend.checkup.records import EngineRecord
from vibetrend.errors import MeasureError, ReadError, VibetrendError
from vibetrend.hashing import digest
from vibetrend.ingest import content, kept_content, read
from vibetrend.ingest.photo import LARGEST_PHOTO, Photo, checked, thumbnail
from vibetrend.installation import (
    Details,
    Reading,
    Record,
    RunOut,
    belt_content,
    bolt_content,
    details_content,
    finish_content,
    photo_content,
)
from vibetrend.installation import Photo as KeptPhoto
from vibetrend.installation.as_json import as_json
from vibetrend.installation.bolts import bolt_of
from vibetrend.logbook import Entry, Installation, Logbook
from vibetrend.orders.plucked import plucked
from vibetrend.quantities import Quantity, ShownUnits, unit

_OF_RUNOUT = (
    "unit", "tir", "eccentricity", "angle_deg", "eccentricity_standard_error", "form", "mean",
)  # fmt: skip
"""What stands at the top of a run-out's JSON form."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Kept:
    """What is in the record now, and the record it is part of."""

    engine: str
    entry: Entry
    record: Record
    remarks: tuple[str, ...] = ()  # doubts about what was entered

    @property
    def readings(self) -> tuple[Reading, ...]:
        """What the entry holds, judged; none of a photo or a note."""
        return tuple(each for each in self.record.readings if each.entry_id == self.entry.id)

    def to_dict(self, shown: ShownUnits) -> dict[str, Any]:
        """Return the JSON form: what was kept, what it says, what the record lacks."""
        readings = self.readings
        found = readings[0].details if readings else None
        main = _OF_RUNOUT if isinstance(found, RunOut) else ()
        return {
            **{name: as_json(getattr(found, name)) for name in main},
            "engine": self.engine,
            "kind": self.entry.kind,
            "entry": self.entry.id,
            "date": self.entry.date.isoformat(),
            "duplicate": self.entry.duplicate,
            "entered": self.entry.content,
            "state": readings[0].state if readings else None,
            "readings": [reading_json(each, shown) for each in readings],
            "remarks": list(self.remarks),
            "missing": list(self.record.missing),
        }


@dataclass(frozen=True, kw_only=True, eq=False)
class Started:
    """An installation that is in the logbook now."""

    installation: Installation
    record: Record
    duplicate: bool
    ends: Installation | None  # the damper before, whose time it ends
    changed: tuple[str, ...]  # details that were stated otherwise before, plain sentences


def start(
    logbook: Logbook,
    engine_name: str,
    *,
    date: dt.date,
    hours: float,
    as_found: bool,
    **details: Any,
) -> Started:
    """Begin a damper's time on an engine, or find the same one again.

    Parameters
    ----------
    hours : float
        What the hour meter shows.
    details
        Those of `details_content` that are known; what is left out stays as it was.

    Raises
    ------
    VibetrendError
        If it cannot be, as `Logbook.start_installation` and `details_content` say.
    """
    before = {one.id: one_record for one, one_record in records(logbook, engine_name)}
    known = {name: value for name, value in details.items() if value}
    begun = logbook.start_installation(
        engine_name,
        date=date,
        hours=hours,
        as_found=as_found,
        details=details_content(**known, fitted_on=date) if known else None,
    )
    its = record(logbook, begun, logbook.engine(engine_name))
    duplicate = begun.id in before
    former = [each for each in logbook.installations(engine_name) if each.id in before]
    return Started(
        installation=begun,
        record=its,
        duplicate=duplicate,
        ends=former[-1] if former and not duplicate else None,
        changed=tuple(_changed(before[begun.id].details, its.details)) if duplicate else (),
    )


def _changed(was: Details, now: Details) -> Iterator[str]:
    """Give each detail that is stated otherwise than before; the older entry is kept."""
    for field in fields(Details):
        old, new = getattr(was, field.name), getattr(now, field.name)
        if old and old != new:
            yield f"{field.name.replace('_', ' ').capitalize()} was {old} and is {new} now."


def keep(
    logbook: Logbook,
    engine_name: str,
    kind: str,
    entered: Mapping[str, Any],
    *,
    date: dt.date,
    file: BinaryIO | None = None,
    remarks: Sequence[str] = (),
) -> Kept:
    """Add checked content to the record of the damper that was on the engine then.

    A `file` that belongs to it is kept with it.

    Raises
    ------
    LogbookError
        If no installation had begun by then.
    """
    entry = logbook.add_entry(engine_name, kind, date=date, content=entered, file=file)
    own = next(
        each for each in logbook.installations(engine_name) if each.id == entry.installation_id
    )
    return Kept(
        engine=engine_name,
        entry=entry,
        record=record(logbook, own, logbook.engine(engine_name)),
        remarks=tuple(remarks),
    )


def finish(
    logbook: Logbook, engine_name: str, *, date: dt.date, person: str = "", note: str = ""
) -> Kept:
    """Close a job: what the record lacks is kept with it, and may be added afterwards.

    Raises
    ------
    LogbookError
        If no installation had begun by then.
    """
    lacking = record_at(logbook, engine_name, date).missing
    entered = finish_content(person=person, note=note, missing=lacking)
    return keep(logbook, engine_name, "finish", entered, date=date)


def in_unit(amount: tuple[float, str] | None, wanted: str | None) -> float | None:
    """Return an amount as a number of the unit wanted, which it has where none is written.

    Where no unit is wanted, the number is returned as it is: what it belongs to is missing.

    Raises
    ------
    VibetrendError
        If its unit is none of that kind.
    """
    if amount is None:
        return None
    if not amount[1] or wanted is None:
        return amount[0]
    target = unit(wanted)
    return Quantity(amount[0], unit(amount[1], target.dimension)).to(target).value


def add_photo(
    logbook: Logbook,
    engine_name: str,
    path: Path,
    *,
    today: dt.date,
    date: dt.date | None = None,
    caption: str = "",
    person: str = "",
    keep_location: bool = False,
) -> Kept:
    """Keep a photo like an original, without the place where it was taken.

    Parameters
    ----------
    date : datetime.date, optional
        Day it was taken; else what the camera wrote, if that lies within the present
        installation, else the day the same photo has in its record already, else today.

    Raises
    ------
    VibetrendError
        If it is no photo, or no installation had begun by then.
    """
    found = _photo(path, keep_location=keep_location)
    whole = io.BytesIO(found.content)
    sha256 = digest(whole)
    its = record_at(logbook, engine_name, today if date is None else date)
    before = next((each for each in its.photos if each.sha256 == sha256), None)
    remarks: list[str] = []
    if date is None and found.taken is not None and its.date <= found.taken <= today:
        date = found.taken
    elif date is None:
        date = before.date if before else today
        remarks += _why_not_the_cameras(found, its.date, date)
    if found.located:
        remarks.append("Where it was taken is not kept.")
    if not found.has_small:
        remarks.append(
            "It is HEIC: kept, but the page cannot show it. Add it as JPEG too, if you can."
        )
    entered = photo_content(
        sha256,
        path.name,
        media_type=found.media_type,
        bytes=len(found.content),
        caption=caption,
        person=person,
    )
    kept = keep(logbook, engine_name, "photo", entered, date=date, file=whole)
    remarks += _of_the_same_photo(kept, before)
    return replace(kept, remarks=tuple(remarks))


def picture(path: Path, *, side: int) -> bytes:
    """Return a photo as an upright JPEG picture without any tags, to be shown and not kept.

    Parameters
    ----------
    side : int
        Pixels that its longer side has at most.

    Raises
    ------
    ReadError
        If it is no photo, damaged, or HEIC, which cannot be shown.
    """
    found = _photo(path)
    try:
        return thumbnail(found.content, side=side)
    except ReadError as error:
        raise ReadError(f"{path}: {error}") from error


def _photo(path: Path, *, keep_location: bool = False) -> Photo:
    if path.is_dir():
        raise ReadError(f"{path} is a folder; name the photo's file")
    with content.opened(path) as stream:
        whole = stream.read(LARGEST_PHOTO + 1)
    return checked(whole, name=str(path), keep_location=keep_location)


def _why_not_the_cameras(found: Photo, since: dt.date, date: dt.date) -> Iterator[str]:
    """Say why a photo has another date than the camera wrote, if it wrote one."""
    if found.taken is not None:
        yield (
            f"The camera's date, {found.taken}, lies outside this damper's time, which began on "
            f"{since}; the photo is dated {date}. Say when it was taken with --date."
        )
    elif found.stamp:
        yield (
            f"The camera's date, {found.stamp!r}, is no date; the photo is dated {date}. Say when "
            f"it was taken with --date."
        )


def _of_the_same_photo(kept: Kept, before: KeptPhoto | None) -> Iterator[str]:
    """Say that a photo was in the record before, under another entry."""
    if before is None:
        return
    caption = f"caption {before.caption!r}" if before.caption else "without a caption"
    told = f"of {before.date}, {caption}"
    if not kept.entry.duplicate:
        yield (
            f"This photo is in the record already, {told}; it is kept again as stated now, and "
            f"the page shows it once."
        )
    elif before.entry_id > kept.entry.id:
        yield f"The page shows this photo once, as it was kept last: {told}."


def small_photos(
    logbook: Logbook, engines: Iterable[EngineRecord], *, tell: Callable[[str], None]
) -> dict[str, bytes]:
    """Return a small JPEG picture of every photo of some engines' records, by SHA-256.

    Where there is none, because it is HEIC or its original is damaged, `tell` is called with the
    reason.
    """
    names = {
        photo.sha256: photo.name
        for engine in engines
        for one in (engine.installation_record, *(e.record for e in engine.earlier_installations))
        for photo in (one.photos if one is not None else ())
    }
    found = {}
    for sha256, name in names.items():
        try:
            found[sha256] = thumbnail(logbook.original(sha256))
        except VibetrendError as error:
            tell(f"no picture of the photo {name}: {error}")
    return found


def keep_plucked(
    logbook: Logbook,
    engine_name: str,
    path: Path,
    belt: str,
    *,
    date: dt.date,
    instrument: str = "",
    note: str = "",
    **values: Any,
) -> Kept:
    """Keep a belt's tension by a recording of the plucked span, and the recording like others.

    Parameters
    ----------
    values
        The rest of `belt_content`.

    Raises
    ------
    VibetrendError
        If the recording cannot be read, no tone can be told from it, or its tension not be kept.
    """
    on_engine(logbook, engine_name, date)
    recording = read(path)
    try:
        found = plucked(recording)
    except MeasureError as error:
        raise MeasureError(f"{path}: {error}") from error
    assert recording.source is not None  # it was read from a file
    with kept_content(recording.source, with_location=False) as (stream, source):
        entered = belt_content(
            belt,
            frequency_hz=float(f"{found.frequency_hz:.5g}"),
            frequency_standard_error_hz=float(f"{found.standard_error_hz:.2g}"),
            instrument=instrument or f"recording of {len(found.plucks_hz)} plucks",
            note=f"{note} (recording {path.name}, kept as {source.sha256[:12]})".strip(),
            **values,
        )
        remarks = [each.message for each in found.notes]
        return keep(logbook, engine_name, "belt", entered, date=date, file=stream, remarks=remarks)


def torque_unit(stages: Sequence[str]) -> str:
    """Return the unit of the last torque of a bolt's stages, which its resolution is in.

    Raises
    ------
    InstallationError
        If a stage cannot be read.
    """
    return bolt_of(bolt_content("bolt", stages=stages)).torque.unit.name
