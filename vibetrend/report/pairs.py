"""Two levels of everything beside each other: after a work, the damper before, a like engine.

A difference is information, not a verdict: nothing here changes a state.
"""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from vibetrend.checkup.records import EngineRecord, OrderSpectrum, SeriesRecord
from vibetrend.quantities import ShownUnits
from vibetrend.report.shown import level, unit_words
from vibetrend.report.words import baseline_name, date, fixed
from vibetrend.report.work import begun_by
from vibetrend.trend import Comparison
from vibetrend.trend.rows import label
from vibetrend.units import unit_of

_AS_KEPT = ShownUnits()
CLEAR_SE = 3.0  # standard errors: with 25 orders, chance alone gives one in fifteen pictures


@dataclass(frozen=True, kw_only=True, eq=False)
class Pair:
    """Two levels of one series as the template shows them."""

    title: str
    text: str
    common_db: float  # what all orders did together
    earlier: OrderSpectrum
    later: OrderSpectrum
    rows: list[tuple[dict[str, Any], bool]]  # of the comparison, and whether each moved clearly


def after_work(series: SeriesRecord, of: EngineRecord, shown: ShownUnits = _AS_KEPT) -> Pair | None:
    """Return the step across the work that a series began with."""
    found, work = series.after_work, begun_by(of, series)
    if found is None or work is None:
        return None
    last = f"the check-up of {date(found.against)}"
    return _pair(
        found,
        series,
        shown,
        title=f"Step across the work: {work.name}",
        text=f"{_moved(found)} This is against {last}. What was judged before the work stays "
        "below; what comes after is compared with what stood after it.",
        labels=(f"{last}, before the work", "the check-ups after it"),
    )


def before(series: SeriesRecord, shown: ShownUnits = _AS_KEPT) -> Pair | None:
    """Return the old damper beside the baseline of this one."""
    found = series.before
    if found is None:
        return None
    return _pair(
        found,
        series,
        shown,
        title="The damper before, and this one",
        text=_moved(found) + " A picture, not a verdict: other things may have changed on that "
        "day too.",
        labels=("the damper before", baseline_name(series)),
    )


def clear(rows: pd.DataFrame, common_db: float) -> "pd.Series[bool]":
    """Return which differences stand out from what all orders share and from their own error."""
    own = rows["difference_db"] - common_db
    return own.abs() > CLEAR_SE * rows["standard_error_db"]


def _pair(
    found: Comparison,
    series: SeriesRecord,
    shown: ShownUnits,
    *,
    title: str,
    text: str,
    labels: tuple[str, str],
) -> Pair:
    orders = found.rows[found.rows["feature"] == "order"]
    factor, unit = level(1.0, series.info["unit"], shown)
    earlier, later = (
        OrderSpectrum(
            order=orders["order"].to_numpy(float),
            amplitude=factor * orders[column].to_numpy(float),
            unit=unit_words(unit, series.info["kind"]),
            label=label,
        )
        for column, label in zip(("earlier", "later"), labels, strict=True)
    )
    moved = clear(found.rows, found.common_db)
    rows = [
        (_in_shown({str(key): value for key, value in row.items()}, series, shown), bool(one))
        for row, one in zip(found.rows.to_dict(orient="records"), moved, strict=True)
    ]
    return Pair(
        title=title, text=text, common_db=found.common_db, earlier=earlier, later=later, rows=rows
    )


def _in_shown(row: dict[str, Any], series: SeriesRecord, shown: ShownUnits) -> dict[str, Any]:
    """Return a row of the comparison with its levels and their `unit` as they are shown."""
    kept_in = unit_of(row["feature"], series.info["kind"], series.info["unit"])
    factor, unit = level(1.0, kept_in, shown)
    return (
        row
        | {name: factor * row[name] for name in ("earlier", "later")}
        | {"unit": unit_words(unit, series.info["kind"])}
    )


def _moved(found: Comparison) -> str:
    """Return which features stepped clearly, and what all orders did together."""
    rows = found.rows[clear(found.rows, found.common_db)]
    own = rows["difference_db"] - found.common_db
    strongest = own.abs().sort_values(ascending=False).index
    told = [
        f"{label(rows.loc[i, 'feature'], rows.loc[i, 'order'])} ({fixed(own[i], 1, sign=True)} dB)"
        for i in strongest
    ]
    stepped = f"Clearly moved: {', '.join(told)}." if told else "No order moved clearly."
    return f"{stepped} All orders together: {fixed(found.common_db, 1, sign=True)} dB."
