"""Order curves of a sweep: how strong each order is at each speed, the latest over the baseline."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from vibetrend.checkup.records import SweepCurves
from vibetrend.recording import FloatArray
from vibetrend.report.drawing import Frame, course, line, picture, spans, text, ticks
from vibetrend.report.figures import Figure, base_layout, listed, plain
from vibetrend.report.numbers import Column, Row, Table, cell
from vibetrend.report.resonances import Resonance

MOST_ORDERS = 12  # drawn; runup.csv has all
_NAMED = 4  # resonances with their whole name in one picture; more have their letter
_LARGE, _SMALL = 300.0, 104.0  # px high
_ROW = 14.0  # px between names
_APART = 1.025  # ratio of neighbouring speeds beyond which something is missing between them
_ROWS = 40  # of the table


@dataclass(frozen=True, eq=False)
class Points:
    """One order of one sweep, or of the middle of several."""

    rpm: FloatArray  # (n,) rising
    amplitude: FloatArray  # (n,) rms
    error: FloatArray  # (n,) standard error

    def stretches(self) -> Iterator["Points"]:
        """Yield the stretches between which no speed is missing."""
        breaks = np.flatnonzero(self.rpm[1:] > _APART * self.rpm[:-1]) + 1
        for part in np.split(np.arange(len(self.rpm)), breaks):
            yield Points(self.rpm[part], self.amplitude[part], self.error[part])


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderCurve:
    """One order against speed with the resonances that it passes."""

    order: float
    firing: bool
    unit: str
    latest: Points
    reference: Points | None
    critical: tuple[tuple[Resonance, float], ...]  # each with its speed in this order, rpm

    @property
    def name(self) -> str:
        """How a sentence names it."""
        return f"order {self.order:g}"

    @property
    def peak(self) -> tuple[float, float]:
        """Largest amplitude of the latest, and the speed of it."""
        at = int(np.argmax(self.latest.amplitude))
        return float(self.latest.amplitude[at]), float(self.latest.rpm[at])


def order_curves(
    latest: SweepCurves | None,
    reference: SweepCurves | None,
    found: Sequence[Resonance],
    *,
    firing: float | None = None,
) -> list[OrderCurve]:
    """Return a curve for each order, the most telling ones first.

    First those that show the crankshaft's resonance, then those that show another, then the
    strongest.
    """
    if latest is None:
        return []
    curves = []
    for order in sorted(set(latest.table["order"])):
        mine = _points(latest, order)
        under = None if reference is None else _points(reference, order)
        critical = [(one, one.speed_in(order)) for one in found]
        if len(mine.rpm) < 2:
            continue
        curves.append(
            OrderCurve(
                order=float(order),
                firing=order == firing,
                unit=latest.unit,
                latest=mine,
                reference=None if under is None or len(under.rpm) < 2 else under,
                critical=tuple(each for each in critical if math.isfinite(each[1])),
            )
        )
    return sorted(curves, key=_telling, reverse=True)[:MOST_ORDERS]


def _telling(curve: OrderCurve) -> tuple[int, int, float]:
    crank = sum(one.of_crankshaft for one, _ in curve.critical)
    return crank, len(curve.critical), curve.peak[0]


def _points(curves: SweepCurves, order: float) -> Points:
    rows = curves.table[curves.table["order"] == order].sort_values("speed_rpm")
    rows = rows[np.isfinite(rows["amplitude"].astype(float))]
    columns = (rows[name].to_numpy(float) for name in ("speed_rpm", "amplitude", "standard_error"))
    return Points(*columns)


# The still picture


def still(curve: OrderCurve, *, small: bool = False) -> Markup:
    """Return the curve over the baseline's, each resonance as an upright with name and speed."""
    height = _SMALL if small else _LARGE
    named = [] if small else curve.critical[:_NAMED]
    low, high = speeds(curve)
    frame = Frame(
        low_x=low, high_x=high, low_y=0.0, high_y=highest(curve), height=height,
        bottom=18 if small else 26, top=16 if small else 20 + _ROW * len(named),
        left=2 if small else 12, right=2,
    )  # fmt: skip
    foot = height - frame.bottom
    parts = [line(0 if small else frame.left, foot, 100, foot, "zero")]
    if not small:
        parts.append(text(0.5, 11, f"{curve.unit} rms", "tick"))
        for value in ticks(0.0, frame.high_y, 6):
            parts.append(line(frame.left, frame.y(value), 100, frame.y(value), "grid"))
            parts.append(text(0.5, frame.y(value) + 4, f"{value:.3g}", "tick"))
    for rpm in ticks(low, high, 4 if small else 8):
        parts.append(
            text(frame.x(rpm), height - (3 if small else 6), f"{rpm:.0f}", "tick", "middle")
        )
    if not small:
        parts.append(text(0.5, height - 6, "rpm", "tick"))
    if curve.reference is not None:
        parts += _drawn(frame, curve.reference, "course base")
    for piece in curve.latest.stretches():
        reach = [
            (frame.x(rpm), frame.y(max(a - e, 0.0)), frame.y(min(a + e, frame.high_y)))
            for rpm, a, e in zip(piece.rpm, piece.amplitude, piece.error, strict=True)
            if math.isfinite(e)
        ]
        parts.append(spans(reach, height, "spread"))
    parts += _drawn(frame, curve.latest, "course")
    parts += _critical(frame, curve, named=len(named))
    return picture(parts, height=height, label=_said(curve))


def _drawn(frame: Frame, points: Points, kind: str) -> list[Markup]:
    return [
        course(
            [
                (frame.x(rpm), frame.y(value))
                for rpm, value in zip(piece.rpm, piece.amplitude, strict=True)
            ],
            frame.height,
            kind,
        )
        for piece in points.stretches()
    ]


def _critical(frame: Frame, curve: OrderCurve, *, named: int) -> Iterator[Markup]:
    for place, (one, rpm) in enumerate(curve.critical):
        x = frame.x(rpm)
        whole = place < named
        y = 12 + _ROW * (place + 1) if whole else 11
        yield line(x, y + 2, x, frame.height - frame.bottom, "critical")
        words = f"{one.mark}, {rpm:.0f} rpm" if whole else one.letter
        left = x < 50 if whole else x < 92
        anchor = "start" if left else "end"
        yield text(x + (0.4 if left else -0.4), y, words, "letter", anchor)


def speeds(curve: OrderCurve) -> tuple[float, float]:
    """Return the speeds that a curve is drawn over, rpm."""
    both = [curve.latest] + ([curve.reference] if curve.reference is not None else [])
    return min(float(each.rpm[0]) for each in both), max(float(each.rpm[-1]) for each in both)


def highest(curve: OrderCurve) -> float:
    """Return the amplitude that a curve is drawn up to."""
    both = [curve.latest] + ([curve.reference] if curve.reference is not None else [])
    return 1.08 * max(float(each.amplitude.max()) for each in both) or 1.0


def _said(curve: OrderCurve) -> str:
    most, rpm = curve.peak
    met = "; ".join(f"{one.name} at {rpm:.0f} rpm" for one, rpm in curve.critical)
    text = f"{curve.name} against speed, largest {most:.3g} {curve.unit} rms at {rpm:.0f} rpm"
    return f"{text}; {met}" if met else text


# The same with hover


def figure(curve: OrderCurve, latest: str, reference: str) -> Figure:
    """Return the curve as a plotly figure; `latest` and `reference` are the two in words."""
    traces = []
    if curve.reference is not None:
        traces.append(_trace(curve.reference, reference, curve.unit, "--steel", 3.5))
    traces.append(_trace(curve.latest, latest, curve.unit, "--ink", 1.8))
    layout = base_layout("speed, rpm", f"amplitude, {plain(curve.unit)} rms", [
        {"type": "line", "x0": rpm, "x1": rpm, "yref": "paper", "y0": 0, "y1": 1,
         "line": {"color": "--low", "width": 1.5, "dash": "dashdot"}}
        for _, rpm in curve.critical
    ])  # fmt: skip
    named = curve.critical[:_NAMED]
    layout["margin"]["t"] = 10 + _ROW * len(named)
    low, high = speeds(curve)
    layout["xaxis"] |= {"range": [low, high], "tickformat": "~f", "zeroline": False}
    layout["yaxis"] |= {"range": [0, highest(curve)]}
    layout["annotations"] = [
        {
            "text": plain(f"{one.mark}, {rpm:.0f} rpm")
            if place < _NAMED else one.letter,
            "showarrow": False, "font": {"size": 12, "color": "--ink"}, "x": rpm,
            "xanchor": "left" if rpm < (low + high) / 2 else "right",
            "yref": "paper", "y": 1, "yanchor": "bottom",
            "yshift": _ROW * max(len(named) - 1 - place, 0) - 3,
        }
        for place, (one, rpm) in enumerate(curve.critical)
    ]  # fmt: skip
    firing = ", the firing order" if curve.firing else ""
    return {"label": f"{curve.name}{firing}", "data": traces, "layout": layout}


def _trace(points: Points, name: str, unit: str, color: str, width: float) -> Figure:
    rpm: list[float] = []
    amplitude: list[float] = []
    error: list[float] = []
    for piece in points.stretches():  # what is not a number breaks the line
        rpm += [*piece.rpm, float(piece.rpm[-1])]
        amplitude += [*piece.amplitude, math.nan]
        error += [*piece.error, math.nan]
    return {
        "type": "scatter", "mode": "lines", "name": plain(name),
        "x": listed(rpm, 1), "y": listed(amplitude, 8), "customdata": listed(error, 8),
        "line": {"color": color, "width": width},
        "hovertemplate": f"%{{x:.0f}} rpm: %{{y:.3g}} ± %{{customdata:.2g}} {plain(unit)} rms"
        f"<extra>{plain(name)}</extra>",
    }  # fmt: skip


# Their numbers


def table(curves: Sequence[OrderCurve], latest: str, reference: str) -> Table:
    """Return the amplitudes of the curves at no more speeds than are readily read."""
    rpm = np.unique(np.concatenate([one.latest.rpm for one in curves]))
    chosen = rpm[:: max(1, -(-len(rpm) // _ROWS))]
    columns, values = [], []
    for curve in sorted(curves, key=lambda one: one.order):
        for points, name in ((curve.latest, latest), (curve.reference, reference)):
            if points is not None:
                columns.append(Column(name=f"Order {curve.order:g}, {name}", unit=curve.unit))
                known = dict(zip(points.rpm.round(3), points.amplitude, strict=True))
                values.append([known.get(each, math.nan) for each in chosen.round(3)])
    rows = [
        Row(name=f"{each:.0f}", cells=tuple(cell(column[place]) for column in values))
        for place, each in enumerate(chosen)
    ]
    return Table(first="rpm", columns=tuple(columns), rows=tuple(rows))
