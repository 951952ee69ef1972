"""Hours until a change reaches the limit, from a bank of what-ifs weighted by likelihood.

Each what-if is a shape (a step, a ramp, a growth by e in some hundred hours) that began after one
of the past check-ups, scaled to 1 now; its size b, the change now in dB, has a normal prior of
mean 0. Its weight is its prior times its marginal likelihood, and given the shape b is normal. So

    P(limit reached by h) = sum_i weight_i P(b_i g_i(h) >= limit)                          (1)

of which three points are the hours shown. What never gets there is left at infinity.
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vibetrend.trend.bend import Bends, bank_of_bends, contrast, find_bends
from vibetrend.trend.conditions import Slopes

Floats = NDArray[np.float64]

SIZE_PRIOR_DB = 3.0
GROWTH_HOURS = (250.0, 500.0, 1000.0)  # by e
# Prior weights of the kinds of what-ifs; flat stands for "nothing has changed".
FLAT, STEP, RAMP, GROWTH = 0.9, 0.025, 0.035, 0.04
# A second bend is looked for where the last two check-ups lie this far, in their own standard
# error, from what one bend explains, and taken where its z is this large.
MISFIT = 1.5
SECOND_Z = 3.7
# Of the belief that the limit is reached by the hours shown. What-ifs with free onsets are wider
# than drifts turn out: between these two lie 90 % of mixed ones (tests/benchmarks/judge_lives.py).
SHARES = (0.08, 0.5, 0.93)
_AHEAD = np.concatenate([[0.0], np.geomspace(5.0, 40_000.0, 50)])  # hours


@dataclass(frozen=True, eq=False)
class Forecast:
    """What the what-ifs say together; each (features,)."""

    change: Floats  # dB now
    error: Floats  # its standard deviation, dB
    slope: Floats  # dB per hour now
    hours: Floats  # until the limit: 50 % point
    hours_low: Floats  # early end of a 90 % interval
    hours_high: Floats  # its late end
    never: Floats  # probability that the limit is not reached


def forecast(
    change: Floats,
    variance: Floats,
    hours: Floats,
    *,
    first: int,
    limit: Floats,
    slopes: Slopes | None = None,
    scale: Floats | None = None,
) -> Forecast:
    """Weigh the what-ifs by the visits so far and look ahead.

    Parameters
    ----------
    change, variance : array, shape (features, visits)
        dB and dB^2; an infinite variance stands for a missing value.
    hours : array, shape (visits,)
        Ascending.
    first : int
        The last visit that is certainly flat.
    limit : array, shape (features,)
        dB; NaN for a feature without one.
    slopes : Slopes, optional
        What the conditions may still hold.
    scale : array, shape (features,), optional
        How large a change of each may be against an order's; a resonance moves by less.
    """
    features, visits = change.shape
    if visits - 1 <= first:
        zero, none = np.zeros(features), np.full(features, np.nan)
        return Forecast(zero, none, zero, none, none, none, none)
    now = hours[-1]
    ramps, steps, onset = bank_of_bends(hours, first)
    length = now - onset
    ramp_there = length > 0
    tau = np.repeat(GROWTH_HOURS, onset.size)
    since = np.tile(length, len(GROWTH_HOURS))
    start = np.tile(onset, len(GROWTH_HOURS))
    full = np.expm1(np.maximum(since, 1e-6) / tau)
    growths = np.expm1(np.maximum(hours - start[:, None], 0) / tau[:, None]) / full[:, None]
    there = np.concatenate([ramp_there, np.ones(len(onset), bool), np.tile(ramp_there, 3)])
    bank = np.concatenate([ramps, steps, growths])
    prior = np.concatenate(
        [
            np.full(onset.size, RAMP / onset.size),
            np.full(onset.size, STEP / onset.size),
            np.full(tau.size, GROWTH / tau.size),
        ]
    )
    numerator, information = contrast(change, 1 / variance, bank, slopes)
    prior_size = SIZE_PRIOR_DB * (np.ones(1) if scale is None else scale)[:, None]
    spread = 1 / (information + prior_size**-2)
    size = numerator * spread
    log_weight = np.where(
        there, np.log(prior) + size**2 / spread / 2 + np.log(spread / prior_size**2) / 2, -np.inf
    )
    top = np.maximum(log_weight.max(axis=1, keepdims=True), np.log(FLAT))
    weight = np.exp(log_weight - top)
    weight /= weight.sum(axis=1, keepdims=True) + FLAT * np.exp(-top)

    r, n = onset.size, onset.size * 2
    pace = np.zeros_like(size[0])
    pace[:r] = 1 / np.maximum(length, 1e-6)
    pace[n:] = (1 + 1 / full) / tau
    # How much larger each what-if will be, ahead of now (Eq. 1); steps stay as they are.
    ahead = np.concatenate(
        [
            1 + _AHEAD / np.maximum(length, 1e-6)[:, None],
            np.ones((r, _AHEAD.size)),
            1 + np.expm1(np.minimum(_AHEAD / tau[:, None], 50)) * (1 + 1 / full)[:, None],
        ]
    )
    bound = limit[:, None]
    sd = np.sqrt(spread)
    reached = np.empty((features, _AHEAD.size))
    for f in range(features):
        likely = weight[f] > 1e-5
        z = (size[f, likely, None] - limit[f] / ahead[likely]) / sd[f, likely, None]
        reached[f] = weight[f, likely] @ ndtr(z)
    quantile = np.full((3, features), np.inf)
    for i, share in enumerate(SHARES):
        got = reached >= share
        at = np.argmax(got, axis=1)
        row = np.arange(features)
        low = np.maximum(at - 1, 0)
        gap = reached[row, at] - reached[row, low]
        part = np.where(gap > 0, (share - reached[row, low]) / np.where(gap > 0, gap, 1), 0.0)
        value = _AHEAD[low] + part * (_AHEAD[at] - _AHEAD[low])
        quantile[i] = np.where(got.any(axis=1), np.where(at == 0, 0.0, value), np.inf)
    change = (weight * size).sum(axis=1)
    square = (weight * (size**2 + spread)).sum(axis=1)
    known = np.isfinite(bound[:, 0])
    quantile[:, ~known] = np.nan
    return Forecast(
        change=change,
        error=np.sqrt(np.maximum(square - change**2, 0.0)),
        slope=(weight * size * pace).sum(axis=1),
        hours=quantile[1],
        hours_low=quantile[0],
        hours_high=quantile[2],
        never=np.where(known, 1 - reached[:, -1], np.nan),
    )


def look_again(
    ahead: Forecast,
    bends: Bends,
    change: Floats,
    variance: Floats,
    hours: Floats,
    *,
    limit: Floats,
    degrees: Floats,
    scale: Floats | None = None,
) -> Forecast:
    """Return the forecast, made anew where one bend does not explain where a feature stands now.

    What came after the first bend is then a history of its own: level, second bend, and from
    there ahead to the rest of the limit.
    """
    if hours.size < 4:
        return ahead
    last, sd = change[:, -2:].mean(axis=1), np.sqrt(variance[:, -2:].sum(axis=1)) / 2
    again = np.flatnonzero(np.abs(last - ahead.change) > MISFIT * sd)
    if not again.size:
        return ahead
    out = {field.name: getattr(ahead, field.name).copy() for field in fields(Forecast)}
    for f in again:
        begin = int(bends.first_visit[f])
        if hours.size - begin < 3:
            continue
        part = change[f : f + 1, begin:], variance[f : f + 1, begin:], hours[begin:]
        second = find_bends(*part, first=0, degrees=degrees[f : f + 1])
        if abs(second.z[0]) < SECOND_Z:
            continue
        level = second.level[0]
        of = None if scale is None else scale[f : f + 1]
        rest = forecast(*part, first=0, limit=limit[f : f + 1] - level, scale=of)
        if abs(last[f] - level - rest.change[0]) > 0.5 * abs(last[f] - ahead.change[f]):
            continue  # explains them no better
        for name, values in out.items():
            values[f] = getattr(rest, name)[0]
        out["change"][f] += level
    return Forecast(**out)
