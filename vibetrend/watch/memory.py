"""What is remembered of a folder between polls and over restarts, in a file of the logbook.

It only saves time: without it every file is read once more and found in the logbook by its
content, and a state that asks for something is told once more.
"""

import hashlib
import json
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal

from vibetrend.watch.folder import Arrival, Stamp, stamp_of
from vibetrend.watch.notices import Notice, Standing
from vibetrend.whole_file import written_whole

MOST_NOTICES = 50
"""Notices kept for later; of more, the oldest are dropped."""
_FORM = 1  # raised when what is remembered has another form; an older one is then not used

Became = Literal["kept", "set-aside", "refused"]
"""What became of a file; a refused one is tried again even if it does not change."""


@dataclass(frozen=True)
class Seen:
    """What became of a file."""

    became: Became
    stamp: Stamp
    sides: str  # digest of the side files there were
    stated: str  # digest of what else was stated for it
    said: str  # the recording's id, or the reason it was set aside

    def covers(self, arrival: Arrival, stated: str) -> bool:
        """Say whether nothing has changed that could make a difference."""
        same = (self.stamp, self.sides, self.stated)
        return same == (arrival.stamp, digest(arrival.sides), stated)


@dataclass
class Memory:
    """All that is remembered of one folder; to be changed by its methods only."""

    path: Path
    folder: str
    files: dict[str, Seen] = field(default_factory=dict)  # by name below the folder
    told: dict[str, Standing] = field(default_factory=dict)  # by engine, as last told
    notices: list[Notice] = field(default_factory=list)  # not delivered yet, oldest first
    _saved: bool = False  # what is on the disk is the same; spares the cards that boats run from

    @staticmethod
    def place(logbook: Path, folder: Path) -> Path:
        """Return the file that a folder is remembered in."""
        return logbook / "watch" / f"{digest(str(folder))}.json"

    @classmethod
    def load(cls, logbook: Path, folder: Path) -> "tuple[Memory, bool]":
        """Return what is remembered of a folder, and whether there was something unreadable."""
        where = str(folder)
        memory = cls(cls.place(logbook, folder), where)
        try:
            memory._take(json.loads(memory.path.read_bytes()))
        except FileNotFoundError:
            return memory, False
        except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
            return cls(memory.path, where), True
        return memory, False

    def set_aside(self) -> dict[str, str]:
        """Return why each file that is still the same was not taken, by name."""
        return {
            name: seen.said
            for name, seen in sorted(self.files.items())
            if seen.became != "kept" and stamp_of(Path(self.folder, name)) == seen.stamp
        }

    def remember(self, name: str, seen: Seen) -> None:
        """Remember what became of a file."""
        self.files[name] = seen
        self._saved = False

    def tell(self, engine: str, standing: Standing) -> None:
        """Remember where an engine stood when it was told."""
        if self.told.get(engine) != standing:
            self.told[engine] = standing
            self._saved = False

    def keep(self, notice: Notice) -> None:
        """Keep a notice as long as it has to be delivered, in place of its older self."""
        places = [at for at, each in enumerate(self.notices) if each.id == notice.id]
        at = places[0] if places else len(self.notices)
        self.notices[at : at + 1] = [notice] if notice.command or notice.mail else []
        del self.notices[:-MOST_NOTICES]
        self._saved = False

    def save(self) -> None:
        """Put it on the disk, the old one or the new one being there whole at any moment.

        Raises
        ------
        OSError
            If it cannot be written.
        """
        if self._saved:
            return
        content = {
            "form": _FORM,
            "folder": self.folder,
            "files": {
                name: [seen.became, *seen.stamp, seen.sides, seen.stated, seen.said]
                for name, seen in self.files.items()
            },
            "told": {name: asdict(standing) for name, standing in self.told.items()},
            "notices": [asdict(notice) for notice in self.notices],
        }
        self.path.parent.mkdir(mode=0o700, exist_ok=True)
        with written_whole(self.path) as file:
            file.write(json.dumps(content).encode("ascii"))
        self._saved = True

    def _take(self, content: Any) -> None:
        if content["form"] != _FORM:
            raise ValueError(content["form"])
        for name, (became, *stamp, sides, stated, said) in content["files"].items():
            file, size, changed = stamp
            if became not in ("kept", "set-aside", "refused"):
                raise ValueError(became)
            self.files[name] = Seen(became, (file, int(size), int(changed)), sides, stated, said)
        self.told = {name: Standing(**each) for name, each in content["told"].items()}
        self.notices = [Notice.again(each) for each in content["notices"]]
        self._saved = True


def digest(value: object) -> str:
    """Return a short text that is the same for the same plain values."""
    return hashlib.sha256(repr(value).encode("utf-8", "surrogatepass")).hexdigest()[:16]
