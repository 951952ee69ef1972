"""What measuring again changed: in a recording, and in what is concluded of a series."""

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from vibetrend.checkup.records import SeriesRecord
from vibetrend.logbook import Remeasurable
from vibetrend.plain import plain
from vibetrend.trend.rows import label

Result = Mapping[str, Any]  # `Measurement.to_dict()`


@dataclass(frozen=True, kw_only=True)
class Measured:
    """What a recording was measured as, in short."""

    method_version: int
    speed_rpm: float | None  # None where none was found
    unusable: bool


@dataclass(frozen=True, kw_only=True)
class Remeasured:
    """One recording, before and after."""

    recording: str  # its short id
    engine: str
    name: str
    date: dt.date
    before: Measured
    after: Measured
    order: float | None  # whose amplitude changed most, of those visible in both; None if none did
    change_db: float | None
    newly_visible: tuple[float, ...]  # orders
    newly_hidden: tuple[float, ...]
    gained: tuple[str, ...]  # codes of `quality`
    lost: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {name: plain(value) for name, value in asdict(self).items()}


@dataclass(frozen=True, kw_only=True)
class Judged:
    """What was concluded of a series, in short."""

    state: str
    methods: tuple[int, ...]  # versions of the method that its recordings were measured by
    change_db: float | None  # of the feature in question, against the baseline


@dataclass(frozen=True, kw_only=True)
class Rejudged:
    """One series, before and after."""

    engine: str
    info: dict[str, Any]  # a series of ``status --json`` without its verdict
    ended: bool  # by work or by another damper
    before: Judged
    after: Judged
    feature: str | None  # whose change against the baseline differs most; None for none
    order: float | None
    called: str | None  # the same as a person reads it, e.g. "order 4.5"

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        told = {name: plain(value) for name, value in asdict(self).items() if name != "info"}
        return {"id": self.info["id"], **told}


def remeasured(kept: Remeasurable, before: Result, after: Result) -> Remeasured:
    """Return what changed between two results of a recording."""
    was, now = _levels(before), _levels(after)
    both = sorted(was.keys() & now.keys())
    changes = {each: _db(now[each] / was[each]) for each in both if now[each] != was[each]}
    most = max(changes, key=lambda order: abs(changes[order]), default=None)
    seen, sees = _visible(before), _visible(after)
    had, has = _codes(before), _codes(after)
    return Remeasured(
        recording=kept.id,
        engine=kept.engine_name,
        name=kept.name,
        date=kept.date,
        before=_measured(before),
        after=_measured(after),
        order=most,
        change_db=None if most is None else changes[most],
        newly_visible=tuple(sorted(sees - seen)),
        newly_hidden=tuple(sorted(seen - sees)),
        gained=tuple(sorted(has - had)),
        lost=tuple(sorted(had - has)),
    )


def rejudged(engine: str, after: SeriesRecord, before: SeriesRecord) -> Rejudged:
    """Return what changed between two verdicts on a series."""
    was, now = _changes(before), _changes(after)
    both = sorted(was.keys() & now.keys())
    most = max(both, key=lambda each: abs(now[each][1] - was[each][1]), default=None)
    return Rejudged(
        engine=engine,
        info=after.info,
        ended=after.ended,
        before=_judged(before, None if most is None else was[most][1]),
        after=_judged(after, None if most is None else now[most][1]),
        feature=None if most is None else most[0],
        order=None if most is None else plain(now[most][0]),
        called=None if most is None else label(most[0], now[most][0]),
    )


def _measured(result: Result) -> Measured:
    speed = result["speed"]
    return Measured(
        method_version=result["method_version"],
        speed_rpm=None if speed["method"] == "tag" else speed["rpm"],
        unusable=any(each["severity"] == "unusable" for each in result["quality"]),
    )


def _levels(result: Result) -> dict[float, float]:
    """Return the amplitudes of the visible orders."""
    return {
        row["order"]: row["amplitude"]
        for row in result["orders"]
        if row["visible"] and row["amplitude"]
    }


def _visible(result: Result) -> set[float]:
    return {row["order"] for row in result["orders"] if row["visible"]}


def _codes(result: Result) -> set[str]:
    return {each["code"] for each in result["quality"]}


def _db(ratio: float) -> float:
    return 20 * math.log10(ratio)


def _judged(one: SeriesRecord, change_db: float | None) -> Judged:
    versions = sorted(set(one.recordings["method_version"].tolist()))
    return Judged(state=one.verdict.state, methods=tuple(versions), change_db=change_db)


def _changes(one: SeriesRecord) -> dict[tuple[str, float], tuple[float, float]]:
    """Return order and change of each judged feature, by what it is known by."""
    orders: pd.DataFrame = one.verdict.orders
    rows = orders.loc[orders["change_db"].notna(), ["feature", "order", "change_db"]]
    return {
        # The order of a driven line creeps with its belt, so its name alone tells which it is.
        (feature, round(order, 4) if feature == "order" else 0.0): (order, change)
        for feature, order, change in rows.itertuples(index=False)
    }
