"""Where each engine stands: every series judged, the renewal, the next recording."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from vibetrend.checkup import twins
from vibetrend.checkup.happenings import happenings
from vibetrend.checkup.judging import verdict_on
from vibetrend.checkup.past import Judged, after_work, before, carried, followed
from vibetrend.checkup.records import (
    INTERVAL_HOURS,
    EngineRecord,
    OrderSpectrum,
    SeriesRecord,
    Work,
)
from vibetrend.checkup.upkeep import upkeep
from vibetrend.checkup.visits import latest
from vibetrend.logbook import Installation, Logbook, Series
from vibetrend.logbook import Work as KeptWork
from vibetrend.trend import Verdict, worst


def standing(
    logbook: Logbook, names: Sequence[str] | None = None, *, today: dt.date
) -> list[EngineRecord]:
    """Judge the present installation of each engine named (of all, if none is named).

    Each verdict is kept in the logbook when it differs from the last one kept.

    Raises
    ------
    LogbookError
        If an engine is not known.
    """
    return [_engine(logbook, name, today) for name in names or logbook.engine_names()]


def to_json(records: Sequence[EngineRecord]) -> dict[str, Any]:
    """Return the JSON form of ``status``."""
    return {
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


def _engine(logbook: Logbook, name: str, today: dt.date) -> EngineRecord:
    engine = logbook.engine(name)
    installations = logbook.installations(name)
    present = installations[-1] if installations else None
    work = [each for each in logbook.work(name) if present and each.installation_id == present.id]
    every = logbook.series(name)
    own = [(each, logbook.recordings(each.id)) for each in every if each.installation == present]
    kept_up = upkeep(logbook, engine, installations, today=today)
    due = kept_up.renewal
    judged = [
        Judged(each, _series(logbook, each, kept.loc[~kept["before"]], work, due.expected_hours))
        for each, kept in own
        if not kept["before"].all()
    ]
    series = [
        _with_past(one, judged, logbook=logbook, series=every, installations=installations)
        for one in sorted(judged, key=lambda one: one.record.ended)
    ]
    current = [each for each in series if not each.ended]
    state = worst(each.verdict.state for each in current)
    next_hours = _next_hours(state, kept_up.hours, current)
    next_recording = kept_up.reached(next_hours, today)
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
        happenings=happenings(logbook, engine, series),
        meter_offset=kept_up.meter_offset,
        next_recording=next_recording,
    )


def _series(
    logbook: Logbook,
    series: Series,
    recordings: pd.DataFrame,
    work: Sequence[KeptWork],
    renewal_hours: float | None,
) -> SeriesRecord:
    history = logbook.history(series.id)
    engine = series.installation.engine if series.installation else None
    verdict = verdict_on(history, engine=engine, renewal_hours=renewal_hours)
    verdict = _with_latest(verdict, recordings)
    spectrum, reference = _spectra(history, series.unit)
    logbook.keep_verdict(series.id, verdict.to_dict(), verdict.state)
    ended = _ended(series, work)
    return SeriesRecord(
        info={
            "id": series.id,
            "position": series.position,
            "device": series.device,
            "kind": series.kind,
            "unit": series.unit,
            "codec": series.codec,
            "condition": series.condition,
            "manner": series.manner,
            "speed_rpm": series.speed_rpm,
            "epoch": series.epoch,
            "baseline": _baseline_kind(series.installation),
            "ended": ended,
            "carried": None,
            "follows": None,
        },
        verdict=verdict,
        history=history,
        recordings=recordings,
        ended=ended is not None,
        latest=spectrum,
        reference=reference,
    )


def _ended(series: Series, work: Sequence[KeptWork]) -> str | None:
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


def _spectra(history: pd.DataFrame, unit: str) -> tuple[OrderSpectrum | None, OrderSpectrum | None]:
    """Return the order spectra of the latest check-up and of the baseline, where there are any."""
    orders = history.loc[(history["feature"] == "order") & history["visible"].astype(bool)]
    in_baseline = orders["baseline"].astype(bool)
    later = orders.loc[~in_baseline]
    return _middle(latest(later), "the latest check-up", unit), _middle(
        orders.loc[in_baseline], "the baseline", unit
    )


def _middle(rows: pd.DataFrame, label: str, unit: str) -> OrderSpectrum | None:
    if rows.empty:
        return None
    amplitude = np.exp(np.log(rows["amplitude"]).groupby(rows["order"]).mean())
    count = rows["recording"].nunique()
    return OrderSpectrum(
        order=amplitude.index.to_numpy(dtype=float),
        amplitude=amplitude.to_numpy(dtype=float),
        unit=unit,
        label=f"{label}, {count} recordings",
    )


def _baseline_kind(installation: Installation | None) -> str | None:
    if installation is None:
        return None
    return "as-found" if installation.as_found else "after-installation"


def _with_latest(verdict: Verdict, recordings: pd.DataFrame) -> Verdict:
    """Return the verdict; a latest recording that cannot be used asks to be taken again."""
    last = recordings.sort_values(["hours", "date", "added_at"]).iloc[-1]
    if not last["unusable"]:
        return verdict
    faults = [doubt["message"] for doubt in last["quality"] if doubt["severity"] == "unusable"]
    said = f"The latest recording, {last['name']}, cannot be used. {' '.join(faults)}"
    state = worst([verdict.state, "record-again"])
    return replace(verdict, state=state, advice=[said, *verdict.advice])


def _next_hours(state: str, hours: float | None, series: Sequence[SeriesRecord]) -> float | None:
    """Return when to record again: now, while a question is open, and well before any limit.

    It counts from the last recording: reading the meter in between puts nothing off.
    """
    if hours is None:
        return None
    if state not in ("no-change-seen", "changed"):
        return hours
    recorded = max(float(each.recordings["hours"].max()) for each in series)
    to_limit = [float(each.verdict.orders["hours_to_limit_low"].min()) for each in series]
    return recorded + min([INTERVAL_HOURS, *(0.5 * low for low in to_limit if low >= 0)])
