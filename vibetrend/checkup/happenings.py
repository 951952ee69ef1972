"""The log of everything: what was fitted, read, recorded, changed and concluded, and when."""

import datetime as dt
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pandas as pd

from vibetrend.checkup.corrected import with_corrections
from vibetrend.checkup.dampers import records as dampers
from vibetrend.checkup.entry_words import BESIDE, in_words
from vibetrend.checkup.records import Corrected, EngineRecord, Happening, SeriesRecord
from vibetrend.installation import Record
from vibetrend.logbook import (
    EngineFile,
    Entry,
    Installation,
    Logbook,
    MeasuredAgain,
    Series,
    times_measured_again,
)


def with_log(logbook: Logbook, engines: Sequence[EngineRecord]) -> list[EngineRecord]:
    """Return the records with everything that is kept of each engine, newest first."""
    return [
        replace(each, happenings=_happenings(logbook, each))
        for each in with_corrections(logbook, engines)
    ]


def _happenings(logbook: Logbook, of: EngineRecord) -> tuple[Happening, ...]:
    name = of.engine.name
    kept, again = dampers(logbook, name), times_measured_again(logbook, name)
    found = [
        *_installed([one for one, _ in kept]),
        *(each for one, its in kept for each in _entered(logbook.entries(name, one.id), its)),
        *_worked(logbook, name),
        *_meter(logbook, name),
        *_check_ups(logbook, name, (*of.series, *of.earlier_series)),
        *_files(logbook.engine_files(name)),
        *_corrected(of.corrections),
        *_measured_again(again),
        *_verdicts(logbook, name, again),
    ]
    # Turned around as a whole: of one moment, what is told later comes first too.
    return tuple(sorted(found, key=lambda each: (each.date, each.added_at))[::-1])


def _installed(installations: Sequence[Installation]) -> Iterator[Happening]:
    for before, one in pairwise((None, *installations)):
        assert one is not None
        words = "damper found in place" if one.as_found else "damper fitted"
        if before is not None:
            verb, ran = "found" if before.as_found else "fitted", one.hours - before.hours
            words += f"; the one before, {verb} on {before.date}, had run {ran:.0f} h since then"
        yield Happening(
            date=one.date, hours=one.hours, meter_hours=one.meter_hours, what="installation",
            words=words, added_at=one.added_at,
        )  # fmt: skip


# The installation record


def _entered(entries: Iterable[Entry], its: Record) -> Iterator[Happening]:
    for entry in entries:
        readings = [each for each in its.readings if each.entry_id == entry.id]
        words, own = in_words(entry, readings)
        yield Happening(
            date=entry.date, hours=None, meter_hours=None, words=words, own=own,
            what=entry.kind if entry.kind in BESIDE else "reading", added_at=entry.added_at,
        )  # fmt: skip


# Work, hour meter


def _worked(logbook: Logbook, name: str) -> Iterator[Happening]:
    for each in logbook.work(name):
        yield Happening(
            date=each.date, hours=each.hours, meter_hours=each.meter_hours, what="work",
            words=each.what, own=each.note, added_at=each.added_at,
        )  # fmt: skip


def _meter(logbook: Logbook, name: str) -> Iterator[Happening]:
    for each in logbook.meter(name):
        words, shown = "hour meter read", each.shown
        if each.after is not None:
            verb = "replaced" if each.what == "replaced" else "went past its highest number"
            words = f"hour meter {verb}: it showed {each.shown:g} h last, then {each.after:g} h"
            shown = each.after
        yield Happening(
            date=each.date, hours=each.hours, meter_hours=shown, what="meter",
            words=words, own=each.note, added_at=each.added_at,
        )  # fmt: skip


# Recordings and what was concluded


def _check_ups(logbook: Logbook, name: str, judged: Iterable[SeriesRecord]) -> Iterator[Happening]:
    """Give a line for each check-up of each series, hours apart where they differ.

    What was left out is known of the series that were judged now; of the dampers before without
    `with_earlier`, only what cannot be used at all.
    """
    out = {
        row["recording"]
        for one in judged
        for row in one.verdict.recordings.to_dict(orient="records")
        if not row["used"]
    }
    for one in logbook.series(name):
        table = logbook.recordings(one.id)
        left = table["unusable"] | table["recording"].isin(out)
        for _, rows in table.groupby(["visit", "date", "hours"], sort=False):
            first = rows.iloc[0]
            yield Happening(
                date=first["date"],
                hours=float(first["hours"]),
                meter_hours=float(first["meter_hours"]),
                what="check-up",
                words=_recorded(one, rows, int(left[rows.index].sum())),
                added_at=_utc(rows["added_at"].min()),
            )


def _recorded(one: Series, rows: pd.DataFrame, left: int) -> str:
    """Return e.g. ``3 recordings, phone, front casting, 1080 rpm; 1 left out``."""
    count, rpm = len(rows), float(rows["speed_rpm"].mean())
    said = [f"{count} recording{'s' * (count > 1)}", *_where(one)]
    said += [f"{rpm:.0f} rpm"] * (rpm == rpm)
    said += ["baseline"] * bool(rows["baseline"].any())
    said += ["of the damper before"] * bool(rows["before"].any())
    return ", ".join(said) + (f"; {left} left out" if left else "")


def _where(one: Series) -> list[str]:
    manner = "" if one.manner == "steady" else one.manner
    return [each for each in (one.device, one.position, one.kind, manner) if each]


def _measured_again(again: Sequence[MeasuredAgain]) -> Iterator[Happening]:
    """Give a line for each day and version of the method by which recordings were measured anew."""
    days: dict[tuple[dt.date, int], list[MeasuredAgain]] = {}
    for each in again:
        days.setdefault((_day(each.made_at), each.method_version), []).append(each)
    for (day, version), those in days.items():
        yield Happening(
            date=day, hours=None, meter_hours=None, what="measured again",
            words=f"{len(those)} recording{'s' * (len(those) > 1)}, by method {version}",
            added_at=those[-1].made_at,
        )  # fmt: skip


def _verdicts(logbook: Logbook, name: str, again: Sequence[MeasuredAgain]) -> Iterator[Happening]:
    """Give each change of a series' state, on the day on which it was judged."""
    for one in logbook.series(name):
        speed = [] if one.speed_rpm is None else [f"{one.speed_rpm:.0f} rpm"]
        where = ", ".join([*_where(one), *filter(None, [one.condition]), *speed])
        before: tuple[str, ...] = ()
        judged_before = ""
        for made_at, state, newest in logbook.verdicts(one.id).itertuples(index=False):
            added_at = _utc(made_at)
            if before != (state,):
                by = [
                    each.method_version
                    for each in again
                    if each.series_id == one.id and judged_before < each.made_at <= added_at
                ]
                yield Happening(
                    date=_day(added_at), hours=None, meter_hours=None, what="verdict",
                    words=where + (f"; recordings up to {newest}" if newest else "")
                    + (f"; measured again by method {by[-1]}" if by and before else ""),
                    states=(*before, state), added_at=added_at,
                )  # fmt: skip
            before, judged_before = (state,), added_at


# Corrections and engine files


def _corrected(made: Iterable[Corrected]) -> Iterator[Happening]:
    for each in made:
        about = f"{each.entry} ({each.about})" if each.about else each.entry
        yield Happening(
            date=each.date, hours=None, meter_hours=None, what="correction",
            words=f"{about}: {each.what} was {each.was}, now {each.now}",
            own=", ".join(filter(None, (each.reason, each.person))), added_at=each.made_at,
        )  # fmt: skip


def _files(files: Sequence[EngineFile]) -> Iterator[Happening]:
    for was, now in pairwise((None, *files)):
        assert now is not None
        yield Happening(
            date=_day(now.added_at), hours=None, meter_hours=None, what="engine file",
            words="added" if was is None else _changed(was.toml, now.toml),
            added_at=now.added_at,
        )  # fmt: skip


def _changed(was: str, now: str) -> str:
    """Return which keys of an engine file changed, e.g. ``changed: fast_idle_rpm``."""
    try:
        old, new = _keys(tomllib.loads(was)), _keys(tomllib.loads(now))
    except tomllib.TOMLDecodeError:
        return "changed; an older one cannot be read"
    groups = {
        "new": [key for key in new if key not in old],
        "changed": [key for key in new if key in old and new[key] != old[key]],
        "taken out": [key for key in old if key not in new],
    }
    said = [f"{word}: {', '.join(keys)}" for word, keys in groups.items() if keys]
    return "; ".join(said) or "changed in its remarks or order alone"


def _keys(table: Mapping[str, Any], above: str = "") -> dict[str, Any]:
    """Return every value of a file by its dotted key; a list counts as one value."""
    found: dict[str, Any] = {}
    for key, value in table.items():
        if isinstance(value, dict):
            found |= _keys(value, f"{above}{key}.")
        else:
            found[f"{above}{key}"] = value
    return found


# When something came into the logbook


def _utc(moment: pd.Timestamp) -> str:
    """Return a moment as the logbook writes it, so that moments sort as text."""
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _day(added_at: str) -> dt.date:
    """Return the day it was then where this computer stands."""
    return dt.datetime.fromisoformat(added_at).astimezone().date()
