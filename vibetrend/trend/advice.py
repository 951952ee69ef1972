"""The verdict in plain sentences: what was seen, what next, where to look, what it cannot say."""

import math
from typing import NamedTuple

import numpy as np

from vibetrend.baseline import FULL_DAY
from vibetrend.engine import Engine
from vibetrend.trend import resonance
from vibetrend.trend.assess import CONFIRMED, Assessment, Levels
from vibetrend.trend.causes import look_first
from vibetrend.trend.evidence import GRADUAL, NOW_HOURS, ONE_CYLINDER, SUDDEN
from vibetrend.trend.findings import (
    CALM,
    Row,
    Table,
    feature_of,
    findings,
    rose,
    strongest_first,
    with_context,
)
from vibetrend.trend.guidance import guidance, unlike_days
from vibetrend.trend.history import LAY_UP_HOURS, History, LayUp
from vibetrend.trend.noticeable import Noticeable
from vibetrend.trend.phrases import at, capital, count_of, percent, two_digits, when_reached
from vibetrend.trend.placements import FEW_ORDERS, TOO_FEW_ORDERS
from vibetrend.trend.resonance import signed
from vibetrend.trend.rows import label
from vibetrend.trend.states import sentence
from vibetrend.trend.sweeps import (
    RUN_UP_CAUTIONS,
    not_judged,
    of_sweeps,
    uncertain_temperature,
)

CAUTIONS = (
    "Stop the engine and isolate its starting before hands go near belts or turning parts.",
    "Mind hot parts and exhaust gas, run it out of gear, and wear hearing protection beside it.",
    "A trend never proves that a damper is sound: the maker's interval and limits, local codes and "
    "a licensed mechanic's inspection stand above it.",
)
BLIND = (
    "Order amplitudes at fast idle are nearly blind to the damper's stiffness; only slow run-ups "
    "show it (recordings with --manner run-up), as a series of their own."
)
EACH_ITS_OWN_WAY = (
    "Many orders moved at one time, each its own way: look at the phone, its spot and the mounts "
    "first."
)
LOOK_AGAIN_DAYS = 3
PATTERNS_TOLD = 3
DOUBLED = 2.0  # the limit that is our convention


class Advice(NamedTuple):
    """Sentences for a person."""

    every: list[str]  # most urgent first; the cautions are always among them
    findings: tuple[str, ...]  # those that say in words what the verdict's state and numbers say
    warmth: str  # the one on what the damper's temperature hides, where there is one


def advise(
    state: str,
    arranged: History,
    orders: Table,
    recordings: Table,
    result: Assessment | None,
    watched: Noticeable | None,
    engine: Engine | None,
    renewal_hours: float | None,
) -> Advice:
    """Return what a verdict says in words.

    Parameters
    ----------
    orders, recordings : list of rows
        Those of the verdict.
    result, watched : Assessment and Noticeable, optional
        None where there is nothing to compare with.
    renewal_hours : float, optional
        True engine hours at which the damper is due; nothing is foretold beyond them.
    """
    scattered = result is not None and np.isfinite(result.scattered_since)
    said = [EACH_ITS_OWN_WAY if scattered and state == "all-moved" else sentence(state)]
    found, warmth = list(said), ""
    if result is None or watched is None or arranged.levels is None:
        said.append(
            "Take a baseline: three sweeps, after the same warm-up, on each of three days."
            if arranged.swept
            else "Take a baseline: three placements (phone off and on again) on each of three days."
        )
    else:
        levels = arranged.levels
        rows = with_context(orders, arranged, levels, result)
        moved = strongest_first(rows, *CONFIRMED)
        found = [*said, *_seen(rows, moved, engine)]
        found += _until_limit(moved, float(levels.hours[-1]), renewal_hours)
        said = [*found, *_together(result, arranged, engine)]
        said += _lay_up(moved, arranged, levels, state)
        said += _next(state, arranged, orders, recordings, result)
        said += _look_first(rows, moved, arranged, levels, result, engine)
        said += guidance(arranged, recordings, watched, calm=state in CALM)
        said += unlike_days(levels, result)
        warmth = uncertain_temperature(arranged, rows, result, engine)
        said += [warmth] if warmth else []
        said += _few_orders(arranged)
    said += not_judged(arranged)
    said += arranged.notes
    if arranged.swept:
        said += RUN_UP_CAUTIONS
    elif not any(resonance.is_resonance(text) for text, _ in arranged.features):
        said.append(BLIND)
    return Advice([*said, *CAUTIONS], tuple(found), warmth)


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
        elif not rose(row) and not resonance.is_resonance(row["feature"]):
            said.append("A fall is never past the limit, but it is a change all the same.")
    if moved[1:]:
        said.append(f"Also moved: {_listed(moved[1:])}.")
    suspected = strongest_first(rows, "another-day")
    if suspected:
        said.append(f"A suspicion only, not confirmed yet: {_listed(suspected)}.")
    return said


def _together(result: Assessment, arranged: History, engine: Engine | None) -> list[str]:
    """Say what all orders did together."""
    said = []
    if np.isfinite(result.scattered_since):
        said.append(
            f"Half of the orders or more have stood elsewhere since about "
            f"{at(result.scattered_since)}, each its own way: that is seldom one part. Single "
            f"orders are judged against what all the others did."
        )
        halves = any(text == "order" and order % 1 for text, order in arranged.features)
        if halves and not (engine and engine.firing_order_number == ONE_CYLINDER):
            said.append(
                "Where about half of them moved alike, a recording cannot tell which half stayed. "
                "If these are the half orders, one cylinder (injection, compression) is possible "
                "too."
            )
    elif result.common_state == "all-moved":
        said.append(
            f"All orders together {'rose' if result.common_z > 0 else 'fell'} by "
            f"{abs(result.common_change):.1f} dB since about {at(result.common_since)}; single "
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
    change, feature = row["change_db"], str(row["feature"])
    since = f"since about {at(row['since_hours'])}"
    usual = f"one check-up usually scatters by {resonance.scatter(feature, row['scatter_db'])}."
    if resonance.is_resonance(feature):
        told = resonance.has_moved(
            feature,
            row["telling_order"],
            change,
            rose=rose(row),
            error_db=row["change_error_db"],
        )
        meaning = resonance.MEANS[resonance.way(feature, rose=rose(row))]
        said = f"{capital(told)} {since}: {meaning}; {usual}"
    else:
        way = f"{'rose' if rose(row) else 'fell'} by {'at least ' * row['at_least']}"
        times = two_digits(10 ** (change / 20))
        said = (
            f"{_name(row)} {way}{abs(change):.1f} dB, to {times} times its baseline, {since}; "
            f"{usual}"
        )
    if math.isnan(row["steady_share"]):
        on = "rising" if rose(row) else "falling"
        said += f" It is too early to say whether it goes on {on}."
    if row["steady_share"] > GRADUAL:
        pace = row["slope_db_per_1000h"]
        slope = f"{two_digits(abs(pace))} dB"
        if resonance.in_percent(feature):
            slope = f"{two_digits(abs(resonance.percent_of(pace)))} %"
        said += f" It {'rises' if rose(row) else 'falls'} by about {slope} per 1000 h."
    if row["steady_share"] < SUDDEN:
        said += " It came as a jump."
    return said


def _until_limit(moved: Table, now: float, renewal_hours: float | None) -> list[str]:
    """Say when the earliest may reach its limit, where its pace can be told."""
    rising = [
        row
        for row in moved
        if row["state"] == "changed"
        and rose(row)
        and not math.isnan(row["steady_share"])
        and not math.isnan(row["hours_to_limit_low"])
    ]
    if not rising:
        return []
    row = min(rising, key=lambda each: float(each["hours_to_limit_low"]))
    low, middle, high = (row[f"hours_to_limit{end}"] for end in ("_low", "", "_high"))
    if math.isinf(low):
        return [f"{_name(row)} is not seen to rise on towards {_limit(row)}."]
    left = math.inf if renewal_hours is None else renewal_hours - now
    due = "" if renewal_hours is None else f"{renewal_hours:.0f} h"
    if left <= 0:
        return [f"No hours to the limit are told: the damper was due at {due}."]
    if low >= left:
        return [
            f"{_name(row)} is not expected to reach {_limit(row)} before the damper is due at "
            f"{due}."
        ]
    when = when_reached(low, middle, high, left=left, due=due)
    return [
        f"{_name(row)} may reach {_limit(row)} {when}. The chance that it never gets there is "
        f"{percent(row['probability_never'])}."
    ]


def _lay_up(moved: Table, arranged: History, levels: Levels, state: str) -> list[str]:
    """Name a lay-up across which something changed, or one just past without a finding."""
    for row in moved:
        rest = row["lay_up"]
        if rest:
            return [
                f"From about {at(rest.before_hours)} on the engine {_rested(rest)}; the change in "
                f"{_label(row)} begins across that."
            ]
    past = [each for each in arranged.lay_ups if each.after_hours == levels.hours[-1]]
    if past and state == "no-change-seen":
        return [f"The engine {_rested(past[0])}; nothing moved across that."]
    return []


def _rested(rest: LayUp) -> str:
    """Say what is known of a lay-up: not that the engine lay still all the time."""
    return f"ran under {LAY_UP_HOURS:.0f} h in {rest.days} days"


def _next(
    state: str, arranged: History, orders: Table, recordings: Table, result: Assessment
) -> list[str]:
    latest = [row for row in recordings if row["visit"] == recordings[-1]["visit"]]
    said = _left_out([row for row in latest if not row["used"]])
    match state:
        case "record-again":
            visit = arranged.recordings[-1].visit
            remedies = {each.remedy for each in arranged.recordings if each.visit == visit}
            said += [f"{capital(text)}." for text in sorted(remedies - {""})]
            said.append(
                "Sweep once more now, at the same pace between the same speeds."
                if arranged.swept
                else "Take the phone off, put it back on its marked spot and record once more now."
            )
        case "another-day" if _days_of_suspicion(arranged, orders, result) > LOOK_AGAIN_DAYS:
            said.append(
                "It was looked at again on three days without an answer: go on, and take the next "
                "check-up earlier than usual."
            )
        case "another-day":
            warm = ", after the same warm-up" * arranged.swept
            said.append(
                f"Take a check-up of three {arranged.placement}s on another day, up to three days"
                f"{warm}; a change is called only when a second day agrees."
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
        again = "" if arranged.swept else ", phone off and on again,"
        said.append(
            f"The latest check-up has {count_of(len(latest), arranged.placement)}; three{again} "
            f"tell a change sooner."
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


def _days_of_suspicion(arranged: History, orders: Table, result: Assessment) -> int:
    """Count the check-ups taken about now since a suspicion began: none is of the baseline."""
    levels = arranged.levels
    began = [
        int(result.bends.first_visit[k])
        for k, row in enumerate(orders)
        if row["state"] == "another-day"
    ]
    if levels is None or not began:
        return 1  # the latest check-up as a whole
    hours = levels.hours
    return int((hours[min(began) :] >= hours[-1] - NOW_HOURS).sum())


def _look_first(
    rows: Table,
    moved: Table,
    arranged: History,
    levels: Levels,
    result: Assessment,
    engine: Engine | None,
) -> list[str]:
    """Return the usual causes of what was confirmed, and what the other orders say."""
    said = look_first(findings(rows, moved, arranged, levels, result, engine)[:PATTERNS_TOLD])
    if said:
        said.append("That is what usually causes it, not a diagnosis.")
    if arranged.swept:
        return said + of_sweeps(rows)
    calm = sum(row["state"] in CALM for row in rows)
    if moved and result.common_state != "all-moved":
        if 2 * len(moved) > len(rows) > len(moved):
            said.append("Many moved, each its own way: the phone may have been on another spot.")
        elif 2 * calm >= len(rows):
            rest = "the rest" if len(moved) + calm == len(rows) else "most others"
            said.append(f"That {rest} stayed speaks against the phone or its spot.")
    return said


def _few_orders(arranged: History) -> list[str]:
    if arranged.swept:
        return []
    count = sum(text == "order" for text, _ in arranged.features)
    if count < TOO_FEW_ORDERS:
        return [
            f"Only {count_of(count, 'order')} can be told from the noise level: what the phone did "
            f"to everything cannot be taken out, so changes are noticed later and are less certain."
        ]
    if count < FEW_ORDERS:
        return [
            f"Only {count} orders can be told from the noise level: what they have in common is "
            f"their median and less certain, so an order that moved and the phone are told apart "
            f"less surely."
        ]
    return []


def _label(row: Row) -> str:
    return label(*feature_of(row))


def _name(row: Row) -> str:
    return capital(_label(row))


def _listed(rows: Table) -> str:
    return ", ".join(f"{_label(row)} {signed(row['feature'], row['change_db'])}" for row in rows)


def _limit(row: Row) -> str:
    """Name the limit, and say where it is only our convention."""
    usual = math.isclose(10 ** (row["limit_db"] / 20), DOUBLED, rel_tol=1e-3)
    convention = " (twice the baseline: our convention, no standard)" if usual else ""
    return f"the limit of {row['limit_db']:+.1f} dB{convention}"
