"""How an input ended, and what is wrong with words that refuse one."""

from dataclasses import dataclass

from reached import Line

LONGEST_REFUSAL = 1000  # characters


@dataclass(frozen=True, kw_only=True)
class Ended:
    """How one input ended."""

    kind: str  # "accepted", "refused", or what went wrong
    said: str = ""  # a refusal's text, or what tells one failure from another
    detail: str = ""  # of a failure: its traceback
    seconds: float = 0.0  # of the processor, so that other work beside it does not count
    megabytes: float = 0.0
    lines: tuple[Line, ...] = ()  # of the program, reached for the first time

    @property
    def failed(self) -> bool:
        """Whether this is neither acceptance nor a refusal in plain words."""
        return self.kind not in ("accepted", "refused")


def fault_in(text: str) -> str:
    """Return what is wrong with a refusal's words; "" if nothing is."""
    if not text.strip():
        return "says nothing"
    if len(text) > LONGEST_REFUSAL:
        return "too many words"
    # What a terminal would obey: control characters, line ends, marks of direction.
    return "" if text.isprintable() else "unprintable words"
