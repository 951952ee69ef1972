"""What the commands print of where an engine stands, for someone who has never seen it before."""

import datetime as dt
import math
from collections.abc import Collection, Sequence

from vibetrend.checkup.records import EngineRecord, SeriesRecord, SideBySide
from vibetrend.checkup.twins import side_by_side
from vibetrend.cli import text_charts
from vibetrend.cli.terminal import cell, coloured, columns, titled, toned, wrapped
from vibetrend.quantities import ShownUnits
from vibetrend.report import pairs, work
from vibetrend.report import shown as in_shown
from vibetrend.report.facts import Fact, facts, short_name
from vibetrend.report.isolating import isolated
from vibetrend.report.levels import levels
from vibetrend.report.statements import further, idle_trend, overdue, statements
from vibetrend.report.words import (
    NOTHING,
    RENEWAL_WORDS,
    STATE_WORDS,
    baseline_name,
    date,
    fixed,
    series_name,
)
from vibetrend.trend.advice import CAUTIONS

_AS_KEPT = ShownUnits()
_TELLS_APART = {
    **{name: name for name in ("position", "device", "kind", "unit", "condition", "manner")},
    "codec": "sound format",
}


def standing_words(
    records: Sequence[EngineRecord],
    *,
    today: dt.date,
    shown: ShownUnits = _AS_KEPT,
    every: bool = False,
) -> str:
    """Return where each engine stands: first screen, each series' chart and advice, the cautions.

    Of several engines a line each comes first. `every` puts all orders into the charts, not the
    most telling ones only.
    """
    late = wrapped(overdue(records))
    blocks = ["\n".join(coloured(line, "overdue") for line in late)] if late else []
    blocks += [short_words(records)] if len(records) > 1 else []
    blocks += ["\n".join(_engine(record, today, shown, every)) for record in records]
    twins = [in_shown.side_by_side(each, shown) for each in side_by_side(records)]
    blocks += ["\n".join(_side_by_side(each)) for each in twins]
    blocks.append("\n".join(line for caution in CAUTIONS for line in wrapped(caution)))
    return "\n\n".join(blocks)


def short_words(records: Sequence[EngineRecord]) -> str:
    """Return a line for each engine: its state, and whether its damper is due."""
    lines = []
    for record in records:
        state, renewal = record.status["state"], record.status["renewal"]["state"]
        words = STATE_WORDS[state].lower()
        text = f"{isolated(record.engine.name)}: {words}; damper renewal "
        lines += toned(wrapped(f"{text}{RENEWAL_WORDS[renewal].lower()}"), words, state)
    return "\n".join(lines)


def _engine(record: EngineRecord, today: dt.date, shown: ShownUnits, every: bool) -> list[str]:
    lines = titled(isolated(record.engine.name))
    told: set[str] = set()
    for said in statements(record, today, shown):
        first = wrapped(f"{said.label}: {said.words}. {said.text}".strip())
        lines += toned(first, said.words, said.state)
        told |= {said.text, *said.more}
        for more in said.more:
            lines += wrapped(more, indent="  ")
    for mark in work.marks(record)[-1:]:
        lines += wrapped(f"Last work: {mark.name}.")
    for series in record.series:
        lines += ["", *_series(series, record, told, every)]
    return lines


def _series(
    series: SeriesRecord, record: EngineRecord, told: Collection[str], every: bool
) -> list[str]:
    """Return the verdict of one series and its advice, without what the first screen told."""
    found = facts(series, record)
    said = idle_trend(series, found, record)
    end = work.ended_by(record, series)
    when = f"Before the work ({end.name}): " if end else ""
    lines = wrapped(f"{when}{series_name(series.info)}: {said.words.lower()}.", indent="  ")
    if end is None:
        lines += _chart(series, found, every)
    step = pairs.after_work(series, record)
    texts = [said.text, *said.more, *([f"{step.title}. {step.text}"] if step else [])]
    for text in texts:
        if text not in told:
            lines += wrapped(text, indent="    ", hanging="    ")
    if end is None:
        for advice in further(series):
            lines += wrapped(f"- {advice}", indent="  ", hanging="    ")
    return lines


def _chart(series: SeriesRecord, found: Sequence[Fact], every: bool) -> list[str]:
    """Return where the orders of a series stand, and the history of what tells most."""
    indent = "  " if columns() < 60 else "    "
    verdict = series.verdict
    seen = levels(series.history, verdict.recordings)
    most = text_charts.featured(found)
    lines = text_charts.changes(found, indent=indent, every=every)
    if not lines or most is None:
        return []
    if verdict.state == "all-moved" and not verdict.each_its_own_way:
        course = text_charts.history_together(seen, indent=indent)
    else:
        course = text_charts.history(most, seen, indent=indent)
    together = _db(verdict.common_change_db)
    beside = "" if together in (NOTHING, "0.0") else f", without the {together} dB of all together"
    each = "order" if series.info["manner"] == "steady" else "resonance"
    title = wrapped(f"Change of each {each} from {baseline_name(series)}{beside}:", indent=indent)
    return ["", *title, *lines, *(["", *course] if course else []), ""]


def _side_by_side(each: SideBySide) -> list[str]:
    """Return two like engines as a small table; a narrow terminal gets the differences only."""
    lines = [*titled(f"{' and '.join(map(isolated, each.engines))} side by side")]
    lines += wrapped(series_name(each.info))
    lines += wrapped(
        "No verdict: two like engines differ by several dB when both are sound. What counts is "
        "the change of each against its own baseline."
    )
    first, second = each.engines
    unit = f"{each.unit} rms"
    rows = [
        ["", first, second, "difference", first, second],
        ["", unit, unit, "dB", "own change", "own change"],
    ]
    for row in each.table.to_dict(orient="records"):
        own_unit = "" if row["unit"] == each.unit else f" {row['unit']}"
        level = [f"{row[name]:#.3g}{own_unit}" for name in ("first", "second")]
        changes = ("difference_db", "first_change_db", "second_change_db")
        name = short_name(row["feature"], row["order"])
        rows.append([name, *level, *(_db(row[change]) for change in changes)])
    if columns() < 60:
        rows = [[name, *numbers[2:]] for name, *numbers in rows]
    wide = min(12, (columns() - 6) // len(rows[0]) - 1)
    return [*lines, *(_cells(*row, wide=wide) for row in rows)]


def _cells(name: str, *numbers: str, wide: int) -> str:
    return cell(name, wide, ">") + "".join(f" {cell(each, wide, '>')}" for each in numbers)


def _db(value: float) -> str:
    return NOTHING if math.isnan(value) else fixed(value, 1, sign=True)


def filed_words(record: EngineRecord, series_ids: Collection[int]) -> str:
    """Return what became of the recordings just added, series by series."""
    lines = []
    current = [one for one in record.series if not one.ended]
    compared = [one for one in current if one.verdict.state != "no-baseline"]
    for one in record.series:
        if one.info["id"] not in series_ids:
            continue
        lines += wrapped(f"{series_name(one.info)}: {STATE_WORDS[one.verdict.state].lower()}.")
        if one in compared or one.ended:
            continue
        begun = work.begun_by(record, one)
        if begun is not None and work.earlier(record, one) is not None:
            lines += wrapped(
                f"Compared with nothing: after the work, {begun.name}, a new baseline begins. "
                f"Add its recordings with --baseline.",
                indent="  ",
            )
        elif compared:
            lines += wrapped(
                f"Compared with nothing: the baseline differs in {_difference(one, compared[0])}. "
                f"State the same as then, or begin a baseline of its own with --baseline.",
                indent="  ",
            )
    return "\n".join(lines)


def earlier_words(record: EngineRecord) -> str:
    """Return what became of recordings that belong to none of the series judged now."""
    assert record.installation_date is not None  # else nothing lies before it
    return "\n".join(
        wrapped(
            f"Kept; it lies before the installation of {date(record.installation_date)}, so no "
            f"verdict compares it with anything."
        )
    )


def _difference(one: SeriesRecord, other: SeriesRecord) -> str:
    told = [
        f"{name} ({other.info[key] or 'none stated'})"
        for key, name in _TELLS_APART.items()
        if one.info[key] != other.info[key]
    ]
    speed = other.info["speed_rpm"]
    return ", ".join(told) or f"speed ({'not known' if speed is None else f'{speed:.0f} rpm'})"
