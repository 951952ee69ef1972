"""Two levels of everything beside each other: after a work, the damper before, a like engine.

A difference is information, not a verdict: nothing here changes a state.
"""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from vibetrend.checkup.records import EngineRecord, OrderSpectrum, SeriesRecord
from vibetrend.report.words import baseline_name, date, fixed
from vibetrend.report.work import begun_by
from vibetrend.trend import Comparison
from vibetrend.trend.rows import label

CLEAR_SE = 3.0  # standard errors: with 25 orders, chance alone gives one in fifteen pictures


@dataclass(frozen=True, kw_only=True, eq=False)
class Pair:
    """Two levels of one series as the template shows them."""

    title: str
    text: str
    comparison: Comparison
    earlier: OrderSpectrum
    later: OrderSpectrum

    @property
    def rows(self) -> list[tuple[dict[str, Any], bool]]:
        """Each row of the comparison, and whether it moved clearly."""
        found = self.comparison
        told = found.rows.to_dict(orient="records")
        moved = clear(found.rows, found.common_db)
        return [
            ({str(key): value for key, value in row.items()}, bool(one))
            for row, one in zip(told, moved, strict=True)
        ]


def after_work(series: SeriesRecord, of: EngineRecord) -> Pair | None:
    """Return the step across the work that a series began with."""
    found, work = series.after_work, begun_by(of, series)
    if found is None or work is None:
        return None
    last = f"the check-up of {date(found.against)}"
    return _pair(
        found,
        series,
        title=f"Step across the work: {work.name}",
        text=f"{_moved(found)} This is against {last}. What was judged before the work stays "
        "below; what comes after is compared with what stood after it.",
        labels=(f"{last}, before the work", "the check-ups after it"),
    )


def before(series: SeriesRecord) -> Pair | None:
    """Return the old damper beside the baseline of this one."""
    found = series.before
    if found is None:
        return None
    return _pair(
        found,
        series,
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
    found: Comparison, series: SeriesRecord, *, title: str, text: str, labels: tuple[str, str]
) -> Pair:
    orders = found.rows[found.rows["feature"] == "order"]
    earlier, later = (
        OrderSpectrum(
            order=orders["order"].to_numpy(float),
            amplitude=orders[column].to_numpy(float),
            unit=series.info["unit"],
            label=label,
        )
        for column, label in zip(("earlier", "later"), labels, strict=True)
    )
    return Pair(title=title, text=text, comparison=found, earlier=earlier, later=later)


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
