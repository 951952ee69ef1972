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
from vibetrend.trend import sentence
from vibetrend.trend.advice import BLIND, CAUTIONS
from vibetrend.trend.phrases import capital

_AS_KEPT = ShownUnits()
_UNCONFIRMED = "Not confirmed yet."


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
    said = [of_all(steady, record), resonance([fact for _, told in found for fact in told])]
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
            text = "No order has moved beyond what check-ups usually differ by."
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
            f"{fact.name} ({fixed(fact.change_db, 1, sign=True)} dB"
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


def resonance(facts: Sequence[Fact]) -> Statement:
    """Return what run-ups say of the damper itself; usually that none was measured."""
    label = "Damper resonance"
    found = [fact for fact in facts if fact.feature.startswith("resonance")]
    if not found:
        return Statement(label=label, state="not-measured", words="Not measured", text=BLIND)
    top = max(found, key=lambda fact: fact.rank)
    words = STATE_WORDS.get(top.state, top.state)
    text = f"{capital(moved(top))}: {beyond(top)}."
    return Statement(label=label, state=top.state, words=words, text=text)


def _largest(found: Sequence[Fact]) -> list[str]:
    known = [fact for fact in found if abs(fact.change_db) >= 0.05]
    if not known:
        return []
    fact = max(known, key=lambda one: abs(one.change_db))
    scatter = "" if math.isnan(fact.scatter_db) else f", usual scatter {fact.scatter_db:.1f} dB"
    return [f"Largest difference: {fact.name}, {fixed(fact.change_db, 1, sign=True)} dB{scatter}."]
