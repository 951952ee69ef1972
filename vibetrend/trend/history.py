"""The checked rows of a history arranged as visits x placements x features."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.baseline import marked_late
from vibetrend.errors import JudgeError
from vibetrend.trend import resonance
from vibetrend.trend.assess import Levels
from vibetrend.trend.gate import Refused, refused
from vibetrend.trend.phrases import capital
from vibetrend.trend.priors import prior_scatter, scale
from vibetrend.trend.rows import Rows, check, label, names_of
from vibetrend.trend.warmth import shared_variance, warmer_than_baseline

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SPEED_STEP = 0.005  # what counts as one step of a condition
WARM_STEP_C = 5.0
LAY_UP_DAYS = 60
LAY_UP_HOURS = 20.0  # run meanwhile, at most; common practice, no source
# Noise alone reaches 3 times its own level once in 10 000 times: what an order can hide under.
HIDDEN = 3.5

_DB_PER_PART = 20 / np.log(10)


@dataclass(frozen=True)
class Taken:
    """One recording of the history and its place among the arrays."""

    recording: Hashable
    visit: Hashable
    baseline: bool
    why_not: str  # empty where it can be compared
    remedy: str  # what to do about it when it is taken again
    at: tuple[int, int] | None  # visit and placement in `Levels`


@dataclass(frozen=True)
class LayUp:
    """A long rest between two neighbouring check-ups."""

    before_hours: float
    after_hours: float
    days: int


@dataclass(frozen=True, eq=False)
class History:
    """One series, ready to be judged."""

    levels: Levels | None  # None without a baseline that can be used
    features: list[tuple[str, float]]  # text and order
    recordings: list[Taken]  # by hours
    not_judged: list[tuple[str, float]]  # features that could not be told from the noise level
    lost: list[tuple[str, float]]  # some of them: seen at an earlier check-up, not at the latest
    small: set[int]  # features whose latest velocity lies below the one that matters
    lay_ups: list[LayUp]
    notes: list[str]
    swept: bool  # run-ups: nothing in it but resonances
    damper_warmer: Floats  # (visits,) degrees C beyond the baseline's mean; NaN not stated
    telling: dict[str, float]  # order that shows a resonance's feature best, where that is known

    @property
    def placement(self) -> str:
        """What one recording is called."""
        return "sweep" if self.swept else "placement"


def arrange(
    history: pd.DataFrame,
    *,
    limit_db: float,
    small_velocity_mm_s: float | None = None,
    keep: Sequence[tuple[str, float]] = (),
) -> History:
    """Check a history and arrange it.

    Parameters
    ----------
    limit_db : float
        The rise that matters, dB.
    small_velocity_mm_s : float, optional
        Below this rms velocity an order does not matter.
    keep : sequence of features
        Those of `lost` that are to be judged by the check-ups that show them.

    Raises
    ------
    JudgeError
        If the history is incomplete, contradicts itself, or holds more than one series.
    """
    if not (np.isfinite(limit_db) and limit_db > 0):
        raise JudgeError(f"limit_db is {limit_db}; give a rise in dB above 0, e.g. 6")
    rows = _without_speed_of_sweeps(check(history))
    visits = _Visits(rows)
    at_baseline = visits.baseline[rows.visit]
    out, notes = refused(rows, at_baseline, visits.hours[rows.visit])
    usable = ~np.isin(np.arange(len(rows.recordings)), list(out))
    notes += _left_out_of_baseline(out, at_baseline)
    notes += [
        f"Check-up {visit} is marked as baseline, but an ordinary check-up lies before it: it "
        f"counts as an ordinary one."
        for visit in visits.late
    ]
    rows, hidden = _hidden(rows, visits, usable)
    judged, not_judged, appeared, lost = _judged(rows, visits, usable, keep)
    notes += [
        f"{capital(label(*rows.features[k]))} could not be told from the noise level at the "
        f"baseline: a rise of it is larger than shown."
        for k in judged
        if k in hidden
    ]
    notes += [
        f"{capital(label(*feature))} could not be told from the noise level at the latest "
        f"check-up: what is said of it rests on those before."
        for feature in keep
    ]
    notes += [
        f"{capital(name)} stands out now and did not at the baseline, so how far it moved "
        f"cannot be told: look at it."
        for name in names_of([rows.features[k] for k in appeared])
    ]
    features = [rows.features[k] for k in judged]
    kept = visits.order[usable[visits.order]]
    places = _places(visits.rank[kept])
    at = dict(zip(kept.tolist(), places, strict=True))
    recordings = [
        Taken(
            recording=rows.recordings[r],
            visit=rows.visits[rows.visit[r]],
            baseline=bool(visits.baseline[rows.visit[r]]),
            why_not=out[r].why if r in out else "",
            remedy=out[r].remedy if r in out else "",
            at=at.get(r),
        )
        for r in visits.order.tolist()
    ]
    small = _small(rows, visits, usable, judged, small_velocity_mm_s or 0.0)
    levels = None
    if features and visits.baseline[rows.visit[kept]].any():
        levels = _levels(rows, visits, kept, places, judged, limit_db, hidden, small)
    return History(
        levels=levels,
        features=features,
        recordings=recordings,
        not_judged=[rows.features[k] for k in not_judged],
        lost=lost,
        small=small,
        lay_ups=visits.lay_ups,
        notes=notes,
        swept=all(resonance.is_resonance(text) for text, _ in rows.features),
        damper_warmer=warmer_than_baseline(
            rows.damper_c[kept],
            visits.baseline[rows.visit[kept]],
            np.array([visit for visit, _ in places], dtype=np.intp),
        ),
        telling=resonance.telling_orders(history),
    )


class _Visits:
    """Hours, baseline mark and rank of each visit; contradictions are refused."""

    def __init__(self, rows: Rows) -> None:
        count = np.bincount(rows.visit)
        self.hours = np.bincount(rows.visit, rows.hours) / count
        self.baseline = np.bincount(rows.visit, rows.baseline) > 0
        date = pd.Series(rows.date).groupby(rows.visit).min().to_numpy(dtype="datetime64[s]")
        by_time = np.lexsort((np.arange(count.size), date, self.hours))
        _check_time([rows.visits[v] for v in by_time], self.hours[by_time], date[by_time])
        late = by_time[marked_late(self.baseline[by_time])]
        self.baseline[late] = False
        self.late = [rows.visits[v] for v in late]
        place = np.empty(count.size, dtype=np.intp)
        place[by_time] = np.arange(count.size)
        self.rank = place[rows.visit]  # of each recording's visit
        self.order = np.lexsort((np.arange(rows.visit.size), rows.hours, self.rank))
        self.date = date
        self.lay_ups = _lay_ups(self.hours[by_time], date[by_time])


def _check_time(visits: list[Hashable], hours: Floats, date: NDArray[np.datetime64]) -> None:
    dated = np.flatnonzero(~np.isnat(date))
    back = np.flatnonzero(np.diff(date[dated]) < np.timedelta64(0, "s"))
    if back.size:
        late = dated[back[0]]
        raise JudgeError(
            f"check-up {visits[late]} has fewer engine hours ({hours[late]:g} h) than one of an "
            f"earlier date; correct the hours or the date"
        )


def _lay_ups(hours: Floats, date: NDArray[np.datetime64]) -> list[LayUp]:
    days = np.diff(date) / np.timedelta64(1, "D")  # NaN where a date is unknown
    still = np.flatnonzero((days > LAY_UP_DAYS) & (np.diff(hours) < LAY_UP_HOURS))
    return [LayUp(float(hours[v]), float(hours[v + 1]), int(days[v])) for v in still]


def _left_out_of_baseline(out: dict[int, Refused], baseline: Bools) -> list[str]:
    """Name how many recordings of the baseline are not used, and why."""
    why = sorted({out[r].why for r in out if baseline[r]})
    return [
        f"{sum(bool(baseline[r]) and out[r].why == each for r in out)} of the baseline's "
        f"{int(baseline.sum())} recordings not used: {each}."
        for each in why
    ]


def _without_speed_of_sweeps(rows: Rows) -> Rows:
    """Return rows in which a run-up has no speed: it passes through all of them."""
    of_orders = np.array([not resonance.is_resonance(text) for text, _ in rows.features])
    steady = np.bincount(rows.recording, of_orders[rows.feature], len(rows.recordings)) > 0
    return replace(rows, rpm=np.where(steady, rows.rpm, np.nan))


def _median(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else np.nan


def _hidden(rows: Rows, visits: _Visits, usable: Bools) -> tuple[Rows, set[int]]:
    """Give orders that the noise level hid at the baseline the amplitude they can have had at most.

    What rises out of the noise has then risen by at least its distance from there. Where the
    amplitude lies above what noise can hide, something else was in the way: not judged.
    """
    at_baseline = visits.baseline[rows.visit] & usable
    base = at_baseline[rows.recording]
    most = HIDDEN * rows.floor
    under = base & ~rows.seen & (most > 0) & ~(rows.amplitude > most)
    count, of = len(rows.features), max(int(at_baseline.sum()), 1)
    seen = np.bincount(rows.feature[base & rows.seen], minlength=count)
    hid = np.bincount(rows.feature[under], minlength=count)
    is_order = np.array([text == "order" for text, _ in rows.features])
    later = bool((usable & ~visits.baseline[rows.visit]).any())
    hidden = set(
        np.flatnonzero(later & is_order & (2 * seen < of) & (2 * (seen + hid) >= of)).tolist()
    )
    amplitude, shown = rows.amplitude.copy(), rows.seen.copy()
    for k in hidden:
        here = base & (rows.feature == k) & (under | rows.seen)
        amplitude[here] = np.where(rows.seen, amplitude, most)[here].max()
        shown |= here
    error = np.where(under & shown, np.nan, rows.standard_error)
    return replace(rows, amplitude=amplitude, seen=shown, standard_error=error), hidden


def _small(
    rows: Rows, visits: _Visits, usable: Bools, judged: list[int], velocity: float
) -> set[int]:
    """Return the places among the judged of features too small to matter at the latest check-up."""
    latest = (visits.rank == visits.rank[usable].max() if usable.any() else usable)[rows.recording]
    return {
        at
        for at, k in enumerate(judged)
        if _median(rows.velocity_mm_s[latest & (rows.feature == k)]) < velocity
    }


def _judged(
    rows: Rows, visits: _Visits, usable: Bools, keep: Sequence[tuple[str, float]]
) -> tuple[list[int], list[int], list[int], list[tuple[str, float]]]:
    """Return the features seen in half of the baseline and of the latest check-up.

    Also those that were not, those that only the latest check-up shows, and those that a
    check-up before it still showed.
    """
    every = np.arange(len(rows.features))
    if not usable.any():
        return [], every.tolist(), [], []
    latest = visits.rank == visits.rank[usable].max()
    base = visits.baseline[rows.visit]

    def seen_in_half(some: Bools) -> Bools:
        shown = rows.seen & some[rows.recording]
        counts = np.bincount(rows.feature[shown], minlength=every.size)
        return np.asarray(2 * counts >= some.sum(), dtype=bool)

    before, now = seen_in_half(base & usable), seen_in_half(latest & usable)
    appeared = now & ~before & bool((latest & ~base).any()) & bool(base.any())
    later = usable & ~base & ~latest
    shown = rows.seen & later[rows.recording]
    lost = before & ~now & (np.bincount(rows.feature[shown], minlength=every.size) > 0)
    judged = before & (now | np.array([feature in keep for feature in rows.features]))
    return (
        every[judged].tolist(),
        every[~judged & ~appeared].tolist(),
        every[appeared].tolist(),
        [rows.features[k] for k in every[lost]],
    )


def _places(rank: NDArray[np.intp]) -> list[tuple[int, int]]:
    """Return visit and placement number of recordings sorted by visit."""
    _, first, visit = np.unique(rank, return_index=True, return_inverse=True)
    return list(zip(visit.tolist(), (np.arange(rank.size) - first[visit]).tolist(), strict=True))


def _levels(
    rows: Rows,
    visits: _Visits,
    kept: NDArray[np.intp],
    places: list[tuple[int, int]],
    judged: list[int],
    limit_db: float,
    hidden: set[int],
    small: set[int],
) -> Levels:
    place = np.full((len(rows.recordings), 2), -1)
    place[kept] = places
    which = np.full(len(rows.features), -1)
    which[judged] = np.arange(len(judged))
    feature = which[rows.feature]
    visit, number = place[rows.recording].T
    good = (visit >= 0) & (feature >= 0) & rows.seen
    cube = visit[good], number[good], feature[good]
    db = np.full((*np.max(places, axis=0) + 1, len(judged)), np.nan)
    db[cube] = 20 * np.log10(rows.amplitude[good])
    noise = np.full(db.shape, np.nan)
    noise[cube] = (_DB_PER_PART * rows.standard_error[good] / rows.amplitude[good]) ** 2
    usual, extra = _excess(noise)
    told = np.full(db.shape, np.nan)
    told[cube] = (_DB_PER_PART * rows.shared_error[good] / rows.amplitude[good]) ** 2
    shared = shared_variance(told)

    text = [rows.features[k][0] for k in judged]
    of_resonance = np.array([resonance.is_resonance(name) for name in text])
    prior_placement, prior_day = prior_scatter(
        text, usual=usual, stated=np.isfinite(told).any(axis=(0, 1))
    )
    # What of a frequency or a width is too much, only the maker can say. A height is a vibration
    # like an order's, and the twist the crank has to bear at that speed: its limit is theirs.
    limit = np.where([resonance.in_percent(name) for name in text], np.nan, limit_db)
    own = np.flatnonzero(good & np.isfinite(rows.limit_db))
    own = own[np.lexsort((rows.limit_db[own], visit[own]))]  # the latest one holds
    limit[feature[own]] = rows.limit_db[own]
    limit[list(small)] = np.nan  # however far it rises, it does not matter yet
    first = np.unique([v for v, _ in places], return_index=True)[1]
    at = rows.visit[kept[first]]
    conditions = np.full((*db.shape[:2], 2), np.nan)
    conditions[tuple(np.transpose(places))] = _conditions(rows, visits)[kept]
    masked = np.isin(judged, list(hidden))
    return Levels(
        db=db,
        extra_variance=extra,
        hours=visits.hours[at],
        baseline=visits.baseline[at],
        limit_db=limit,
        is_order=np.array([name == "order" for name in text]) & ~masked,
        shares_gain=~of_resonance,
        prior_placement=prior_placement,
        prior_day=prior_day,
        rises_only=masked,
        date=None if np.isnat(visits.date).all() else visits.date[at],
        conditions=conditions if np.isfinite(conditions).any() else None,
        shared_variance=shared if shared.any() else None,
        scale=scale(text),
    )


def _conditions(rows: Rows, visits: _Visits) -> Floats:
    """Return the speed and warmth of each recording in steps from the baseline's, NaN unknown."""
    base = visits.baseline[rows.visit]
    return np.column_stack(
        [
            (rows.rpm / _median(rows.rpm[base]) - 1) / SPEED_STEP,
            (rows.temperature_c - _median(rows.temperature_c[base])) / WARM_STEP_C,
        ]
    )


def _excess(noise: Floats) -> tuple[Floats, Floats]:
    """Split measurement variance into each feature's usual one and what a placement has beyond it.

    The usual one is part of the scatter that is learned; only the excess is added to it.
    """
    flat = np.sort(noise.reshape(-1, noise.shape[-1]), axis=0)
    count = np.isfinite(flat).sum(axis=0)
    middle = np.take_along_axis(flat, np.maximum(count - 1, 0)[None] // 2, axis=0)[0]
    usual = np.where(count > 0, middle, 0.0)
    return usual, np.maximum(np.nan_to_num(noise - usual), 0.0)
