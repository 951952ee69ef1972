"""One line of the first screen."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Statement:
    """A label, a state in words, and what lies behind it."""

    label: str
    state: str  # the word of the data, e.g. "changed"
    words: str
    text: str
    more: tuple[str, ...] = ()

    @property
    def lead(self) -> bool:
        """Whether it takes the whole width: trend, resonance, and a renewal that is overdue."""
        return self.label in ("Idle trend", "Damper resonance") or self.state == "renewal-overdue"
