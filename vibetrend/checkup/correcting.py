"""Correcting an entry; a recording whose speed was mistyped is measured again."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from vibetrend.checkup.remeasuring import measured_again
from vibetrend.logbook import Correction, Logbook, correct, remeasurable


def correct_entry(
    logbook: Logbook, entry: str, stated: Mapping[str, Any], *, reason: str, person: str
) -> list[Correction]:
    """Let other values count of an entry, as `logbook.correct` does, and measure what needs it.

    Raises
    ------
    VibetrendError
        If it cannot be corrected so, or cannot be measured at the speed stated.
    """
    measurement = None
    if "rpm" in stated:
        kept = next((each for each in remeasurable(logbook) if each.id == entry), None)
        if kept is not None and kept.rpm != stated["rpm"]:
            measurement = measured_again(logbook, replace(kept, rpm=stated["rpm"]))
    return correct(logbook, entry, stated, reason=reason, person=person, measurement=measurement)
