"""Names written right to left, set apart so that what stands beside them stays in its place."""

import re
import unicodedata
from collections.abc import Callable, Iterable

from markupsafe import Markup

_ISOLATE, _POP = "\N{FIRST STRONG ISOLATE}", "\N{POP DIRECTIONAL ISOLATE}"
# Marks that turn text, such as a right-to-left override. One that is never taken back would reach
# beyond the name; set apart, a name needs none.
_TURNING = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A)])
_ISOLATES = "\u2066\u2067\u2068"


def closed(text: object) -> object:
    """Return text with every isolate closed, so that none reaches beyond the element it stands in.

    A browser ends an element's own isolate with the same mark: one that a text opens would run on
    behind the element, and one mark too many would end the element's. Own markup and what is no
    text pass as they are.
    """
    if not isinstance(text, str) or isinstance(text, Markup) or text.isascii():
        return text
    open_now, kept = 0, []
    for letter in text:
        open_now += (letter in _ISOLATES) - (letter == _POP)
        if open_now < 0:
            open_now = 0
        else:
            kept.append(letter)
    return "".join(kept) + _POP * open_now


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
