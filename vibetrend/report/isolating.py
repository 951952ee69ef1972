"""Names written right to left, set apart so that what stands beside them stays in its place."""

import re
import unicodedata
from collections.abc import Callable, Iterable

_ISOLATE, _POP = "\N{FIRST STRONG ISOLATE}", "\N{POP DIRECTIONAL ISOLATE}"


def isolated(name: str) -> str:
    """Return a name set apart if any of it is written right to left (Unicode Annex 9)."""
    return f"{_ISOLATE}{name}{_POP}" if _right_to_left(name) else name


def isolating(names: Iterable[str]) -> Callable[[str], str]:
    """Return what sets these names apart wherever they stand in a sentence."""
    # The longest first: one name may be the beginning of another.
    found = sorted({each for each in names if _right_to_left(each)}, key=len, reverse=True)
    if not found:
        return str
    any_of_them = re.compile("|".join(map(re.escape, found)), re.IGNORECASE)
    return lambda sentence: any_of_them.sub(lambda name: f"{_ISOLATE}{name[0]}{_POP}", sentence)


def _right_to_left(text: str) -> bool:
    return any(unicodedata.bidirectional(letter) in ("R", "AL") for letter in text)
