"""Like engines side by side: what each stands at, and what each did since its own baseline.

Two engines of one make differ by several dB when both are sound (common practice, no source), so
a difference between them is information and never a verdict.
"""

from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np

from vibetrend.checkup.records import EngineRecord, SeriesRecord, SideBySide
from vibetrend.checkup.visits import latest, used
from vibetrend.engine import Engine
from vibetrend.logbook.filing import recorded_alike
from vibetrend.plain import plain, rows
from vibetrend.trend import compare
from vibetrend.units import unit_of


def side_by_side(records: Sequence[EngineRecord]) -> list[SideBySide]:
    """Compare like engines, each with the first of its kind.

    Engines are alike when cylinders, strokes, layout and firing order agree; their present series
    are compared when everything stated of them agrees and the speed lies within 4 % of the first's.
    Sweeps are not: each engine has resonances of its own.
    """
    kinds: dict[tuple[Any, ...], list[EngineRecord]] = {}
    for record in records:
        kinds.setdefault(_kind(record.engine), []).append(record)
    return [
        _compared(first, second, one, other)
        for first, *others in kinds.values()
        for second in others
        for one, other in product(_present(first), _present(second))
        if recorded_alike(other.info, one.info)
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
    return [
        one
        for one in record.series
        if one.info["manner"] == "steady" and not one.ended and not one.history.empty
    ]


def _compared(
    first: EngineRecord, second: EngineRecord, one: SeriesRecord, other: SeriesRecord
) -> SideBySide:
    found = compare(latest(used(one)), latest(used(other)))
    table = found.rows.rename(columns={"earlier": "first", "later": "second"})
    table.insert(
        4,
        "unit",
        [unit_of(feature, one.info["kind"], one.info["unit"]) for feature in table["feature"]],
    )
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


def _changes(series: SeriesRecord) -> dict[tuple[str, float], float]:
    table = series.verdict.orders
    keys = zip(table["feature"], table["order"], strict=True)
    return {_key(*key): float(db) for key, db in zip(keys, table["change_db"], strict=True)}


def _key(feature: str, order: float) -> tuple[str, float]:
    """Name a feature; a driven line's order creeps with its belt, an overall level has none."""
    return feature, round(float(order), 4) if feature == "order" else 0.0
