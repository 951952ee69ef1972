"""Like engines side by side: what each stands at, and what each did since its own baseline.

Two engines of one make differ by several dB when both are sound (common practice, no source), so
a difference between them is information and never a verdict.
"""

from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np
import pandas as pd

from vibetrend.checkup.records import EngineRecord, SeriesRecord, SideBySide
from vibetrend.engine import Engine
from vibetrend.logbook.filing import SPEED_BAND
from vibetrend.plain import plain, rows
from vibetrend.trend import compare

_AGREE = ("position", "device", "kind", "unit", "codec", "manner", "condition")


def side_by_side(records: Sequence[EngineRecord]) -> list[SideBySide]:
    """Compare like engines, each with the first of its kind.

    Engines are alike when cylinders, strokes, layout and firing order agree; their present series
    are compared when everything stated of them agrees and their speeds lie within 4 %.
    """
    kinds: dict[tuple[Any, ...], list[EngineRecord]] = {}
    for record in records:
        kinds.setdefault(_kind(record.engine), []).append(record)
    return [
        _compared(first, second, one, other)
        for first, *others in kinds.values()
        for second in others
        for one, other in product(_present(first), _present(second))
        if _alike(one.info, other.info)
    ]


def to_dict(found: SideBySide) -> dict[str, Any]:
    """Return the JSON form: plain values, NaN as None."""
    return {
        "engines": list(found.engines),
        "series": list(found.series),
        "unit": found.unit,
        "common_db": plain(found.common_db),
        "rows": rows(found.table),
    }


def _kind(engine: Engine) -> tuple[Any, ...]:
    return engine.cylinders, engine.strokes, engine.layout, engine.firing_order


def _present(record: EngineRecord) -> list[SeriesRecord]:
    return [one for one in record.series if not one.ended and not one.history.empty]


def _alike(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Return whether two series were recorded in the same way: all tags, and speed within 4 %."""
    if any(one[name] != other[name] for name in _AGREE):
        return False
    speeds = one["speed_rpm"], other["speed_rpm"]
    if None in speeds:
        return speeds == (None, None)
    # Rounding must not throw out the speed that lies on the edge itself.
    return bool(max(speeds) / min(speeds) - 1 <= SPEED_BAND + 1e-9)


def _compared(
    first: EngineRecord, second: EngineRecord, one: SeriesRecord, other: SeriesRecord
) -> SideBySide:
    found = compare(_latest(one), _latest(other))
    table = found.rows.rename(columns={"earlier": "first", "later": "second"})
    changes = {"first_change_db": _changes(one), "second_change_db": _changes(other)}
    for name, known in changes.items():
        keys = zip(table["feature"], table["order"], strict=True)
        table[name] = [known.get(_key(*key), np.nan) for key in keys]
    return SideBySide(
        engines=(first.engine.name, second.engine.name),
        series=(one.info["id"], other.info["id"]),
        info=one.info,
        unit=one.info["unit"],
        common_db=found.common_db,
        table=table,
    )


def _latest(series: SeriesRecord) -> pd.DataFrame:
    """Return the rows of the latest check-up, without recordings that the verdict left out."""
    judged = series.verdict.recordings
    used = judged.loc[judged["used"].astype(bool), "recording"]
    history = series.history
    if len(used):  # without a baseline none is, and there is nothing to tell them apart by
        history = history.loc[history["recording"].isin(used)]
    last = history.loc[history["hours"] == history["hours"].max(), "visit"].iloc[0]
    found: pd.DataFrame = history.loc[history["visit"] == last]
    return found


def _changes(series: SeriesRecord) -> dict[tuple[str, float], float]:
    table = series.verdict.orders
    keys = zip(table["feature"], table["order"], strict=True)
    return {_key(*key): float(db) for key, db in zip(keys, table["change_db"], strict=True)}


def _key(feature: str, order: float) -> tuple[str, float]:
    """Name a feature; a driven line's order creeps with its belt, an overall level has none."""
    return feature, round(float(order), 4) if feature == "order" else 0.0
