"""One row of a verdict as the page speaks of it."""

import math
from dataclasses import dataclass

from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.trend import STATES
from vibetrend.trend.resonance import is_resonance, parts
from vibetrend.trend.rows import label


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
    steady_share: float  # 0 a step, 1 a ramp, NaN while it is too early to tell
    noticeable_db: float  # the jump that a second day would confirm
    limit_db: float
    at_least: bool  # noise hid it at the baseline: it rose by more than is shown
    small: bool  # so weak at the latest check-up that it does not matter, as the engine file says
    ended: bool  # by work: no forecast holds any longer
    now_hours: float  # engine hours at the latest recording
    renewal_hours: float  # engine hours at which the damper is due, NaN where not known
    renewal_by_date: bool  # those hours are only what the use so far lets expect of a date
    change_error_db: float = math.nan  # standard error of `change_db`
    shared_db: float = math.nan  # of `scatter_db`, what repeating on one day cannot average

    @property
    def short(self) -> str:
        """How a narrow column names it: ``4.5`` or ``alternator``."""
        return short_name(self.feature, self.order)

    @property
    def shortest(self) -> str:
        """How a column of one value of each resonance names it: ``141 Hz``; else `short`."""
        return self.short.removesuffix(f" {parts(self.feature).quantity}")

    @property
    def name(self) -> str:
        """How a sentence names it: ``order 4.5`` or ``driven line alternator``."""
        return label(self.feature, self.order)

    @property
    def band_db(self) -> float:
        """Half the width of the band shown as usual scatter: two standard deviations."""
        return 2 * self.scatter_db

    @property
    def moved(self) -> bool:
        """Whether the verdict doubts or denies that it stayed where it was."""
        return self.state in ("record-again", "another-day", "changed", "past-limit")

    @property
    def renewal_in_hours(self) -> float:
        """How long the damper still has, NaN where not known; no forecast goes beyond."""
        return self.renewal_hours - self.now_hours

    @property
    def rank(self) -> tuple[int, float]:
        """Worst state first, then strongest evidence, when sorted in reverse."""
        evidence = 0.0 if math.isnan(self.evidence_z) else abs(self.evidence_z)
        return severity(self.state), evidence


def short_name(feature: str, order: float) -> str:
    """Return how a narrow column names a feature: ``4.5``, ``alternator``, ``141 Hz width``."""
    if is_resonance(feature):
        return feature.rpartition("near ")[2]
    return f"{order:g}" if feature == "order" else feature.partition(": ")[2]


def severity(state: str) -> int:
    """Return the place of a state, mildest 0; an unknown one counts as the mildest."""
    return STATES.index(state) if state in STATES else 0


def facts(series: SeriesRecord, of: EngineRecord) -> list[Fact]:
    """Return a fact for each row of the verdict: orders by number, then the others by name."""
    due = math.nan if series.damper else _float(of.renewal.expected_hours)
    by_date = of.renewal.due_hours != of.renewal.expected_hours
    now = math.nan if series.history.empty else float(series.history["hours"].max())
    found = []
    for row in series.verdict.orders.to_dict(orient="records"):
        feature, order = str(row["feature"]), _float(row["order"])
        fact = Fact(
            feature=feature,
            order=order,
            firing=feature == "order" and order == of.engine.firing_order_number,
            state=str(row["state"]),
            small=bool(row["small"]),
            at_least=bool(row["at_least"]),
            ended=series.ended,
            now_hours=now,
            renewal_hours=due,
            renewal_by_date=by_date,
            **{name: _float(row[name]) for name in _NUMBERS},
            **{name: _float(row.get(name)) for name in _OF_SWEEPS},
        )
        found.append(fact)
    return sorted(found, key=lambda fact: (fact.feature != "order", fact.feature, fact.order))


_NUMBERS = (
    "change_db", "scatter_db", "evidence_z", "since_hours", "slope_db_per_1000h",
    "hours_to_limit", "hours_to_limit_low", "hours_to_limit_high", "probability_never",
    "steady_share", "noticeable_db", "limit_db",
)  # fmt: skip

_OF_SWEEPS = ("change_error_db", "shared_db")  # verdicts written before run-ups lack them


def _float(value: object) -> float:
    return float(value) if isinstance(value, int | float) else math.nan
