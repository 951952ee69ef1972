"""Names written right to left, set apart so that what stands beside them stays in its place."""

import re
import unicodedata
from collections.abc import Callable, Iterable

_ISOLATE, _POP = "\N{FIRST STRONG ISOLATE}", "\N{POP DIRECTIONAL ISOLATE}"
# Marks that turn text, such as a right-to-left override. One that is never taken back would reach
# beyond the name; set apart, a name needs none.
_TURNING = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A)])


def isolated(name: str) -> str:
    """Return a name set apart if any of it is written right to left (Unicode Annex 9)."""
    return f"{_ISOLATE}{name.translate(_TURNING)}{_POP}" if _turns(name) else name


def isolating(names: Iterable[str]) -> Callable[[str], str]:
    """Return what sets these names apart wherever they stand in a sentence."""
    # The longest first: one name may be the beginning of another.
    found = sorted({each for each in names if _turns(each)}, key=len, reverse=True)
    if not found:
        return str
    any_of_them = re.compile("|".join(map(re.escape, found)), re.IGNORECASE)
    return lambda sentence: any_of_them.sub(lambda name: isolated(name[0]), sentence)


def _turns(text: str) -> bool:
    """Whether any of it is written right to left or tells a browser to turn what follows."""
    return any(
        unicodedata.bidirectional(letter) in ("R", "AL") or ord(letter) in _TURNING
        for letter in text
    )
