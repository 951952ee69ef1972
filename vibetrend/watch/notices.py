"""What is told of a change, and to whom it still has to be told."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

from vibetrend.checkup.records import EngineRecord
from vibetrend.report.words import RENEWAL_WORDS, STATE_WORDS


@dataclass(frozen=True)
class Standing:
    """Where an engine stands: its state and that of its damper's renewal; "" if never told."""

    state: str = ""
    renewal: str = ""

    @classmethod
    def of(cls, record: EngineRecord) -> "Standing":
        """Return where an engine stands."""
        return cls(record.status["state"], record.status["renewal"]["state"])

    @property
    def asks(self) -> bool:
        """Whether somebody has to do something about it, other than recording as usual."""
        return self.state_asks or self.renewal_asks

    @property
    def state_asks(self) -> bool:
        """Whether the trend does."""
        return self.state not in ("", "no-baseline", "learning", "no-change-seen")

    @property
    def renewal_asks(self) -> bool:
        """Whether the damper's age does."""
        return self.renewal in ("due-soon", "overdue")


@dataclass(frozen=True, kw_only=True)
class Notice:
    """A change of an engine's state or of its renewal's, told once."""

    engine: str
    before: Standing
    now: Standing
    text: str  # where the engine stands, in words, with the cautions
    made_at: str  # ISO, with its zone
    command: bool  # whether a command is still to be run for it
    mail: bool  # whether a mail is still to be sent for it
    id: str = field(default_factory=lambda: uuid.uuid4().hex)

    @classmethod
    def again(cls, values: Mapping[str, Any]) -> "Notice":
        """Return a notice from the plain values it was kept as."""
        known = {each.name for each in fields(cls)}
        if set(values) != known or not all(isinstance(values[key], str) for key in ("id", "text")):
            raise ValueError("not a notice")
        both = {key: Standing(**values[key]) for key in ("before", "now")}
        return cls(**{**values, **both})

    @property
    def subject(self) -> str:
        """One line: the engine and what is new, e.g. ``main: Changed``."""
        new = []
        first = self.before == Standing()  # then only what asks for something is news
        if self.now.state_asks if first else self.now.state != self.before.state:
            new.append(STATE_WORDS.get(self.now.state, self.now.state))
        if self.now.renewal_asks if first else self.now.renewal != self.before.renewal:
            words = RENEWAL_WORDS.get(self.now.renewal, self.now.renewal)
            new.append(f"damper renewal {words.lower()}")
        return " ".join(f"{self.engine}: {', '.join(new)}".split())

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "engine": self.engine,
            "state": self.now.state,
            "state_before": self.before.state or None,
            "renewal": self.now.renewal,
            "renewal_before": self.before.renewal or None,
            "text": self.text,
        }
