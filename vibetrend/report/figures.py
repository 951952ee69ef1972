"""The same charts with hover and zoom: plotly figures as plain JSON.

A colour is written as the name of a page.css property (``--ink``); the page's own script puts in
its value, so that light and dark follow the page.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from vibetrend.checkup.records import OrderSpectrum
from vibetrend.report.drawing import shortened
from vibetrend.report.facts import Fact
from vibetrend.report.histories import forecast_reach
from vibetrend.report.levels import Levels
from vibetrend.report.pictures import Along, disc_radius, is_usual
from vibetrend.report.scales import DECIBEL, Scale, scale_of
from vibetrend.report.work import Mark

if TYPE_CHECKING:  # only the type
    from vibetrend.orders import Spectrogram

Figure = dict[str, Any]
_LETTER_PX = 8  # the widest of a tick's letters, about
_LONGEST_HOVER = 24  # letters of a name under the pointer: a phone has room for no more


def plain(words: object) -> str:
    """Return text for a chart: plotly reads a few HTML tags, a person's text holds none."""
    return str(words).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def history(
    fact: Fact, levels: Levels, reach: tuple[float, float], marks: Sequence[Mark] = ()
) -> Figure:
    """Return the history of one feature over engine hours, with limit and forecast.

    `reach` is the common scale of the series in dB.
    """
    placements, visits = levels.of(fact.feature, fact.order)
    scale = scale_of(fact.feature)
    traces = _recordings(placements, "change_db", scale)
    tone = "--far" if fact.moved else "--ink"
    course = {
        "type": "scatter", "mode": "lines+markers", "name": "check-up",
        "x": listed(visits["hours"], 1), "y": listed(visits["change_db"], 3),
        "line": {"color": tone, "width": 2}, "marker": {"color": tone, "size": 6},
        **_told_at(visits["change_db"], scale, "check-up"),
    }  # fmt: skip
    ahead = forecast_reach(fact, levels)
    if ahead and not visits.empty:
        now = float(visits["hours"].iloc[-1])
        traces += _fan(fact, now, ahead)
    layout = hours_layout(f"change against the baseline, {scale.unit}", marks)
    layout["shapes"] = [*_ground(fact, visits), *layout["shapes"]]
    high = max(reach[1], fact.limit_db + 0.9) if ahead else reach[1]
    layout["yaxis"] |= {"range": [reach[0], high], **_y_ticks(scale, reach[0], high)}
    layout["annotations"] = [*_names(fact, high), *layout["annotations"]]
    return {"label": fact.name, "data": [*traces, course], "layout": layout}


def _y_ticks(scale: Scale, low: float, high: float) -> Figure:
    if scale is DECIBEL:
        return {"dtick": 3 if high - low > 8 else 1}
    values, names = zip(*scale.ticks(low, high), strict=True)
    return {"tickvals": listed(values, 6), "ticktext": list(names)}


def together(levels: Levels, marks: Sequence[Mark] = ()) -> Figure:
    """Return what all orders did together, placement by placement."""
    table, means = levels.together, levels.together_visits
    traces = [*_recordings(table, "together_db"), check_ups(means["hours"], means["together_db"])]
    layout = hours_layout("all orders together, dB", marks)
    span = max(3.0, float(table["together_db"].abs().max()) + 0.5)
    layout["yaxis"] |= {"range": [-span, span]}
    return {"label": "all orders together", "data": traces, "layout": layout}


def spectrum(latest: OrderSpectrum, reference: OrderSpectrum | None) -> Figure:
    """Return amplitude against order, the baseline behind."""
    many = len(latest.order) > 120
    shown = [(latest, "--ink", "circle", 6)]
    if reference is not None:
        shown.insert(0, (reference, "--steel", "circle-open", 11))
    traces = [
        {
            "type": "scatter", "mode": "lines" if many else "markers", "name": plain(one.label),
            "x": listed(one.order, 4), "y": listed(one.amplitude, 8),
            "line": {"color": color, "width": 1.5},
            "marker": {"color": color, "symbol": symbol, "size": size, "line": {"width": 2}},
            "hovertemplate": f"order %{{x}}: %{{y:.3g}} {plain(one.unit)} rms"
            f"<extra>{plain(one.label)}</extra>",
        }
        for one, color, symbol, size in shown
    ]  # fmt: skip
    layout = base_layout("order", f"amplitude, {plain(latest.unit)} rms", [])
    layout["yaxis"] |= {"type": "log", "dtick": "D2", "tickformat": ".1~g", "zeroline": False}
    layout["xaxis"] |= {"rangemode": "tozero"}
    return {"label": "order spectrum", "data": traces, "layout": layout}


def over_time(picture: "Spectrogram", along: Sequence[Along] = ()) -> Figure:
    """Return a recording over time and frequency; `along` are orders that follow the speed."""
    figure = level_map(
        picture.time_s, picture.hertz, picture.level_db, names=("seconds", "Hz"),
        hover="%{x:.1f} s, %{y:.0f} Hz: %{z:.0f} dB", along=along,
    )  # fmt: skip
    return {"label": "over time", **figure}


def level_map(
    across: Iterable[float],
    up: Iterable[float],
    level_db: Iterable[Iterable[float]],
    *,
    names: tuple[str, str],
    hover: str,
    along: Sequence[Along] = (),
) -> Figure:
    """Return levels over two scales, without a label; see `pictures.level_map`."""
    trace = {
        "type": "heatmap", "x": listed(across, 2), "y": listed(up, 2),
        "z": [listed(row, 0) for row in level_db], "zmin": -60, "zmax": 0,
        "colorscale": [[0, "--paper"], [0.35, "--paper"], [1, "--ink"]], "showscale": False,
        "hovertemplate": f"{hover}<extra></extra>",
    }  # fmt: skip
    lines = [
        {
            "type": "scatter", "mode": "lines", "name": plain(one.name),
            "x": listed(one.x, 2), "y": listed(one.y, 2),
            "line": {"color": "--far", "width": 1, "dash": "dot"},
            "hovertemplate": f"{plain(one.name)}<extra></extra>",
        }
        for one in along
    ]  # fmt: skip
    layout = base_layout(*names, [])
    if along:
        top = max(up)
        layout["yaxis"] |= {"range": [min(up), top]}
        layout["annotations"] = [_at_its_highest(one, top) for one in along]
    return {"data": [trace, *lines], "layout": layout}


def _at_its_highest(one: Along, top: float) -> Figure:
    """Return the name of a line where it is highest inside a picture."""
    at = int(np.where(one.y <= top, one.y, -np.inf).argmax())
    return {
        "text": plain(one.name), "showarrow": False, "font": {"size": 12, "color": "--ink"},
        "x": float(one.x[at]), "y": float(one.y[at]), "yanchor": "bottom",
        "xanchor": "left" if 2 * at < len(one.x) else "right",
    }  # fmt: skip


def checkup_map(found: Sequence[Fact], levels: Levels) -> Figure:
    """Return all orders at all check-ups: a disc for a rise, a ring for a fall, area for size."""
    columns = levels.visits.drop_duplicates("visit")
    places = {visit: place for place, visit in enumerate(columns["visit"])}
    hours = [f"{value:.0f}" for value in columns["hours"]]
    points: dict[tuple[bool, bool], list[tuple[int, int, float]]] = defaultdict(list)
    for row, fact in enumerate(found):
        for visit, db in levels.changes(fact.feature, fact.order).items():
            if math.isfinite(db):
                points[db >= 0, is_usual(fact, db)].append((places[visit], row, float(db)))
    # A trace for each look: plotly draws many points of one colour much sooner than of several.
    traces = [
        {
            "type": "scatter", "mode": "markers", "name": "rise" if rises else "fall",
            "x": [place for place, _, _ in mine], "y": [row for _, row, _ in mine],
            "text": [_told(found[row], hours[place], db) for place, row, db in mine],
            "marker": {
                **_marker("--quiet" if usual else "--far" if rises else "--low", 0,
                          "circle" if rises else "circle-open"),
                "opacity": 1, "size": [round(2 * disc_radius(db), 1) for _, _, db in mine],
            },
            "hovertemplate": "%{text}<extra></extra>",
        }
        for (rises, usual), mine in sorted(points.items())
    ]  # fmt: skip
    rows = [shortened(fact.short, 18) for fact in found]
    left = 16 + _LETTER_PX * max(map(len, rows), default=0)
    layout = base_layout("engine hours at the check-up", "", [], left=left)
    every = max(1, math.ceil(len(hours) / 5))  # more do not fit a phone
    layout["xaxis"] |= {
        "tickvals": list(range(0, len(hours), every)),
        "ticktext": hours[::every],
        "tickangle": 0,
        "showgrid": False,
        "zeroline": False,
        "range": [-0.7, len(hours) - 0.3],
    }
    layout["yaxis"] |= {
        "tickvals": list(range(len(found))),
        "ticktext": [plain(row) for row in rows],
        "range": [len(found) - 0.3, -0.7],
        "zeroline": False,
    }
    return {"label": "all orders at all check-ups", "data": traces, "layout": layout}


def _told(fact: Fact, hours: str, db: float) -> str:
    return f"{plain(shortened(fact.name, _LONGEST_HOVER))}<br>at {hours} h: {db:+.1f} dB"


def _ground(fact: Fact, visits: pd.DataFrame) -> list[Figure]:
    shapes = []
    wide = {"type": "rect", "xref": "paper", "x0": 0, "x1": 1, "layer": "below"}
    flat = {"type": "line", "xref": "paper", "x0": 0, "x1": 1}
    if math.isfinite(fact.scatter_db):
        reach = fact.band_db
        shapes.append(
            {**wide, "y0": -reach, "y1": reach, "fillcolor": "--band", "line": {"width": 0}}
        )
    base = visits[visits["baseline"].astype(bool)]
    if not base.empty:
        shapes.append({
            "type": "line", "x0": float(base["hours"].min()), "x1": float(base["hours"].max()),
            "y0": 0, "y1": 0, "line": {"color": "--steel", "width": 6},
        })  # fmt: skip
    limit = {"color": "--far", "width": 1, "dash": "dash"}
    if math.isfinite(fact.limit_db):
        shapes.append({**flat, "y0": fact.limit_db, "y1": fact.limit_db, "line": limit})
    if math.isfinite(fact.since_hours):
        shapes.append({
            "type": "line", "yref": "paper", "y0": 0, "y1": 1,
            "x0": fact.since_hours, "x1": fact.since_hours,
            "line": {"color": "--steel", "width": 1.5, "dash": "dot"},
        })  # fmt: skip
    return shapes


def _names(fact: Fact, high: float) -> list[Figure]:
    """Return the words beside limit and bend, so that no dash has to be guessed."""
    words = {"showarrow": False, "font": {"size": 12, "color": "--soft"}}
    found = []
    if fact.limit_db <= high:
        found.append({
            **words, "text": f"limit {scale_of(fact.feature).words(fact.limit_db)}",
            "xref": "paper", "x": 0, "xanchor": "left", "xshift": 4,
            "y": fact.limit_db, "yanchor": "bottom",
            "bgcolor": "--paper", "borderpad": 0,  # an upright may cross it
        })  # fmt: skip
    if math.isfinite(fact.since_hours):
        found.append({
            **words, "text": " bend", "x": fact.since_hours, "xanchor": "left",
            "yref": "paper", "y": 1, "yanchor": "top",
        })  # fmt: skip
    return found


def _uprights(marks: Sequence[Mark]) -> list[Figure]:
    """Return an upright for each work."""
    return [
        {
            "type": "line", "yref": "paper", "y0": 0, "y1": 1,
            "x0": one.hours, "x1": one.hours,
            "line": {"color": "--ink", "width": 1},
        }
        for one in marks
    ]  # fmt: skip


def _letters(marks: Sequence[Mark]) -> list[Figure]:
    """Return the letter of each work, with what was done on hovering."""
    return [
        {
            "text": f"<b>{one.letter}</b>",
            "hovertext": plain(shortened(one.name, 2 * _LONGEST_HOVER)),
            "showarrow": False, "font": {"size": 13, "color": "--ink"},
            "x": one.hours, "xanchor": "left", "xshift": 2,
            "yref": "paper", "y": 0, "yanchor": "bottom",
        }
        for one in marks
    ]  # fmt: skip


def _fan(fact: Fact, now: float, ahead: float) -> list[Figure]:
    """Return the ways from the verdict's estimate to the limit, cut where the picture ends."""
    low, high = fact.hours_to_limit_low, fact.hours_to_limit_high
    level = fact.change_db
    late = min(high, ahead) if math.isfinite(high) else ahead
    at_late = level + (fact.limit_db - level) * (late / high if math.isfinite(high) else 0.0)
    x = [now, now + low, now + late] + ([now + late] if at_late < fact.limit_db else [])
    y = [level, fact.limit_db, fact.limit_db] + ([at_late] if at_late < fact.limit_db else [])
    return [{
        "type": "scatter", "mode": "lines", "fill": "toself", "fillcolor": "--fan",
        "name": "way to the limit, 9 in 10", "x": [round(v, 1) for v in (*x, now)],
        "y": [round(v, 3) for v in (*y, level)], "line": {"width": 0}, "hoverinfo": "skip",
    }]  # fmt: skip


def _recordings(table: pd.DataFrame, column: str, scale: Scale = DECIBEL) -> list[Figure]:
    """Return the recordings as points, those left out as crosses."""
    used, out = table[table["used"].astype(bool)], table[~table["used"].astype(bool)]
    crosses = [_points(out, column, "left out", _marker("--quiet", 8, "x-thin-open"), scale)]
    return [
        _points(used, column, "recording", _marker("--quiet", 5), scale),
        *(crosses if len(out) else []),
    ]


def check_ups(hours: "pd.Series[float]", values: "pd.Series[float]") -> Figure:
    """Return the line that joins check-ups."""
    return {
        "type": "scatter", "mode": "lines", "name": "check-up", "hoverinfo": "skip",
        "x": listed(hours, 1), "y": listed(values, 5), "line": {"color": "--ink", "width": 1.5},
    }  # fmt: skip


def _points(table: pd.DataFrame, column: str, name: str, marker: Figure, scale: Scale) -> Figure:
    return {
        "type": "scatter", "mode": "markers", "name": name, "marker": marker,
        "x": listed(table["hours"], 1), "y": listed(table[column], 3),
        **_told_at(table[column], scale, name),
    }  # fmt: skip


def _told_at(changes_db: "pd.Series[float]", scale: Scale, name: str) -> Figure:
    """Return what is told of points under the pointer: their change in the scale's unit."""
    if scale is DECIBEL:
        return {"hovertemplate": f"%{{y:+.1f}} dB at %{{x:.0f}} h<extra>{name}</extra>"}
    return {
        "customdata": listed(map(scale.of, changes_db), 2),
        "hovertemplate": f"%{{customdata:+.1f}} {scale.unit} at %{{x:.0f}} h<extra>{name}</extra>",
    }


def _marker(color: str, size: int, symbol: str = "circle") -> Figure:
    return {"color": color, "size": size, "symbol": symbol, "line": {"width": 1.5, "color": color}}


def listed(values: Any, digits: int) -> list[float | None]:
    """Return numbers as JSON takes them: rounded, what is not finite as None."""
    return [round(float(v), digits) if math.isfinite(v) else None for v in values]


def hours_layout(y_title: str, marks: Sequence[Mark]) -> Figure:
    """Return the layout of a chart over engine hours, with each work's upright and letter."""
    layout = base_layout("engine hours", y_title, _uprights(marks))
    layout["xaxis"]["tickformat"] = "~f"
    layout["annotations"] = _letters(marks)
    return layout


def base_layout(x_title: str, y_title: str, shapes: list[Figure], *, left: int = 60) -> Figure:
    """Return the layout that all charts share; `left` is the room for the ticks' words, px."""
    axis = {
        "gridcolor": "--rule", "zerolinecolor": "--steel", "zerolinewidth": 1,
        "linecolor": "--rule", "tickfont": {"color": "--soft"},
        # Or plotly would measure each tick's words to hide what may stick out.
        "ticklabeloverflow": "allow",
    }  # fmt: skip
    title = {"font": {"size": 13, "color": "--soft"}, "standoff": 8}
    return {
        # Given, not found: plotly would draw twice for each margin it has to find.
        "margin": {"l": left, "r": 12, "t": 8, "b": 44},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"color": "--ink", "size": 13},
        "xaxis": {**axis, "title": {**title, "text": x_title}, "separatethousands": False},
        "yaxis": {**axis, "title": {**title, "text": y_title}},
        "hovermode": "closest",
        "hoverlabel": {"bgcolor": "--paper", "bordercolor": "--steel", "font": {"color": "--ink"}},
        "showlegend": False,
        "shapes": shapes,
        "dragmode": False,
    }
