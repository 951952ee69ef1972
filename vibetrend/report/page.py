"""Records -> one HTML text that needs nothing but a browser."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from vibetrend.checkup.records import EngineRecord, SeriesRecord, SideBySide
from vibetrend.quantities import ShownUnits
from vibetrend.report import figures, histories, pairs, pictures, words, work
from vibetrend.report import shown as in_shown
from vibetrend.report.document import as_json, document
from vibetrend.report.facts import Fact, facts, severity
from vibetrend.report.fitting import Fitting, earlier, fitting
from vibetrend.report.levels import Levels, levels
from vibetrend.report.meter import HoursLog, hours_log
from vibetrend.report.statement import Statement
from vibetrend.report.statements import further, idle_trend, overdue, statements

_AS_KEPT = ShownUnits()
_NO_PHOTOS: Mapping[str, bytes] = {}


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

    @property
    def latest_db(self) -> list[float]:
        """The change of each fact at the latest check-up by itself, dB."""
        return [self.levels.latest(fact.feature, fact.order) for fact in self.facts]

    @property
    def rows(self) -> list[tuple[Fact, float]]:
        """Each fact with its change at the latest check-up."""
        return list(zip(self.facts, self.latest_db, strict=True))

    @property
    def featured(self) -> Fact | None:
        """The feature that most needs looking at and has a history."""
        ranked = sorted(self.facts, key=lambda fact: fact.rank, reverse=True)
        return next((f for f in ranked if len(self.levels.of(f.feature, f.order)[1])), None)


@dataclass(frozen=True, kw_only=True, eq=False)
class EnginePart:
    """One engine as the template shows it."""

    id: str
    record: EngineRecord
    state: str
    statements: list[Statement]  # the first screen, an overdue renewal first
    series: list[SeriesPart]  # worst first
    ended: list[SeriesPart]  # by work, the latest first
    work: list[work.Mark]
    advice: list[str]  # of the worst series
    fitting: Fitting | None  # the installation record; None where nothing was entered
    earlier: list[tuple[str, Fitting | None]]  # the dampers before, the latest first
    hours: HoursLog | None


def page(
    engines: Sequence[EngineRecord],
    *,
    title: str,
    made_at: dt.datetime,
    invented: bool = False,
    twins: Sequence[SideBySide] = (),
    shown: ShownUnits = _AS_KEPT,
    photos: Mapping[str, bytes] = _NO_PHOTOS,
) -> str:
    """Return the whole report as one self-contained HTML text.

    Parameters
    ----------
    engines : sequence of EngineRecord
        In the order in which they are to be shown.
    title : str
        Heading of the page; any text, it is shown as text.
    made_at : datetime
        The clock, as an argument so that the same records give the same page.
    invented : bool
        Says in a banner that the data are invented.
    twins : sequence of SideBySide
        Like engines among them, to be shown side by side.
    shown : ShownUnits
        The units a person wants to see.
    photos : mapping of SHA-256 to the photo's bytes
        Those of the installation records, small enough for a page; one that is missing here is
        named without its picture.
    """
    parts = [
        _engine(record, f"engine-{i}", made_at.date(), shown, photos)
        for i, record in enumerate(engines, start=1)
    ]
    return document(
        "page.html.j2",
        title=title,
        made_at=made_at,
        invented=invented,
        engines=parts,
        overdue=overdue(engines),
        twins=[in_shown.side_by_side(each, shown) for each in twins],
        method_versions=_method_versions(engines),
        histories=histories,
        pictures=pictures,
        charts=_CHARTS,
    )


# Parts


def _engine(
    record: EngineRecord,
    name: str,
    today: dt.date,
    shown: ShownUnits,
    photos: Mapping[str, bytes],
) -> EnginePart:
    done = work.marks(record)
    parts = [
        _series(in_shown.series(one, shown), f"{name}-series-{i}", record, done, shown)
        for i, one in enumerate(record.series, start=1)
    ]
    series = [part for part in parts if not part.record.ended]
    series.sort(key=lambda part: severity(part.record.verdict.state), reverse=True)
    ended = [part for part in parts if part.record.ended]
    ended.sort(key=lambda part: int(part.record.info["epoch"]), reverse=True)
    return EnginePart(
        id=name,
        record=record,
        state=record.status["state"],
        statements=statements(record, today, shown),
        series=series,
        ended=ended,
        work=done,
        advice=series[0].advice if series else [],
        fitting=fitting(record.installation_record, shown, photos),
        earlier=earlier(record.earlier_installations, shown, photos),
        hours=hours_log(record),
    )


def _series(
    record: SeriesRecord,
    name: str,
    of: EngineRecord,
    done: list[work.Mark],
    shown: ShownUnits,
) -> SeriesPart:
    found = facts(record, of)
    beside = (pairs.after_work(record, of, shown), pairs.before(record, shown))
    return SeriesPart(
        id=name,
        record=record,
        facts=found,
        levels=levels(record.history, record.verdict.recordings),
        statement=idle_trend(record, found, of),
        advice=further(record),
        recordings=_recordings(record),
        marks=work.beside([*work.fitted(of), *done], record),
        ended_by=work.ended_by(of, record),
        pairs=[pair for pair in beside if pair is not None],
    )


def _recordings(record: SeriesRecord) -> list[dict[str, Any]]:
    """Return the recordings, newest first, with what the verdict did with each."""
    judged = {row["recording"]: row for row in record.verdict.recordings.to_dict(orient="records")}
    newest_first = record.recordings.sort_values("hours", ascending=False, kind="stable")
    rows = []
    for row in newest_first.to_dict(orient="records"):
        verdict = judged.get(row["recording"], {})
        why_not = verdict.get("why_not")
        more = {
            "used": bool(verdict.get("used", False)),
            "why_not": why_not if isinstance(why_not, str) else "",
            "circumstances": words.circumstances(row.get("circumstances") or {}),
            "quality": row["quality"] if isinstance(row["quality"], list) else [],
        }
        rows.append({str(key): value for key, value in (row | more).items()})
    return rows


def _method_versions(engines: Sequence[EngineRecord]) -> str:
    """Return the method versions of all recordings, e.g. ``1, 2``; empty where not handed over."""
    tables = [series.recordings for record in engines for series in record.series]
    found = {v for table in tables if "method_version" in table for v in table["method_version"]}
    return ", ".join(str(version) for version in sorted(found))


# Charts as JSON


def _histories(part: SeriesPart) -> Markup:
    """Return the choices of the history chart, the featured one first."""
    first = part.featured
    rest = [one for one in part.facts if one is not first]
    shown = [one for one in [first, *rest] if one is not None]
    reach = histories.reach_db(part.levels, part.facts)
    return as_json([figures.history(one, part.levels, reach, part.marks) for one in shown])


_CHARTS = {
    "histories": _histories,
    "together": lambda part: as_json([figures.together(part.levels, part.marks)]),
    "map": lambda part: as_json([figures.checkup_map(part.facts, part.levels)]),
    "over_time": lambda shown: as_json([figures.over_time(shown)]),
    "spectrum": lambda latest, reference: as_json([figures.spectrum(latest, reference)]),
}
