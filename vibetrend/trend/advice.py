"""The verdict in plain sentences: what was seen, what next, where to look, what it cannot say."""

from typing import Any

import numpy as np

from vibetrend.engine import Engine
from vibetrend.trend.assess import FULL_BASELINE, FULL_DAY, WARN_Z, Assessment
from vibetrend.trend.causes import patterns
from vibetrend.trend.history import History
from vibetrend.trend.placements import FEW_ORDERS, TOO_FEW_ORDERS
from vibetrend.trend.rows import label
from vibetrend.trend.states import sentence

Table = list[dict[str, Any]]

CAUTIONS = (
    "Stop the engine and isolate its starting before hands go near belts or turning parts.",
    "Mind hot parts and exhaust gas, run it out of gear, and wear hearing protection beside it.",
    "A trend never proves that a damper is sound: the maker's interval and limits, local codes and "
    "a licensed mechanic's inspection stand above it.",
)
BLIND = (
    "Order amplitudes at fast idle are nearly blind to the damper's stiffness; only a slow run-up "
    "would show it, and this version does not measure run-ups."
)
CHECKUP_HOURS = 180.0  # usual distance of check-ups, for what could be noticed
LOOK_AGAIN_DAYS = 3
NOW_HOURS = 60.0  # days of looking again lie this close


def advise(
    state: str,
    arranged: History,
    orders: Table,
    recordings: Table,
    result: Assessment | None,
    engine: Engine | None,
) -> list[str]:
    """Return sentences for a person, most urgent first; the cautions are always among them."""
    said = [sentence(state)]
    if result is None:
        said.append(
            "Take a baseline: three placements (phone off and on again) on each of three days."
        )
    else:
        said += _seen(orders, result)
        said += _next(state, arranged, recordings)
        said += _look_first(orders, result, engine)
        said += _noticeable(arranged, orders, result)
        said += _few_orders(arranged)
    if arranged.not_judged:
        names = ", ".join(arranged.not_judged)
        said.append(
            f"Not judged, because too weak or above what these recordings can show: {names}."
        )
    said += arranged.notes
    if not any(text.startswith("resonance") for text, _ in arranged.features):
        said.append(BLIND)
    return [*said, *CAUTIONS]


def _strongest_first(orders: Table, *states: str) -> Table:
    some = [row for row in orders if row["state"] in states]
    return sorted(some, key=lambda row: -abs(row["evidence_z"]))


def _seen(orders: Table, result: Assessment) -> list[str]:
    said = []
    moved = _strongest_first(orders, "changed", "past-limit")
    for row in moved[:1]:
        change = row["change_db"]
        said.append(
            f"{_name(row)} {'rose' if row['evidence_z'] > 0 else 'fell'} by {abs(change):.1f} dB "
            f"(times {10 ** (change / 20):.2f}, {100 * (10 ** (change / 20) - 1):+.0f} %) since "
            f"about {_at(row['since_hours'])}; one check-up usually scatters by "
            f"{row['scatter_db']:.1f} dB."
        )
    if len(moved) > 1:
        said.append(f"So did others: {_listed(moved[1:])}.")
    rising = [row for row in moved if row["state"] == "changed" and row["evidence_z"] > 0]
    if rising:
        said += _until_limit(min(rising, key=lambda row: row["hours_to_limit_low"]))
    suspected = _strongest_first(orders, "another-day")
    if suspected:
        said.append(
            f"A suspicion only, not far enough beyond the usual scatter: {_listed(suspected)}."
        )
    if result.common_state == "all-moved":
        said.append(
            f"All orders together {'rose' if result.common_z > 0 else 'fell'} by "
            f"{abs(result.common_change):.1f} dB since about {_at(result.common_since)}: that "
            f"is usually the phone, its spot or its settings, then the mounts, and no single order."
        )
    if result.common_state == "another-day":
        said.append(
            "All orders together jumped at the latest check-up: look at the phone, its spot and "
            "its settings first."
        )
    return said


def _listed(rows: Table) -> str:
    return ", ".join(
        f"{label(str(row['feature']), float(row['order']))} {row['change_db']:+.1f} dB"
        for row in rows
    )


def _until_limit(row: dict[str, Any]) -> list[str]:
    low, high = row["hours_to_limit_low"], row["hours_to_limit_high"]
    if np.isnan(low):
        return []
    if np.isinf(low):
        return [
            f"{_name(row)} is not seen on its way to the limit: it looks like a jump that stayed."
        ]
    until = f"and {_ahead(high)}" if np.isfinite(high) else "and never"
    return [
        f"{_name(row)} may reach the limit between {_ahead(low)} from now {until} (90 % interval); "
        f"the chance that it is never reached is {100 * row['probability_never']:.0f} %."
    ]


def _next(state: str, arranged: History, recordings: Table) -> list[str]:
    latest = [row for row in recordings if row["visit"] == recordings[-1]["visit"]]
    said = [
        f"Recording {row['recording']} is not used: {row['why_not']}."
        for row in latest
        if not row["used"]
    ]
    match state:
        case "record-again":
            said.append(
                "Take the phone off, put it back on its marked spot and record once more now."
            )
        case "another-day" if _days_now(arranged) > LOOK_AGAIN_DAYS:
            said.append(
                "It was looked at again on three days without an answer: go on, and take the next "
                "check-up earlier than usual."
            )
        case "another-day":
            said.append(
                "Take a check-up of three placements on another day, up to three days; a change is "
                "called only when a second day agrees."
            )
        case "all-moved":
            said.append(
                "Check spot, mounting, phone and case. If one of them is new, name it with "
                "--device or --position and add with --baseline: that begins a series of its own."
            )
        case "past-limit":
            said.append(
                "Have the parts below and the damper looked at before long runs; the maker's "
                "limits decide whether the engine may run."
            )
        case "changed":
            said.append("Take the next check-up earlier than usual, and look at the parts below.")
    if not said and len(latest) < FULL_DAY:
        said.append(
            f"The latest check-up has {_count(len(latest), 'placement')}; three, phone off and on "
            f"again, tell a change sooner."
        )
    return said + _baseline(arranged, recordings)


def _days_now(arranged: History) -> int:
    """Count the check-ups taken about now."""
    hours = arranged.levels.hours if arranged.levels else np.zeros(0)
    return int((hours >= hours[-1] - NOW_HOURS).sum()) if hours.size else 0


def _baseline(arranged: History, recordings: Table) -> list[str]:
    """Say what the baseline still lacks and what that costs."""
    used: dict[Any, int] = {}
    for taken, row in zip(arranged.recordings, recordings, strict=True):
        if taken.baseline:
            used[taken.visit] = used.get(taken.visit, 0) + row["used"]
    full = sum(count >= FULL_DAY for count in used.values())
    if full >= FULL_BASELINE:
        return []
    if not all(taken.baseline for taken in arranged.recordings):
        return [
            f"The baseline has {_count(full, 'complete day')} of three placements instead of three "
            f"days: its level is less certain, so changes are noticed later."
        ]
    today = FULL_DAY - list(used.values())[-1]
    days = FULL_BASELINE - full - (1 if today > 0 else 0)
    wanted = [f"{_count(today, 'more placement')} today"] if today > 0 else []
    wanted += [f"{_count(days, 'more day')} of three"] if days > 0 else []
    return [f"The baseline still needs {', then '.join(wanted)}."]


def _look_first(orders: Table, result: Assessment, engine: Engine | None) -> list[str]:
    moved = _strongest_first(orders, "changed", "past-limit")
    said = []
    for pattern in patterns([(row["feature"], row["order"]) for row in moved], engine)[:3]:
        said += [
            f"{pattern.what}. The two usual causes: {pattern.first}; {pattern.second}. This is "
            f"where to look first, not a diagnosis.",
            f"To tell them apart: {pattern.check}.",
        ]
    if len(moved) and result.common_state != "all-moved":
        said.append(
            "The other orders did not move along, which speaks against the phone or its spot."
            if 2 * len(moved) <= len(orders)
            else "Many orders moved, each its own way: another spot of the phone is possible."
        )
    return said


def _noticeable(arranged: History, orders: Table, result: Assessment) -> list[str]:
    """Say what this baseline and scatter could notice, for the median order."""
    is_order = np.array([row["feature"] == "order" for row in orders])
    if not is_order.any() or arranged.levels is None:
        return []
    scatter = float(np.median([row["scatter_db"] for row in orders if row["feature"] == "order"]))
    counts = np.isfinite(arranged.levels.db[arranged.levels.baseline]).any(axis=2).sum(axis=1)
    day, place = (float(np.median(part[is_order]))
                  for part in (result.scatter.day, result.scatter.placement))  # fmt: skip
    flat = float((1 / (day**2 + place**2 / counts)).sum())  # 1 / variance of the baseline's level
    step = WARN_Z * np.sqrt(1 / flat + scatter**2 / 2)
    rise = next((n for n in range(2, 60) if _ramp_z(n, scatter, flat) >= WARN_Z), 60)
    hours = rise * CHECKUP_HOURS
    return [
        f"With this baseline and scatter, a jump of about {step:.1f} dB would be confirmed by a "
        f"second day, and a rise of 1 dB per 500 h after about {_ahead(hours)} "
        f"({hours / 500:.1f} dB)."
    ]


def _ramp_z(checkups: int, scatter: float, flat: float) -> float:
    """Return the expected evidence of a ramp of 1 dB per 500 h after some check-ups."""
    ramp = np.arange(1, checkups + 1) * CHECKUP_HOURS / 500
    weight = scatter**-2
    return float(
        np.sqrt(weight * (ramp**2).sum() - (weight * ramp.sum()) ** 2 / (flat + weight * ramp.size))
    )


def _few_orders(arranged: History) -> list[str]:
    count = sum(text == "order" for text, _ in arranged.features)
    if count < TOO_FEW_ORDERS:
        return [
            f"Only {_count(count, 'order')} can be told from the noise level: what the phone did "
            f"to everything cannot be taken out, so changes are noticed later and are less certain."
        ]
    if count < FEW_ORDERS:
        return [
            f"Only {count} orders can be told from the noise level: what they have in common is "
            f"their median and the scatter is wider, so changes are noticed later."
        ]
    return []


def _name(row: dict[str, Any]) -> str:
    name = label(str(row["feature"]), float(row["order"]))
    return name[0].upper() + name[1:]


def _at(hours: float) -> str:
    """Return engine hours, whole."""
    return f"{hours:.0f} h" if np.isfinite(hours) else "an unknown time"


def _ahead(hours: float) -> str:
    """Return hours ahead with two digits, rounded down: no forecast knows more."""
    step = 10.0 ** max(int(np.floor(np.log10(max(hours, 1.0)))) - 1, 0)
    return f"{step * np.floor(hours / step):.0f} h"


def _count(number: int, what: str) -> str:
    words = ("no", "one", "two", "three", "four", "five")
    plural = "" if number == 1 else "s"
    return f"{words[number] if number < len(words) else number} {what}{plural}"
