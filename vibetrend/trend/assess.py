"""The judge's arithmetic: from levels of placements to a state for each feature.

Arrays in, arrays out, so that thousands of simulated lives can be judged by the very same steps.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.trend.bend import Bends, find_bends
from vibetrend.trend.forecast import Forecast, forecast
from vibetrend.trend.placements import Placements, sort_out
from vibetrend.trend.scatter import Scatter, usual_scatter
from vibetrend.trend.visits import standing_alone, visit_means

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SUSPECT_Z = 3.5
SUSPECT_JUMP = 3.3
WARN_Z = 4.5
COMMON_Z = 4.2
COMMON_JUMP = 5.0  # of the latest day alone: asks for another
DAY_AGREES_SD = 2.0  # a day that agrees lies this far beyond the level, in its own scatters
FULL_DAY = 3  # placements
FULL_BASELINE = 3  # days
ENOUGH_PLACEMENTS = 5  # after so many in one check-up no more are asked for


@dataclass(frozen=True, eq=False)
class Levels:
    """A history as arrays; visits ascend in hours."""

    db: Floats  # (visits, placements, features), NaN where missing
    extra_variance: Floats  # (visits, placements, features) dB^2 beyond the usual scatter
    hours: Floats  # (visits,)
    baseline: Bools  # (visits,)
    limit_db: Floats  # (features,) NaN for none
    is_order: Bools  # (features,) takes part in the common shift
    shares_gain: Bools  # (features,) the common shift is taken out of it
    prior_placement: Floats  # (features,) dB
    prior_day: Floats  # (features,) dB


@dataclass(frozen=True, eq=False)
class Assessment:
    """All that a verdict is written from."""

    placements: Placements
    scatter: Scatter
    change: Floats  # (features, visits) dB from the baseline, common shift taken out
    variance: Floats  # (features, visits) dB^2; inf where missing
    bends: Bends
    ahead: Forecast
    days_agreeing: NDArray[np.intp]  # (features,)
    state: list[str]  # (features,)
    common_change: float
    common_z: float
    common_since: float
    common_state: str
    alone: Bools  # (visits,) left out because many orders differ from the visits around it
    asks: list[str]  # what the latest check-up as a whole asks for: states


def assess(levels: Levels) -> Assessment:
    """Judge a history that has a baseline; see the modules beside this one for each step."""
    prior = {"prior_placement": levels.prior_placement, "prior_day": levels.prior_day}
    placement_sd, day_sd = levels.prior_placement, levels.prior_day
    for _ in range(2):  # once by the prior scatter, once by the boat's own
        placements = sort_out(
            levels.db,
            baseline=levels.baseline,
            is_order=levels.is_order,
            shares_gain=levels.shares_gain,
            placement_sd=placement_sd,
            day_sd=day_sd,
        )
        scatter = usual_scatter(placements.changes, **prior, pooled=levels.is_order)
        placement_sd, day_sd = scatter.placement, scatter.day
    change, variance = visit_means(placements.changes, levels.extra_variance, scatter)
    alone = standing_alone(change[levels.is_order], variance[levels.is_order])
    variance = np.where(alone, np.inf, variance)
    first = int(np.flatnonzero(levels.baseline)[-1])
    bends = find_bends(change, variance, levels.hours, first=first, degrees=scatter.degrees)
    ahead = forecast(change, variance, levels.hours, first=first, limit=levels.limit_db)
    state, agreeing = _states(levels, placements.used, change, variance, bends, ahead)
    common = _common(levels, placements, first)
    asks = _asks(placements, bool(alone[-1]))
    if "record-again" in asks:  # a suspicion waits until the check-up is whole
        state = ["record-again" if each == "another-day" else each for each in state]
    return Assessment(
        placements,
        scatter,
        change,
        variance,
        bends,
        ahead,
        agreeing,
        state,
        *common,
        alone=alone,
        asks=asks,
    )


def _asks(placements: Placements, alone: bool) -> list[str]:
    used, out = placements.used[-1].sum(), placements.disagreeing[-1].sum()
    if out and used < FULL_DAY and used + out < ENOUGH_PLACEMENTS:
        return ["record-again"]
    if alone:
        return ["record-again" if used + out <= FULL_DAY else "another-day"]
    return []


def _states(
    levels: Levels, used: Bools, change: Floats, variance: Floats, bends: Bends, ahead: Forecast
) -> tuple[list[str], NDArray[np.intp]]:
    features, visits = change.shape
    sign = np.sign(bends.z)[:, None]
    beyond = sign * (change - bends.level[:, None]) / np.sqrt(variance)
    since = np.arange(visits) >= bends.first_visit[:, None]
    agrees = since & (beyond >= DAY_AGREES_SD)
    days = agrees.sum(axis=1)
    suspected = (np.abs(bends.z) >= SUSPECT_Z) | (np.abs(bends.jump_z) >= SUSPECT_JUMP)
    # Once three days agree, one that lies lower, but not back at the level, takes nothing away.
    holds = agrees[:, -1] | ((days >= 3) & (beyond[:, -1] > 0))
    changed = (np.abs(bends.z) >= WARN_Z) & (days >= 2) & holds
    over = (since & (change - bends.level[:, None] >= levels.limit_db[:, None])).sum(axis=1) >= 2
    past = changed & (bends.z > 0) & over & (ahead.change >= levels.limit_db)
    complete = baseline_complete(levels.baseline, used)
    later = not levels.baseline[-1]
    calm = "no-change-seen" if later or complete else "learning"
    state = [
        "past-limit"
        if past[f]
        else "changed"
        if changed[f]
        else "another-day"
        if suspected[f] and later
        else calm
        for f in range(features)
    ]
    return state, days


def baseline_complete(baseline: Bools, used: Bools) -> bool:
    """Say whether the baseline has three days of three placements."""
    return int((used[baseline].sum(axis=1) >= FULL_DAY).sum()) >= FULL_BASELINE


def _common(levels: Levels, placements: Placements, first: int) -> tuple[float, float, float, str]:
    """Judge what all orders did together, by the same bend test with its own scatter."""
    if not levels.is_order.sum() >= 4:
        return np.nan, 0.0, np.nan, "no-change-seen"
    shift = placements.common[..., None]
    scatter = usual_scatter(
        shift, prior_placement=np.array([0.8]), prior_day=np.array([0.3]), pooled=np.array([False])
    )
    change, variance = visit_means(shift, np.zeros_like(shift), scatter)
    bends = find_bends(change, variance, levels.hours, first=first, degrees=scatter.degrees)
    ahead = forecast(change, variance, levels.hours, first=first, limit=np.array([np.nan]))
    moved = abs(bends.z[0]) >= COMMON_Z
    jumped = abs(bends.jump_z[0]) >= COMMON_JUMP and not levels.baseline[-1]
    state = "all-moved" if moved else "another-day" if jumped else "no-change-seen"
    if levels.baseline[-1] and not baseline_complete(levels.baseline, placements.used):
        state = "learning"
    return float(ahead.change[0]), float(bends.z[0]), float(bends.since_hours[0]), state
