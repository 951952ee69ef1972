"""A history in, a verdict out: the one public step of this room."""

import math
from functools import partial
from numbers import Real
from typing import Any

import numpy as np
import pandas as pd

from vibetrend.baseline import FULL_DAY
from vibetrend.engine import Engine
from vibetrend.errors import JudgeError
from vibetrend.trend.advice import CAUTIONS, advise
from vibetrend.trend.assess import CONFIRMED, ENOUGH_PLACEMENTS, Assessment, assess
from vibetrend.trend.evidence import steady_shares
from vibetrend.trend.history import History, arrange
from vibetrend.trend.noticeable import Noticeable, noticeable
from vibetrend.trend.resonance import signed
from vibetrend.trend.rows import label
from vibetrend.trend.states import sentence, worst
from vibetrend.trend.verdict import Verdict

DOUBLED_DB = 20 * math.log10(2)
"""The limit unless the person sets another: a convention of ours, not a standard."""

COLUMNS = (
    "feature", "order", "change_db", "scatter_db", "state", "evidence_z", "since_hours",
    "slope_db_per_1000h", "hours_to_limit", "hours_to_limit_low", "hours_to_limit_high",
    "probability_never", "noticeable_db",
    "limit_db", "small", "at_least", "steady_share", "change_error_db", "shared_db",
)  # fmt: skip


def judge(
    history: pd.DataFrame,
    *,
    engine: Engine | None = None,
    limit_db: float | None = None,
    renewal_hours: float | None = None,
) -> Verdict:
    """Say whether anything moved away from the baseline.

    Pure: the same history gives the same verdict, in any order of its rows.

    Parameters
    ----------
    history : DataFrame
        One series, one row for each recording and feature, columns `recording`, `visit`, `hours`,
        `order`, `amplitude`, `standard_error`, `baseline`, and optionally `feature`, `floor`,
        `visible`, `date`, `rpm`, `temperature_c`, `velocity_mm_s`, `other_engine`,
        `alternator_load`, `lying`, `shore_power` (text, as stated), `limit_db` (overrides the
        limit of a feature) and `shared_error` (one standard deviation, in the unit of the
        amplitude, that all recordings of a check-up share).
    engine : Engine, optional
        Names the firing order in the advice, and may say which rise and which velocity matter.
    limit_db : float, optional
        The rise over the baseline that matters, dB; the engine's, or doubled, if left out.
    renewal_hours : float, optional
        Engine hours at which the damper is due: no forecast is told beyond them.

    Returns
    -------
    Verdict
        Method: a bend test against the boat's own scatter, see `assess` and its steps.

    Raises
    ------
    JudgeError
        If the history is incomplete, contradicts itself, or holds more than one series.
    """
    _check_options(engine, limit_db, renewal_hours)
    own_limit, small = (engine.limit_db, engine.small_velocity_mm_s) if engine else (None, None)
    given = partial(
        arrange,
        history,
        limit_db=(own_limit or DOUBLED_DB) if limit_db is None else limit_db,
        small_velocity_mm_s=small,
    )
    arranged = given()
    if arranged.lost and (confirmed := _confirmed_before(given(keep=arranged.lost))):
        arranged = given(keep=confirmed)
    result = assess(arranged.levels) if arranged.levels else None
    watched = noticeable(arranged.levels, result) if arranged.levels and result else None
    orders = _orders(arranged, result, watched)
    recordings = _recordings(arranged, result)
    states = [row["state"] for row in orders]
    if result:
        states += [result.common_state, *result.asks, *_latest_lacks(recordings)]
    state = worst(states)
    told = advise(state, arranged, orders, recordings, result, watched, engine, renewal_hours)
    return Verdict(
        state=state,
        orders=pd.DataFrame(orders, columns=COLUMNS),
        common_change_db=result.common_change if result else math.nan,
        common_state=result.common_state if result else "no-baseline",
        each_its_own_way=bool(result and np.isfinite(result.scattered_since)),
        recordings=pd.DataFrame(recordings, columns=["recording", "visit", "used", "why_not"]),
        advice=told.every,
        findings=told.findings,
        warmth=told.warmth,
    )


def _check_options(engine: object, limit_db: object, renewal_hours: object) -> None:
    if engine is not None and not isinstance(engine, Engine):
        raise JudgeError(f"engine is {engine!r}; give a vibetrend Engine, or leave it out")
    for name, value in (("limit_db", limit_db), ("renewal_hours", renewal_hours)):
        if value is None:
            continue
        if (
            isinstance(value, bool)
            or not isinstance(value, Real)
            or not 0 <= float(value) < math.inf
        ):
            raise JudgeError(f"{name} is {value!r}; give a number, or leave it out")


def _confirmed_before(arranged: History) -> list[tuple[str, float]]:
    """Return the features lost from sight whose change the check-ups before had confirmed."""
    result = assess(arranged.levels) if arranged.levels else None
    state = dict(zip(arranged.features, result.state, strict=True)) if result else {}
    return [each for each in arranged.lost if state.get(each) in CONFIRMED]


def nothing_judged() -> Verdict:
    """Return the verdict on a series none of whose recordings can be compared."""
    return Verdict(
        state="no-baseline",
        orders=pd.DataFrame(columns=list(COLUMNS)),
        common_change_db=math.nan,
        common_state="no-baseline",
        recordings=pd.DataFrame(columns=["recording", "visit", "used", "why_not"]),
        advice=[sentence("no-baseline"), *CAUTIONS],
    )


def _orders(
    arranged: History, result: Assessment | None, watched: Noticeable | None
) -> list[dict[str, Any]]:
    if result is None or watched is None or arranged.levels is None:
        blank: dict[str, Any] = dict.fromkeys(COLUMNS, math.nan)
        blank |= {"state": "no-baseline", "small": False, "at_least": False}
        return [blank | {"feature": text, "order": order} for text, order in arranged.features]
    ahead, bends, scatter = result.ahead, result.bends, result.scatter
    seen = np.array([state not in ("no-change-seen", "learning") for state in result.state])
    masked = arranged.levels.rises_only
    shared = scatter.usual_shared
    one_checkup = np.sqrt(scatter.day**2 + shared + scatter.placement**2 / FULL_DAY)
    columns = (
        ahead.change, one_checkup, result.state,
        bends.z, np.where(seen, bends.since_hours, np.nan), 1000 * ahead.slope, ahead.hours,
        ahead.hours_low, ahead.hours_high, ahead.never,
        watched.step_db(), arranged.levels.limit_db,
        [k in arranged.small for k in range(len(arranged.features))],
        np.zeros(seen.size, bool) if masked is None else masked,
        np.where(seen, steady_shares(arranged.levels, result), np.nan),
        ahead.error, np.where(shared > 0, np.sqrt(shared), np.nan),
    )  # fmt: skip
    lists = [column if isinstance(column, list) else column.tolist() for column in columns]
    return [
        dict(zip(COLUMNS, (*feature, *row), strict=True))
        for feature, row in zip(arranged.features, zip(*lists, strict=True), strict=True)
    ]


def _recordings(arranged: History, result: Assessment | None) -> list[dict[str, Any]]:
    out = []
    for taken in arranged.recordings:
        why = taken.why_not
        if not why and result is None:
            why = "there is no baseline to compare with"
        elif result and taken.at:
            why = _left_out(arranged, result, *taken.at)
        out.append(
            {"recording": taken.recording, "visit": taken.visit, "used": not why, "why_not": why}
        )
    return out


def _left_out(arranged: History, result: Assessment, visit: int, place: int) -> str:
    placements = result.placements
    if placements.disagreeing[visit, place]:
        feature = arranged.features[placements.culprit[visit, place]]
        return (
            f"it disagrees with its companions, most at {label(*feature)}: "
            f"{signed(feature[0], float(placements.culprit_db[visit, place]))}"
        )
    if result.alone[visit]:
        return (
            "many orders differ from the check-ups around it, each its own way: another spot "
            "or mounting is likely"
        )
    return ""


def _latest_lacks(recordings: list[dict[str, Any]]) -> list[str]:
    """Ask for another recording where the latest check-up has too few that can be used."""
    latest = [row for row in recordings if row["visit"] == recordings[-1]["visit"]]
    used = sum(row["used"] for row in latest)
    short = used < min(FULL_DAY, len(latest)) and (not used or len(latest) < ENOUGH_PLACEMENTS)
    return ["record-again"] if short else []
