"""The log of everything: what was fitted, read, recorded, changed and concluded, and when."""

import datetime as dt
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields
from itertools import pairwise
from typing import Any

import pandas as pd

from vibetrend.checkup.dampers import record
from vibetrend.checkup.records import Happening, SeriesRecord
from vibetrend.engine import Engine
from vibetrend.installation import CHECKLIST, Reading
from vibetrend.installation.digits import told
from vibetrend.installation.missing import called
from vibetrend.installation.sentences import step
from vibetrend.logbook import EngineFile, Entry, Installation, Logbook, Series
from vibetrend.quantities import ShownUnits

_STAGES = {"after-run-in": "after run-in"}


def happenings(
    logbook: Logbook, engine: Engine, judged: Sequence[SeriesRecord]
) -> tuple[Happening, ...]:
    """Return everything that is kept of an engine, newest first.

    Parameters
    ----------
    judged
        The present series, whose verdicts say what was left out.
    """
    name = engine.name
    installations = logbook.installations(name)
    found = [
        *_installed(installations),
        *(each for one in installations for each in _entered(logbook, one, engine)),
        *_worked(logbook, name),
        *_meter(logbook, name),
        *_check_ups(logbook, name, judged),
        *_files(logbook.engine_files(name)),
        *_verdicts(logbook, name),
    ]
    # Turned around as a whole: of one moment, what is told later comes first too.
    return tuple(sorted(found, key=lambda each: (each.date, each.added_at))[::-1])


def _installed(installations: Sequence[Installation]) -> Iterator[Happening]:
    for one, following in pairwise((*installations, None)):
        if one is None:
            continue
        yield Happening(
            date=one.date,
            hours=one.hours,
            meter_hours=one.meter_hours,
            what="installation",
            words="damper found in place" if one.as_found else "damper fitted",
            added_at=one.added_at,
        )
        if following is not None:
            verb = "found" if one.as_found else "fitted"
            yield Happening(
                date=following.date,
                hours=following.hours,
                meter_hours=following.meter_hours,
                what="installation",
                words=f"end of the damper {verb} on {one.date}, "
                f"after {following.hours - one.hours:.0f} h",
                added_at=following.added_at,
            )


# The installation record


def _entered(logbook: Logbook, one: Installation, engine: Engine) -> Iterator[Happening]:
    found = record(logbook, one, engine)
    readings: dict[int, list[Reading]] = {}
    for each in found.readings:
        readings.setdefault(each.entry_id, []).append(each)
    for entry in logbook.entries(engine.name, one.id):
        words, own = _of_entry(entry, readings.get(entry.id, []))
        what = entry.kind if entry.kind in _SAID else "reading"
        yield Happening(
            date=entry.date, hours=None, meter_hours=None, what=what, words=words,
            own=own, added_at=entry.added_at,
        )  # fmt: skip


def _of_entry(entry: Entry, readings: Sequence[Reading]) -> tuple[str, str]:
    """Return an entry in one short line, and the person's own words beside it."""
    if entry.kind in _SAID:
        words, own = _SAID[entry.kind](entry.content)
        if words or own:
            return words, own
    if not readings:
        return f"an entry that cannot be read ({ascii(entry.kind)[1:-1]})", ""
    return "; ".join(map(_read, readings)), readings[0].note


def _read(reading: Reading) -> str:
    """Return what was read, e.g. ``run-out of rim: 0.22 mm``, in the unit it was read in."""
    stage = _STAGES.get(reading.stage, "")
    name = f"{called(reading)}{f', {stage}' * bool(stage)}"
    if reading.quantity is None:
        return f"{name}: no value"
    read_in = reading.quantity.unit
    as_read = ShownUnits(
        **{each.name: read_in for each in fields(ShownUnits) if each.name == read_in.dimension}
    )
    return f"{name}: {told(reading.quantity, as_read, step(reading))}"


def _text(content: Mapping[str, Any], key: str) -> str:
    value = content.get(key)
    return value if isinstance(value, str) else ""


def _check(content: Mapping[str, Any]) -> tuple[str, str]:
    point = CHECKLIST.get(_text(content, "item"), "a point of the list.").rstrip(".")
    answer = "done" if content.get("done") is not False else "not done"
    return f"{answer}: {point[:1].lower()}{point[1:]}", _text(content, "note")


def _details(content: Mapping[str, Any]) -> tuple[str, str]:
    names = {"part": "part", "serial": "serial number", "made_on": "made on", "who": "fitted by"}
    stated = [f"{words} {_text(content, key)}" for key, words in names.items() if content.get(key)]
    return ", ".join(stated) or "details of the damper", _text(content, "notes")


def _photo(content: Mapping[str, Any]) -> tuple[str, str]:
    return f"kept as {_text(content, 'sha256')[:12]}", (
        _text(content, "caption") or _text(content, "name")
    )


def _note(content: Mapping[str, Any]) -> tuple[str, str]:
    return "", _text(content, "text")


def _finish(content: Mapping[str, Any]) -> tuple[str, str]:
    missing = content.get("missing")
    count = len(missing) if isinstance(missing, list) else 0
    lacking = f"{count} point{'s' * (count != 1)} of a careful record missing then"
    return f"record finished, {lacking if count else 'nothing missing'}", _text(content, "note")


_SAID = {
    "details": _details, "check": _check, "photo": _photo, "note": _note, "finish": _finish,
}  # fmt: skip


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
    """Give a line for each check-up of each series, hours apart where they differ."""
    out = {
        row["recording"]
        for one in judged
        for row in one.verdict.recordings.to_dict(orient="records")
        if not row["used"]
    }
    on_meter = {
        each.label: each.meter_hours
        for each in logbook.known_hours(name)
        if each.what == "recording"
    }
    for one in logbook.series(name):
        table = logbook.recordings(one.id)
        left = table["unusable"] | table["recording"].isin(out)
        for _, rows in table.groupby(["visit", "date", "hours"], sort=False):
            first = rows.iloc[0]
            yield Happening(
                date=first["date"],
                hours=float(first["hours"]),
                meter_hours=on_meter.get(first["recording"]),
                what="check-up",
                words=_recorded(one, rows, int(left[rows.index].sum())),
                added_at=f"{rows['added_at'].min():%Y-%m-%dT%H:%M:%S.%fZ}",
            )


def _recorded(one: Series, rows: pd.DataFrame, left: int) -> str:
    """Return e.g. ``3 recordings, phone, front casting, 1080 rpm; 1 left out``."""
    count, rpm = len(rows), float(rows["speed_rpm"].mean())
    said = [f"{count} recording{'s' * (count > 1)}", one.device, one.position, one.kind]
    said += [one.manner] * (one.manner != "steady") + [f"{rpm:.0f} rpm"] * (rpm == rpm)
    said += ["baseline"] * bool(rows["baseline"].any())
    said += ["of the damper before"] * bool(rows["before"].any())
    return ", ".join(filter(None, said)) + (f"; {left} left out" if left else "")


def _verdicts(logbook: Logbook, name: str) -> Iterator[Happening]:
    """Give each change of a series' state, on the day on which it was judged."""
    for one in logbook.series(name):
        before: tuple[str, ...] = ()
        for made_at, state, newest in logbook.verdicts(one.id).itertuples(index=False):
            if before != (state,):
                where = ", ".join(filter(None, (one.device, one.position, one.kind)))
                yield Happening(
                    date=made_at.to_pydatetime().astimezone().date(),
                    hours=None,
                    meter_hours=None,
                    what="verdict",
                    words=where + (f"; recordings up to {newest}" if newest else ""),
                    states=(*before, state),
                    added_at=f"{made_at:%Y-%m-%dT%H:%M:%S.%fZ}",
                )
            before = (state,)


# Engine files


def _files(files: Sequence[EngineFile]) -> Iterator[Happening]:
    for was, now in pairwise((None, *files)):
        if now is None:
            continue
        day = dt.datetime.fromisoformat(now.added_at).astimezone().date()
        yield Happening(
            date=day, hours=None, meter_hours=None, what="engine file",
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
