"""The pictures that stand in the page itself: changes, histories, spectrum."""

import base64
import io
import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray
from PIL import Image

from vibetrend.checkup.records import OrderSpectrum
from vibetrend.report.drawing import (
    Frame,
    box,
    course,
    dots,
    line,
    mark,
    picture,
    shortened,
    text,
    ticks,
)
from vibetrend.report.facts import Fact
from vibetrend.report.levels import Levels
from vibetrend.report.scales import DECIBEL, Scale, scale_of

if TYPE_CHECKING:  # only the type
    from vibetrend.orders import Spectrogram


@dataclass(frozen=True, kw_only=True, eq=False)
class Along:
    """A line over a picture of levels: an order that follows the speed."""

    name: str
    x: NDArray[np.float64]  # (n,)
    y: NDArray[np.float64]  # (n,)


_A_HAIR = 0.05  # dB: a limit of twice, 6.02 dB, stands on the strip's last line, 6 dB

# The change of each order: one strip for each row of a table, on a common scale


def change_span(
    found: Sequence[Fact], latest: Iterable[float] = (), scale: Scale = DECIBEL
) -> float:
    """Return the dB that the strips reach to either side: to a whole tick of their scale.

    Once an order has moved, its limit is within reach.
    """
    room = 0.5 if scale is DECIBEL else 0.0
    reach = [abs(db) + room for db in (*latest, *(fact.change_db for fact in found))]
    reach += [f.band_db for f in found]
    reach += [f.limit_db - _A_HAIR for f in found if f.moved]
    return scale.span(reach)


def change_strip(fact: Fact, span: float, latest_db: float, height: float = 26) -> Markup:
    """Return the strip of one order: usual scatter as a band, the change as the mark.

    `latest_db` is the latest check-up by itself, drawn as a small point; NaN for none.
    """
    frame = Frame(low_x=-span, high_x=span, low_y=0, high_y=1, height=height, left=2, right=2)
    middle, scale = height / 2, scale_of(fact.feature)
    parts = [
        line(frame.x(db), 0, frame.x(db), height, "zero" if db == 0 else "grid")
        for db, _ in scale.ticks(-span, span)
    ]
    if fact.limit_db <= span + _A_HAIR:
        parts.append(line(frame.x(fact.limit_db), 0, frame.x(fact.limit_db), height, "limit"))
    if math.isfinite(fact.scatter_db):
        reach = fact.band_db
        parts.append(box(frame.x(-reach), middle - 6, frame.x(reach), middle + 6, "band"))
    label = f"{fact.name}: no change known"
    if math.isfinite(latest_db):
        form = Markup('<circle class="dot" cx="{:.2f}%" cy="{:.1f}" r="2.4"/>')
        parts.append(form.format(frame.x(latest_db), middle))
    if math.isfinite(fact.change_db):
        label = f"{fact.name}: {scale.words(fact.change_db)}"
        parts.append(line(frame.x(0), middle, frame.x(fact.change_db), middle, "stem"))
        parts.append(mark(frame.x(fact.change_db), middle, fact.state, label))
    return picture(parts, height=height, label=label)


def change_scale(span: float, scale: Scale = DECIBEL) -> Markup:
    """Return the scale above the strips."""
    frame = Frame(low_x=-span, high_x=span, low_y=0, high_y=1, height=18, left=2, right=2)
    ticks_of = scale.ticks(-span, span)
    if scale is DECIBEL and span > 9:
        ticks_of = [(db, said) for db, said in ticks_of if db % 6 == 0]
    parts = [text(frame.x(db), 13, said, "tick", "middle") for db, said in ticks_of]
    low, high = (scale.words(db, sign=False) for db in (-span, span))
    label = (
        f"scale from {-span:g} to {span:g} dB"
        if scale is DECIBEL
        else f"scale from {low} to {high}"
    )
    return picture(parts, height=18, label=label)


def overview_strip(found: Sequence[Fact]) -> Markup:
    """Return all orders in one small picture: stems up and down from the baseline."""
    orders = [f for f in found if f.feature == "order" and math.isfinite(f.change_db)]
    if not orders:
        return Markup("")
    span = change_span(orders)
    frame = Frame(
        low_x=0,
        high_x=len(orders) - 1,
        low_y=-span,
        high_y=span,
        height=46,
        bottom=6,
        left=4,
        right=4,
    )
    parts = [line(0, frame.y(0), 100, frame.y(0), "zero")]
    for place, fact in enumerate(orders):
        x = frame.x(place)
        parts.append(line(x, frame.y(0), x, frame.y(fact.change_db), "stem"))
        hint = f"{fact.name}: {fact.change_db:+.1f} dB"
        size = 3.4 if fact.moved else 1.8
        parts.append(mark(x, frame.y(fact.change_db), fact.state, hint, size=size))
    return picture(parts, height=46, label="change of every order against its baseline")


# All orders at all check-ups


def checkup_map(found: Sequence[Fact], levels: Levels) -> Markup:
    """Return every order at every check-up: a disc for a rise, a ring for a fall, area for size."""
    columns = levels.visits.drop_duplicates("visit").sort_values("hours")
    rows = [fact for fact in found if levels.changes(fact.feature, fact.order)]
    if not rows:
        return Markup("")
    step, top = 19.0, 6.0
    frame = Frame(
        low_x=0, high_x=max(len(columns) - 1, 1), low_y=0, high_y=1, height=1, left=14, right=3
    )
    parts = []
    discs: dict[tuple[str, float], list[tuple[float, float]]] = defaultdict(list)
    for row, fact in enumerate(rows):
        y = top + step * (row + 0.5)
        parts.append(
            text(0, y + 4, shortened(fact.short, 12), "tick far" if fact.moved else "tick")
        )
        parts.append(line(frame.left - 2, y, 100, y, "grid"))
        changes = levels.changes(fact.feature, fact.order)
        for place, visit in enumerate(columns["visit"]):
            db = changes.get(visit, math.nan)
            if math.isfinite(db):
                usual = " usual" if is_usual(fact, db) else ""
                kind = ("rise" if db > 0 else "fall") + usual
                discs[kind, round(2 * disc_radius(db)) / 2].append((frame.x(place), y))
    height = top + step * len(rows) + 26
    # One element for all discs of a size: a long history has thousands.
    for (kind, radius), places in discs.items():
        if radius:
            parts.append(dots(places, height, radius, f"disc {kind}"))
        if kind.startswith("fall") and radius:
            hole = max(radius - _RING, 0.4 * radius)
            parts.append(dots(places, height, hole, "disc hole"))
    every = math.ceil(len(columns) / 5)  # more do not fit a phone
    for place, hours in list(enumerate(columns["hours"]))[::every]:
        parts.append(text(frame.x(place), height - 6, f"{hours:.0f} h", "tick", "middle"))
    return picture(parts, height=height, label="change of every order at every check-up")


_RING = 1.6  # px, how thick the ring of a fall is


def disc_radius(change_db: float) -> float:
    """Return the radius of a disc whose area grows with the change, px; 9 at most."""
    return min(5.5 * math.sqrt(abs(change_db) / 3), 9.0)


def is_usual(fact: Fact, change_db: float) -> bool:
    """Return whether a change lies inside the band of usual scatter."""
    return abs(change_db) <= fact.band_db


# Levels over time or speed


def over_time(shown: "Spectrogram", along: Sequence[Along] = ()) -> Markup:
    """Return a recording over time and frequency; `along` are orders that follow the speed."""
    label = f"level over time and frequency: {shown.label}"
    return level_map(
        shown.time_s, shown.hertz, shown.level_db, units=("s", "Hz"), label=label, along=along
    )


def level_map(
    across: NDArray[np.float64],
    up: NDArray[np.float64],
    level_db: NDArray[np.float64],
    *,
    units: tuple[str, str],
    label: str,
    along: Sequence[Along] = (),
    height: float = 260,
) -> Markup:
    """Return levels over two scales: one small grey picture inside them.

    Its ink is black with more or less cover, so that the page's style can turn it to white where
    the page is dark; so it needs no colour.

    Parameters
    ----------
    across, up : array, shapes (columns,), (rows,)
        Evenly spaced.
    level_db : array, shape (rows, columns)
        0 at the strongest, -60 at the least.
    along : sequence of Along
        Lines over it, with their names.
    """
    frame = Frame(
        low_x=float(across[0]), high_x=float(across[-1]), low_y=float(up[0]), high_y=float(up[-1]),
        height=height, bottom=26, top=20 if along else 6, left=13, right=6 if along else 1.5,
    )  # fmt: skip
    form = Markup(
        '<image class="levels" x="{:.2f}%" y="{:.1f}" width="{:.2f}%" height="{:.1f}" '
        'preserveAspectRatio="none" href="{}"/>'
    )
    wide, high = frame.x(frame.high_x) - frame.left, frame.height - frame.bottom - frame.top
    parts = [form.format(frame.left, frame.top, wide, high, _grey(level_db))]
    for value in ticks(frame.low_y, frame.high_y, 7):
        parts.append(text(1, frame.y(value) + 4, f"{value:g} {units[1]}", "tick"))
    for value in ticks(frame.low_x, frame.high_x, 6):
        parts.append(text(frame.x(value), height - 5, f"{value:g} {units[0]}", "tick", "middle"))
    for one in along:
        inside = one.y <= frame.high_y
        points = [
            (frame.x(x), frame.y(y)) for x, y in zip(one.x[inside], one.y[inside], strict=True)
        ]
        if len(points) > 1:
            parts.append(course(points, height, "along"))
            x, y = min(points, key=lambda point: point[1])
            parts.append(text(x + 0.4, y - 3, one.name, "letter"))
    return picture(parts, height=height, label=label)


def _grey(level_db: NDArray[np.float64]) -> Markup:
    """Return levels from -60 dB (nothing) to 0 dB (full) as a PNG in a data: address."""
    cover = np.clip((level_db[::-1] + 60) / 60, 0, 1) ** 1.6  # weak cells recede
    ink = np.zeros((*cover.shape, 2), dtype=np.uint8)
    ink[..., 1] = np.round(255 * cover)
    held = io.BytesIO()
    Image.fromarray(ink, mode="LA").save(held, format="PNG", optimize=True)
    return Markup("data:image/png;base64,") + base64.b64encode(held.getvalue()).decode("ascii")


# The latest order spectrum over the baseline's


def spectrum(latest: OrderSpectrum, reference: OrderSpectrum | None) -> Markup:
    """Return amplitude against order on a scale of decades, the baseline as grey stems behind."""
    shown = [one for one in (reference, latest) if one is not None]
    values = [float(a) for one in shown for a in one.amplitude if a > 0]
    if not values:
        return Markup("")
    top, bottom = math.ceil(math.log10(max(values))), math.floor(math.log10(min(values)))
    bottom = max(bottom, top - 4)
    far = max(float(one.order.max()) for one in shown)
    frame = Frame(
        low_x=0, high_x=far * 1.02, low_y=bottom, high_y=max(top, bottom + 1),
        height=260, bottom=26, top=22, left=14,
    )  # fmt: skip
    parts = [text(99, 11, f"{latest.unit} rms", "tick", "end")]
    for decade in range(bottom, top + 1):
        parts.append(line(0, frame.y(decade), 100, frame.y(decade), "grid"))
        parts.append(text(0.5, frame.y(decade) - 4, f"{10.0**decade:g}", "tick"))
    for value in ticks(0, far * 1.02, 12 if far > 4 else 4):
        parts.append(text(frame.x(value), 255, f"{value:g}", "tick", "middle"))
    form = Markup('<circle class="{}" cx="{:.2f}%" cy="{:.1f}" r="{:g}"/>')
    many = max(len(one.order) for one in shown) > 120
    for one in shown:
        kind, size = ("peak", 2.6) if one is latest else ("peak base", 4.5)
        points = [
            (frame.x(order), frame.y(max(math.log10(a), bottom)))
            for order, a in zip(one.order, one.amplitude, strict=True)
            if a > 0
        ]
        if many:
            parts.append(course(points, frame.height, kind))
            continue
        if one is latest:
            parts += [line(x, frame.height - frame.bottom, x, y, kind) for x, y in points]
        parts += [form.format(kind, x, y, size) for x, y in points]
    label = "amplitude of each order: " + " over ".join(one.label for one in reversed(shown))
    return picture(parts, height=260, label=label)
