"""What a series' own verdict cannot know: the work, the damper and the phone or spot before it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from vibetrend.checkup.judging import verdict_on
from vibetrend.checkup.records import SeriesRecord, Step
from vibetrend.checkup.visits import first, latest, used
from vibetrend.logbook import Installation, Logbook, Series
from vibetrend.trend import Comparison, Verdict, compare
from vibetrend.trend.rows import label

_NAMES = ("device", "position", "codec", "condition")
_TELLS_APART = (*_NAMES, "unit")


@dataclass(frozen=True, eq=False)
class Judged:
    """A series of the logbook with what was concluded."""

    series: Series
    record: SeriesRecord


def followed(one: Judged, judged: Iterable[Judged]) -> Judged | None:
    """Return the series that this one follows: the same one before the last work."""
    earlier = [
        each
        for each in judged
        if each.series.epoch < one.series.epoch and each.series.is_like(one.series)
    ]
    return max(earlier, key=lambda each: each.series.epoch, default=None)


def after_work(one: Judged, left: Judged) -> Step | None:
    """Return the step across the last work: how the series begins, against how it was left.

    It was left as the latest check-up before the work shows, however few placements that has: an
    earlier one would show what drifted before the work as part of the step. Sweeps have none:
    each series names its resonances by its own baseline.
    """
    if one.series.manner != "steady":
        return None
    last, begun = latest(used(left.record)), used(one.record)
    baseline = _baseline(begun)
    found = _compared(last, first(begun) if baseline.empty else baseline)
    return None if found is None else Step(**vars(found), against=last["date"].max())


def before(
    one: Judged,
    judged: Iterable[Judged],
    *,
    logbook: Logbook,
    series: Sequence[Series],
    installations: Sequence[Installation],
) -> Comparison | None:
    """Return the baseline on this damper against recordings from before it was fitted.

    These are the ones kept for it, else the last check-up on the damper before. Of several
    baselines, as work gives them, the first is meant. Sweeps have none, as in `after_work`.
    """
    baseline = _baseline(used(one.record))
    alike = [each for each in judged if each.series.is_like(one.series)]
    if (
        one.series.manner != "steady"
        or not installations
        or baseline.empty
        or any(
            each.series.epoch < one.series.epoch and not _baseline(each.record.history).empty
            for each in alike
        )
    ):
        return None
    *former, present = installations
    fitted = [each.hours for each in former if not each.as_found]
    since = fitted[-1] if fitted else 0.0  # of the damper before
    like = [each for each in series if each.is_like(one.series)]
    kept = _since(
        since, (logbook.history(each.id, before=True) for each in like if each.keeps_before)
    )
    if kept is None and not present.as_found:  # a damper as found has none before it
        others = [each for each in like if each.installation != present]
        kept = _since(since, (logbook.history(each.id) for each in others))
        kept = None if kept is None else latest(kept)
    return None if kept is None else _compared(kept, baseline)


def carried(one: SeriesRecord, others: Iterable[SeriesRecord]) -> str | None:
    """Say what older series, on another phone or spot, had found when this one began."""
    begun = one.recordings["hours"].min()
    older = [
        other
        for other in others
        if all(other.info[name] == one.info[name] for name in ("epoch", "manner", "kind"))
        and any(other.info[name] != one.info[name] for name in _TELLS_APART)
        and other.recordings["hours"].min() < begun
    ]
    said = []
    for other in sorted(older, key=lambda each: float(each.recordings["hours"].min())):
        hours = other.recordings["hours"]
        found = _findings(other.verdict)
        if found and hours.max() > begun:  # what it found later is this one's own to find
            found = _findings(verdict_on(other.history.loc[other.history["hours"] <= begun]))
        if found:
            name = ", ".join(str(other.info[key]) for key in _NAMES if other.info[key])
            said.append(
                f"On the series before ({name or 'nothing stated'}; last at "
                f"{hours[hours <= begun].max():.0f} h) {', '.join(found)}: that change is not in "
                f"this series' baseline, keep it in mind."
            )
    return " ".join(said) or None


def _findings(verdict: Verdict) -> list[str]:
    """Return what a verdict had found, the clearest first."""
    orders = verdict.orders
    moved = orders.loc[orders["state"].isin(["another-day", "changed", "past-limit"])]
    rows = sorted(moved.to_dict(orient="records"), key=lambda row: -abs(row["evidence_z"]))
    found = [_moved(row) for row in rows]
    if verdict.common_state == "all-moved":
        found.append(
            "many orders had moved, each its own way"
            if verdict.each_its_own_way
            else f"all orders together {_risen(verdict.common_change_db)}"
        )
    return found


def _moved(row: dict[Any, Any]) -> str:
    name = label(str(row["feature"]), float(row["order"]))
    doubt = " (a suspicion, not confirmed)" if row["state"] == "another-day" else ""
    return f"{name} {_risen(row['change_db'])}{doubt}"


def _risen(change_db: float) -> str:
    return f"had {'risen' if change_db > 0 else 'fallen'} by {abs(change_db):.1f} dB"


def _baseline(history: pd.DataFrame) -> pd.DataFrame:
    return history.loc[history["baseline"]]


def _since(hours: float, histories: Iterable[pd.DataFrame]) -> pd.DataFrame | None:
    """Return what histories hold since some hours, None for nothing."""
    some = [each.loc[each["hours"] >= hours] for each in histories]
    some = [each for each in some if len(each)]
    return pd.concat(some) if some else None


def _compared(earlier: pd.DataFrame, later: pd.DataFrame) -> Comparison | None:
    return None if earlier.empty or later.empty else compare(earlier, later)
