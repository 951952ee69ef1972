"""Corrections and the chain in plain words, for the terminal and the page."""

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import Any

from vibetrend.checkup.records import Corrected, Kept
from vibetrend.logbook import Correction, Logbook, check, corrections, listed

_SHOWN_DIGITS = 20  # of a hash: 80 bits, which nobody meets by trying
_NAMES = {
    "meter_hours": "hours on the meter",
    "hours": "engine hours",
    "visit": "check-up",
    "rpm": "stated rpm",
    "baseline": "part of the baseline",
    "before": "of the damper before",
    "set_aside": "set aside",
}


def all_corrected(logbook: Logbook, engine_name: str) -> list[Corrected]:
    """Return every correction of an engine's entries, oldest first."""
    about = {each.id: each.about for each in listed(logbook, engine_name)}
    return list(in_words(corrections(logbook, engine_name), about))


def in_words(made: Sequence[Correction], about: dict[str, str]) -> Iterator[Corrected]:
    """Give corrections as people read them; hours that the meter shows too are told once."""
    shown = {
        (each.of, each.made_at): (each.was, each.now) for each in made if each.what == "meter_hours"
    }
    for each in made:
        if each.what == "hours" and shown.get((each.of, each.made_at)) == (each.was, each.now):
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


def how_kept(logbook: Logbook) -> Kept:
    """Return what the chain over all rows says; originals are not read for it."""
    found = check(logbook, with_originals=False)
    return Kept(
        entries=found.entries,
        hash=in_groups(found.head),
        faults=found.faults,
        notes=found.notes,
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
