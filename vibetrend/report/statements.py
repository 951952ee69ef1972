"""The statements of the first screen: the trend, the damper, its renewal, what comes next."""

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from vibetrend.baseline import FULL_DAY
from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.quantities import ShownUnits
from vibetrend.report.due import next_recording, renewal
from vibetrend.report.facts import Fact, facts, severity
from vibetrend.report.fitted.installed import installation
from vibetrend.report.statement import Statement
from vibetrend.report.words import (
    STATE_WORDS,
    baseline_caution,
    baseline_name,
    beyond,
    count,
    fixed,
    moved,
    series_name,
    since,
    smallness,
    until_limit,
)
from vibetrend.report.work import begun_by, earlier, marks
from vibetrend.trend import resonance as names
from vibetrend.trend import sentence
from vibetrend.trend.advice import BLIND, CAUTIONS
from vibetrend.trend.assess import CONFIRMED
from vibetrend.trend.phrases import capital

_AS_KEPT = ShownUnits()
_UNCONFIRMED = "Not confirmed yet."
SWEPT = ("run-up", "coast-down")  # manners that pass through the speeds


def statements(
    record: EngineRecord, today: dt.date, shown: ShownUnits = _AS_KEPT
) -> list[Statement]:
    """Return what an engine's first screen says, an overdue renewal first."""
    current = [one for one in record.series if not one.ended]
    ranked = sorted(current, key=lambda one: severity(one.verdict.state), reverse=True)
    found = [(one, facts(one, record)) for one in ranked]
    steady = [
        (one, idle_trend(one, told, record))
        for one, told in found
        if one.info["manner"] == "steady"
    ]
    swept = [(one, told) for one, told in found if one.info["manner"] in SWEPT]
    said = [of_all(steady, record), of_sweeps(swept)]
    due = renewal(record, today)
    said.insert(0 if due.state == "renewal-overdue" else 2, due)
    beside = [next_recording(record, today), installation(record, shown)]
    return [*said, *(one for one in beside if one is not None)]


def overdue(records: Sequence[EngineRecord]) -> str:
    """Return the line that stands before all else where a damper is overdue; else empty."""
    names = [each.engine.name for each in records if each.status["renewal"]["state"] == "overdue"]
    return f"Damper renewal overdue: {', '.join(names)}." if names else ""


def further(series: SeriesRecord) -> list[str]:
    """Return the verdict's advice without what is told elsewhere.

    The statements tell the state, what was seen and what an older series had found; the cautions
    have a place of their own.
    """
    verdict = series.verdict
    elsewhere = (sentence(verdict.state), *verdict.findings, series.info["carried"], BLIND)
    return [text for text in verdict.advice if text not in (*elsewhere, *CAUTIONS)]


def idle_trend(series: SeriesRecord, found: Sequence[Fact], of: EngineRecord) -> Statement:
    """Return what the verdict says, in the order: which, how far, since when, until when."""
    verdict = series.verdict
    named = sorted((fact for fact in found if fact.moved), key=first)
    telling = names.telling_orders(series.history)
    shift = fixed(verdict.common_change_db, 1, sign=True)
    together = f"All orders together stand {shift} dB from {baseline_name(series)}"
    more: list[str] = []
    match verdict.state:
        case "no-baseline":
            text = _nothing_yet(series)
        case "learning":
            text = (
                f"{capital(baseline_name(series))} has {_so_far(series)}. Later check-ups are "
                f"compared with it; the more complete it is, the sooner a change is told."
            )
        case "no-change-seen" if series.recordings["baseline"].all():
            text = f"{capital(baseline_name(series))} is complete. {_nothing_since(series)}"
        case "no-change-seen":
            what = "resonance" if series.info["manner"] in SWEPT else "order"
            text = f"No {what} has moved beyond what check-ups usually differ by."
            more += _largest(found)
        case "all-moved":
            stand = (
                f"Many orders moved away from {baseline_name(series)} at one time, each its own way"
                if verdict.each_its_own_way
                else together
            )
            text = f"{stand}, which speaks of the phone, its spot or the mounts, not of one part."
        case "record-again":
            text = "A recording of the latest check-up looks wrong: take it again."
            if verdict.orders.empty:
                text, more = _nothing_yet(series), [text]
        case "another-day":
            jumped = verdict.common_state == "another-day"
            text = f"{together}. {_UNCONFIRMED}" if jumped else _UNCONFIRMED
        case _:
            text = ""
    for fact in named[:1]:
        text = f"{_told(fact, telling)} {text}".strip()
        more += [line for line in (smallness(fact), since(fact), until_limit(fact)) if line]
    if len(named) > 1:
        others = ", ".join(
            f"{fact.name} ({names.signed(fact.feature, fact.change_db)}"
            f"{', small in absolute terms' if fact.small else ''})"
            for fact in named[1:]
        )
        more.append(f"Also: {others}.")
    if verdict.state != "no-baseline":
        more += [baseline_caution(series)] if baseline_caution(series) else []
    more += _told_of_before(series, of)
    return Statement(
        label="Idle trend",
        state=verdict.state,
        words=STATE_WORDS.get(verdict.state, verdict.state),
        text=text,
        more=tuple(more),
    )


def place(fact: Fact) -> int:
    """Return what sorts facts: resonances of the crankshaft first, those of unknown cause last."""
    if names.of_crankshaft(fact.feature):
        return -1
    return int(names.of_unknown(fact.feature))


def first(fact: Fact) -> tuple[int, int, bool, float]:
    """Return what sorts facts: by place, then worst first, of a resonance the frequency first."""
    severe, evidence = fact.rank
    return place(fact), -severe, not names.is_frequency(fact.feature), -evidence


def _told(fact: Fact, telling: Mapping[str, float]) -> str:
    """Say how far a fact moved, of a resonance of the crankshaft also what that means."""
    if not names.is_resonance(fact.feature):
        return f"{capital(moved(fact))}: {beyond(fact)}."
    what = _moved(fact, telling)
    if fact.state in CONFIRMED:
        what += f" ({names.MEANS[names.way(fact.feature, rose=fact.change_db >= 0)]})"
    return f"{capital(what)}: {beyond(fact)}."


def _moved(fact: Fact, telling: Mapping[str, float]) -> str:
    return moved(replace(fact, order=telling.get(fact.feature, fact.order)))


def _nothing_yet(series: SeriesRecord) -> str:
    """Say that there is nothing to compare with, and why, where that is known."""
    _, *why = series.verdict.findings or ("",)
    return " ".join(why) or "There is nothing to compare with yet."


def _so_far(series: SeriesRecord) -> str:
    """Return how many check-ups the baseline has, and how many of them count as a day of three."""
    judged = series.verdict.recordings
    used = judged.loc[judged["used"].astype(bool)].groupby("visit").size()
    has, full = int(series.recordings["visit"].nunique()), int((used >= FULL_DAY).sum())
    what = "sweep" if series.info["manner"] in SWEPT else "recording"
    usable = f", {full or 'none'} of them with {FULL_DAY} {what}s that can be used"
    return f"{count(has, 'check-up')} so far{usable if full < has else ''}"


def _nothing_since(series: SeriesRecord) -> str:
    if series.ended:
        return "There was no check-up after it."
    return "There is no check-up after the baseline yet; the next one is compared with it."


def _told_of_before(series: SeriesRecord, of: EngineRecord) -> list[str]:
    """Return what was known before this series began: the work that began it, an old change."""
    told = []
    work = begun_by(of, series)
    if work is not None:
        told.append(f"Compared with what stood after the work: {work.name}.")
        before = earlier(of, series)
        if before is not None:
            told[-1] += f" Before the work: {STATE_WORDS[before.verdict.state].lower()}."
    carried = series.info["carried"]
    return [*told, str(carried)] if carried else told


def of_all(series: Sequence[tuple[SeriesRecord, Statement]], of: EngineRecord) -> Statement:
    """Return the statement of the worst series, which comes first, and name the others' states."""
    if not series:
        done = marks(of)
        return Statement(
            label="Idle trend",
            state="no-baseline",
            words=STATE_WORDS["no-baseline"],
            text=f"No steady recording has been added since the work: {done[-1].name}."
            if done
            else "No steady recording has been added yet.",
        )
    (_, first), *others = series
    also = [f"{series_name(one.info)}: {said.words.lower()}." for one, said in others]
    return replace(first, more=(*first.more, *also))


def of_sweeps(series: Sequence[tuple[SeriesRecord, Sequence[Fact]]]) -> Statement:
    """Return what the series of sweeps say of the damper, the worst of them first."""
    telling: dict[str, float] = {}
    for one, _ in series:
        telling |= names.telling_orders(one.history)
    return resonance(
        [fact for _, told in series for fact in told],
        none=_none_of_crankshaft([one for one, _ in series]),
        telling=telling,
        warmth=next((text for one, _ in series if (text := one.verdict.warmth)), ""),
    )


def _none_of_crankshaft(series: Sequence[SeriesRecord]) -> str:
    """Return what is said where none counts as the crankshaft's; empty without sweeps."""
    if not series:
        return ""
    if all(one.verdict.orders.empty for one in series):
        return _nothing_yet(series[0])
    learning = all(
        one.recordings["baseline"].all() and one.verdict.state != "no-change-seen" for one in series
    )
    return _NONE_SO_FAR if learning else _NONE_OF_CRANKSHAFT


def resonance(
    facts: Sequence[Fact],
    *,
    none: str = "",
    telling: Mapping[str, float] = MappingProxyType({}),
    warmth: str = "",
) -> Statement:
    """Return what run-ups say of the damper itself.

    Only a resonance that counts as the crankshaft's speaks of the damper; any other that moved is
    named beside it.

    Parameters
    ----------
    none : str
        What is said where none counts as the crankshaft's; empty where nothing was swept.
    telling : mapping
        The order that shows a feature best, where that is known.
    warmth : str
        What the damper's temperature hides.
    """
    found = [fact for fact in facts if names.is_resonance(fact.feature)]
    crank = [fact for fact in found if names.of_crankshaft(fact.feature)]
    others = [fact for fact in found if fact not in crank and fact.moved]
    more = [f"{capital(moved(fact))}; its cause is unknown." for fact in others]
    if not crank:
        if not (none or found):
            return _damper("not-measured", "Not measured", BLIND, more)
        words = "None seen so far" if none == _NONE_SO_FAR else "Not seen"
        return _damper("not-measured", words, none or _NONE_OF_CRANKSHAFT, more)
    top = min(crank, key=first)
    also = [fact for fact in crank if fact is not top and fact.moved]
    more = [f"Also: {moved(fact)}." for fact in also] + more + ([warmth] if warmth else [])
    match top.state:
        case "no-baseline":
            text = "There is nothing to compare with yet."
        case "learning":
            text = "Three sweeps on each of three days make a baseline."
        case "no-change-seen":
            text = _still(crank)
        case "record-again" | "another-day":
            text = f"{_told(top, telling)} {_UNCONFIRMED}"
        case _:
            text = _told(top, telling)
            more = [line for line in (since(top), until_limit(top)) if line] + more
    return _damper(top.state, STATE_WORDS.get(top.state, top.state), text, more)


_TAKES = "that takes one frequency in several orders that can excite it, or a tacho at the nose."
_NONE_OF_CRANKSHAFT = f"Run-ups show no resonance that counts as the crankshaft's: {_TAKES}"
_NONE_SO_FAR = (
    f"The sweeps so far do not show which resonance is the crankshaft's: {_TAKES} All sweeps of "
    f"the baseline together may show it."
)


def _damper(state: str, words: str, text: str, more: Sequence[str]) -> Statement:
    label = "Damper resonance"
    return Statement(label=label, state=state, words=words, text=text, more=tuple(more))


def _still(crank: Sequence[Fact]) -> str:
    """Say of what is watched that it stayed, and what would have been noticed."""
    fact = next((each for each in crank if names.in_percent(each.feature)), crank[0])
    text = f"The {names.named(fact.feature, fact.order)} has not moved"
    if not math.isfinite(fact.noticeable_db):
        return f"{text}."
    jump = names.scatter(fact.feature, fact.noticeable_db)
    return f"{text}; a jump of its {names.parts(fact.feature).quantity} by {jump} would be noticed."


def _largest(found: Sequence[Fact]) -> list[str]:
    # What tells something of the damper, where there is any, rather than what does not.
    telling = [fact for fact in found if place(fact) <= 0] or found
    known = [fact for fact in telling if abs(fact.change_db) >= 0.05]
    if not known:
        return []
    fact = max(known, key=lambda one: abs(one.change_db))
    scatter = ""
    if not math.isnan(fact.scatter_db):
        scatter = f", usual scatter {names.scatter(fact.feature, fact.scatter_db)}"
    return [
        f"Largest difference: {fact.name}, {names.signed(fact.feature, fact.change_db)}{scatter}."
    ]
