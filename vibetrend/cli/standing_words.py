"""What the commands print of where an engine stands, for someone who has never seen it before."""

import datetime as dt
from collections.abc import Collection, Sequence

from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.cli.words import wrapped
from vibetrend.report.statements import statements
from vibetrend.report.words import STATE_WORDS, series_name
from vibetrend.trend.advice import BLIND, CAUTIONS

_TELLS_APART = ("position", "device", "kind", "condition", "manner")


def standing_words(records: Sequence[EngineRecord], *, today: dt.date) -> str:
    """Return where each engine stands: first screen, each series' advice, the cautions."""
    blocks = []
    for record in records:
        title = record.engine.name
        lines = [title, "-" * len(title)]
        for said in statements(record, today):
            lines += wrapped(f"{said.label}: {said.words}. {said.text}".strip())
            for more in said.more:
                lines += wrapped(more, indent="  ")
        for series in record.series:
            lines += ["", f"  {series_name(series.info)}"]
            for advice in series.verdict.advice:
                if advice not in (BLIND, *CAUTIONS):
                    lines += wrapped(f"- {advice}", indent="  ", hanging="    ")
        blocks.append("\n".join(lines))
    blocks.append("\n".join(line for caution in CAUTIONS for line in wrapped(caution)))
    return "\n\n".join(blocks)


def filed_words(record: EngineRecord, series_ids: Collection[int]) -> str:
    """Return what became of the recordings just added, series by series."""
    lines = []
    compared = [one for one in record.series if one.verdict.state != "no-baseline"]
    for one in record.series:
        if one.info["id"] not in series_ids:
            continue
        lines += wrapped(f"{series_name(one.info)}: {STATE_WORDS[one.verdict.state].lower()}.")
        if one not in compared and compared:
            lines += wrapped(
                f"Compared with nothing: the baseline differs in {_difference(one, compared[0])}. "
                f"State the same as then, or begin a baseline of its own with --baseline.",
                indent="  ",
            )
    return "\n".join(lines)


def _difference(one: SeriesRecord, other: SeriesRecord) -> str:
    told = [
        f"{key} ({other.info[key] or 'none stated'})"
        for key in _TELLS_APART
        if one.info[key] != other.info[key]
    ]
    return ", ".join(told) or f"speed ({other.info['speed_rpm']:.0f} rpm) or sound format"
