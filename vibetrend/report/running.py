"""How the engine ran: speed and its steadiness, and overall levels, recording by recording.

Drawn from what was measured; nothing is concluded from it here.
"""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from markupsafe import Markup

from vibetrend.checkup.records import SeriesRecord
from vibetrend.quantities import ShownUnits
from vibetrend.report.drawing import Frame, course, cross, dots, line, picture, spans, text, ticks
from vibetrend.report.figures import Figure, check_ups, hours_layout, listed, plain
from vibetrend.report.histories import work_lines
from vibetrend.report.shown import level, unit_words
from vibetrend.report.work import Mark

_NEAR = 0.1  # how far, relative, from the recorded speeds the fast idle may lie to be drawn
_HEIGHT = 200.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Course:
    """One measured quantity over engine hours.

    `table` has one row for each recording, by hours: `name`, `date`, `hours`, `visit`, `used`,
    `value` and `spread`, which is drawn to either side of it (NaN for none).
    """

    name: str
    unit: str
    table: pd.DataFrame
    reference: float = math.nan  # drawn as a level line where it lies near
    band_hz: tuple[float, float] | None = None
    from_zero: bool = False

    @property
    def band(self) -> str:
        """The band in words, e.g. ``2 to 80 Hz``."""
        return "" if self.band_hz is None else f"{self.band_hz[0]:g} to {self.band_hz[1]:g} Hz"

    @property
    def shows_reference(self) -> bool:
        """Whether the reference lies near enough to be drawn."""
        middle = self.table["value"].median()
        return bool(abs(self.reference - middle) <= _NEAR * middle)


def speed(record: SeriesRecord, used: set[str], fast_idle_rpm: float | None) -> Course | None:
    """Return the speed of every recording; None where none was found, as in a run-up.

    Parameters
    ----------
    used : set of str
        The recordings that the verdict used, by short id.
    """
    table = record.recordings
    found = _table(table, used, table["speed_rpm"]).assign(
        error=table["speed_standard_error_rpm"],
        spread_percent=table["speed_spread_percent"],
        spread=table["speed_rpm"] * table["speed_spread_percent"] / 100,
    )
    found = found[found["value"].notna()].sort_values("hours", kind="stable")
    if found.empty or record.info["manner"] != "steady":
        return None
    return Course(
        name="speed",
        unit="rpm",
        table=found,
        reference=math.nan if fast_idle_rpm is None else float(fast_idle_rpm),
    )


def overall(record: SeriesRecord, used: set[str], shown: ShownUnits) -> list[Course]:
    """Return the overall levels, each band by itself: other bands cannot be compared."""
    rows: dict[tuple[str, float, float, str], dict[Any, float]] = {}
    for place, levels in record.recordings["overall"].items():
        for each in levels:
            if each["value"] is not None:
                value, unit = level(float(each["value"]), each["unit"], shown)
                low, high = each["band_hz"]
                named = unit_words(unit, record.info["kind"])
                rows.setdefault((each["name"], low, high, named), {})[place] = value
    return [
        Course(
            name=name,
            unit=unit,
            table=_table(
                record.recordings.loc[list(values)], used, pd.Series(values, dtype=float)
            ).sort_values("hours", kind="stable"),
            band_hz=(low, high),
            from_zero=True,
        )
        for (name, low, high, unit), values in rows.items()
    ]


def beside(courses: Sequence[Course]) -> list[tuple[dict[Hashable, Any], list[float]]]:
    """Return a row for each recording, latest first, with its value in every course (or NaN)."""
    tables = [one.table for one in courses]
    rows = pd.concat(tables)
    rows = rows[~rows.index.duplicated()].sort_values("hours", kind="stable", ascending=False)
    values = pd.concat([table["value"] for table in tables], axis=1).loc[rows.index]
    return list(zip(rows.to_dict(orient="records"), values.to_numpy(float).tolist(), strict=True))


def _table(recordings: pd.DataFrame, used: set[str], values: "pd.Series[float]") -> pd.DataFrame:
    found = recordings[["name", "date", "hours", "visit"]].copy()
    found["used"] = recordings["recording"].isin(used)
    found["value"] = values.astype(float)
    found["spread"] = math.nan
    return found


# The still picture


def still(one: Course, marks: Sequence[Mark] = ()) -> Markup:
    """Return the course as it needs no script: recordings, their spread, check-ups joined."""
    low, high = _reach(one)
    hours = [*one.table["hours"], *(mark.hours for mark in marks)]
    frame = Frame(
        low_x=min(hours), high_x=max(hours), low_y=low, high_y=high,
        height=_HEIGHT, bottom=26, top=18, left=14, right=2.5,
    )  # fmt: skip
    parts = [text(99, 11, one.unit, "tick", "end")]
    if one.from_zero:
        parts.append(line(0, frame.y(0), 100, frame.y(0), "zero"))
    for value in ticks(low, high, 6):
        parts.append(line(0, frame.y(value), 100, frame.y(value), "grid"))
        parts.append(text(0.5, frame.y(value) - 4, f"{value:g}", "tick"))
    for value in ticks(frame.low_x, frame.high_x, 5):
        parts.append(text(frame.x(value), _HEIGHT - 5, f"{value:.0f} h", "tick", "middle"))
    parts += work_lines(frame, marks)
    if one.shows_reference:
        y = frame.y(one.reference)
        parts.append(line(0, y, 100, y, "reference"))
    table = one.table
    numbers = table[["hours", "value", "spread"]].to_numpy(float)
    reach = [
        (frame.x(hour), frame.y(value - spread), frame.y(value + spread))
        for hour, value, spread in numbers
        if math.isfinite(spread)
    ]
    parts.append(spans(reach, _HEIGHT, "spread"))
    places = [
        (frame.x(hour), frame.y(value), used)
        for (hour, value, _), used in zip(numbers, table["used"], strict=True)
    ]
    parts.append(dots([(x, y) for x, y, used in places if used], _HEIGHT, 2.2))
    parts += [cross(x, y, 3.0) for x, y, used in places if not used]
    means = _check_ups(one)
    joined = [(frame.x(h), frame.y(v)) for h, v in means.itertuples(index=False)]
    parts.append(course(joined, _HEIGHT, "course"))
    return picture(parts, height=_HEIGHT, label=_said(one))


def _reach(one: Course) -> tuple[float, float]:
    """Return the scale: from zero for a level, else what is there with room around it."""
    table = one.table
    spread = table["spread"].fillna(0.0)
    values = [*(table["value"] - spread), *(table["value"] + spread)]
    values += [one.reference] * one.shows_reference
    low, high = min(values), max(values)
    if one.from_zero:
        return 0.0, (1.12 * high) or 1.0
    room = max(0.2 * (high - low), 0.002 * high)
    return low - room, high + room


def _check_ups(one: Course) -> pd.DataFrame:
    used = one.table[one.table["used"]]
    return used.groupby("visit", sort=False)[["hours", "value"]].mean()


def _said(one: Course) -> str:
    last = one.table.iloc[-1]
    named = f"{one.name}{f', {one.band}' * bool(one.band)}"
    return f"{named}, over engine hours; at last {last['value']:.3g} {one.unit}"


# The same with hover


def figure(one: Course, marks: Sequence[Mark] = ()) -> Figure:
    """Return the course as a plotly figure."""
    traces: list[Figure] = []
    for name, table, symbol in (
        ("recording", one.table[one.table["used"]], "circle"),
        ("left out", one.table[~one.table["used"]], "x-thin-open"),
    ):
        if table.empty:
            continue
        dot = {"color": "--quiet", "size": 6, "symbol": symbol}
        trace: Figure = {
            "type": "scatter", "mode": "markers", "name": name,
            "x": listed(table["hours"], 1), "y": listed(table["value"], 5),
            "marker": {**dot, "line": {"width": 1.5, "color": "--quiet"}},
            "hovertemplate": f"%{{y:.4~g}} {plain(one.unit)} at %{{x:.0f}} h<extra>{name}</extra>",
        }  # fmt: skip
        if table["spread"].notna().any():
            spread = listed(table["spread"], 3)
            trace["error_y"] = {
                "type": "data", "array": spread, "color": "--steel", "thickness": 1, "width": 0,
            }  # fmt: skip
            trace["customdata"] = spread
            trace["hovertemplate"] = (
                f"%{{y:.1f}} {plain(one.unit)}, spread %{{customdata:.1f}} {plain(one.unit)}, "
                f"at %{{x:.0f}} h<extra>{name}</extra>"
            )
        traces.append(trace)
    means = _check_ups(one)
    traces.append(check_ups(means["hours"], means["value"]))
    layout = hours_layout(f"{plain(one.name)}, {plain(one.unit)}", marks)
    if one.shows_reference:
        layout["shapes"].append({
            "type": "line", "xref": "paper", "x0": 0, "x1": 1,
            "y0": one.reference, "y1": one.reference,
            "line": {"color": "--steel", "width": 1, "dash": "longdash"},
        })  # fmt: skip
    layout["yaxis"] |= {"range": list(_reach(one)), "zeroline": False, "nticks": 5}
    return {"label": one.name, "data": traces, "layout": layout}
