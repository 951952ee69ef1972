"""Correcting entries; a recording whose speed was mistyped is measured again."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from vibetrend.checkup.remeasuring import measured_again
from vibetrend.logbook import Correction, Logbook, correct, remeasurable


def correct_entries(
    logbook: Logbook, entries: Sequence[str], stated: Mapping[str, Any], *, reason: str, person: str
) -> list[Correction]:
    """Let other values count of entries, as `logbook.correct` does, and measure what needs it.

    Raises
    ------
    VibetrendError
        If one cannot be corrected so, or cannot be measured at the speed stated.
    """
    rpm = stated.get("rpm")
    anew = {
        kept.id: measured_again(logbook, replace(kept, rpm=rpm))
        for kept in remeasurable(logbook)
        if rpm is not None and kept.id in entries and kept.rpm != rpm
    }
    return correct(logbook, entries, stated, reason=reason, person=person, measurements=anew)
