"""What moved, gathered from a verdict's rows as the sentences and the causes look at it."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vibetrend.engine import Engine
from vibetrend.trend import resonance
from vibetrend.trend.assess import CONFIRMED, Assessment, Levels
from vibetrend.trend.evidence import Feature, Finding, steady_share
from vibetrend.trend.history import SPEED_STEP, WARM_STEP_C, History, LayUp

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Row = dict[str, Any]
Table = list[Row]

CALM = ("no-change-seen", "learning")


def with_context(orders: Table, arranged: History, levels: Levels, result: Assessment) -> Table:
    """Return the verdict's rows with what the sentences need besides."""
    return [
        row
        | {
            "checkups": int(result.days_agreeing[k]),
            "lay_up": _begun_across(int(result.bends.first_visit[k]), arranged, levels),
            "telling_order": arranged.telling.get(row["feature"], math.nan),
            "damper_warmer": _over(arranged.damper_warmer, result.agrees[k]),
            "warmth_db": math.sqrt(_over(result.scatter.shared[:, k], result.agrees[k])),
        }
        for k, row in enumerate(orders)
    ]


def _over(values: Floats, agrees: Bools) -> float:
    """Return the mean over the check-ups that show a change; NaN where none does or knows it."""
    return float(np.mean(values[agrees])) if agrees.any() else math.nan


def _begun_across(first_visit: int, arranged: History, levels: Levels) -> LayUp | None:
    """Return the lay-up just before the first check-up that shows a bend."""
    if not 0 < first_visit < levels.hours.size:
        return None
    before, after = levels.hours[first_visit - 1 : first_visit + 1]
    found = [
        each
        for each in arranged.lay_ups
        if before <= each.before_hours and each.after_hours <= after
    ]
    return found[-1] if found else None


def strongest_first(rows: Table, *states: str) -> Table:
    """Return the rows in some states, past the limit and then the strongest evidence first.

    Of a resonance its frequency comes first; those of unknown cause come last.
    """
    some = [row for row in rows if row["state"] in states]
    return sorted(
        some,
        key=lambda row: (
            resonance.of_unknown(row["feature"]),
            row["state"] != "past-limit",
            not resonance.is_frequency(row["feature"]),
            -abs(row["evidence_z"]),
        ),
    )


def findings(
    rows: Table,
    moved: Table,
    arranged: History,
    levels: Levels,
    result: Assessment,
    engine: Engine | None,
) -> list[Finding]:
    """Return what moved as the causes see it, one of each pattern, everything together first."""
    faster, warmer = _conditions(levels)
    alike = result.common_state == "all-moved" and np.isnan(result.scattered_since)
    moving = [row for row in rows if row["state"] in CONFIRMED]
    stayed = [row for row in rows if row["state"] in CALM]
    doubtful = [row for row in rows if row["state"] not in (*CONFIRMED, *CALM)]
    found: dict[str, Finding] = {}
    for row in [_as_one(arranged, levels, result), *moved] if alike else moved:
        damper = row.get("damper_warmer", math.nan)
        shared, change = row.get("warmth_db", 0.0), abs(row.get("change_db", 0.0))
        finding = Finding(
            feature=feature_of(row),
            rose=rose(row),
            steady_share=row["steady_share"],
            checkups=row["checkups"],
            moved=tuple(map(feature_of, moving)),
            suspected=tuple(map(feature_of, doubtful)),
            stayed=tuple(map(feature_of, stayed)),
            together=alike,
            hidden=row["at_least"],
            lay_up=row["lay_up"],
            faster_percent=faster,
            warmer_c=warmer if math.isnan(damper) else damper,
            firing=engine.firing_order_number if engine else None,
            of_warmth=shared / max(change, 1e-9) if shared > 0 else math.nan,
            damper_known=not math.isnan(damper),
        )
        found.setdefault(finding.pattern, finding)
    return list(found.values())


def _as_one(arranged: History, levels: Levels, result: Assessment) -> Row:
    """Return what all orders did together as a row like theirs."""
    now, since = float(levels.hours[-1]), result.common_since
    first = int(np.searchsorted(levels.hours, since, "right"))
    return {
        "feature": "together",
        "order": math.nan,
        "evidence_z": result.common_z,
        "steady_share": steady_share(
            result.common_change,
            result.common_slope,
            since,
            now,
            shown_hours=now - float(levels.hours[first]),
        ),
        "checkups": levels.hours.size - first,
        "at_least": False,
        "lay_up": _begun_across(first, arranged, levels),
    }


def _conditions(levels: Levels) -> tuple[float, float]:
    """Return speed (%) and warmth (degrees C) of the latest check-up beyond the baseline's."""
    if levels.conditions is None:
        return math.nan, math.nan
    steps = levels.conditions[-1]
    seen = [column[np.isfinite(column)] for column in steps.T]
    speed, warmth = (float(np.mean(each)) if each.size else math.nan for each in seen)
    return 100 * SPEED_STEP * speed, WARM_STEP_C * warmth


def feature_of(row: Row) -> Feature:
    """Return the feature a row speaks of."""
    return str(row["feature"]), float(row["order"])


def rose(row: Row) -> bool:
    """Say whether it went up."""
    return bool(row["evidence_z"] > 0)
