"""The verdict in plain sentences: what was seen, what next, where to look, what it cannot say."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from vibetrend.engine import Engine
from vibetrend.trend.assess import Assessment, Levels
from vibetrend.trend.causes import look_first
from vibetrend.trend.evidence import GRADUAL, SUDDEN, Feature, Finding
from vibetrend.trend.guidance import ahead, count_of, guidance
from vibetrend.trend.history import SPEED_STEP, WARM_STEP_C, History, LayUp
from vibetrend.trend.placements import FEW_ORDERS, FULL_DAY, TOO_FEW_ORDERS
from vibetrend.trend.rows import label
from vibetrend.trend.states import sentence

Row = dict[str, Any]
Table = list[Row]

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
CONFIRMED = ("changed", "past-limit")
CALM = ("no-change-seen", "learning")
LOOK_AGAIN_DAYS = 3
NOW_HOURS = 60.0  # days of looking again lie this close
PATTERNS_TOLD = 3
DOUBLED = 2.0  # the limit that is our convention


def advise(
    state: str,
    arranged: History,
    orders: Table,
    recordings: Table,
    result: Assessment | None,
    engine: Engine | None,
    renewal_hours: float | None,
) -> tuple[list[str], tuple[str, ...]]:
    """Return sentences for a person, most urgent first; the cautions are always among them.

    Also those of them that say in words what the verdict's state and numbers say.

    Parameters
    ----------
    orders, recordings : list of rows
        Those of the verdict.
    renewal_hours : float, optional
        True engine hours at which the damper is due; nothing is foretold beyond them.
    """
    said = [sentence(state)]
    found = list(said)
    if result is None or arranged.levels is None:
        said.append(
            "Take a baseline: three placements (phone off and on again) on each of three days."
        )
    else:
        levels = arranged.levels
        rows = _with_context(orders, arranged, levels, result)
        moved = _strongest_first(rows, *CONFIRMED)
        found = [*said, *_seen(rows, moved, engine)]
        found += _until_limit(moved, float(levels.hours[-1]), renewal_hours)
        said = [*found, *_together(result)]
        said += _lay_up(moved, arranged, levels, state)
        said += _next(state, arranged, recordings)
        said += _look_first(rows, moved, levels, result, engine)
        said += guidance(arranged, recordings, result, calm=state in CALM)
        said += _few_orders(arranged)
    if arranged.not_judged:
        names = ", ".join(arranged.not_judged)
        said.append(
            f"Not judged, because too weak or above what these recordings can show: {names}."
        )
    said += arranged.notes
    if not any(text.startswith("resonance") for text, _ in arranged.features):
        said.append(BLIND)
    return [*said, *CAUTIONS], tuple(found)


def _with_context(orders: Table, arranged: History, levels: Levels, result: Assessment) -> Table:
    """Return the verdict's rows with what the sentences need besides."""
    return [
        row
        | {
            "checkups": int(result.days_agreeing[k]),
            # Of the change, what its present slope accounts for: 0 for a step, 1 for a ramp.
            "steady_share": row["slope_db_per_1000h"]
            / 1000
            * (levels.hours[-1] - row["since_hours"])
            / row["change_db"]
            if row["change_db"]
            else math.nan,
            "lay_up": _begun_across(row["since_hours"], arranged.lay_ups),
        }
        for k, row in enumerate(orders)
    ]


def _begun_across(since_hours: float, lay_ups: Sequence[LayUp]) -> LayUp | None:
    found = [each for each in lay_ups if each.before_hours <= since_hours <= each.after_hours]
    return found[-1] if found else None


def _strongest_first(rows: Table, *states: str) -> Table:
    some = [row for row in rows if row["state"] in states]
    return sorted(some, key=lambda row: (row["state"] != "past-limit", -abs(row["evidence_z"])))


def _seen(rows: Table, moved: Table, engine: Engine | None) -> list[str]:
    """Say which, how far, since when and how fast."""
    said = []
    for row in moved[:1]:
        said.append(_change(row))
        if row["small"] and engine:
            said.append(
                f"It is small in absolute terms: below the {engine.small_velocity_mm_s:g} mm/s "
                f"you set."
            )
        elif row["state"] == "past-limit":
            said.append(f"It stands beyond {_limit(row)}.")
        elif not _rose(row):
            said.append("A fall is never past the limit, but it is a change all the same.")
    if moved[1:]:
        said.append(f"Also moved: {_listed(moved[1:])}.")
    suspected = _strongest_first(rows, "another-day")
    if suspected:
        said.append(
            f"A suspicion only, not far enough beyond the usual scatter: {_listed(suspected)}."
        )
    return said


def _together(result: Assessment) -> list[str]:
    """Say what all orders did together."""
    said = []
    if np.isfinite(result.scattered_since):
        said.append(
            f"Half of the orders or more have stood elsewhere since about "
            f"{_at(result.scattered_since)}, each its own way: that is seldom one part, and bends "
            f"of single orders near that time are not judged."
        )
    elif result.common_state == "all-moved":
        said.append(
            f"All orders together {'rose' if result.common_z > 0 else 'fell'} by "
            f"{abs(result.common_change):.1f} dB since about {_at(result.common_since)}; single "
            f"orders are judged with that taken out."
        )
    if result.common_state == "another-day":
        said.append(
            "All orders together jumped at the latest check-up: look at the phone, its spot and "
            "its settings first."
        )
    return said


def _change(row: Row) -> str:
    """Say how far a feature moved, since when and how."""
    change = row["change_db"]
    way = f"{'rose' if _rose(row) else 'fell'} by {'at least ' * row['at_least']}"
    said = (
        f"{_name(row)} {way}{abs(change):.1f} dB, to {10 ** (change / 20):#.2g} times its "
        f"baseline, since about {_at(row['since_hours'])}; one check-up usually scatters by "
        f"{row['scatter_db']:.1f} dB."
    )
    if row["steady_share"] > GRADUAL:
        slope = abs(row["slope_db_per_1000h"])
        said += f" It {'rises' if _rose(row) else 'falls'} by about {slope:.2g} dB per 1000 h."
    if row["steady_share"] < SUDDEN:
        said += " It came as a jump."
    return said


def _until_limit(moved: Table, now: float, renewal_hours: float | None) -> list[str]:
    """Say when the earliest may reach its limit, early end first, never beyond the renewal."""
    rising = [
        row
        for row in moved
        if row["state"] == "changed" and _rose(row) and not math.isnan(row["hours_to_limit_low"])
    ]
    if not rising:
        return []
    row = min(rising, key=lambda each: float(each["hours_to_limit_low"]))
    low, high = row["hours_to_limit_low"], row["hours_to_limit_high"]
    if math.isinf(low):
        return [f"{_name(row)} is not seen to rise on towards {_limit(row)}."]
    left = math.inf if renewal_hours is None else renewal_hours - now
    due = "" if renewal_hours is None else f"the damper is due at {renewal_hours:.0f} h anyway"
    if left <= 0:
        return [f"No hours to the limit are told: {due}."]
    if low >= left:
        return [f"{_name(row)} is not expected to reach {_limit(row)} before {due}."]
    begin = "now" if low < 1 else ahead(low)
    if min(high, left) == high < math.inf:
        when = f"between {begin} and {ahead(high)} from now"
    else:
        early = begin if low < 1 else f"{begin} from now"
        when = f"as early as {early}, or {'never' if left == math.inf else f'not before {due}'}"
    return [
        f"{_name(row)} may reach {_limit(row)} {when} (90 % interval). The chance that it never "
        f"gets there is {_percent(row['probability_never'])}."
    ]


def _lay_up(moved: Table, arranged: History, levels: Levels, state: str) -> list[str]:
    """Name a lay-up across which something changed, or one just past without a finding."""
    for row in moved:
        rest = row["lay_up"]
        if rest:
            return [
                f"Between {_at(rest.before_hours)} and {_at(rest.after_hours)} the engine lay "
                f"still for {rest.days} days; the change in {_label(row)} begins across it."
            ]
    past = [each for each in arranged.lay_ups if each.after_hours == levels.hours[-1]]
    if past and state == "no-change-seen":
        return [f"The engine lay still for {past[0].days} days; nothing moved across that."]
    return []


def _next(state: str, arranged: History, recordings: Table) -> list[str]:
    latest = [row for row in recordings if row["visit"] == recordings[-1]["visit"]]
    said = _left_out([row for row in latest if not row["used"]])
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
                "Check the phone with its case and settings, then its spot, then the mounts. If "
                "phone or spot is new, name it with --device or --position and add with "
                "--baseline: that begins a series of its own."
            )
        case "past-limit":
            said.append(
                "Have the parts below and the damper looked at before long runs; the maker's "
                "limits decide whether the engine may run."
            )
        case "changed":
            said.append("Take the next check-up earlier than usual, and look at the parts below.")
    learning = arranged.recordings[-1].baseline
    if not said and len(latest) < FULL_DAY and not learning:
        said.append(
            f"The latest check-up has {count_of(len(latest), 'placement')}; three, phone off and "
            f"on again, tell a change sooner."
        )
    return said


def _left_out(rows: Table) -> list[str]:
    """Name recordings that are not used, those with one reason together."""
    by_reason: dict[str, list[str]] = {}
    for row in rows:
        by_reason.setdefault(row["why_not"], []).append(str(row["recording"]))
    return [
        f"Recording {names[0]} is not used: {why}."
        if len(names) == 1
        else f"Recordings {', '.join(names)} are not used: {why}."
        for why, names in by_reason.items()
    ]


def _days_now(arranged: History) -> int:
    """Count the check-ups taken about now."""
    hours = arranged.levels.hours if arranged.levels else np.zeros(0)
    return int((hours >= hours[-1] - NOW_HOURS).sum()) if hours.size else 0


def _look_first(
    rows: Table, moved: Table, levels: Levels, result: Assessment, engine: Engine | None
) -> list[str]:
    """Return the usual causes of what was confirmed, and what the other orders say."""
    said = look_first(_findings(rows, moved, levels, result, engine)[:PATTERNS_TOLD])
    if said:
        said.append("That is what usually causes it, not a diagnosis.")
    if len(rows) > len(moved) > 0 and result.common_state != "all-moved":
        said.append(
            "That the rest stayed speaks against the phone or its spot."
            if 2 * len(moved) <= len(rows)
            else "Many moved, each its own way: the phone may have been on another spot."
        )
    return said


def _findings(
    rows: Table, moved: Table, levels: Levels, result: Assessment, engine: Engine | None
) -> list[Finding]:
    """Return what moved as the causes look at it, one of each kind, everything together first."""
    faster, warmer = _conditions(levels)
    all_moved = result.common_state == "all-moved"
    calm = [row["state"] in CALM for row in rows]
    together = {
        "feature": "together",
        "order": math.nan,
        "evidence_z": result.common_z,
        "steady_share": math.nan,
        "checkups": 0,
        "at_least": False,
        "lay_up": None,
    }
    found: dict[str, Finding] = {}
    for row in [together, *moved] if all_moved else moved:
        finding = Finding(
            feature=_feature(row),
            rose=_rose(row),
            steady_share=row["steady_share"],
            checkups=row["checkups"],
            moved=tuple(_feature(each) for each, no in zip(rows, calm, strict=True) if not no),
            stayed=tuple(_feature(each) for each, yes in zip(rows, calm, strict=True) if yes),
            together=all_moved,
            hidden=row["at_least"],
            lay_up=row["lay_up"],
            faster_percent=faster,
            warmer_c=warmer,
            firing=engine.firing_order_number if engine else None,
        )
        found.setdefault(finding.kind, finding)
    return list(found.values())


def _conditions(levels: Levels) -> tuple[float, float]:
    """Return speed (%) and warmth (degrees C) of the latest check-up beyond the baseline's."""
    if levels.conditions is None:
        return math.nan, math.nan
    steps = levels.conditions[-1]
    seen = [column[np.isfinite(column)] for column in steps.T]
    speed, warmth = (float(np.mean(each)) if each.size else math.nan for each in seen)
    return 100 * SPEED_STEP * speed, WARM_STEP_C * warmth


def _few_orders(arranged: History) -> list[str]:
    count = sum(text == "order" for text, _ in arranged.features)
    if count < TOO_FEW_ORDERS:
        return [
            f"Only {count_of(count, 'order')} can be told from the noise level: what the phone did "
            f"to everything cannot be taken out, so changes are noticed later and are less certain."
        ]
    if count < FEW_ORDERS:
        return [
            f"Only {count} orders can be told from the noise level: what they have in common is "
            f"their median and the scatter is wider, so changes are noticed later."
        ]
    return []


def _feature(row: Row) -> Feature:
    return str(row["feature"]), float(row["order"])


def _label(row: Row) -> str:
    return label(*_feature(row))


def _name(row: Row) -> str:
    name = _label(row)
    return name[0].upper() + name[1:]


def _listed(rows: Table) -> str:
    return ", ".join(f"{_label(row)} {row['change_db']:+.1f} dB" for row in rows)


def _rose(row: Row) -> bool:
    return bool(row["evidence_z"] > 0)


def _limit(row: Row) -> str:
    """Name the limit, and say where it is only our convention."""
    usual = math.isclose(10 ** (row["limit_db"] / 20), DOUBLED, rel_tol=1e-3)
    convention = " (twice the baseline: our convention, no standard)" if usual else ""
    return f"the limit of {row['limit_db']:+.1f} dB{convention}"


def _percent(share: float) -> str:
    return "below 1 %" if share < 0.01 else f"{100 * share:.0f} %"


def _at(hours: float) -> str:
    """Return engine hours to ten: a bend is not known nearer."""
    return f"{round(hours, -1):.0f} h" if math.isfinite(hours) else "an unknown time"
