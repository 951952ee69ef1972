"""The polar picture of a run-out: readings at their stations, the eccentric circle, the high side.

Seen from the front with the mark at 12 o'clock; angles count clockwise, from the mark on.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

_RING = 104.0  # px: where a reading that equals the mean stands
_SPAN = 34.0  # px: how far the largest deviation reaches to either side of it
_LABELS = 157.0  # px: where the readings are written
_MOST_LABELS = 12


@dataclass(frozen=True, kw_only=True)
class Turn:
    """One set of readings around the turn; all lengths in the unit that is shown."""

    when: str
    angles_deg: tuple[float, ...]  # of the stations, from the mark on
    deviation: tuple[float, ...]  # each reading less the mean of the fit
    labels: tuple[str, ...]  # the readings as text
    eccentricity: float
    high_deg: float  # where the high side lies
    high_error_deg: float  # two standard errors; inf where no side stands out, NaN unknown

    @property
    def stands_out(self) -> bool:
        """Whether there is a high side to point at."""
        return not self.high_error_deg > 90


@dataclass(frozen=True, kw_only=True)
class Scale:
    """How far deviations are exaggerated."""

    span: float  # what `_SPAN` stands for, in the unit shown
    ring: float  # what lies between two rings

    def radius(self, deviation: float) -> float:
        """Return the pixels from the centre."""
        return _RING + _SPAN * deviation / self.span

    def times(self, diameter: float) -> float:
        """Return how many times larger than the surface itself deviations are drawn."""
        return (_SPAN / self.span) / (_RING / (diameter / 2))


def scale(turns: Sequence[Turn], limit: float | None) -> Scale:
    """Return a scale that holds all readings, and the limit's width where that is near."""
    most = max(
        max(*(abs(each) for each in turn.deviation), turn.eccentricity) for turn in turns
    ) or 1.0  # fmt: skip
    if limit is not None and most < limit <= 5 * most:
        most = max(most, 0.55 * limit)
    power = 10.0 ** math.floor(math.log10(most / 2))
    ring = next(power * m for m in (1, 2, 5, 10) if power * m >= most / 3.01)
    return Scale(span=most, ring=ring)


def shows_limit(shown: Scale, limit: float | None) -> bool:
    """Return whether the limit's width fits into the picture."""
    return limit is not None and 0.5 * limit <= shown.span


def polar(turns: Sequence[Turn], shown: Scale, *, limit: float | None, label: str) -> Markup:
    """Return the picture; of two sets the first is the earlier, drawn in grey behind.

    Parameters
    ----------
    turns : sequence of Turn
        One set of readings or two.
    shown : Scale
    limit : float, optional
        The greatest run-out (TIR) allowed: a grey band of that width lies midway between the
        highest and the lowest reading.
    label : str
        What is shown, in words.
    """
    *_, now = turns
    parts = _ground(shown, now, limit)
    for turn in turns[:-1]:
        parts += _set(turn, shown, "then")
    parts += _set(now, shown, "now")
    parts += _values(now)
    parts.append(_sense(now.high_deg))
    head = Markup('<svg class="picture polar" viewBox="-212 -180 424 360" role="img"'
                  ' aria-label="{}">')  # fmt: skip
    return head.format(label) + Markup("").join(parts) + Markup("</svg>")


def _ground(shown: Scale, now: Turn, limit: float | None) -> list[Markup]:
    parts = []
    if limit is not None and shows_limit(shown, limit):
        middle = (max(now.deviation) + min(now.deviation)) / 2
        outer, inner = (shown.radius(middle + half) for half in (limit / 2, -limit / 2))
        ring = Markup('<path class="band" fill-rule="evenodd" d="{}{}"/>')
        parts.append(ring.format(_circle(outer), _circle(inner)))
    steps = math.floor(1.001 * shown.span / shown.ring)
    form = Markup('<circle class="ring {}" r="{:.1f}"/>')
    parts += [
        form.format("zero" if i == 0 else "grid", shown.radius(i * shown.ring))
        for i in range(-steps, steps + 1)
    ]
    # The mark at 12 o'clock, and the centre of the shaft.
    parts.append(Markup('<path class="index" d="M0 -148L-6 -158H6Z"/>'))
    parts.append(Markup('<path class="zero" d="M-5 0H5M0 -5V5"/>'))
    return parts


def _set(turn: Turn, shown: Scale, kind: str) -> list[Markup]:
    """Return the fitted circle, the readings and the arrow to the high side."""
    fitted = [
        _point(shown.radius(turn.eccentricity * math.cos(math.radians(a - turn.high_deg))), a)
        for a in range(0, 360, 4)
    ]
    parts = [Markup('<path class="fit {}" d="M{}Z"/>').format(kind, "L".join(map(_pair, fitted)))]
    if turn.stands_out:
        parts += _high_side(turn, shown, kind)
    dot = Markup('<circle class="reading {}" cx="{:.1f}" cy="{:.1f}" r="3.8"><title>{}</title>'
                 "</circle>")  # fmt: skip
    for angle, deviation, told in zip(turn.angles_deg, turn.deviation, turn.labels, strict=True):
        hint = f"{turn.when}, {angle:g}°: {told}"
        parts.append(dot.format(kind, *_point(shown.radius(deviation), angle), hint))
    return parts


def _high_side(turn: Turn, shown: Scale, kind: str) -> list[Markup]:
    """Return the arrow from the centre, and the arc where the high side may lie."""
    tip = shown.radius(turn.eccentricity) - 7
    arrow = Markup(
        '<g class="high {}" transform="rotate({:.1f})"><path d="M0 0V{:.1f}"/>'
        '<path class="head" d="M0 {:.1f}L-4.5 {:.1f}H4.5Z"/></g>'
    )
    parts = [arrow.format(kind, turn.high_deg, 8 - tip, -tip, 9 - tip)]
    if kind == "now" and turn.high_error_deg > 0:
        ends = (turn.high_deg - turn.high_error_deg, turn.high_deg + turn.high_error_deg)
        parts.append(_arc("may-lie", 40, *ends))
    return parts


def _values(turn: Turn) -> list[Markup]:
    """Return the readings written around the picture."""
    form = Markup('<text class="tick" x="{:.1f}" y="{:.1f}" text-anchor="{}">{}</text>')
    every = math.ceil(len(turn.angles_deg) / _MOST_LABELS)
    parts = []
    for angle, told in list(zip(turn.angles_deg, turn.labels, strict=True))[::every]:
        x, y = _point(_LABELS, angle)
        anchor = "middle" if abs(x) < 30 else "start" if x > 0 else "end"
        # Above the mark's triangle at the top, below the ring at the bottom.
        aside = 4 if y > 100 else -7 if y < -120 else 0
        parts.append(form.format(x, y + 4 + aside, anchor, told))
    return parts


def _sense(high_deg: float) -> Markup:
    """Return the curved arrow that says which way angles count, away from the high side's arrow."""
    start, end = high_deg + 130, high_deg + 230
    x, y = _point(24, end)
    head = Markup('<path class="sense-head" transform="translate({:.1f} {:.1f}) rotate({:.1f})"'
                  ' d="M7 0L-2 -4.5V4.5Z"/>')  # fmt: skip
    return _arc("sense", 24, start, end) + head.format(x, y, end)


def _arc(kind: str, radius: float, start_deg: float, end_deg: float) -> Markup:
    form = Markup('<path class="{}" d="M{} A{:g} {:g} 0 {:d} 1 {}"/>')
    ends = (_pair(_point(radius, a)) for a in (start_deg, end_deg))
    first, last = ends
    return form.format(kind, first, radius, radius, end_deg - start_deg > 180, last)


def _circle(radius: float) -> str:
    return f"M{-radius:.1f} 0A{radius:.1f} {radius:.1f} 0 1 0 {radius:.1f} 0" + (
        f"A{radius:.1f} {radius:.1f} 0 1 0 {-radius:.1f} 0Z"
    )


def _point(radius: float, angle_deg: float) -> tuple[float, float]:
    """Return right and down of the centre; 0 degrees is up, angles go clockwise."""
    angle = math.radians(angle_deg)
    return radius * math.sin(angle), -radius * math.cos(angle)


def _pair(point: tuple[float, float]) -> str:
    return f"{point[0]:.1f} {point[1]:.1f}"
