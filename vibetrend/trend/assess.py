"""The judge's arithmetic: from levels of placements to a state for each feature.

Arrays in, arrays out, so that thousands of simulated lives can be judged by the very same steps.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.baseline import FULL_DAY
from vibetrend.trend.bend import Bends, find_bends
from vibetrend.trend.conditions import follow
from vibetrend.trend.forecast import Forecast, forecast, look_again
from vibetrend.trend.placements import (
    TOO_FEW_ORDERS,
    Placements,
    baseline_complete,
    sort_out,
)
from vibetrend.trend.resonance import QUANTITIES
from vibetrend.trend.scatter import Scatter, usual, usual_scatter
from vibetrend.trend.together import Alike, many_moved, moved_alike
from vibetrend.trend.visits import standing_alone, visit_means, wild_days

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SUSPECT_Z = 3.7
SUSPECT_JUMP = 3.5
WARN_Z = 4.8
USUAL_FEATURES = 14  # for which the deviates above are meant
# Of run-ups, for one resonance. No phone can move a frequency, and there are few of them, so less
# is asked of it than of height and width, which follow phone and pace too. Set by simulated lives.
FREQUENCY_Z = (3.2, 2.3, 4.1)  # suspected, suspected by a jump, warned of
SHAPE_Z = (3.6, 3.1, 4.5)
DAY_AGREES_SD = 2.0  # a day that agrees lies this far beyond the level, in its own scatters
LESS_SURE = 2.0  # times the variance of the days that agree: a day that knows much less
CONTRADICTS_SD = 2.5  # such a day contradicts them where it lies this far off, in its own scatters
AGREEING_PLACEMENTS = 3  # on two days, or more where there is one a day
CONFIRMED = ("changed", "past-limit")
MOST_PASSES = 2  # to free what is common of the orders that moved
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
    rises_only: Bools | None = None  # (features,) hidden by noise at the baseline: no fall counts
    conditions: Floats | None = None  # (visits, placements, conditions) steps from the baseline's
    date: NDArray[np.datetime64] | None = None  # (visits,) NaT where unknown
    shared_variance: Floats | None = None  # (visits, features) dB^2 all placements of a visit share
    scale: Floats | None = None  # (features,) how large its changes are against an order's


@dataclass(frozen=True, eq=False)
class Bounds:
    """The deviates that each feature has to pass, (features,)."""

    suspect: Floats
    jump: Floats  # of the latest check-up alone
    warn: Floats


@dataclass(frozen=True, eq=False)
class Assessment:
    """All that a verdict is written from."""

    placements: Placements
    scatter: Scatter
    change: Floats  # (features, visits) dB from the baseline, common shift taken out
    variance: Floats  # (features, visits) dB^2; inf where missing
    bends: Bends
    ahead: Forecast
    agrees: Bools  # (features, visits) check-ups that bear the bend out
    days_agreeing: NDArray[np.intp]  # (features,)
    state: list[str]  # (features,)
    common_change: float
    common_z: float
    common_slope: float  # dB per hour
    common_since: float
    common_state: str
    scattered_since: float  # hours since when many orders stand elsewhere, each its own way; NaN
    alone: Bools  # (visits,) left out because many orders differ from the visits around it
    asks: list[str]  # what the latest check-up as a whole asks for: states


def assess(levels: Levels) -> Assessment:
    """Judge a history that has a baseline; see the modules beside this one for each step."""
    result = _assess(levels, levels.is_order)
    out = np.zeros(levels.is_order.size, dtype=bool)
    for _ in range(MOST_PASSES):
        # Several that moved pull at what all have in common: once more without the strongest.
        moved = levels.is_order & np.array([state in CONFIRMED for state in result.state])
        ranked = np.argsort(np.where(moved, -np.abs(result.bends.z), 0.0), kind="stable")
        strongest = np.isin(
            np.arange(moved.size), ranked[: min(moved.sum(), levels.is_order.sum() // 3)]
        )
        if strongest.sum() < 2 or (strongest == out).all():
            break
        out = strongest
        result = _assess(levels, levels.is_order & ~out)
    return result


def _assess(levels: Levels, voters: Bools) -> Assessment:
    """Judge a history; `voters` say what all orders have in common."""
    prior = {"prior_placement": levels.prior_placement, "prior_day": levels.prior_day}
    placement_sd, day_sd = levels.prior_placement, levels.prior_day
    shared = levels.shared_variance
    effect, slopes = np.zeros(levels.db.shape), None
    for _ in range(2):  # once by the prior scatter, once by the boat's own
        placements = sort_out(
            levels.db - effect,
            baseline=levels.baseline,
            is_order=voters,
            shares_gain=levels.shares_gain,
            placement_sd=placement_sd,
            day_sd=day_sd if shared is None else np.sqrt(day_sd**2 + usual(shared)),
        )
        scatter = usual_scatter(placements.changes, **prior, pooled=levels.is_order, shared=shared)
        placement_sd, day_sd = scatter.placement, scatter.day
        if levels.conditions is not None:
            effect, slopes = follow(
                placements.changes + effect,
                levels.conditions,
                scatter,
                levels.is_order,
                levels.scale,
            )
    change, variance = visit_means(placements.changes, levels.extra_variance, scatter)
    alone = standing_alone(change[levels.is_order], variance[levels.is_order])
    if alone[levels.baseline].all():  # nothing contradicts a baseline that is all there is
        alone &= ~levels.baseline
    variance = np.where(alone, np.inf, variance)
    first = int(np.flatnonzero(levels.baseline)[-1])
    variance = np.where(wild_days(change, variance, first=first), np.inf, variance)
    bends = find_bends(
        change,
        variance,
        levels.hours,
        first=first,
        degrees=scatter.degrees,
        slopes=slopes,
        witnesses=levels.is_order,
    )
    ahead = forecast(
        change,
        variance,
        levels.hours,
        first=first,
        limit=levels.limit_db,
        slopes=slopes,
        scale=levels.scale,
    )
    ahead = look_again(
        ahead,
        bends,
        change,
        variance,
        levels.hours,
        limit=levels.limit_db,
        degrees=scatter.degrees,
        scale=levels.scale,
    )
    many = many_moved(change, variance, levels.hours, first=first, slopes=slopes, orders=voters)
    state, agrees, days = _states(levels, placements.used, change, variance, bends, ahead)
    alike = _alike(levels, placements, first)
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
        agrees,
        days,
        state,
        common_change=alike.change,
        common_z=alike.z,
        common_slope=alike.slope,
        common_since=alike.since_hours,
        common_state=_common_state(levels, placements, alike, many),
        scattered_since=np.nan if many is None else float(levels.hours[many - 1 : many + 1].mean()),
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
    levels: Levels,
    used: Bools,
    change: Floats,
    variance: Floats,
    bends: Bends,
    ahead: Forecast,
) -> tuple[list[str], Bools, NDArray[np.intp]]:
    features, visits = change.shape
    sign = np.sign(bends.z)[:, None]
    beyond = sign * (change - bends.level[:, None]) / np.sqrt(variance)
    since = np.arange(visits) >= bends.first_visit[:, None]
    agrees = since & (beyond >= DAY_AGREES_SD)
    days = (agrees & ~_again_that_day(agrees, levels.date)).sum(axis=1)
    placements = (agrees * used.sum(axis=1)).sum(axis=1)
    bound = bounds(levels)
    suspected = np.abs(bends.z) >= bound.suspect
    suspected |= np.abs(bends.jump_z) >= bound.jump
    counts = np.ones(features, bool) if levels.rises_only is None else ~levels.rises_only
    counts = counts | (bends.z > 0)
    # Once three days agree, one that lies lower, but not back at the level, takes nothing away.
    shown = np.isfinite(variance)
    if levels.shared_variance is not None:
        shown &= agrees | ~_no_contradiction(agrees, change, variance)
    last = visits - 1 - np.argmax(shown[:, ::-1], axis=1)  # that shows it
    latest = np.take_along_axis(beyond, last[:, None], axis=1)[:, 0]
    holds = (latest >= DAY_AGREES_SD) | ((days >= 3) & (latest > 0))
    suspected &= counts
    changed = (np.abs(bends.z) >= bound.warn) & (days >= 2) & holds & counts
    changed &= placements >= AGREEING_PLACEMENTS
    over = (since & (change >= levels.limit_db[:, None])).sum(axis=1) >= 2
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
    return state, agrees, days


def _no_contradiction(agrees: Bools, change: Floats, variance: Floats) -> Bools:
    """Say which visits know much less than those that agree, and do not lie clear of them.

    Such a one, as with a damper far from the baseline's temperature, is no return to the level.
    """
    weight = np.where(agrees, 1 / variance, 0.0)
    total = np.maximum(weight.sum(axis=1, keepdims=True), 1e-12)
    level = (weight * change).sum(axis=1, keepdims=True) / total
    usual_variance = agrees.sum(axis=1, keepdims=True) / total
    near = np.abs(change - level) < CONTRADICTS_SD * np.sqrt(variance)
    unsure: Bools = (variance > LESS_SURE * usual_variance) & near
    return unsure


def _again_that_day(agrees: Bools, date: NDArray[np.datetime64] | None) -> Bools:
    """Say which visits that agree follow one that agrees on the same date: no day of their own."""
    again = np.zeros_like(agrees)
    if date is not None:
        again[:, 1:] = agrees[:, :-1] & (date[1:] == date[:-1])  # NaT equals nothing
    return again


def bounds(levels: Levels) -> Bounds:
    """Return what the features of a history have to pass, by their number and their kind."""
    count = levels.shares_gain.size
    usual = (SUSPECT_Z, SUSPECT_JUMP, WARN_Z)
    if levels.shares_gain.any():
        return Bounds(*(np.full(count, among(each, count)) for each in usual))
    frequency = np.zeros(count, dtype=bool) if levels.scale is None else levels.scale < 1
    several = max(count / len(QUANTITIES), 1.0)
    return Bounds(
        *(
            np.where(frequency, among(one, several, 1), among(other, several, 1))
            for one, other in zip(FREQUENCY_Z, SHAPE_Z, strict=True)
        )
    )


def among(deviate: float, features: float, usual: float = USUAL_FEATURES) -> float:
    """Return the deviate that some features together pass by chance as often as the usual 14.

    The tail of a normal deviate falls off as exp(-z^2 / 2). Fewer than 14 get half of that back:
    the fewer there are, the less surely the phone is told from them.
    """
    more = np.log(features / usual)
    return float(np.sqrt(deviate**2 + (2 if more > 0 else 1) * more))


def _alike(levels: Levels, placements: Placements, first: int) -> Alike:
    if levels.is_order.sum() < TOO_FEW_ORDERS:
        return Alike(np.nan, 0.0, np.nan, np.nan, moved=False, jumped=False)
    return moved_alike(placements.common, levels.conditions, levels.hours, first=first)


def _common_state(levels: Levels, placements: Placements, alike: Alike, many: int | None) -> str:
    if levels.baseline[-1]:
        complete = baseline_complete(levels.baseline, placements.used)
        return "no-change-seen" if complete else "learning"
    if alike.moved or many is not None:
        return "all-moved"
    return "another-day" if alike.jumped else "no-change-seen"
