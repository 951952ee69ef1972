"""One row of a verdict as the page speaks of it."""

import math
from dataclasses import dataclass

import pandas as pd

from vibetrend.checkup.records import SeriesRecord
from vibetrend.trend import DOUBLED_DB, STATES


@dataclass(frozen=True, kw_only=True)
class Fact:
    """What the verdict says of one order, driven line, overall band or resonance."""

    feature: str  # "order", "driven: NAME", "overall: NAME" or "resonance: NAME ..."
    order: float  # NaN for a feature that has none
    firing: bool  # whether this is the firing order
    state: str
    change_db: float
    scatter_db: float
    evidence_z: float
    since_hours: float
    slope_db_per_1000h: float
    hours_to_limit: float
    hours_to_limit_low: float
    hours_to_limit_high: float
    probability_never: float
    limit_db: float

    @property
    def short(self) -> str:
        """How a narrow column names it: ``4.5`` or ``alternator``."""
        return f"{self.order:g}" if self.feature == "order" else self.feature.partition(": ")[2]

    @property
    def name(self) -> str:
        """How a sentence names it: ``order 4.5`` or ``driven line alternator``."""
        kind, _, rest = self.feature.partition(": ")
        words = {"driven": "driven line", "overall": "overall level", "resonance": "resonance"}
        return f"order {self.order:g}" if kind == "order" else f"{words.get(kind, kind)} {rest}"

    @property
    def band_db(self) -> float:
        """Half the width of the band shown as usual scatter: two standard deviations."""
        return 2 * self.scatter_db

    @property
    def moved(self) -> bool:
        """Whether the verdict doubts or denies that it stayed where it was."""
        return self.state in ("record-again", "another-day", "changed", "past-limit")

    @property
    def rank(self) -> tuple[int, float]:
        """Worst state first, then strongest evidence, when sorted in reverse."""
        evidence = 0.0 if math.isnan(self.evidence_z) else abs(self.evidence_z)
        return severity(self.state), evidence


def severity(state: str) -> int:
    """Return the place of a state, mildest 0; an unknown one counts as the mildest."""
    return STATES.index(state) if state in STATES else 0


def facts(series: SeriesRecord, firing_order: float | None = None) -> list[Fact]:
    """Return a fact for each row of the verdict: orders by number, then the others by name."""
    limits = _limits(series.history)
    numbers = [name for name in Fact.__annotations__ if name not in _TEXTS]
    found = [
        Fact(
            feature=str(row["feature"]),
            firing=row["feature"] == "order" and row["order"] == firing_order,
            state=str(row["state"]),
            limit_db=limits.get((str(row["feature"]), _key(row["order"])), _usual(row["feature"])),
            **{name: _float(row.get(name)) for name in numbers},
        )
        for row in series.verdict.orders.to_dict(orient="records")
    ]
    return sorted(found, key=lambda fact: (fact.feature != "order", fact.feature, fact.order))


_TEXTS = ("feature", "firing", "state", "limit_db")


def _limits(history: pd.DataFrame) -> dict[tuple[str, float | None], float]:
    if "limit_db" not in history or history.empty:
        return {}
    named = history.assign(feature=history.get("feature", "order"))
    rows = named[named["limit_db"].notna()].to_dict(orient="records")
    return {(str(row["feature"]), _key(row["order"])): float(row["limit_db"]) for row in rows}


def _usual(feature: str) -> float:
    """Return the limit the judge uses; a resonance's frequency and width have none."""
    open_ended = feature.startswith("resonance") and not feature.endswith("height")
    return math.nan if open_ended else DOUBLED_DB


def _key(order: object) -> float | None:
    value = _float(order)
    return None if math.isnan(value) else value


def _float(value: object) -> float:
    return float(value) if isinstance(value, int | float) else math.nan
