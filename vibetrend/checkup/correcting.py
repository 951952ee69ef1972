"""Correcting entries; a recording whose speed was mistyped is measured again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from vibetrend.checkup.remeasuring import measured_again
from vibetrend.logbook import Correction, Logbook, Remeasurable, correct, remeasurable
from vibetrend.orders import Measurement


@dataclass(frozen=True)
class Corrections:
    """What was corrected, and by id what was measured again for it."""

    made: list[Correction]
    measured: Mapping[str, Measurement]


def correct_entries(
    logbook: Logbook, entries: Sequence[str], stated: Mapping[str, Any], *, reason: str, person: str
) -> Corrections:
    """Let other values count of entries, as `logbook.correct` does, and measure what needs it.

    Raises
    ------
    VibetrendError
        If one cannot be corrected so, or cannot be measured at the speed stated.
    """
    anew = {
        kept.id: measured_again(logbook, now)
        for kept in remeasurable(logbook)
        if kept.id in entries and (now := _at_new_speed(kept, stated)) != kept
    }
    made = correct(logbook, entries, stated, reason=reason, person=person, measurements=anew)
    return Corrections(made, anew)


def _at_new_speed(kept: Remeasurable, stated: Mapping[str, Any]) -> Remeasurable:
    ends = {"end_rpm": stated["end_rpm"]} if "end_rpm" in stated else {}
    if kept.tags["manner"] == "steady":  # has none; `correct` says so
        ends = {}
    return replace(kept, rpm=stated.get("rpm", kept.rpm), tags=kept.tags | ends)
