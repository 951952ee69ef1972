"""The statements of the first screen: the trend, the damper, its renewal, what comes next."""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace

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
    of_sweeps = [fact for _, told in found for fact in told]
    swept = any(one.info["manner"] in SWEPT for one in current)
    said = [of_all(steady, record), resonance(of_sweeps, swept=swept)]
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
    named = sorted((fact for fact in found if fact.moved), key=lambda f: f.rank, reverse=True)
    shift = fixed(verdict.common_change_db, 1, sign=True)
    together = f"All orders together stand {shift} dB from {baseline_name(series)}"
    more: list[str] = []
    match verdict.state:
        case "no-baseline":
            text = "There is nothing to compare with yet."
        case "learning":
            has = count(int(series.recordings["visit"].nunique()), "check-up")
            text = (
                f"{capital(baseline_name(series))} has {has} so far. Later check-ups are compared "
                f"with it; the more complete it is, the sooner a change is told."
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
        case "another-day":
            jumped = verdict.common_state == "another-day"
            text = f"{together}. {_UNCONFIRMED}" if jumped else _UNCONFIRMED
        case _:
            text = ""
    for fact in named[:1]:
        text = f"{capital(moved(fact))}: {beyond(fact)}. {text}".strip()
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


def resonance(facts: Sequence[Fact], *, swept: bool = False) -> Statement:
    """Return what run-ups say of the damper itself; `swept` if any were measured.

    Only a resonance that counts as the crankshaft's speaks of the damper; any other that moved is
    named beside it.
    """
    found = [fact for fact in facts if names.is_resonance(fact.feature)]
    crank = [fact for fact in found if names.of_crankshaft(fact.feature)]
    others = [fact for fact in found if fact not in crank and fact.moved]
    more = [f"{capital(moved(fact))}; its cause is unknown." for fact in others]
    if not crank:
        words, text = (
            ("Not seen", _NONE_OF_CRANKSHAFT) if swept or found else ("Not measured", BLIND)
        )
        return _damper("not-measured", words, text, more)
    top = max(crank, key=lambda fact: fact.rank)
    also = [fact for fact in crank if fact is not top and fact.moved]
    more = [f"Also: {moved(fact)}." for fact in also] + more
    more += [text for fact in crank if (text := _uncertain_temperature(fact))][:1]
    match top.state:
        case "no-baseline":
            text = "There is nothing to compare with yet."
        case "learning":
            text = "Three sweeps on each of three days make a baseline."
        case "no-change-seen":
            text = _still(crank)
        case "record-again" | "another-day":
            text = f"{capital(moved(top))}: {beyond(top)}. {_UNCONFIRMED}"
        case _:
            meaning = names.MEANS[names.way(top.feature, rose=top.change_db >= 0)]
            text = f"{capital(moved(top))} ({meaning}): {beyond(top)}."
            more = [line for line in (since(top), until_limit(top)) if line] + more
    return _damper(top.state, STATE_WORDS.get(top.state, top.state), text, more)


_NONE_OF_CRANKSHAFT = (
    "Run-ups show no resonance that counts as the crankshaft's: that takes one frequency in "
    "several orders that can excite it, or a tacho at the nose."
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


def _uncertain_temperature(fact: Fact) -> str:
    return names.temperature(fact.feature, fact.shared_db, fact.scatter_db)


def _largest(found: Sequence[Fact]) -> list[str]:
    known = [fact for fact in found if abs(fact.change_db) >= 0.05]
    if not known:
        return []
    fact = max(known, key=lambda one: abs(one.change_db))
    scatter = ""
    if not math.isnan(fact.scatter_db):
        scatter = f", usual scatter {names.scatter(fact.feature, fact.scatter_db)}"
    return [
        f"Largest difference: {fact.name}, {names.signed(fact.feature, fact.change_db)}{scatter}."
    ]
