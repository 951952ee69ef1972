"""The interference diagram: at which speeds an engine's orders meet its natural frequencies."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from vibetrend.checkup.records import EngineRecord, Interference
from vibetrend.report.drawing import Frame, box, line, picture, text, ticks
from vibetrend.report.figures import Figure, base_layout, listed, plain
from vibetrend.report.numbers import Column, Row, Table, cell
from vibetrend.report.resonances import Resonance, resonances
from vibetrend.report.words import number

_HEIGHT = 400.0
_CLEAR = 1.03  # of a natural frequency: above its discs
_BEYOND = 1.12  # of the highest speed and frequency shown
_ROOM_PX, _ROOM_PERCENT = 13.0, 6.5  # between the names of two orders
_DRIVES, _STRONG = 0.08, 0.25  # of a mode's largest sum, where the table does not say what drives
_LEAST, _MOST = 2.6, 6.5  # px, radius of a crossing


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """Where an order meets a natural frequency of the model."""

    mode: int
    frequency_hz: float
    order: float
    speed_rpm: float
    share: float  # of the mode's largest vector sum
    excites: bool  # the vector sum lets the order excite the mode
    strongly: bool  # so that it should stand out of a recording
    within: bool  # the operating range

    @property
    def radius(self) -> float:
        """How large it is drawn, px; an order that cannot excite the mode is the smallest."""
        return _LEAST + (_MOST - _LEAST) * self.share if self.excites else _LEAST


@dataclass(frozen=True, kw_only=True, eq=False)
class Diagram:
    """What an interference diagram shows."""

    crossings: list[Crossing]
    lowest_rpm: float  # of the operating range
    highest_rpm: float
    typical: tuple[str, ...]  # values that nobody stated
    measured: list[Resonance]

    @property
    def modes(self) -> list[tuple[int, float]]:
        """Number and frequency of each natural frequency, lowest first."""
        return sorted({(one.mode, one.frequency_hz) for one in self.crossings})

    @property
    def orders(self) -> list[float]:
        """The orders drawn: those that meet a natural frequency or a resonance in the picture."""
        seen = {each.order for one in self.measured for each in one.by_order}
        within = {one.order for one in self.crossings if one.speed_rpm <= self.end_rpm}
        return sorted(seen | within)

    @property
    def end_rpm(self) -> float:
        """Speed at the right rim."""
        seen = [each.speed_rpm for one in self.measured for each in one.by_order]
        return _BEYOND * max([self.highest_rpm, *seen])

    @property
    def end_hz(self) -> float:
        """Frequency at the upper rim."""
        seen = [one.together.frequency_hz for one in self.measured]
        return _BEYOND * max([*(hertz for _, hertz in self.modes), *seen])

    @property
    def drawn(self) -> list[Crossing]:
        """The crossings inside the picture, those that excite last: they lie on top."""
        inside = [one for one in self.crossings if one.speed_rpm <= self.end_rpm]
        return sorted(inside, key=lambda one: (one.excites, one.share))


def diagram(record: EngineRecord) -> Diagram | None:
    """Return an engine's diagram with the resonances that its latest sweeps measured."""
    if record.interference is None:
        return None
    tables = [one.resonances for one in record.series if not one.ended]
    return diagram_of(record.interference, [one for each in tables for one in resonances(each)])


def diagram_of(found: Interference, measured: Sequence[Resonance]) -> Diagram | None:
    """Return a diagram of the model's crossings and of what was measured; None of no crossing."""
    if found.table.empty:
        return None
    largest = found.table.groupby("mode")["vector_sum"].max()
    crossings = [
        _crossing(row, float(largest[row["mode"]])) for row in found.table.to_dict("records")
    ]
    return Diagram(
        crossings=crossings,
        lowest_rpm=found.lowest_rpm,
        highest_rpm=found.highest_rpm,
        typical=found.typical,
        measured=list(measured),
    )


def _crossing(row: dict[Any, Any], largest: float) -> Crossing:
    share = float(row["vector_sum"]) / largest if largest > 0 else 0.0
    return Crossing(
        mode=int(row["mode"]),
        frequency_hz=float(row["frequency_hz"]),
        order=float(row["order"]),
        speed_rpm=float(row["speed_rpm"]),
        share=share,
        excites=bool(row.get("drives", share >= _DRIVES)),
        strongly=bool(row.get("strong", share >= _STRONG)),
        within=bool(row["within"]),
    )


# The still picture


def still(one: Diagram) -> Markup:
    """Return orders as rays, natural frequencies as levels, crossings and what was measured."""
    frame = Frame(
        low_x=0, high_x=one.end_rpm, low_y=0, high_y=one.end_hz, height=_HEIGHT,
        top=30, bottom=26, left=12, right=7,
    )  # fmt: skip
    foot = _HEIGHT - frame.bottom
    parts = [
        box(frame.x(one.lowest_rpm), frame.top, frame.x(one.highest_rpm), foot, "band"),
        line(frame.left, foot, frame.x(one.end_rpm), foot, "zero"),
    ]
    for hertz in ticks(0, one.end_hz, 7):
        parts.append(text(0.5, frame.y(hertz) + 4, f"{hertz:g}", "tick"))
    for rpm in ticks(0, one.end_rpm, 7):
        parts.append(text(frame.x(rpm), _HEIGHT - 6, f"{rpm:.0f}", "tick", "middle"))
    parts += [text(0.5, 11, "Hz", "tick"), text(0.5, _HEIGHT - 6, "rpm", "tick")]
    strong = {each.order for each in one.drawn if each.excites}
    for order in one.orders:
        rpm, hertz = _rim(one, order)
        kind = "order-line" if order in strong else "order-line weak"
        parts.append(line(frame.x(0), frame.y(0), frame.x(rpm), frame.y(hertz), kind))
    for order, rpm, hertz in named_orders(one, frame):
        at_top = hertz >= one.end_hz * 0.999
        x, y = frame.x(rpm), frame.y(hertz)
        anchor = "middle" if at_top else "start"
        parts.append(text(x + (0 if at_top else 0.6), y + (-4 if at_top else 4), f"{order:g}",
                          "tick", anchor))  # fmt: skip
    parts.append(text(100, 11, "order", "tick", "end"))
    for mode, hertz in one.modes:
        y = frame.y(hertz)
        parts.append(line(frame.left, y, frame.x(one.end_rpm), y, "natural"))
        parts.append(text(frame.left + 0.8, y - 8, _mode_words(one, mode, hertz), "letter"))
    parts += [_ring(each, frame) for each in one.drawn]
    for found in one.measured:
        parts += _measured(found, frame, one)
    return picture(parts, height=_HEIGHT, label=_said(one))


def _rim(one: Diagram, order: float) -> tuple[float, float]:
    """Return where the ray of an order leaves the picture: rpm and Hz."""
    rpm = min(one.end_rpm, 60 * one.end_hz / order)
    return rpm, order * rpm / 60


def named_orders(one: Diagram, frame: Frame) -> list[tuple[float, float, float]]:
    """Return the orders that have room for their number at the rim, with the place of it.

    Those that can excite something have the first choice, then whole ones.
    """
    strong = {each.order for each in one.drawn if each.excites and each.within}
    ranked = sorted(one.orders, key=lambda order: (order not in strong, order % 1, order))
    kept: list[tuple[float, float, float]] = []
    for order in ranked:
        rpm, hertz = _rim(one, order)
        x, y = frame.x(rpm), frame.y(hertz)
        near = any(
            abs(frame.x(other) - x) < _ROOM_PERCENT and abs(frame.y(level) - y) < _ROOM_PX
            for _, other, level in kept
        )
        if not near:
            kept.append((order, rpm, hertz))
    return kept


def _mode_words(one: Diagram, mode: int, hertz: float) -> str:
    return f"mode {mode}, {hertz:.0f} Hz{' (typical)' if one.typical else ''}"


def _ring(crossing: Crossing, frame: Frame) -> Markup:
    form = Markup('<circle class="{}" cx="{:.2f}%" cy="{:.1f}" r="{:.1f}">{}</circle>')
    kind = "crossing" if crossing.excites else "crossing weak"
    title = Markup("<title>{}</title>").format(told(crossing))
    x, y = frame.x(crossing.speed_rpm), frame.y(crossing.frequency_hz)
    return form.format(kind, x, y, crossing.radius, title)


def told(crossing: Crossing) -> str:
    """Return a crossing in words."""
    where = f"mode {crossing.mode} at {crossing.speed_rpm:.0f} rpm"
    return f"order {crossing.order:g} meets {where}, {_way(crossing)}"


def _way(crossing: Crossing) -> str:
    if not crossing.excites:
        return "hardly excites it"
    return "excites it strongly" if crossing.strongly else "excites it weakly"


def above(one: Diagram, found: Resonance) -> bool:
    """Return whether a letter stands above what was measured: away from discs and their names."""
    own = found.together.frequency_hz
    nearest = min((hertz for _, hertz in one.modes), key=lambda each: abs(each - own))
    return own > _CLEAR * nearest


def _measured(found: Resonance, frame: Frame, one: Diagram) -> Iterator[Markup]:
    """Yield a diamond in each order that shows it, with its standard error as an upright."""
    diamond = Markup(
        '<svg class="measured" x="{:.2f}%" y="{:.1f}" overflow="visible"><title>{}</title>'
        '<path d="M0 -6.5L5 0L0 6.5L-5 0Z"/></svg>'
    )
    for seen in found.by_order:
        x, y = frame.x(seen.speed_rpm), frame.y(seen.frequency_hz)
        if math.isfinite(seen.frequency_error_hz):
            low, high = (
                frame.y(seen.frequency_hz + way * seen.frequency_error_hz) for way in (-1, 1)
            )
            yield line(x, low, x, high, "measured-error")
        yield diamond.format(x, y, f"{found.name}, order {seen.order:g}, {seen.speed_rpm:.0f} rpm")
        yield text(x, y - 10 if above(one, found) else y + 19, found.letter, "letter", "middle")


def _said(one: Diagram) -> str:
    levels = ", ".join(f"{hertz:.0f} Hz" for _, hertz in one.modes)
    count = sum(each.excites and each.within for each in one.crossings)
    return (
        f"interference diagram: natural frequencies {levels}; {count} speeds between "
        f"{one.lowest_rpm:.0f} and {one.highest_rpm:.0f} rpm at which an order can excite one"
    )


# The same with hover


def figure(one: Diagram) -> Figure:
    """Return the diagram as a plotly figure."""
    strong = {each.order for each in one.drawn if each.excites}
    shapes: list[Figure] = [
        {"type": "rect", "x0": one.lowest_rpm, "x1": one.highest_rpm, "yref": "paper", "y0": 0,
         "y1": 1, "fillcolor": "--band", "line": {"width": 0}, "layer": "below"},
        *({"type": "line", "x0": 0, "y0": 0, "x1": rpm, "y1": hertz, "layer": "below",
           "line": {"color": "--quiet" if order in strong else "--steel", "width": 1,
                    "dash": "solid" if order in strong else "dot"}}
          for order in one.orders for rpm, hertz in [_rim(one, order)]),
        *({"type": "line", "x0": 0, "x1": one.end_rpm, "y0": hertz, "y1": hertz, "layer": "below",
           "line": {"color": "--ink", "width": 1.8, "dash": "dash"}} for _, hertz in one.modes),
    ]  # fmt: skip
    layout = base_layout("speed, rpm", "Hz", shapes)
    layout["margin"] |= {"t": 24, "r": 34}
    axis = {"zeroline": False, "showgrid": False, "tickformat": "~f"}
    layout["xaxis"] |= {**axis, "range": [0, one.end_rpm]}
    layout["yaxis"] |= {**axis, "range": [0, one.end_hz]}
    words = {"showarrow": False, "font": {"size": 12, "color": "--soft"}}
    frame = Frame(low_x=0, high_x=one.end_rpm, low_y=0, high_y=one.end_hz, height=_HEIGHT)
    layout["annotations"] = [
        *({**words, "text": f"{order:g}", "x": rpm, "y": hertz,
           **({"yanchor": "bottom"} if hertz >= one.end_hz * 0.999 else {"xanchor": "left"})}
          for order, rpm, hertz in named_orders(one, frame)),
        *({**words, "font": {"size": 12, "color": "--ink"}, "x": 0, "xanchor": "left", "xshift": 6,
           "y": hertz, "yanchor": "bottom", "yshift": 4,
           "text": plain(_mode_words(one, mode, hertz))}
          for mode, hertz in one.modes),
    ]  # fmt: skip
    return {"label": "interference diagram", "data": [*_crossings(one), *_points(one)],
            "layout": layout}  # fmt: skip


def _crossings(one: Diagram) -> Iterator[Figure]:
    for excites in (False, True):
        mine = [each for each in one.drawn if each.excites is excites]
        yield {
            "type": "scatter", "mode": "markers", "name": "crossing",
            "x": listed([each.speed_rpm for each in mine], 1),
            "y": listed([each.frequency_hz for each in mine], 2),
            "text": [plain(told(each)) for each in mine],
            "marker": {"color": "--far" if excites else "--steel",
                       "symbol": "circle" if excites else "circle-open",
                       "size": [round(2 * each.radius, 1) for each in mine]},
            "hovertemplate": "%{text}<extra></extra>",
        }  # fmt: skip


def _points(one: Diagram) -> Iterator[Figure]:
    rows = [(found, seen) for found in one.measured for seen in found.by_order]
    if not rows:
        return
    yield {
        "type": "scatter", "mode": "markers+text", "name": "measured",
        "x": listed([seen.speed_rpm for _, seen in rows], 1),
        "y": listed([seen.frequency_hz for _, seen in rows], 2),
        "text": [found.letter for found, _ in rows],
        "textposition": [f"{'top' if above(one, found) else 'bottom'} center" for found, _ in rows],
        "customdata": [plain(f"{found.name}, order {seen.order:g}") for found, seen in rows],
        "error_y": {"type": "data", "color": "--low", "thickness": 2, "width": 3,
                    "array": listed([seen.frequency_error_hz for _, seen in rows], 3)},
        "marker": {"color": "--low", "symbol": "diamond", "size": 10,
                   "line": {"width": 1.5, "color": "--paper"}},
        "hovertemplate": "%{customdata}<br>%{y:.1f} Hz at %{x:.0f} rpm<extra>measured</extra>",
    }  # fmt: skip


# Its numbers


def table(one: Diagram) -> Table:
    """Return every crossing in and near the operating range, by mode and speed."""
    rows = [
        Row(
            name=f"mode {each.mode}",
            cells=(
                cell(each.frequency_hz, 4),
                number(each.order, 1),
                number(each.speed_rpm),
                number(each.share, 2),
            ),
            words=f"{'yes' if each.within else 'no'}, {_way(each)}",
        )
        for each in sorted(one.drawn, key=lambda each: (each.mode, each.speed_rpm))
    ]
    columns = (
        Column(name="Natural frequency", unit="Hz"),
        Column(name="Order"),
        Column(name="Speed", unit="rpm"),
        Column(name="Vector sum, share of the largest"),
    )
    return Table(
        first="Mode", columns=columns, rows=tuple(rows), last="In the operating range, and excites"
    )
