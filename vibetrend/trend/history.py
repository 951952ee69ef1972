"""The checked rows of a history arranged as visits x placements x features."""

from collections.abc import Hashable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.errors import JudgeError
from vibetrend.trend.assess import Levels
from vibetrend.trend.rows import CIRCUMSTANCES, Rows, check, label

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SPEED_BAND = 0.03  # of the baseline's speed
WARM_BAND_C = 15.0
SPEED_STEP = 0.005  # what counts as one step of a condition
WARM_STEP_C = 5.0
LAY_UP_DAYS = 60
LAY_UP_HOURS = 20.0  # run meanwhile, at most; common practice, no source
# Noise alone reaches 3 times its own level once in 10 000 times: what an order can hide under.
HIDDEN = 3.5

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
    not_judged: list[str]  # features that could not be told from the noise level
    small: set[int]  # features whose latest velocity lies below the one that matters
    lay_ups: list[LayUp]
    notes: list[str]


def arrange(
    history: pd.DataFrame, *, limit_db: float, small_velocity_mm_s: float | None = None
) -> History:
    """Check a history and arrange it.

    Parameters
    ----------
    limit_db : float
        The rise that matters, dB.
    small_velocity_mm_s : float, optional
        Below this rms velocity an order does not matter.

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
    rows, hidden = _hidden(rows, visits, usable)
    judged, not_judged, appeared = _judged(rows, visits, usable)
    notes += [
        f"{_capital(label(*rows.features[k]))} could not be told from the noise level at the "
        f"baseline: it has risen by at least what is shown."
        for k in judged
        if k in hidden
    ]
    notes += [
        f"{_capital(name)} stands out now and did not at the baseline, so how far it moved "
        f"cannot be told: look at it."
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
    small = _small(rows, visits, usable, judged, small_velocity_mm_s or 0.0)
    levels = None
    if features and visits.baseline[rows.visit[kept]].any():
        levels = _levels(rows, visits, kept, places, judged, limit_db, hidden, small)
    return History(levels, features, recordings, not_judged, small, visits.lay_ups, notes)


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
        self.lay_ups = _lay_ups(self.hours[by_time], date[by_time])


def _check_time(visits: list[Hashable], hours: Floats, date: NDArray[np.datetime64]) -> None:
    dated = np.flatnonzero(~np.isnat(date))
    back = np.flatnonzero(np.diff(date[dated]) < np.timedelta64(0, "s"))
    if back.size:
        late = dated[back[0]]
        raise JudgeError(
            f"check-up {visits[late]} has more engine hours ({hours[late]:g} h) than one of a "
            f"later date; correct the hours or the date"
        )


def _lay_ups(hours: Floats, date: NDArray[np.datetime64]) -> list[LayUp]:
    days = np.diff(date) / np.timedelta64(1, "D")  # NaN where a date is unknown
    still = np.flatnonzero((days > LAY_UP_DAYS) & (np.diff(hours) < LAY_UP_HOURS))
    return [LayUp(float(hours[v]), float(hours[v + 1]), int(days[v])) for v in still]


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
    for r in np.flatnonzero(np.abs(rows.temperature_c - usual) > WARM_BAND_C):
        why[r] = (
            f"the engine was at {rows.temperature_c[r]:.0f} degrees C, more than "
            f"{WARM_BAND_C:.0f} from the baseline's {usual:.0f}"
        )
    for name, said in rows.stated.items():
        usual_word = _most_common([word for word, of in zip(said, base, strict=True) if of])
        for at, word in enumerate(said):
            if word and usual_word and word != usual_word:
                why[at] = f"{CIRCUMSTANCES[name]} was {word}, at the baseline {usual_word}"
    notes = [
        f"Check-up {visit} is marked as baseline, but an ordinary check-up lies before it: it "
        f"counts as an ordinary one."
        for visit in visits.late
    ]
    return why, notes


def _most_common(words: list[str]) -> str:
    """Return the word stated most often, "" where none is."""
    stated = sorted(word for word in words if word)
    return max(stated, key=stated.count, default="")


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


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

    text = [rows.features[k][0] for k in judged]
    resonance = np.array([name.startswith("resonance") for name in text])
    frequency = resonance & np.array([name.endswith("frequency") for name in text])
    width = resonance & np.array([name.endswith("width") for name in text])
    limit = np.where(frequency | width, np.nan, limit_db)
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
        shares_gain=~resonance,
        prior_placement=np.maximum(
            np.where(frequency, PRIOR_FREQUENCY_DB, PRIOR_PLACEMENT_DB), np.sqrt(usual)
        ),
        prior_day=np.where(frequency, PRIOR_FREQUENCY_DB, PRIOR_DAY_DB),
        rises_only=masked,
        conditions=conditions if np.isfinite(conditions).any() else None,
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
