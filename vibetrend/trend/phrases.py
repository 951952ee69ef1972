"""Numbers as sentences tell them: honest digits, and when a limit may be reached."""

import math


def count_of(number: int, what: str) -> str:
    """Return e.g. ``two placements``."""
    words = ("no", "one", "two", "three", "four", "five")
    return f"{words[number] if number < len(words) else number} {what}{'s' * (number > 1)}"


def capital(text: str) -> str:
    """Return a text whose first letter is large."""
    return text[:1].upper() + text[1:]


def two_digits(value: float) -> str:
    """Return two digits, a whole number from 10 on."""
    return f"{value:.0f}" if value >= 9.95 or value == 0 else f"{value:#.2g}"


def at(hours: float) -> str:
    """Return engine hours to ten: a bend is not known nearer."""
    return f"{round(hours, -1):.0f} h" if math.isfinite(hours) else "an unknown time"


def ahead(hours: float) -> str:
    """Return hours ahead with two digits, rounded down: no forecast knows more."""
    step = 10.0 ** max(math.floor(math.log10(max(hours, 1.0))) - 1, 0)
    return f"{step * math.floor(hours / step):.0f} h"


def percent(share: float) -> str:
    """Return a share; no forecast knows certainty."""
    return "below 1 %" if share < 0.01 else f"{min(100 * share, 99):.0f} %"


def when_reached(low: float, middle: float, high: float, *, left: float, due: str) -> str:
    """Return when a limit may be reached, early end first, nothing beyond the damper's renewal.

    Parameters
    ----------
    low, middle, high : float
        Hours ahead, `low` before the renewal; inf for "never".
    left : float
        Hours until the renewal; inf where that is not known.
    due : str
        The engine hours of the renewal, as they are told.
    """
    said = ["as early as now" if low < 1 else f"as early as {ahead(low)} from now"]
    if middle < left:
        said.append(f"more likely in about {ahead(middle)}")
    if high < left:
        said.append(f"hardly later than in {ahead(high)}")
    else:
        said.append("or never" if math.isinf(left) else f"or not before the damper is due at {due}")
    return ", ".join(said) + " (90 % interval)"
