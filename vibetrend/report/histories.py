"""Histories over engine hours, drawn without script."""

import math
from collections.abc import Sequence

import pandas as pd
from markupsafe import Markup

from vibetrend.report.drawing import (
    Frame,
    box,
    course,
    cross,
    dots,
    line,
    mark,
    picture,
    signed,
    text,
    ticks,
)
from vibetrend.report.facts import Fact
from vibetrend.report.levels import Levels
from vibetrend.report.scales import DECIBEL, Scale, scale_of
from vibetrend.report.words import about
from vibetrend.report.work import Mark


def reach_db(levels: Levels, found: Sequence[Fact], scale: Scale = DECIBEL) -> tuple[float, float]:
    """Return a common range for the histories of some features, dB: from tick to tick."""
    features = {fact.feature for fact in found}
    of_them = levels.placements["used"].astype(bool) & levels.placements["feature"].isin(features)
    values = [*levels.placements.loc[of_them, "change_db"].quantile([0.002, 0.998]).dropna()]
    return scale.reach([*values, *(fact.change_db for fact in found)])


def small_history(
    fact: Fact, levels: Levels, reach: tuple[float, float], marks: Sequence[Mark] = ()
) -> Markup:
    """Return the history of one order, small enough to see all orders at once."""
    placements, visits = levels.of(fact.feature, fact.order)
    if visits.empty:
        return Markup("")
    frame = _hours_frame(levels, reach, marks, height=84, bottom=6)
    parts = [*_ground(frame, fact, visits), *work_lines(frame, marks)]
    parts += _course(frame, fact, placements, visits, size=1.3)
    return picture(parts, height=84, label=_said(fact, visits))


def large_history(
    fact: Fact, levels: Levels, reach: tuple[float, float], marks: Sequence[Mark] = ()
) -> Markup:
    """Return the history of one order with scales, limit and the hours to it."""
    placements, visits = levels.of(fact.feature, fact.order)
    if visits.empty:
        return Markup("")
    now = float(visits["hours"].iloc[-1])
    ahead = forecast_reach(fact, levels)
    high = max(reach[1], 3 * math.ceil((fact.limit_db + 1) / 3)) if ahead else reach[1]
    until = now + ahead
    frame = _hours_frame(
        levels, (reach[0], high), marks, height=320, bottom=26, left=6, until=until
    )
    parts = [*_ground(frame, fact, visits), *work_lines(frame, marks)]
    scale = scale_of(fact.feature)
    for db, said in scale.ticks(reach[0], high):
        parts.append(text(0.5, frame.y(db) - 4, f"{said} {scale.unit}", "tick"))
    for value in ticks(frame.low_x, frame.high_x, 6):
        parts.append(text(frame.x(value), 315, f"{value:.0f} h", "tick", "middle"))
    if fact.limit_db <= high:
        y = frame.y(fact.limit_db)
        # Clear of the scale, and of what is drawn near the present.
        parts.append(text(16, y - 5, f"limit {scale.words(fact.limit_db)}", "tick far"))
    if ahead and fact.limit_db <= high:
        parts += _forecast(frame, fact, now)
    parts += _course(frame, fact, placements, visits, size=2.0)
    if math.isfinite(fact.since_hours):
        x = frame.x(fact.since_hours)
        parts.append(text(x, frame.top + 9, "bend", "tick", "middle"))
    return picture(parts, height=320, label=_said(fact, visits))


def together_history(levels: Levels, marks: Sequence[Mark] = ()) -> Markup:
    """Return what all orders did together, placement by placement."""
    table = levels.together
    used = table[table["used"].astype(bool)]
    if used.empty:
        return Markup("")
    span = 3 * max(math.ceil(float(table["together_db"].abs().max()) / 3), 1)
    frame = _hours_frame(levels, (-span, span), marks, height=260, bottom=26, left=10)
    parts = [_rule(frame, db) for db in range(-span, span + 1, 3)]
    parts += work_lines(frame, marks)
    parts += [text(1, frame.y(db) - 4, f"{signed(db)} dB", "tick") for db in (-span, 0, span)]
    parts += [
        text(frame.x(value), 255, f"{value:.0f} h", "tick", "middle")
        for value in ticks(frame.low_x, frame.high_x, 6)
    ]
    parts += _dots(frame, table, "together_db", 2.0)
    means = used.groupby("visit", sort=False)[["hours", "together_db"]].mean()
    parts.append(_joined(frame, means))
    return picture(parts, height=260, label="what all orders did together, over engine hours")


def forecast_reach(fact: Fact, levels: Levels) -> float:
    """Return the hours ahead that a history shows, 0 for no forecast.

    At most as long as the past, and never beyond the damper's renewal.
    """
    told = math.isfinite(fact.hours_to_limit_low) and not fact.ended
    if fact.state == "past-limit" or not told:
        return 0.0
    past = float(levels.placements["hours"].max() - levels.placements["hours"].min())
    most = max(past, 500.0)
    if math.isfinite(fact.renewal_in_hours):
        most = min(most, fact.renewal_in_hours)
    if fact.hours_to_limit_low > most:
        return 0.0
    wanted = [fact.hours_to_limit_low * 1.3, fact.hours_to_limit, fact.hours_to_limit_high]
    return min(max(value for value in wanted if math.isfinite(value)), most)


def _hours_frame(
    levels: Levels,
    reach: tuple[float, float],
    marks: Sequence[Mark],
    *,
    height: float,
    bottom: float,
    left: float = 1.5,
    until: float = -math.inf,
) -> Frame:
    hours = levels.placements["hours"]
    shown = [float(hours.min()), float(hours.max()), *(mark.hours for mark in marks)]
    return Frame(
        low_x=min(shown), high_x=max(*shown, until), low_y=reach[0], high_y=reach[1],
        height=height, bottom=bottom, left=left, right=2.5,
    )  # fmt: skip


def work_lines(frame: Frame, marks: Sequence[Mark]) -> list[Markup]:
    """Return an upright with its letter for each work."""
    parts = []
    for one in marks:
        x, foot = frame.x(one.hours), frame.height - frame.bottom
        parts.append(line(x, frame.top, x, foot, "work"))
        # Beside the upright, on the side where there is room.
        right = x < 90
        parts.append(
            text(x + (0.5 if right else -0.5), foot - 3, one.letter, "letter",
                 "start" if right else "end")
        )  # fmt: skip
    return parts


def _rule(frame: Frame, db: float) -> Markup:
    return line(0, frame.y(db), 100, frame.y(db), "zero" if db == 0 else "grid")


def _ground(frame: Frame, fact: Fact, visits: pd.DataFrame) -> list[Markup]:
    """Return what lies under a history: scatter band, baseline days, rules, limit, bend."""
    parts = []
    if math.isfinite(fact.scatter_db):
        reach = fact.band_db
        parts.append(box(0, frame.y(-reach), 100, frame.y(reach), "band"))
    base = visits[visits["baseline"].astype(bool)]
    if not base.empty:
        x1, x2 = frame.x(base["hours"].min()), frame.x(base["hours"].max())
        parts.append(box(x1, frame.y(0) - 3, max(x2, x1 + 1), frame.y(0) + 3, "base"))
    ticks_of = scale_of(fact.feature).ticks(frame.low_y, frame.high_y)
    parts += [_rule(frame, db) for db, _ in ticks_of]
    if fact.limit_db <= frame.high_y:
        parts.append(line(0, frame.y(fact.limit_db), 100, frame.y(fact.limit_db), "limit"))
    if math.isfinite(fact.since_hours):
        x = frame.x(fact.since_hours)
        parts.append(line(x, frame.top + 12, x, frame.height - frame.bottom, "bend"))
    return parts


def _course(
    frame: Frame, fact: Fact, placements: pd.DataFrame, visits: pd.DataFrame, *, size: float
) -> list[Markup]:
    parts = _dots(frame, placements, "change_db", size)
    kind = "course far" if fact.moved else "course"
    parts.append(_joined(frame, visits[["hours", "change_db"]], kind))
    last = visits.iloc[-1]
    parts.append(
        mark(frame.x(last["hours"]), frame.y(last["change_db"]), fact.state, size=size + 1.8)
    )
    return parts


def _dots(frame: Frame, table: pd.DataFrame, column: str, size: float) -> list[Markup]:
    rows = zip(table["hours"], table[column], table["used"], strict=True)
    places = [(frame.x(h), _inside(frame, db), used) for h, db, used in rows]
    return [
        dots([(x, y) for x, y, used in places if used], frame.height, size),
        *(cross(x, y, size + 0.8) for x, y, used in places if not used),
    ]


def _inside(frame: Frame, db: float) -> float:
    """Keep a wild point at the rim instead of letting it leave the picture."""
    return frame.y(min(max(db, frame.low_y), frame.high_y))


def _joined(frame: Frame, table: pd.DataFrame, kind: str = "course") -> Markup:
    points = [(frame.x(h), _inside(frame, db)) for h, db in table.itertuples(index=False)]
    return course(points, frame.height, kind)


def _forecast(frame: Frame, fact: Fact, now: float) -> list[Markup]:
    """Return the way from the verdict's estimate to the limit: an early, a likely, a late line."""
    low, high = fact.hours_to_limit_low, fact.hours_to_limit_high
    level = fact.change_db
    start = (frame.x(now), frame.y(level))
    parts = []
    for ahead in (low, fact.hours_to_limit, high):
        if math.isnan(ahead):
            continue
        # A line that meets the limit beyond the picture is cut where the picture ends.
        share = min(1.0, (frame.high_x - now) / ahead) if ahead > 0 else 1.0
        hours = now + ahead * share if math.isfinite(ahead) else frame.high_x
        db = level + (fact.limit_db - level) * (share if math.isfinite(ahead) else 0.0)
        parts.append(line(*start, frame.x(hours), frame.y(db), "ahead"))
    end = min(now + high, frame.high_x)
    y = frame.y(fact.limit_db)
    parts.append(box(frame.x(now + low), y - 3, frame.x(end), y + 3, "fan"))
    early = f"earliest in {about(low)}"
    parts.append(text(frame.x(now + low) - 0.6, y - 6, early, "tick far", "end"))
    return parts


def _said(fact: Fact, visits: pd.DataFrame) -> str:
    first, last = visits["hours"].iloc[0], visits["hours"].iloc[-1]
    change = scale_of(fact.feature).words(float(visits["change_db"].iloc[-1]))
    return f"history of {fact.name} from {first:.0f} to {last:.0f} h, latest {change}"
