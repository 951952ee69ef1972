"""Changes in dB of every placement and check-up: what the histories draw.

The page draws the history the judge saw; it concludes nothing from it. With a_f the amplitude of
feature f in one placement and b_f its baseline (mean of the baseline check-ups' means, in dB),

    change_f = 20 lg a_f - b_f                                   (1)
    together = what the orders' changes have in common, as the judge takes it   (2)
    own change_f = change_f - together                           (3)
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from vibetrend.trend.placements import common_shift

COLUMNS = ["recording", "visit", "hours", "date", "baseline", "used", "feature", "order"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Levels:
    """Changes against the baseline; empty tables when there is no baseline to compare with."""

    placements: pd.DataFrame  # COLUMNS and `change_db` (3), `together_db` (2)
    visits: pd.DataFrame  # visit, hours, feature, order, baseline, change_db: used placements' mean
    together: pd.DataFrame  # a row for each recording: COLUMNS without feature, order; together_db

    @property
    def together_visits(self) -> pd.DataFrame:
        """What all orders did together at each check-up: date, hours, together_db; by hours."""
        used = self.together[self.together["used"].astype(bool)]
        by_visit = used.groupby("visit", sort=False)
        return by_visit.agg(
            date=("date", "first"), hours=("hours", "mean"), together_db=("together_db", "mean")
        )

    def of(self, feature: str, order: float) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Return placements and check-ups of one feature, by hours."""
        key = feature, _key(order)
        placements, visits = self._by_feature
        return (
            placements.get(key, self.placements.iloc[:0]),
            visits.get(key, self.visits.iloc[:0]),
        )

    @cached_property
    def _by_feature(self) -> tuple["_Parts", "_Parts"]:
        return _parts(self.placements), _parts(self.visits)

    def latest(self, feature: str, order: float) -> float:
        """Return the change at the latest check-up by itself, dB; NaN where not seen."""
        visit = self.visits["visit"].iloc[-1] if len(self.visits) else None
        return self.changes(feature, order).get(visit, np.nan)

    def changes(self, feature: str, order: float) -> dict[Any, float]:
        """Return the change of one feature at each check-up it was seen in, dB."""
        _, mine = self.of(feature, order)
        return dict(zip(mine["visit"], mine["change_db"], strict=True))


def levels(history: pd.DataFrame, recordings: pd.DataFrame) -> Levels:
    """Return the changes of a history (columns as for ``judge``).

    `recordings` is the verdict's: `recording`, `used`.
    """
    table = history.copy()
    if "feature" not in table:
        table["feature"] = "order"
    if "date" not in table:
        table["date"] = None
    if "visible" in table:
        table = table[table["visible"].astype(bool)]
    used = dict(zip(recordings["recording"], recordings["used"], strict=True))
    table["used"] = table["recording"].map(lambda name: bool(used.get(name, False))).astype(bool)
    table["level_db"] = 20 * np.log10(table["amplitude"].astype(float))
    table["change_db"] = table["level_db"] - _baseline_db(table)  # (1)
    table = table[table["change_db"].notna()]

    orders = table[table["feature"] == "order"]
    by_recording = orders.pivot_table(index="recording", columns="order", values="change_db")
    shift = pd.Series(common_shift(by_recording.to_numpy()), index=by_recording.index)  # (2)
    table["together_db"] = table["recording"].map(shift).astype(float).fillna(0.0)
    # As the judge does it: a resonance's frequency has no gain, everything else shares one.
    own = ~table["feature"].str.startswith("resonance")
    table["change_db"] -= table["together_db"].where(own, 0.0)  # (3)
    table = table.sort_values(["hours", "recording"], kind="stable")

    keys = ["visit", "feature", "order"]
    visits = (
        table[table["used"]]
        .groupby(keys, dropna=False, sort=False)
        .agg(hours=("hours", "mean"), baseline=("baseline", "max"), change_db=("change_db", "mean"))
        .reset_index()
        .sort_values("hours", kind="stable")
    )
    together = table.drop_duplicates("recording")
    return Levels(
        placements=table[[*COLUMNS, "change_db", "together_db"]],
        visits=visits,
        together=together[[*COLUMNS[:6], "together_db"]],
    )


def _baseline_db(table: pd.DataFrame) -> "pd.Series[float]":
    """Return the baseline of each row's feature, NaN where it has none."""
    base = table[table["baseline"].astype(bool) & table["used"]]
    keys = ["feature", "order"]
    by_visit = base.groupby([*keys, "visit"], dropna=False)["level_db"].mean().reset_index()
    means = by_visit.groupby(keys, dropna=False)["level_db"].mean().reset_index()
    found = {
        (row["feature"], _key(row["order"])): row["level_db"]
        for row in means.to_dict(orient="records")
    }
    rows = zip(table["feature"], table["order"], strict=True)
    values = [found.get((name, _key(order)), np.nan) for name, order in rows]
    return pd.Series(values, index=table.index, dtype=float)


def _key(order: Any) -> float | None:
    return None if pd.isna(order) else float(order)


_Parts = dict[tuple[str, float | None], pd.DataFrame]


def _parts(table: pd.DataFrame) -> _Parts:
    """Return the rows of each feature and order."""
    by_feature = table.groupby(["feature", "order"], dropna=False, sort=False)
    return {(str(name), _key(order)): rows for (name, order), rows in by_feature}
