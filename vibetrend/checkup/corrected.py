"""Corrections and the chain in plain words, for the terminal and the page."""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from vibetrend.checkup.entry_words import by_itself
from vibetrend.checkup.records import Corrected, EngineRecord, Kept
from vibetrend.logbook import Correction, Listed, Logbook, check, corrections, listed

_SHOWN_DIGITS = 20  # of a hash: 80 bits, which nobody meets by trying
_NAMES = {
    "meter_hours": "hours on the meter",
    "hours": "engine hours",
    "shown": "shown by the meter",
    "after": "shown by the new meter",
    "visit": "check-up",
    "rpm": "stated rpm",
    "end_rpm": "stated rpm at the end",
    "coolant_c": "coolant, degrees C",
    "damper_c": "damper, degrees C",
    "room_c": "engine room, degrees C",
    "baseline": "part of the baseline",
    "before": "of the damper before",
    "set_aside": "set aside",
}


def entries_in_words(logbook: Logbook, engine_name: str) -> list[Listed]:
    """Return every entry of an engine by date, those set aside too, with what was read or done."""
    return [
        replace(each, about=by_itself(each.entry)) if each.entry else each
        for each in listed(logbook, engine_name)
    ]


def with_corrections(logbook: Logbook, engines: Sequence[EngineRecord]) -> list[EngineRecord]:
    """Return the records with every correction of their entries, oldest first."""
    return [
        replace(each, corrections=tuple(_all_corrected(logbook, each.engine.name)))
        for each in engines
    ]


def _all_corrected(logbook: Logbook, engine_name: str) -> Iterator[Corrected]:
    made = corrections(logbook, engine_name)
    entries = entries_in_words(logbook, engine_name) if made else []
    return in_words(made, {each.id: each.about for each in entries})


def in_words(made: Sequence[Correction], about: dict[str, str]) -> Iterator[Corrected]:
    """Give corrections as people read them; hours that the meter shows too are told once."""
    true_hours = {_but_what(each) for each in made if each.what == "hours"}
    for each in made:
        if each.what == "meter_hours" and _but_what(each) in true_hours:
            continue
        yield Corrected(
            entry=each.of,
            about=about.get(each.of, ""),
            what=_NAMES.get(each.what, each.what),
            was=_said(each.was),
            now=_said(each.now),
            reason=each.reason,
            person=each.person,
            made_at=each.made_at,
            date=dt.datetime.fromisoformat(each.made_at).astimezone().date(),
        )


def _but_what(one: Correction) -> tuple[Any, ...]:
    return one.of, one.was, one.now, one.reason, one.person


def how_kept(logbook: Logbook) -> Kept:
    """Return what the chain over all rows says; originals are not read for it."""
    found = check(logbook, thorough=False)
    return Kept(
        entries=found.entries,
        hash=in_groups(found.head),
        faults=found.faults,
        notes=found.notes,
    )


def not_as_entered(kept: Kept) -> str:
    """Return what has to be said before anything else where there are faults, else ""."""
    if not kept.faults:
        return ""
    return (
        f"Something in this logbook is not as it was entered ({len(kept.faults)}): "
        f"{kept.faults[0]}. What rests on it cannot be trusted: vibetrend logbook check"
    )


def in_groups(hash_: str) -> str:
    """Return the first digits of a hash in groups: ``3f2a 91bc ...``."""
    return " ".join(hash_[at : at + 4] for at in range(0, _SHOWN_DIGITS, 4))


def _said(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value in (None, ""):
        return "not stated"
    return f"{value:.10g}" if isinstance(value, float) else str(value)
