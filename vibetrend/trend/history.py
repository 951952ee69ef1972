"""The checked rows of a history arranged as visits x placements x features."""

from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.errors import JudgeError
from vibetrend.trend.assess import Levels
from vibetrend.trend.rows import Rows, check, label

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SPEED_BAND = 0.03  # of the baseline's speed
WARM_BAND_C = 15.0

PRIOR_PLACEMENT_DB = 0.75
PRIOR_DAY_DB = 0.4
PRIOR_FREQUENCY_DB = 0.06  # half a per cent of a frequency is 0.04 dB

_DB_PER_PART = 20 / np.log(10)


@dataclass(frozen=True)
class Taken:
    """One recording of the history and its place among the arrays."""

    recording: Hashable
    visit: Hashable
    baseline: bool
    why_not: str  # empty where it can be compared
    at: tuple[int, int] | None  # visit and placement in `Levels`


@dataclass(frozen=True, eq=False)
class History:
    """One series, ready to be judged."""

    levels: Levels | None  # None without a baseline that can be used
    features: list[tuple[str, float]]  # text and order
    recordings: list[Taken]  # by hours
    not_judged: list[str]  # features that could not be told from the noise level
    notes: list[str]


def arrange(history: pd.DataFrame, *, limit_db: float) -> History:
    """Check a history and arrange it.

    Raises
    ------
    JudgeError
        If the history is incomplete, contradicts itself, or holds more than one series.
    """
    if not (np.isfinite(limit_db) and limit_db > 0):
        raise JudgeError(f"limit_db is {limit_db}; give a rise in dB above 0, e.g. 6")
    rows = check(history)
    visits = _Visits(rows)
    why, notes = _gate(rows, visits)
    usable = np.array([not reason for reason in why])
    judged, not_judged, appeared = _judged(rows, visits, usable)
    notes += [
        f"{name[0].upper() + name[1:]} stands out now and did not at the baseline, so how far it "
        f"moved cannot be told: look at it."
        for name in appeared
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
            why_not=why[r],
            at=at.get(r),
        )
        for r in visits.order.tolist()
    ]
    levels = None
    if features and visits.baseline[rows.visit[kept]].any():
        levels = _levels(rows, visits, kept, places, judged, limit_db)
    return History(levels, features, recordings, not_judged, notes)


class _Visits:
    """Hours, baseline mark and rank of each visit; contradictions are refused."""

    def __init__(self, rows: Rows) -> None:
        count = np.bincount(rows.visit)
        self.hours = np.bincount(rows.visit, rows.hours) / count
        self.baseline = np.bincount(rows.visit, rows.baseline) > 0
        first = np.unique(rows.visit, return_index=True)[1]
        date = rows.date[first]
        by_time = np.lexsort((np.arange(count.size), date, self.hours))
        _check_time([rows.visits[v] for v in by_time], self.hours[by_time], date[by_time])
        # A baseline is one run of check-ups: what is marked after an ordinary one comes too late.
        marked = by_time[self.baseline[by_time]]
        place_of = np.argsort(by_time)
        late = marked[place_of[marked] - np.arange(marked.size) > place_of[marked[:1]]]
        self.baseline[late] = False
        self.late = [rows.visits[v] for v in late]
        place = np.empty(count.size, dtype=np.intp)
        place[by_time] = np.arange(count.size)
        self.rank = place[rows.visit]  # of each recording's visit
        self.order = np.lexsort((np.arange(rows.visit.size), rows.hours, self.rank))


def _check_time(visits: list[Hashable], hours: Floats, date: NDArray[np.datetime64]) -> None:
    dated = np.flatnonzero(~np.isnat(date))
    back = np.flatnonzero(np.diff(date[dated]) < np.timedelta64(0, "s"))
    if back.size:
        late = dated[back[0]]
        raise JudgeError(
            f"check-up {visits[late]} has more engine hours ({hours[late]:g} h) than one of a "
            f"later date; correct the hours or the date"
        )


def _gate(rows: Rows, visits: _Visits) -> tuple[list[str], list[str]]:
    """Say which recordings cannot be compared, and why; return doubts about the others."""
    why = [""] * len(rows.recordings)
    base = visits.baseline[rows.visit]
    seen = np.bincount(rows.recording, rows.seen) > 0
    for r in np.flatnonzero(~seen):
        why[r] = "nothing in it could be told from the noise level"
    speed = _median(rows.rpm[base])
    for r in np.flatnonzero(np.abs(rows.rpm / speed - 1) > SPEED_BAND):
        why[r] = (
            f"its speed of {rows.rpm[r]:.0f} rpm is more than 3 % from the baseline's "
            f"{speed:.0f} rpm"
        )
    if base.any():
        start = visits.hours[visits.baseline].min()
        for r in np.flatnonzero(~base & (visits.hours[rows.visit] < start)):
            why[r] = "it was taken before the baseline"
    usual = _median(rows.temperature_c[base])
    now = _median(rows.temperature_c[visits.rank == visits.rank.max()])
    notes = [
        f"Check-up {visit} is marked as baseline, but an ordinary check-up lies before it: it "
        f"counts as an ordinary one."
        for visit in visits.late
    ]
    if abs(now - usual) > WARM_BAND_C:
        notes.append(
            f"The latest check-up was taken at {now:.0f} degrees C, the baseline at {usual:.0f}: "
            f"take the next one as warm as the baseline."
        )
    return why, notes


def _median(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else np.nan


def _judged(rows: Rows, visits: _Visits, usable: Bools) -> tuple[list[int], list[str], list[str]]:
    """Return the features seen in half of the baseline and of the latest check-up.

    Also name those that were not, and those that only the latest check-up shows.
    """
    every = np.arange(len(rows.features))
    if not usable.any():
        return [], [label(*rows.features[k]) for k in every], []
    latest = visits.rank == visits.rank[usable].max()
    base = visits.baseline[rows.visit]

    def seen_in_half(some: Bools) -> Bools:
        shown = rows.seen & some[rows.recording]
        counts = np.bincount(rows.feature[shown], minlength=every.size)
        return np.asarray(2 * counts >= some.sum(), dtype=bool)

    before, now = seen_in_half(base & usable), seen_in_half(latest & usable)
    appeared = now & ~before & bool((latest & ~base).any()) & bool(base.any())
    names = [label(*feature) for feature in rows.features]
    return (
        every[before & now].tolist(),
        [names[k] for k in every[~(before & now) & ~appeared]],
        [names[k] for k in every[appeared]],
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

    text = [rows.features[k][0] for k in judged]
    resonance = np.array([name.startswith("resonance") for name in text])
    frequency = resonance & np.array([name.endswith("frequency") for name in text])
    width = resonance & np.array([name.endswith("width") for name in text])
    limit = np.where(frequency | width, np.nan, limit_db)
    own = np.flatnonzero(good & np.isfinite(rows.limit_db))
    own = own[np.lexsort((rows.limit_db[own], visit[own]))]  # the latest one holds
    limit[feature[own]] = rows.limit_db[own]
    first = np.unique([v for v, _ in places], return_index=True)[1]
    at = rows.visit[kept[first]]
    return Levels(
        db=db,
        extra_variance=extra,
        hours=visits.hours[at],
        baseline=visits.baseline[at],
        limit_db=limit,
        is_order=np.array([name == "order" for name in text]),
        shares_gain=~resonance,
        prior_placement=np.maximum(
            np.where(frequency, PRIOR_FREQUENCY_DB, PRIOR_PLACEMENT_DB), np.sqrt(usual)
        ),
        prior_day=np.where(frequency, PRIOR_FREQUENCY_DB, PRIOR_DAY_DB),
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
