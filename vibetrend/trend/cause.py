"""What a usual cause is, and what a kind of feature speaks of: texts and evidence."""

from dataclasses import dataclass

from vibetrend.trend.evidence import Evidence


@dataclass(frozen=True)
class Cause:
    """One usual cause; ``{part}`` in its texts is the driven part."""

    what: str
    check: str  # confirms it or clears it
    speaks_for: tuple[Evidence, ...] = ()
    speaks_against: tuple[Evidence, ...] = ()
    ruled_out: tuple[Evidence, ...] = ()  # any of them: the cause is not named at all


@dataclass(frozen=True)
class Pattern:
    """What a kind of feature speaks of, and what usually moves it."""

    what: str
    causes: tuple[Cause, ...]  # most usual first; from the third on only with evidence for it
