"""Engines and series as the templates show them."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.quantities import ShownUnits
from vibetrend.report import pairs, running, words, work
from vibetrend.report import shown as in_shown
from vibetrend.report.doubts import Doubt, doubts
from vibetrend.report.facts import Fact, facts, severity
from vibetrend.report.fitted.fitting import Fitting, earlier, fitting
from vibetrend.report.glossary import used
from vibetrend.report.groups import Group, groups
from vibetrend.report.interference import Diagram, diagram
from vibetrend.report.levels import Levels, levels
from vibetrend.report.log import Log, log
from vibetrend.report.statement import Statement
from vibetrend.report.statements import first, further, idle_trend, statements
from vibetrend.report.sweeps import Sweep, sweep

_ON_EVERY_FIRST_SCREEN = (
    "order", "baseline", "check-up", "fast idle", "damper resonance", "renewal",
)  # fmt: skip
FIRST_ADVICE = 3
"""Sentences of advice on the first screen; the others are unfolded."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SeriesPart:
    """One series as the template shows it."""

    id: str
    record: SeriesRecord
    facts: list[Fact]
    levels: Levels
    statement: Statement
    advice: list[str]
    recordings: list[dict[str, Any]]  # each with `used` and `why_not` of the verdict
    marks: list[work.Mark]  # what is drawn in its histories
    ended_by: work.Mark | None
    pairs: list[pairs.Pair]  # the step across the work, the damper before
    speed: running.Course | None
    overall: list[running.Course]
    groups: list[Group]  # its facts by the scale on which they are told
    sweep: Sweep | None  # of run-ups and coast-downs

    def group_of(self, fact: Fact) -> Group:
        """Return the group that a fact is of."""
        return next(one for one in self.groups if any(fact is each for each, _ in one.rows))

    @property
    def with_history(self) -> list[Fact]:
        """The features that have a history; what most needs looking at comes first."""
        ranked = sorted(self.facts, key=first)
        return [fact for fact in ranked if len(self.levels.of(fact.feature, fact.order)[1])]

    @property
    def featured(self) -> Fact | None:
        """The feature that most needs looking at and has a history."""
        return next(iter(self.with_history), None)

    @property
    def doubts(self) -> list[Doubt]:
        """What was doubted about its recordings, each once, worst first."""
        return doubts(self.recordings)

    @property
    def contents(self) -> list[tuple[str, str]]:
        """The sheets that lead a reader through the series: anchor and name."""
        drawn = self.featured is not None
        found = [
            ("changes", "Changes", bool(self.facts)),
            ("history", "History", drawn),
            ("curves", "Order curves", self.sweep is not None and bool(self.sweep.curves)),
            ("resonances", "Resonances", self.sweep is not None),
            ("spectrum", "Spectrum", drawn and self.record.latest is not None),
            ("map", "All check-ups", drawn and self.sweep is None),
            ("running", "Speed and overall values", bool(self.speed or self.overall)),
            ("numbers", "Numbers", bool(self.facts)),
            ("left-out", "Left out", True),
            ("recordings", "Recordings", bool(self.recordings)),
        ]
        return [(f"{self.id}-{name}", said) for name, said, there in found if there]


@dataclass(frozen=True, kw_only=True, eq=False)
class EnginePart:
    """One engine as the template shows it."""

    id: str
    record: EngineRecord
    state: str
    statements: list[Statement]  # the first screen, an overdue renewal first
    series: list[SeriesPart]  # worst first
    ended: list[SeriesPart]  # by work, the latest first
    before: list[SeriesPart]  # on the dampers before, the latest first
    work: list[work.Mark]
    advice: list[str]  # of the worst series, those told at once
    more_advice: list[str]  # the others
    fitting: Fitting | None  # the installation record; None where nothing was entered
    earlier: list[tuple[str, Fitting | None]]  # the dampers before, the latest first
    log: Log | None
    interference: Diagram | None

    @property
    def every_series(self) -> list[SeriesPart]:
        """All series, as they stand on the page."""
        return [*self.series, *self.ended, *self.before]

    @property
    def small(self) -> list[Statement]:
        """The statements of less than a whole width: by when first, as it follows what to do."""
        found = [one for one in self.statements if not one.lead]
        return sorted(found, key=lambda one: one.label != "Next check-up")

    @property
    def first_words(self) -> list[str]:
        """The words of the trade that the first screen uses, with those of its labels."""
        lines = [f"{one.words} {one.text} {' '.join(one.more)}" for one in self.statements]
        said = " ".join([*lines, *self.advice, *self.more_advice])
        return list(dict.fromkeys([*_ON_EVERY_FIRST_SCREEN, *used(said)]))


def engine_part(
    record: EngineRecord,
    name: str,
    today: dt.date,
    shown: ShownUnits,
    photos: Mapping[str, bytes],
) -> EnginePart:
    """Return an engine as the template shows it; `name` is its anchor."""
    done = work.marks(record)
    parts = [
        series_part(in_shown.series(one, shown), f"{name}-series-{i}", record, done, shown)
        for i, one in enumerate(record.series, start=1)
    ]
    series = [part for part in parts if not part.record.ended]
    series.sort(key=lambda part: severity(part.record.verdict.state), reverse=True)
    ended = [part for part in parts if part.record.ended]
    ended.sort(key=lambda part: int(part.record.info["epoch"]), reverse=True)
    before = [
        series_part(in_shown.series(one, shown), f"{name}-before-{i}", record, [], shown)
        for i, one in enumerate(record.earlier_series, start=1)
    ]
    advice = series[0].advice if series else []
    return EnginePart(
        id=name,
        record=record,
        state=record.status["state"],
        statements=statements(record, today, shown),
        series=series,
        ended=ended,
        before=before,
        work=done,
        advice=advice[:FIRST_ADVICE],
        more_advice=advice[FIRST_ADVICE:],
        fitting=fitting(record.installation_record, shown, photos),
        earlier=earlier(record.earlier_installations, shown, photos),
        log=log(record),
        interference=diagram(record),
    )


def series_part(
    record: SeriesRecord,
    name: str,
    of: EngineRecord,
    done: list[work.Mark],
    shown: ShownUnits,
) -> SeriesPart:
    """Return a series as the template shows it; `name` is its anchor."""
    found = facts(record, of)
    changes = levels(record.history, record.verdict.recordings)
    beside = (pairs.after_work(record, of, shown), pairs.before(record, shown))
    judged = record.verdict.recordings
    kept = set(judged.loc[judged["used"].astype(bool), "recording"])
    return SeriesPart(
        id=name,
        record=record,
        facts=found,
        levels=changes,
        statement=idle_trend(record, found, of),
        advice=further(record),
        recordings=_recordings(record),
        marks=work.beside([*work.fitted(of), *done], record),
        ended_by=work.ended_by(of, record),
        pairs=[pair for pair in beside if pair is not None],
        speed=running.speed(record, kept, of.engine.fast_idle_rpm),
        overall=running.overall(record, kept, shown),
        groups=groups(found, changes),
        sweep=sweep(record, firing=of.engine.firing_order_number),
    )


def _recordings(record: SeriesRecord) -> list[dict[str, Any]]:
    """Return the recordings, newest first, with what the verdict did with each."""
    judged = {row["recording"]: row for row in record.verdict.recordings.to_dict(orient="records")}
    newest_first = record.recordings.sort_values("hours", ascending=False, kind="stable")
    rows = []
    for row in newest_first.to_dict(orient="records"):
        verdict = judged.get(row["recording"], {})
        why_not = verdict.get("why_not")
        quality = row["quality"] if isinstance(row["quality"], list) else []
        faults = [note["message"] for note in quality if note["severity"] == "unusable"]
        unusable = f"cannot be used: {' '.join(faults)}" if faults else ""
        more = {
            "used": bool(verdict.get("used", False)),
            "why_not": why_not if isinstance(why_not, str) else unusable,
            "circumstances": words.circumstances(row.get("circumstances") or {}),
            "quality": quality,
        }
        rows.append({str(key): value for key, value in (row | more).items()})
    return rows
