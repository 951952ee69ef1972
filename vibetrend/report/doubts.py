"""What was doubted about the recordings of a series, told once for all of them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

_WORST_FIRST = ("unusable", "warning", "note")


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """A code that stands beside recordings, and what it means."""

    code: str
    severity: str
    message: str  # of the newest recording that has it
    recordings: int
    alike: bool  # whether all of them have the same message


def doubts(recordings: Iterable[Mapping[str, Any]]) -> list[Doubt]:
    """Return every code of some recordings once, worst first.

    Parameters
    ----------
    recordings : iterable of mapping
        Newest first; each has `quality`, a list of notes with `code`, `severity` and `message`.
        Messages of plain notes differ in numbers alone and stand as one; what is worse is told
        each time it reads differently.
    """
    found: dict[tuple[str, str, str], list[str]] = {}
    for one in recordings:
        mine = {}
        for note in one["quality"]:
            own = "" if note["severity"] == "note" else note["message"]
            mine[note["severity"], note["code"], own] = note["message"]
        for key, message in mine.items():
            found.setdefault(key, []).append(message)
    told = [
        Doubt(
            code=code, severity=severity, message=messages[0],
            recordings=len(messages), alike=len(set(messages)) == 1,
        )
        for (severity, code, _), messages in found.items()
    ]  # fmt: skip
    return sorted(told, key=lambda one: (_WORST_FIRST.index(one.severity), one.code))
