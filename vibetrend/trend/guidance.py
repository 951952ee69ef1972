"""What the check-ups so far could notice, what the baseline lacks and what more of it buys."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from vibetrend.trend.assess import Assessment
from vibetrend.trend.history import History
from vibetrend.trend.noticeable import RISE_DB_PER_HOUR, Noticeable, noticeable
from vibetrend.trend.placements import FULL_BASELINE, FULL_DAY

Table = list[dict[str, Any]]


def guidance(arranged: History, recordings: Table, result: Assessment, *, calm: bool) -> list[str]:
    """Return sentences; where something moved already (not `calm`), only what the baseline lacks.

    Numbers are those of the median order.
    """
    levels = arranged.levels
    if levels is None:
        return []
    now = noticeable(levels, result).of_median(
        levels.is_order if levels.is_order.any() else np.ones(levels.db.shape[2], bool)
    )
    used = _baseline_placements(arranged, recordings)
    full = sum(count >= FULL_DAY for count in used)
    if full >= FULL_BASELINE:
        return [f"What could be noticed now: {_reach(now)}."] if calm else []
    if all(taken.baseline for taken in arranged.recordings):
        return _still_needed(now, used, full)
    better = now.with_baseline(*[FULL_DAY] * (FULL_BASELINE - full))
    thin = f"The baseline has {count_of(full, 'complete day')} instead of three days"
    return [
        f"{thin}, so its level is less certain. What could be noticed: {_reach(now)}. With three "
        f"days the jump would be {_step(better)}."
    ]


def count_of(number: int, what: str) -> str:
    """Return e.g. ``two placements``."""
    words = ("no", "one", "two", "three", "four", "five")
    plural = "" if number == 1 else "s"
    return f"{words[number] if number < len(words) else number} {what}{plural}"


def ahead(hours: float) -> str:
    """Return hours ahead with two digits, rounded down: no forecast knows more."""
    step = 10.0 ** max(int(np.floor(np.log10(max(hours, 1.0)))) - 1, 0)
    return f"{step * np.floor(hours / step):.0f} h"


def _baseline_placements(arranged: History, recordings: Table) -> list[int]:
    used: dict[Any, int] = {}
    for taken, row in zip(arranged.recordings, recordings, strict=True):
        if taken.baseline:
            used[taken.visit] = used.get(taken.visit, 0) + row["used"]
    return list(used.values())


def _still_needed(now: Noticeable, used: Sequence[int], full: int) -> list[str]:
    """Say before the user walks away what is missing, and what it buys."""
    today = max(FULL_DAY - used[-1], 0)
    days = FULL_BASELINE - full - (today > 0)
    wanted, buys = [], []
    if today:
        now_full = now.with_baseline(FULL_DAY, instead=1)
        wanted.append(f"{count_of(today, 'more placement')} today")
        buys.append(f"{wanted[-1]} would make that jump {_step(now_full)}")
    else:
        now_full = now
    if days:
        wanted.append(f"{count_of(days, 'more day')} of three")
        buys.append(
            f"{wanted[-1]} would make {'it' if today else 'that jump'} "
            f"{_step(now_full.with_baseline(*[FULL_DAY] * days))}"
        )
    more = ", ".join(buys)
    return [
        f"The baseline still needs {', then '.join(wanted)}.",
        f"What could be noticed as it is: {_reach(now)}. {more[0].upper() + more[1:]}.",
    ]


def _reach(watched: Noticeable) -> str:
    return (
        f"a jump of {_step(watched)} in one order, confirmed by a second day, and a rise of 1 dB "
        f"per 500 h {_rise(watched)}, each in nine cases of ten"
    )


def _step(watched: Noticeable) -> str:
    step = float(watched.step_db()[0])
    return f"{step:.1f} dB" if np.isfinite(step) else "no size"


def _rise(watched: Noticeable) -> str:
    hours = float(watched.rise_hours()[0])
    if np.isinf(hours):
        return "hardly ever"
    return f"after about {ahead(hours)} ({hours * RISE_DB_PER_HOUR:.1f} dB)"
