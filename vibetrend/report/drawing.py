"""The pen for pictures that need no script: SVG as wide as the page gives it.

Places along the width are in percent and heights in pixels, so that a picture fits a phone, a
screen and paper while its text keeps its size. Colours are classes of drawn.css.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from markupsafe import Markup

_NOTHING = Markup("")


@dataclass(frozen=True, kw_only=True)
class Frame:
    """From values to places: x in percent of the width, y in pixels from the top."""

    low_x: float
    high_x: float
    low_y: float
    high_y: float
    height: float
    top: float = 6.0
    bottom: float = 20.0
    left: float = 1.0
    right: float = 1.5

    def x(self, value: float) -> float:
        """Return the percent of the width; a value outside stands at the rim."""
        share = (value - self.low_x) / ((self.high_x - self.low_x) or 1.0)
        return self.left + (100 - self.left - self.right) * min(max(share, 0.0), 1.0)

    def y(self, value: float) -> float:
        """Return the pixels from the top."""
        share = (value - self.low_y) / ((self.high_y - self.low_y) or 1.0)
        return self.height - self.bottom - share * (self.height - self.top - self.bottom)


def picture(parts: Iterable[Markup], *, height: float, label: str) -> Markup:
    """Return the parts as one SVG; `label` says in words what it shows."""
    head = Markup('<svg class="picture" width="100%" height="{:g}" role="img" aria-label="{}">')
    return head.format(height, label) + Markup("").join(parts) + Markup("</svg>")


def line(x1: float, y1: float, x2: float, y2: float, kind: str) -> Markup:
    """Return a line; x in percent, y in pixels."""
    form = '<line class="{}" x1="{:.2f}%" y1="{:.1f}" x2="{:.2f}%" y2="{:.1f}"/>'
    return Markup(form).format(kind, x1, y1, x2, y2)


def box(x1: float, y1: float, x2: float, y2: float, kind: str) -> Markup:
    """Return a filled rectangle between two corners."""
    form = '<rect class="{}" x="{:.2f}%" y="{:.1f}" width="{:.2f}%" height="{:.1f}"/>'
    left, top = min(x1, x2), min(y1, y2)
    return Markup(form).format(kind, left, top, abs(x2 - x1), abs(y2 - y1))


def text(x: float, y: float, words: str, kind: str = "", anchor: str = "start") -> Markup:
    """Return words at a place."""
    form = '<text class="{}" x="{:.2f}%" y="{:.1f}" text-anchor="{}">{}</text>'
    return Markup(form).format(kind, x, y, anchor, words)


def course(points: Iterable[tuple[float, float]], height: float, kind: str) -> Markup:
    """Return points joined by a line, as one element however many they are."""
    steps = " ".join(f"{x:.2f} {y:.1f}" for x, y in points)
    return _stretched(f"M{steps}" if steps else "", height, kind)


def dots(
    points: Iterable[tuple[float, float]], height: float, radius: float, kind: str = "dots"
) -> Markup:
    """Return round dots of one size, as one element however many they are."""
    # A piece of next to no length with round ends is a dot; one of none is an oval on paper.
    steps = "".join(f"M{x:.2f} {y:.1f}h.01" for x, y in points)
    return _stretched(steps, height, kind, Markup(' stroke-width="{:g}"').format(2 * radius))


def spans(lines: Iterable[tuple[float, float, float]], height: float, kind: str) -> Markup:
    """Return short uprights, x and two heights each, as one element however many they are."""
    steps = "".join(f"M{x:.2f} {one:.1f}V{other:.1f}" for x, one, other in lines)
    return _stretched(steps, height, kind)


def _stretched(path: str, height: float, kind: str, more: Markup = _NOTHING) -> Markup:
    """Return a path in percent and pixels; its lines keep their width however wide it is drawn."""
    form = Markup(
        '<svg width="100%" height="{0:g}" viewBox="0 0 100 {0:g}" preserveAspectRatio="none">'
        '<path class="{1}" vector-effect="non-scaling-stroke"{2} d="{3}"/></svg>'
    )
    return form.format(height, kind, more, path)


def mark(x: float, y: float, state: str, hint: str = "", size: float = 4.5) -> Markup:
    """Return the mark of a state: ring, half ring, diamond or double diamond, never colour alone.

    Drawn around the origin of a nested SVG because only that can stand at a percentage.
    """
    title = Markup("<title>{}</title>").format(hint) if hint else Markup("")
    form = '<svg class="mark {}" x="{:.2f}%" y="{:.1f}" overflow="visible">{}{}</svg>'
    return Markup(form).format(_tone(state), x, y, title, Markup(_shape(state, size)))


def cross(x: float, y: float, size: float) -> Markup:
    """Return the cross of a recording that was left out."""
    form = (
        '<svg x="{0:.2f}%" y="{1:.1f}" overflow="visible">'
        '<path class="out" d="M-{2:g} -{2:g}L{2:g} {2:g}M-{2:g} {2:g}L{2:g} -{2:g}"/></svg>'
    )
    return Markup(form).format(x, y, size)


def _tone(state: str) -> str:
    if state in ("changed", "past-limit", "renewal-overdue", "reading-beyond", "check-not"):
        return "far"
    ask = ("record-again", "another-day", "all-moved", "reading-at-limit")
    return "ask" if state in ask else "calm"


_NOT_KNOWN = {
    *("no-baseline", "learning", "not-measured", "renewal-unknown", "reading-limit-unknown"),
    *("record-none", "record-open"),
}


def _shape(state: str, size: float) -> str:
    r = size
    diamond = (
        f'<path class="full" d="M0 {-r * 1.3:g}L{r * 1.3:g} 0L0 {r * 1.3:g}L{-r * 1.3:g} 0Z"/>'
    )
    match state:
        case "changed" | "renewal-overdue" | "reading-beyond" | "check-not":
            return diamond
        case "past-limit":
            wide = r * 2.1
            return diamond + (
                f'<path class="open" d="M0 {-wide:g}L{wide:g} 0L0 {wide:g}L{-wide:g} 0Z"/>'
            )
        case "another-day" | "record-again" | "renewal-due-soon" | "reading-at-limit":
            return (
                f'<circle class="open" r="{r:g}"/>'
                f'<path class="full" d="M0 {-r:g}A{r:g} {r:g} 0 0 1 0 {r:g}Z"/>'
            )
        case "all-moved":
            return "".join(
                f'<path class="open" d="M{-r:g} {y + 2:g}L0 {y - 2:g}L{r:g} {y + 2:g}"/>'
                for y in (-3, 3)
            )
        case "check-done" | "record-complete":
            return f'<path class="tick-mark" d="M{-r:g} 0L{-0.2 * r:g} {0.8 * r:g}L{r:g} {-r:g}"/>'
        case "reading-information":
            return f'<path class="tick-mark" d="M{-r:g} 0H{r:g}"/>'
        case _ if state in _NOT_KNOWN:
            return f'<circle class="dotted" r="{r:g}"/>'
        case "next":
            return f'<path class="open" d="M{-r:g} {-r:g}L{r:g} 0L{-r:g} {r:g}"/>'
        case _:
            return f'<circle class="open" r="{r:g}"/>'


def badge(state: str) -> Markup:
    """Return the mark of a state to stand beside its word."""
    form = '<svg class="badge {}" viewBox="-11 -11 22 22" aria-hidden="true">{}</svg>'
    return Markup(form).format(_tone(state), Markup(_shape(state, 5)))


def ticks(low: float, high: float, count: int) -> list[float]:
    """Return about `count` round values inside a range, clear of its ends."""
    width = (high - low) or 1.0
    raw = width / count
    power = 10 ** math.floor(math.log10(raw))
    step = next(power * m for m in (1, 2, 5, 10) if power * m >= raw)
    first = math.ceil((low + 0.04 * width) / step) * step
    values = [first + step * i for i in range(count + 2)]
    return [value for value in values if value <= high - 0.04 * width]


def shortened(words: str, most: int) -> str:
    """Return words as a picture has room for them; the tables have all of them."""
    return words if len(words) <= most else f"{words[: most - 1]}…"


def signed(db: float) -> str:
    """Return a tick: a true minus, and no sign at zero."""
    return "0" if db == 0 else f"{'+' if db > 0 else '−'}{abs(db):g}"
