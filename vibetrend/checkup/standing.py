"""Where each engine stands: every series judged, the renewal, the next recording."""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from vibetrend.checkup import twins
from vibetrend.checkup.past import Judged, after_work, before, carried, followed
from vibetrend.checkup.records import (
    INTERVAL_HOURS,
    EngineRecord,
    Kept,
    SeriesRecord,
    Work,
)
from vibetrend.checkup.series import series_record
from vibetrend.checkup.upkeep import upkeep
from vibetrend.errors import LogbookError
from vibetrend.logbook import Installation, Logbook, Series
from vibetrend.logbook import Work as KeptWork
from vibetrend.trend import worst


def standing(
    logbook: Logbook,
    names: Sequence[str] | None = None,
    *,
    today: dt.date,
    tell: Callable[[str], None] | None = None,
) -> list[EngineRecord]:
    """Judge the present installation of each engine named (of all, if none is named).

    Each verdict is kept in the logbook when it differs from the last one kept. With `tell`, one
    that cannot be kept, as on a full disk, hides nothing: why is told, once.

    Raises
    ------
    LogbookError
        If an engine is not known; without `tell`, also if a verdict cannot be kept.
    """
    unkept: list[LogbookError] = []
    records = [
        _engine(logbook, name, today, unkept if tell else None)
        for name in names or logbook.engine_names()
    ]
    if unkept and tell:
        tell(f"what was concluded is not kept: {unkept[0]}")
    return records


def to_json(records: Sequence[EngineRecord], kept: Kept | None = None) -> dict[str, Any]:
    """Return the JSON form of ``status``; with `kept`, whether the logbook is as it was entered."""
    checked = {} if kept is None else {"logbook": {"faults": list(kept.faults)}}
    return checked | {
        "engines": [
            record.status
            | {
                "work": [
                    {
                        "date": each.date.isoformat(),
                        "hours": each.hours,
                        "what": each.what,
                        "note": each.note,
                    }
                    for each in record.work
                ],
                "series": [_series_json(each) for each in record.series],
            }
            for record in records
        ],
        "side_by_side": [twins.to_dict(each) for each in twins.side_by_side(records)],
    }


def _series_json(series: SeriesRecord) -> dict[str, Any]:
    step, before_it = series.after_work, series.before
    return (
        series.info
        | {
            "after_work": step and step.to_dict() | {"against": step.against.isoformat()},
            "before": before_it and before_it.to_dict(),
        }
        | {"verdict": series.verdict.to_dict()}
    )


def _engine(
    logbook: Logbook, name: str, today: dt.date, unkept: list[LogbookError] | None
) -> EngineRecord:
    engine = logbook.engine(name)
    installations = logbook.installations(name)
    present = installations[-1] if installations else None
    work = [each for each in logbook.work(name) if present and each.installation_id == present.id]
    every = logbook.series(name)
    own = [(each, logbook.recordings(each.id)) for each in every if each.installation == present]
    kept_up = upkeep(logbook, engine, installations, today=today)
    due = kept_up.renewal
    judged = [
        Judged(
            each,
            series_record(
                logbook,
                each,
                kept.loc[~kept["before"]],
                ended=ended(each, work),
                renewal_hours=due.expected_hours,
            ),
        )
        for each, kept in own
        if not kept["before"].all()
    ]
    for one in judged:
        verdict = one.record.verdict
        newest = str(one.record.recordings["recording"].iloc[-1])
        try:
            logbook.keep_verdict(one.series.id, verdict.to_dict(), verdict.state, newest=newest)
        except LogbookError as error:
            if unkept is None:
                raise
            unkept.append(error)
    series = [
        _with_past(one, judged, logbook=logbook, series=every, installations=installations)
        for one in sorted(judged, key=lambda one: one.record.ended)
    ]
    current = [each for each in series if not each.ended]
    state = worst(each.verdict.state for each in current)
    next_hours = _next_hours(state, kept_up.hours, current)
    next_recording = kept_up.reached(next_hours)
    next_date = next_recording and next_recording.middle
    return EngineRecord(
        engine=present.engine if present else engine,
        status={
            "name": name,
            "state": state,
            "hours": kept_up.hours,
            "next_recording_hours": next_hours,
            "next_recording_date": next_date and next_date.isoformat(),
            "renewal": due.to_dict(),
            **kept_up.to_dict(),
        },
        installation_date=present.date if present else None,
        installation_hours=present.hours if present else None,
        as_found=present.as_found if present else False,
        series=tuple(series),
        work=tuple(
            Work(date=each.date, hours=each.hours, what=each.what, note=each.note) for each in work
        ),
        renewal=due,
        installation_record=kept_up.record,
        earlier_installations=kept_up.earlier,
        hours_log=kept_up.log,
        meter_offset=kept_up.meter_offset,
        next_recording=next_recording,
        latest_day=kept_up.latest_day,
    )


def ended(series: Series, work: Sequence[KeptWork]) -> str | None:
    """Say what work ended a series."""
    ending = [each for each in work if each.epoch == series.epoch + 1]
    if not ending:
        return None
    return f"work on {ending[0].date}: {', '.join(dict.fromkeys(each.what for each in ending))}"


def _with_past(
    one: Judged,
    judged: Sequence[Judged],
    *,
    logbook: Logbook,
    series: Sequence[Series],
    installations: Sequence[Installation],
) -> SeriesRecord:
    """Return a series' record with what its own verdict cannot know."""
    record = one.record
    earlier = followed(one, judged)
    said = carried(record, [each.record for each in judged])
    verdict = record.verdict
    if said is not None:
        verdict = replace(verdict, advice=[said, *verdict.advice])
    return replace(
        record,
        info=record.info | {"carried": said, "follows": earlier and earlier.series.id},
        verdict=verdict,
        after_work=after_work(one, earlier) if earlier else None,
        before=before(one, judged, logbook=logbook, series=series, installations=installations),
    )


def _next_hours(state: str, hours: float | None, series: Sequence[SeriesRecord]) -> float | None:
    """Return when to record again: now, while a question is open, and well before any limit.

    Once something has changed the usual interval is halved. It counts from the last recording:
    reading the meter in between puts nothing off.
    """
    if hours is None:
        return None
    if state not in ("no-change-seen", "changed"):
        return hours
    recorded = max(float(each.recordings["hours"].max()) for each in series)
    to_limit = [float(each.verdict.orders["hours_to_limit_low"].min()) for each in series]
    usual = INTERVAL_HOURS / (2 if state == "changed" else 1)
    return recorded + min([usual, *(0.5 * low for low in to_limit if low >= 0)])
