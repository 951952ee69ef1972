"""The pictures of one recording that need no script: time trace, spectrum, speed."""

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Literal

import numpy as np
from markupsafe import Markup

from vibetrend.checkup.records import RecordingRecord
from vibetrend.recording import FloatArray
from vibetrend.report.drawing import Frame, box, course, line, picture, shortened, text, ticks
from vibetrend.report.recording.lines import Line

if TYPE_CHECKING:  # only the types
    from vibetrend.orders import Speed, Trace

Side = Literal["left", "center", "right"]

_HEIGHTS = {1: 140.0, 2: 100.0, 3: 80.0, 4: 68.0}  # px of an axis, by how many there are
_LEAST_HEIGHT = 64.0
_COLUMNS = 800  # of the spectrum: more would not be seen
_DECADES, _FEW_DECADES = 4, 2
_NAMED_GAPS = 6
LONGEST_NAME = 24  # letters of an axis or a line


# Values over time


def trace(seen: "Trace", measured_s: tuple[float, float]) -> Markup:
    """Return the envelope of every axis, all on one scale, with what is missing or cut off."""
    strip = _HEIGHTS.get(len(seen.axes), _LEAST_HEIGHT)
    height = strip * len(seen.axes) + 26
    end = float(seen.edges_s[-1])
    wide = Frame(low_x=0, high_x=end, low_y=0, high_y=1, height=height, left=8)
    parts = []
    for start, stop in outside(measured_s, end):
        parts.append(box(wide.x(start), 0, wide.x(stop), height - 22, "aside"))
        middle = (wide.x(start) + wide.x(stop)) / 2
        parts.append(text(middle, height - 30, "not measured", "tick", "middle"))
    for axis in range(len(seen.axes)):
        parts += _strip(seen, axis, strip, height)
    for start, stop in seen.gaps:
        parts.append(box(wide.x(start), 0, wide.x(stop), height - 22, "lost"))
    for start, stop in longest(seen.gaps):
        late = start > end / 2
        words = f"{stop - start:.2g} s missing"
        place = wide.x(start) - 0.6 if late else wide.x(stop) + 0.6
        parts.append(text(place, height - 30, words, "tick far", "end" if late else "start"))
    for value in ticks(0, end, 6):
        parts.append(text(wide.x(value), height - 5, f"{value:g} s", "tick", "middle"))
    label = f"values over time: {', '.join(seen.axes)}, least and largest of each short piece"
    return picture(parts, height=height, label=label)


def _strip(seen: "Trace", axis: int, strip: float, height: float) -> Iterator[Markup]:
    middle, half = middle_of(seen, axis), span(seen) / 2
    frame = Frame(
        low_x=0, high_x=float(seen.edges_s[-1]), low_y=middle - half, high_y=middle + half,
        height=strip * (axis + 1), top=strip * axis + 14, bottom=4, left=8,
    )  # fmt: skip
    for value in ticks(frame.low_y, frame.high_y, 5):
        yield line(0, frame.y(value), 100, frame.y(value), "grid")
        yield text(1, frame.y(value) - 3, f"{value:g}", "tick")
    for piece in stretches(seen.low[axis]):
        # From least to largest and back: dense lines fill the range between them.
        points = [
            (frame.x(time), frame.y(value))
            for time, *both in zip(
                seen.middles_s[piece], seen.low[axis, piece], seen.high[axis, piece], strict=True
            )
            for value in both
        ]
        yield course(points, height, "trace")
    for at, place, value in seen.cut:
        if at == axis:
            x, y = frame.x(seen.middles_s[place]), frame.y(value)
            yield line(x - 0.12, y, x + 0.12, y, "cut")
    yield text(
        8.2, frame.top + 2, f"{shortened(seen.axes[axis], LONGEST_NAME)}, {seen.unit}", "axis"
    )


def span(seen: "Trace") -> float:
    """Return the range that every axis is drawn over: that of the widest."""
    widest = float(np.nanmax(np.nanmax(seen.high, axis=1) - np.nanmin(seen.low, axis=1)))
    return 1.08 * widest or 1.0


def middle_of(seen: "Trace", axis: int) -> float:
    """Return the middle of an axis' own range: gravity stands on some and not on others."""
    return float(np.nanmax(seen.high[axis]) + np.nanmin(seen.low[axis])) / 2


def stretches(values: FloatArray) -> Iterator[slice]:
    """Yield the stretches without a NaN."""
    there = np.concatenate([[False], np.isfinite(values), [False]])
    turns = np.flatnonzero(there[1:] != there[:-1])
    yield from map(slice, turns[::2].tolist(), turns[1::2].tolist())


def longest(gaps: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return the few gaps that are named in a picture."""
    return sorted(gaps, key=lambda gap: gap[0] - gap[1])[:_NAMED_GAPS]


def outside(measured_s: tuple[float, float], end: float) -> list[tuple[float, float]]:
    """Return what lies before and after the measured part, where it is more than a trifle."""
    parts = [(0.0, measured_s[0]), (measured_s[1], end)]
    return [(start, stop) for start, stop in parts if stop - start > 0.03 * end]


# Amplitude against frequency


def spectrum(record: RecordingRecord, marked: Sequence[Line]) -> Markup:
    """Return the spectrum on a scale of decades, hertz below, orders above, its lines marked."""
    shown = record.spectrum
    assert shown is not None
    hertz, amplitude = columns_of(shown.hertz, shown.amplitude)
    top, bottom = decades(amplitude)
    height = 340.0
    frame = Frame(
        low_x=0, high_x=float(shown.hertz[-1]), low_y=bottom, high_y=top,
        height=height, bottom=26, top=46, left=8,
    )  # fmt: skip
    floor = height - frame.bottom
    parts = []
    for value in log_ticks(bottom, top):
        y = frame.y(math.log10(value))
        parts.append(line(0, y, 100, y, "grid"))
        parts.append(text(1, y - 4, f"{value:g}", "tick"))
    parts.append(text(1, 11, f"{shown.unit} rms", "tick"))
    parts += _order_scale(record, frame)
    for one in marked:
        if one.kind != "order" and math.isfinite(one.height):
            x = frame.x(one.hertz)
            parts.append(line(x, frame.top, x, floor, f"upright {one.kind}"))
    points = [
        (frame.x(x), frame.y(max(math.log10(y), bottom)))
        for x, y in zip(hertz, amplitude, strict=True)
    ]
    parts.append(course(points, height, "spectrum"))
    for one, side in zip(marked, sides(marked, frame.high_x), strict=True):
        if math.isfinite(one.height) and one.height > 0:
            y = frame.y(max(math.log10(one.height), bottom))
            parts += _mark(one, frame.x(one.hertz), y, side)
    for value in ticks(0, frame.high_x, 8):
        parts.append(text(frame.x(value), height - 5, f"{value:g} Hz", "tick", "middle"))
    label = "amplitude against frequency; the lines that stand out are listed in the tables"
    return picture(parts, height=height, label=label)


def decades(amplitude: FloatArray) -> tuple[float, float]:
    """Return the largest and least power of ten shown: all of the values, four decades at most."""
    there = amplitude[amplitude > 0]
    if not there.size:
        return 0.0, -1.0
    top = math.log10(float(there.max())) + 0.25
    bottom = max(math.log10(float(np.quantile(there, 0.01))) - 0.1, top - _DECADES)
    return top, min(bottom, top - 1)


def log_ticks(bottom: float, top: float) -> list[float]:
    """Return powers of ten, with twice and five times them where there are few."""
    steps = (1, 2, 5) if top - bottom < _FEW_DECADES else (1,)
    values = [m * 10.0**n for n in range(math.floor(bottom), math.ceil(top)) for m in steps]
    return [value for value in values if bottom + 0.02 < math.log10(value) < top - 0.02]


def columns_of(hertz: FloatArray, amplitude: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return no more points than can be seen: the largest of each column, so that peaks stay."""
    each = -(-len(hertz) // _COLUMNS)
    starts = np.arange(0, len(hertz), each)
    tops: FloatArray = np.maximum.reduceat(amplitude, starts)
    places = starts + [int(np.argmax(amplitude[start : start + each])) for start in starts]
    return hertz[places], tops


def _order_scale(record: RecordingRecord, frame: Frame) -> list[Markup]:
    """Return the scale along the top: ticks at half orders, longer and named at whole ones."""
    turns_per_s = record.measurement.speed.rpm / 60
    parts = [text(100, 11, "order", "tick", "end")]
    for half in range(1, int(2 * frame.high_x / turns_per_s) + 1):
        x = frame.x(half / 2 * turns_per_s)
        whole = half % 2 == 0
        parts.append(line(x, frame.top - (8 if whole else 4), x, frame.top, "scale"))
        if whole and x < 96:
            parts.append(text(x, frame.top - 11, f"{half // 2}", "tick", "middle"))
    return parts


_FORMS = {  # never told apart by colour alone
    "order": '<circle class="full" r="2.6"/>',
    "firing": '<path class="full" d="M0 -6L5 0L0 6L-5 0Z"/>',
    "driven": '<rect class="open" x="-4" y="-4" width="8" height="8"/>',
    "other": '<path class="open" d="M-4 3.5L0 -4.5L4 3.5Z"/>',
}


def shape(kind: str) -> Markup:
    """Return the mark of a kind of line, to stand beside its name."""
    form = Markup('<svg class="line-mark {}" viewBox="-8 -8 16 16" aria-hidden="true">{}</svg>')
    return form.format(kind, Markup(_FORMS[kind]))


def sides(marked: Sequence[Line], width_hz: float) -> list[Side]:
    """Return where the letter of each mark stands, so that those of neighbours do not meet."""
    named = [one.hertz for one in marked if is_lettered(one)]
    found: list[Side] = []
    for one in marked:
        near = [other - one.hertz for other in named if abs(other - one.hertz) < 0.02 * width_hz]
        after = any(off > 0 for off in near)
        before = any(off < 0 for off in near)
        found.append("right" if before else "left" if after else "center")
    return found


def is_lettered(one: Line) -> bool:
    """Return whether a mark has its letter beside it; most orders are named by the scale."""
    return one.kind != "order" or one.folded


def _mark(one: Line, x: float, y: float, side: Side) -> list[Markup]:
    form = '<svg class="line-mark {}" x="{:.2f}%" y="{:.1f}" overflow="visible">{}{}</svg>'
    hint = Markup("<title>{}</title>").format(f"{one.name}, {one.hertz:.1f} Hz")
    parts = [Markup(form).format(one.kind, x, y, hint, Markup(_FORMS[one.kind]))]
    if is_lettered(one):
        anchor = {"left": "end", "right": "start", "center": "middle"}[side]
        parts.append(text(x, y - 9, one.letter, "letter", anchor))
    return parts


# Speed over time


def speed(found: "Speed", begins_s: float, duration_s: float, *, steady: bool = True) -> Markup:
    """Return the speed over time; of a steady one with mean and one standard deviation."""
    time, rpm = track(found, begins_s)
    low, high = rpm_range(found, rpm)
    frame = Frame(
        low_x=0, high_x=duration_s, low_y=low, high_y=high, height=220, bottom=26, top=20, left=8
    )
    parts = [text(1, 11, "rpm", "tick")]
    spread = found.spread_percent / 100 * found.rpm
    if steady and math.isfinite(spread):
        parts.append(box(8, frame.y(found.rpm - spread), 98.5, frame.y(found.rpm + spread), "band"))
    for value in ticks(low, high, 6):
        parts.append(line(0, frame.y(value), 100, frame.y(value), "grid"))
        parts.append(text(1, frame.y(value) - 4, f"{value:g}", "tick"))
    if steady:
        parts.append(line(8, frame.y(found.rpm), 98.5, frame.y(found.rpm), "zero"))
    points = [(frame.x(t), frame.y(v)) for t, v in zip(time, rpm, strict=True)]
    parts.append(course(points, 220, "course"))
    for value in ticks(0, duration_s, 6):
        parts.append(text(frame.x(value), 215, f"{value:g} s", "tick", "middle"))
    said = f"mean {found.rpm:.1f}" if steady else f"from {rpm[0]:.0f} to {rpm[-1]:.0f}"
    return picture(parts, height=220, label=f"speed over time, {said} rpm")


def track(found: "Speed", begins_s: float) -> tuple[FloatArray, FloatArray]:
    """Return seconds from the first sample, and rpm; means of neighbours where there are many."""
    time = found.track["time_s"].to_numpy(float) - begins_s
    rpm = found.track["rpm"].to_numpy(float)
    each = -(-len(time) // _COLUMNS)
    starts = np.arange(0, len(time), each)
    counts = np.diff(starts, append=len(time))
    return np.add.reduceat(time, starts) / counts, np.add.reduceat(rpm, starts) / counts


def rpm_range(found: "Speed", rpm: FloatArray) -> tuple[float, float]:
    """Return the range shown: the track's own, 0.5 % of the mean at least."""
    low, high = float(rpm.min()), float(rpm.max())
    pad = max(0.08 * (high - low), (0.005 * found.rpm - (high - low)) / 2)
    return low - pad, high + pad
