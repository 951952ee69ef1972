"""The charts of one recording with hover and zoom: plotly figures as plain JSON."""

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from vibetrend.checkup.records import RecordingRecord
from vibetrend.report.drawing import shortened
from vibetrend.report.figures import Figure, base_layout, listed, plain
from vibetrend.report.recording.lines import KINDS, Line
from vibetrend.report.recording.pictures import (
    LONGEST_NAME,
    decades,
    is_lettered,
    log_ticks,
    longest,
    middle_of,
    outside,
    rpm_range,
    sides,
    span,
    track,
)

if TYPE_CHECKING:  # only the types
    from vibetrend.orders import Speed, Trace

_SYMBOLS = {"order": "circle", "firing": "diamond", "driven": "square-open",
            "other": "triangle-up-open"}  # fmt: skip


def trace(seen: "Trace", measured_s: tuple[float, float]) -> Figure:
    """Return the envelope of every axis, one above the other, all on one scale."""
    end = float(seen.edges_s[-1])
    count = len(seen.axes)
    layout = base_layout("seconds", "", [*_shaded(seen, measured_s, end)])
    layout["margin"]["t"] = 18
    layout["xaxis"] |= {"range": [0, end], "anchor": f"y{count}" if count > 1 else "y"}
    like, half = layout["yaxis"], span(seen) / 2
    time = listed([t for t in seen.middles_s for _ in range(2)], 4)
    data: list[Figure] = []
    for axis, name in enumerate(seen.axes):
        key = "" if axis == 0 else str(axis + 1)
        middle = middle_of(seen, axis)
        high = 1 - axis / count
        layout[f"yaxis{key}"] = {
            **like,
            "domain": [high - 0.88 / count, high - 0.04 / count],
            "range": [middle - half, middle + half],
            "nticks": 5,
            "zeroline": False,
        }
        # From least to largest and back: dense lines fill the range between them.
        both = [v for pair in zip(seen.low[axis], seen.high[axis], strict=True) for v in pair]
        data.append({
            "type": "scatter", "mode": "lines", "name": plain(name), "yaxis": f"y{key}",
            "x": time, "y": _rounded(both), "line": {"color": "--ink", "width": 0.8},
            "hovertemplate": f"%{{x:.2f}} s: %{{y:.4g}} {plain(seen.unit)}"
            f"<extra>{plain(shortened(name, LONGEST_NAME))}</extra>",
        })  # fmt: skip
        cut = [(seen.middles_s[place], value) for at, place, value in seen.cut if at == axis]
        if cut:
            data.append({
                "type": "scatter", "mode": "markers", "name": "cut off", "yaxis": f"y{key}",
                "x": listed([x for x, _ in cut], 4), "y": _rounded([y for _, y in cut]),
                "marker": {"color": "--far", "size": 7, "symbol": "line-ew-open",
                           "line": {"width": 3}},
                "hovertemplate": f"%{{x:.2f}} s: cut off at %{{y:.4g}} {plain(seen.unit)}"
                "<extra></extra>",
            })  # fmt: skip
    layout["annotations"] = [
        *(_axis_name(plain(f"{shortened(name, LONGEST_NAME)}, {seen.unit}"), 1 - i / count)
          for i, name in enumerate(seen.axes)),
        *(_note(f"{stop - start:.2g} s missing", (start + stop) / 2, "--far")
          for start, stop in longest(seen.gaps)),
        *(_note("not measured", (start + stop) / 2, "--soft")
          for start, stop in outside(measured_s, end)),
    ]  # fmt: skip
    return {"label": "values over time", "data": data, "layout": layout}


def _shaded(seen: "Trace", measured_s: tuple[float, float], end: float) -> Iterable[Figure]:
    wide = {"type": "rect", "yref": "paper", "y0": 0, "y1": 1, "layer": "below"}
    for start, stop in outside(measured_s, end):
        yield {**wide, "x0": start, "x1": stop, "fillcolor": "--band", "line": {"width": 0}}
    for start, stop in seen.gaps:
        yield {**wide, "x0": start, "x1": stop, "fillcolor": "--fan",
               "line": {"color": "--far", "width": 1, "dash": "dot"}}  # fmt: skip


def _axis_name(words: str, y: float) -> Figure:
    return {
        "text": words, "showarrow": False, "font": {"size": 13, "color": "--ink"},
        "xref": "paper", "x": 0, "xanchor": "left", "yref": "paper", "y": y, "yanchor": "middle",
    }  # fmt: skip


def _note(words: str, x: float, color: str) -> Figure:
    return {
        "text": words, "showarrow": False, "font": {"size": 12, "color": color},
        "x": x, "xanchor": "center", "yref": "paper", "y": 0, "yanchor": "bottom",
    }  # fmt: skip


def spectrum(record: RecordingRecord, marked: Sequence[Line]) -> Figure:
    """Return amplitude against frequency, its lines marked and named, orders along the top."""
    shown = record.spectrum
    assert shown is not None
    unit, turns_per_s = plain(shown.unit), record.measurement.speed.rpm / 60
    end = float(shown.hertz[-1])
    data: list[Figure] = [{
        "type": "scatter", "mode": "lines", "name": "spectrum",
        "x0": float(shown.hertz[0]), "dx": float(shown.hertz[1] - shown.hertz[0]),
        "y": _rounded(shown.amplitude), "line": {"color": "--ink", "width": 1},
        "hovertemplate": f"%{{x:.2f}} Hz: %{{y:.3g}} {unit} rms<extra></extra>",
    }]  # fmt: skip
    for kind, symbol in _SYMBOLS.items():
        mine = [
            (one, side)
            for one, side in zip(marked, sides(marked, end), strict=True)
            if one.kind == kind and math.isfinite(one.height)
        ]
        if not mine:
            continue
        data.append({
            "type": "scatter", "mode": "markers+text",
            "name": KINDS[kind], "x": listed([one.hertz for one, _ in mine], 3),
            "y": _rounded([one.height for one, _ in mine]),
            "text": [one.letter if is_lettered(one) else "" for one, _ in mine],
            "textposition": [f"top {side}" for _, side in mine],
            "customdata": [
                [plain(shortened(one.name, LONGEST_NAME)), f"{one.order:.4g}"] for one, _ in mine
            ],
            "marker": {"color": "--far" if kind == "firing" else "--ink" if kind == "order"
                       else "--low", "symbol": symbol, "size": 6 if kind == "order" else 10,
                       "line": {"width": 2}},
            "hovertemplate": f"%{{customdata[0]}}<br>%{{x:.2f}} Hz, order %{{customdata[1]}}"
            f"<br>%{{y:.3g}} {unit} rms in this spectrum<extra></extra>",
        })  # fmt: skip
    top, bottom = decades(shown.amplitude)
    halves = range(1, int(2 * end / turns_per_s) + 1)
    layout = base_layout("Hz", f"amplitude, {unit} rms", [
        {"type": "line", "x0": half / 2 * turns_per_s, "x1": half / 2 * turns_per_s,
         "yref": "paper", "y0": 1, "y1": 1.02 if half % 2 else 1.04,
         "line": {"color": "--steel", "width": 1}} for half in halves
    ], left=84 if bottom < -3 else 60)  # fmt: skip
    layout["margin"]["t"] = 44
    layout["xaxis"] |= {"range": [0, end], "zeroline": False}
    layout["yaxis"] |= {
        "type": "log", "range": [bottom, top], "tickvals": log_ticks(bottom, top),
        "tickformat": "~g", "zeroline": False,
    }  # fmt: skip
    words = {"showarrow": False, "font": {"size": 12, "color": "--soft"}, "yref": "paper"}
    layout["annotations"] = [
        {**words, "text": f"{half // 2}", "x": half / 2 * turns_per_s, "y": 1.04,
         "yanchor": "bottom"} for half in halves if half % 2 == 0
    ]  # fmt: skip
    layout["annotations"].append(
        {**words, "text": "order", "xref": "paper", "x": 0, "xanchor": "right", "xshift": -6,
         "y": 1.04, "yanchor": "bottom"}
    )  # fmt: skip
    return {"label": "amplitude spectrum", "data": data, "layout": layout}


def speed(found: "Speed", begins_s: float, duration_s: float, *, steady: bool = True) -> Figure:
    """Return the speed over time; of a steady one with mean and one standard deviation."""
    time, rpm = track(found, begins_s)
    spread = found.spread_percent / 100 * found.rpm
    flat = {"xref": "paper", "x0": 0, "x1": 1, "layer": "below"}
    mean = {"color": "--steel", "width": 1}
    shapes: list[Figure] = []
    if steady:
        shapes.append({"type": "line", **flat, "y0": found.rpm, "y1": found.rpm, "line": mean})
    if steady and math.isfinite(spread):
        shapes.append({
            "type": "rect", **flat, "y0": found.rpm - spread, "y1": found.rpm + spread,
            "fillcolor": "--band", "line": {"width": 0},
        })  # fmt: skip
    layout = base_layout("seconds", "speed, rpm", shapes)
    layout["xaxis"] |= {"range": [0, duration_s], "zeroline": False}
    layout["yaxis"] |= {"range": list(rpm_range(found, rpm)), "tickformat": "~f"}
    curve = {
        "type": "scatter", "mode": "lines", "name": "speed",
        "x": listed(time, 3), "y": listed(rpm, 3), "line": {"color": "--ink", "width": 1.5},
        "hovertemplate": "%{x:.1f} s: %{y:.2f} rpm<extra></extra>",
    }  # fmt: skip
    return {"label": "speed over time", "data": [curve], "layout": layout}


def _rounded(values: Iterable[Any]) -> list[float | None]:
    """Return four digits of each value, what is not finite as None."""
    return [float(f"{v:.4g}") if math.isfinite(v) else None for v in values]
