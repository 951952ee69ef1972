"""Work on an engine as the page speaks of it: its letter, and what it began and ended."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from string import ascii_uppercase

from vibetrend.checkup.records import EngineRecord, SeriesRecord, Work
from vibetrend.report.words import date, hours

_DAMPER = "D"
_LETTERS = ascii_uppercase.replace(_DAMPER, "")
_FAR = 0.25  # of a history's length: a work further outside is not drawn at it


@dataclass(frozen=True, kw_only=True)
class Mark:
    """What was done at one time, with the letter that stands for it in charts and tables."""

    letter: str
    works: tuple[Work, ...]

    @property
    def hours(self) -> float:
        """Engine hours at that time."""
        return self.works[0].hours

    @property
    def name(self) -> str:
        """How a sentence names it: ``mounts on 1 March 2027 at 4200 h``."""
        kinds = dict.fromkeys(work.what for work in self.works)
        what = [kind for kind in kinds if kind != "other"] + ["other work"] * ("other" in kinds)
        listed = " and ".join(", ".join(what).rsplit(", ", 1))
        return f"{listed} on {date(self.works[0].date)} at {hours(self.hours)}"


def marks(record: EngineRecord) -> list[Mark]:
    """Return the work since the damper was fitted, lettered from the earliest on.

    Each began one epoch, counted from 1.
    """
    found: list[Mark] = []
    for _, works in groupby(record.work, key=lambda work: (work.date, work.hours)):
        turn, place = divmod(len(found), len(_LETTERS))
        letter = _LETTERS[place] + (str(turn + 1) if turn else "")
        found.append(Mark(letter=letter, works=tuple(works)))
    return found


def fitted(record: EngineRecord) -> list[Mark]:
    """Return the mark of the damper's first day, lettered D; none where it is not known."""
    if record.installation_date is None or record.installation_hours is None:
        return []
    begun = Work(
        date=record.installation_date,
        hours=record.installation_hours,
        what="damper found in place" if record.as_found else "damper fitted",
        note="",
    )
    return [Mark(letter=_DAMPER, works=(begun,))]


def beside(found: Sequence[Mark], series: SeriesRecord) -> list[Mark]:
    """Return what began and what ended a series, to be drawn with its history."""
    if series.history.empty:
        return []
    first, last = float(series.history["hours"].min()), float(series.history["hours"].max())
    reach = _FAR * max(last - first, 1.0)
    return [mark for mark in found if first - reach <= mark.hours <= last + reach]


def begun_by(record: EngineRecord, series: SeriesRecord) -> Mark | None:
    """Return the work that a series began with; None where it began with the damper.

    None for one of an earlier damper too: of that one's work no more is told than what ended it.
    """
    epoch = int(series.info["epoch"])
    return marks(record)[epoch - 1] if epoch and series.damper is None else None


def ended_by(record: EngineRecord, series: SeriesRecord) -> Mark | None:
    """Return the work that ended a series; None for a present one.

    One of an earlier damper ended with that, whatever else had ended it before.
    """
    damper = series.damper
    if damper is not None:
        other = Work(date=damper.until, hours=damper.until_hours, what="change of damper", note="")
        return Mark(letter="", works=(other,))
    return marks(record)[int(series.info["epoch"])] if series.ended else None


def earlier(record: EngineRecord, series: SeriesRecord) -> SeriesRecord | None:
    """Return the series that this one follows: the same one before the work."""
    return next((one for one in record.series if one.info["id"] == series.info["follows"]), None)
