"""The installation record as the page shows it."""

import base64
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from vibetrend.checkup.records import PastInstallation
from vibetrend.installation import (
    Belt,
    Bolt,
    Casing,
    Check,
    Fluid,
    Photo,
    Reading,
    Record,
    RunOut,
    digits,
    drop_sentence,
    mark_change_sentence,
    moved_sentence,
)
from vibetrend.installation.marks import MARKS
from vibetrend.installation.reading import STAGE_WORDS
from vibetrend.installation.sentences import runout_sentences
from vibetrend.quantities import ShownUnits
from vibetrend.report.fitted import measured
from vibetrend.report.fitted.turns import Surface, surfaces
from vibetrend.report.isolating import isolated, isolating
from vibetrend.report.words import date, hours, with_dates
from vibetrend.trend.phrases import capital


@dataclass(frozen=True, kw_only=True)
class Row:
    """One reading of the table."""

    what: str
    more: str  # what else was noted of it
    value: str
    as_read: str  # in the unit it was entered in, where that is not the one shown
    limit: str
    source: str  # where the limit stands written
    state: str  # e.g. "reading-within"
    words: str
    resolution: str  # of the instrument, as it was entered
    reading: Reading


@dataclass(frozen=True, kw_only=True)
class Picture:
    """One photo of the record."""

    photo: Photo
    source: Markup | None  # a data: address; None where there is no small picture of it

    @property
    def why_not(self) -> str:
        """Say why no picture is shown."""
        return f"Kept as {self.photo.name}; no picture of it can be shown here."


@dataclass(frozen=True, kw_only=True, eq=False)
class Fitting:
    """One installation's record as the template shows it."""

    record: Record
    facts: list[tuple[str, str]]  # label and value; some values are a person's own words
    surfaces: list[Surface]
    rows: list[Row]
    more: list[str]  # what is told of several readings together
    checks: list[Check]  # those answered; the others are among what is missing
    missing: list[str]
    photos: list[Picture]


def fitting(
    record: Record | None, shown: ShownUnits, photos: Mapping[str, bytes]
) -> Fitting | None:
    """Return the view of a record; None where nothing was entered beyond the start."""
    if record is None or is_bare(record):
        return None
    apart = isolating(_names(record))
    turned = surfaces(record, shown, apart)
    return Fitting(
        record=record,
        facts=_facts(record),
        surfaces=turned,
        rows=[_row(each, shown) for each in record.readings],
        more=[
            *(apart(drop_sentence(each, shown)) for each in record.belt_drops),
            *(mark_change_sentence(each, shown) for each in record.marks_moved),
            *(
                apart(with_dates(moved_sentence(each, shown)))
                for each in record.moved
                if each.name.casefold() not in {one.name.casefold() for one in turned}
            ),
        ],
        checks=[each for each in record.checks if each.done is not None],
        missing=[apart(each) for each in record.missing],
        photos=[
            Picture(photo=each, source=_source(photos.get(each.sha256))) for each in record.photos
        ],
    )


def _names(record: Record) -> Iterator[str]:
    """Give what a person called things, as it stands in sentences."""
    for each in record.readings:
        yield each.name
        if each.limit is not None:
            yield each.limit.source
        if isinstance(each.details, Bolt):
            yield each.details.treatment


def earlier(
    past: Sequence[PastInstallation], shown: ShownUnits, photos: Mapping[str, bytes]
) -> list[tuple[str, Fitting | None]]:
    """Return the dampers before, the latest first, each with its time and what was recorded."""
    return [
        (
            f"{title(one.record)}, until {date(one.until)} at {hours(one.until_hours)}",
            fitting(one.record, shown, photos),
        )
        for one in reversed(past)
    ]


def is_bare(record: Record) -> bool:
    """Return whether nothing was entered beyond the start."""
    told = record.details
    return not (
        record.readings
        or record.photos
        or record.notes
        or record.finished
        or any(check.done is not None for check in record.checks)
        or any((told.part, told.serial, told.made_on, told.who, told.notes))
    )


def title(record: Record) -> str:
    """Return when the damper's time on the engine began."""
    return f"{_began(record)} on {date(record.date)} at {hours(record.hours)}"


def _began(record: Record) -> str:
    return "Found in place" if record.as_found else "Fitted"


def _facts(record: Record) -> list[tuple[str, str]]:
    told = record.details
    counts = {"made": "the day it was made", "fitted": "the day it was fitted"}
    found = [
        (_began(record), f"{date(record.date)}, {hours(record.hours)}"),
        ("Part", told.part),
        ("Serial number", told.serial),
        ("Made on", date(told.made_on) if told.made_on else ""),
        ("The maker's years count from", "" if record.as_found else counts[told.counts_from]),
        ("Fitted by", told.who),
    ]
    return [(label, value) for label, value in found if value]


def _row(reading: Reading, shown: ShownUnits) -> Row:
    return Row(
        what=what(reading),
        more=_more(reading, shown),
        value=measured.value(reading, shown),
        as_read=measured.as_read(reading, shown),
        limit="–" if reading.state == "information" else measured.limit(reading.limit, shown),
        source=measured.source(reading.limit, shown, later=reading.limit_added_later),
        state=f"reading-{reading.state}",
        words=measured.state_words(reading),
        resolution=digits.as_written(reading.resolution) if reading.resolution else "",
        reading=reading,
    )


def _more(reading: Reading, shown: ShownUnits) -> str:
    match reading.details:
        case RunOut() as found:
            return runout_sentences(found, shown)[0]
        case Bolt() as bolt:
            known = {True: "new", False: "used again", None: ""}[bolt.new]
            stages = ", ".join(digits.told(each, shown) for each in bolt.stages[:-1])
            before = f"in stages, {stages} first" if stages else ""
            place = f"number {bolt.sequence} in the sequence" if bolt.sequence else ""
            treatment = isolated(bolt.treatment)
            return "; ".join(each for each in (known, treatment, place, before) if each)
        case Belt() as belt if belt.automatic_tensioner:
            return "with an automatic tensioner: its arm between the stops is what counts"
        case Belt() as belt if belt.frequency_hz is not None:
            return f"from {belt.frequency_hz:.4g} Hz of the plucked span"
        case Casing() as casing:
            return f"{len(casing.thicknesses)} points around it"
        case Fluid() as fluid:
            return fluid.result
        case _:
            return ""


def what(reading: Reading) -> str:
    """Return what was read, e.g. ``Run-out (TIR), rim`` or ``Belt alternator, tension``."""
    stage = STAGE_WORDS.get(reading.stage, reading.stage)
    called = isolated(reading.name)
    match reading.details:
        case RunOut():
            name = f"Run-out (TIR), {called}"
        case Belt() | Bolt():
            name = f"{capital(reading.kind)} {called}, {reading.what}"
        case Casing():
            name = f"Casing, {reading.what}"
        case _:
            name = MARKS.get(reading.name, f"{capital(reading.name)}, {reading.what}")
    return f"{name}, {stage}" if stage else name


def _source(picture: bytes | None) -> Markup | None:
    """Return a small picture as an address inside the page; only what browsers surely show."""
    if picture is None:
        return None
    for head, media_type in ((b"\xff\xd8\xff", "image/jpeg"), (b"\x89PNG\r\n", "image/png")):
        if picture.startswith(head):
            text = base64.b64encode(picture).decode("ascii")
            return Markup(f"data:{media_type};base64,{text}")
    return None
