"""What the check-ups so far could notice, what the baseline lacks and what more of it buys."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vibetrend.baseline import FULL_BASELINE, FULL_DAY
from vibetrend.trend import resonance
from vibetrend.trend.assess import Assessment, Levels
from vibetrend.trend.findings import Table
from vibetrend.trend.history import History
from vibetrend.trend.noticeable import RISE_DB_PER_HOUR, Noticeable
from vibetrend.trend.phrases import ahead, capital, count_of
from vibetrend.trend.priors import PRIOR_DAY_DB, is_frequency

Bools = NDArray[np.bool_]

NEEDED = "The baseline still needs "
IN_NINE = "in nine cases of ten"
MUCH_MORE = 2.0  # times the usual scatter of days


def guidance(arranged: History, recordings: Table, watched: Noticeable, *, calm: bool) -> list[str]:
    """Return sentences; where something moved already (not `calm`), only what the baseline lacks.

    Numbers are those of the median order.
    """
    levels = arranged.levels
    if levels is None:
        return []
    some, of = _watched(arranged, levels)
    now = watched.of_median(some)
    used = _baseline_placements(arranged, recordings)
    full = sum(count >= FULL_DAY for count in used)
    if full >= FULL_BASELINE:
        return [f"What could be noticed now: {_reach(now, of)}."] if calm else []
    if all(taken.baseline for taken in arranged.recordings):
        return _still_needed(now, of, used, full, arranged.placement)
    better = now.with_baseline(*[FULL_DAY] * (FULL_BASELINE - full))
    thin = f"The baseline has {count_of(full, 'complete day')} instead of three days"
    return [
        f"{thin} of three {arranged.placement}s, so its level is less certain. What could be "
        f"noticed: {_reach(now, of)}. With three days the jump would be {_step(better, of)}."
    ]


def _watched(arranged: History, levels: Levels) -> tuple[Bools, str]:
    """Return the features whose median is told, and one of them for its unit.

    Orders; of run-ups the crankshaft's frequencies, or what there is of them.
    """
    texts = [text for text, _ in arranged.features]
    frequency = is_frequency(texts)
    crank = frequency & np.array([resonance.of_crankshaft(text) for text in texts], bool)
    every = np.ones(len(texts), dtype=bool)
    some = next(each for each in (levels.is_order, crank, frequency, every) if each.any())
    return some, texts[int(np.argmax(some))]


def unlike_days(levels: Levels, result: Assessment) -> list[str]:
    """Say where days scatter much more than they usually do."""
    day = float(np.median(result.scatter.day[levels.is_order])) if levels.is_order.any() else 0.0
    many = np.isfinite(result.scattered_since)  # which widens the scatter by itself
    if day <= MUCH_MORE * PRIOR_DAY_DB or many:
        return []
    return [
        f"Your days differ by {day:.1f} dB, much more than usual ({PRIOR_DAY_DB:.1f} dB): the same "
        f"warm-up, spot and speed every time would make the watch sharper. A change within the "
        f"baseline's own days could hide in that."
    ]


def _baseline_placements(arranged: History, recordings: Table) -> list[int]:
    used: dict[Any, int] = {}
    for taken, row in zip(arranged.recordings, recordings, strict=True):
        if taken.baseline:
            used[taken.visit] = used.get(taken.visit, 0) + row["used"]
    return list(used.values())


def _still_needed(
    now: Noticeable, of: str, used: Sequence[int], full: int, placement: str
) -> list[str]:
    """Say before the user walks away what is missing, and what it buys."""
    lacking = max(FULL_DAY - used[-1], 0)
    days = FULL_BASELINE - full - (lacking > 0)
    wanted, buys = [], []
    now_full = now
    if lacking:
        placements = count_of(lacking, f"more {placement}")
        wanted.append(f"{placements} today (on a later day: another day of three instead)")
        now_full = now.with_baseline(FULL_DAY, instead=1)
        buys.append(f"{placements} would bring that jump to {_step(now_full, of)}")
    if days:
        more = count_of(days, "more day")
        wanted.append(f"{more} of three")
        buys.append(
            f"{more} would bring {'it' if lacking else 'that jump'} to "
            f"{_step(now_full.with_baseline(*[FULL_DAY] * days), of)}"
        )
    bought = ", ".join(buys)
    return [
        f"{NEEDED}{', then '.join(wanted)}.",
        f"What could be noticed as it is: {_reach(now, of)}. {capital(bought)}.",
    ]


def _reach(watched: Noticeable, of: str = "order") -> str:
    step = float(watched.step_db()[0])
    if resonance.is_resonance(of):
        what = f"a jump of {_step(watched, of)}" if np.isfinite(step) else "no jump of any size"
        quantity = resonance.parts(of).quantity
        return f"{what} in a resonance's {quantity}, confirmed by a second day, {IN_NINE}"
    hours = float(watched.rise_hours()[0])
    jump = (
        f"a jump of {_step(watched, of)} in one order, confirmed by a second day"
        if np.isfinite(step)
        else "no jump of any size in one order"
    )
    rise = (
        f"a rise of 1 dB per 500 h after about {ahead(hours)} ({hours * RISE_DB_PER_HOUR:.1f} dB)"
        if np.isfinite(hours)
        else "no rise of 1 dB per 500 h"
    )
    return f"{jump}, and {rise}, {IN_NINE}"


def _step(watched: Noticeable, of: str) -> str:
    return resonance.scatter(of, float(watched.step_db()[0]))
