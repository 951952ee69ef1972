"""What happens while a folder is watched, one object for each thing worth saying."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from vibetrend.checkup.adding import Added
from vibetrend.checkup.records import EngineRecord
from vibetrend.checkup.standing import to_json
from vibetrend.watch.notices import Notice


@dataclass(frozen=True)
class Kept:
    """A recording is in the logbook."""

    added: Added
    engine: str

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form: that of ``add`` and the engine's name."""
        kept = self.added.kept
        return {
            "event": "added",
            **self.added.to_dict(),
            "engine": self.engine,
            "date": kept.date.isoformat(),
            "hours": kept.hours,
        }


@dataclass(frozen=True)
class SetAside:
    """A file was not taken, and stays where it is."""

    name: str
    reason: str
    again: bool  # whether it is tried again by itself, without being changed

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "event": "set-aside",
            "path": self.name,
            "reason": self.reason,
            "tried_again": self.again,
        }


@dataclass(frozen=True, eq=False)
class Stands:
    """Where the engines stand, after a batch or, `filed` being empty, at the beginning."""

    records: Sequence[EngineRecord]
    filed: frozenset[int]  # the series that recordings were added to

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form, with that of ``status``."""
        return {"event": "status", "status": to_json(self.records)}


@dataclass(frozen=True)
class Changed:
    """An engine's state or its renewal's is not what was told last."""

    notice: Notice

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"event": "state-changed", **self.notice.to_dict()}


@dataclass(frozen=True)
class Remark:
    """One line about the watching itself: what stands in the way, or no longer does."""

    code: str  # e.g. "folder-gone", "mail-failed"
    message: str

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"event": self.code, "message": self.message}


Event = Kept | SetAside | Stands | Changed | Remark
