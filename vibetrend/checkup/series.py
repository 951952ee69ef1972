"""One series as it is shown: what its history comes to, and its latest order spectrum."""

from dataclasses import replace

import numpy as np
import pandas as pd

from vibetrend.checkup.judging import verdict_on
from vibetrend.checkup.records import OrderSpectrum, PastInstallation, SeriesRecord
from vibetrend.checkup.sweeps import history_of
from vibetrend.checkup.visits import latest
from vibetrend.logbook import Installation, Logbook, Series
from vibetrend.trend import Verdict, sentence, worst

FAULTS_TOLD = 2  # of a baseline that cannot be used


def series_record(
    logbook: Logbook,
    series: Series,
    recordings: pd.DataFrame,
    *,
    ended: str | None,
    renewal_hours: float | None = None,
    damper: PastInstallation | None = None,
) -> SeriesRecord:
    """Judge a series as its history stands; nothing is kept in the logbook.

    Parameters
    ----------
    recordings : table
        Those of the series that were made with its damper.
    ended : str, optional
        What ended it, in words.
    damper : PastInstallation, optional
        The damper it is of; None for the present one.
    """
    history = history_of(logbook, series)
    engine = series.installation.engine if series.installation else None
    verdict = verdict_on(history, engine=engine, renewal_hours=renewal_hours)
    spectrum, reference = _spectra(history, series.unit)
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
        verdict=_with_methods(
            _with_latest(_without_baseline(verdict, recordings, series.manner), recordings),
            recordings,
        ),
        history=history,
        recordings=recordings,
        ended=ended is not None,
        damper=damper,
        latest=spectrum,
        reference=reference,
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


def _without_baseline(verdict: Verdict, recordings: pd.DataFrame, manner: str) -> Verdict:
    """Return the verdict; where none of the baseline's recordings counts it says why."""
    base = recordings.loc[recordings["baseline"].astype(bool)]
    if verdict.state != "no-baseline" or base.empty:
        return verdict
    count = f"{len(base)} recording{'s were' if len(base) > 1 else ' was'} added as baseline"
    if base["unusable"].all():
        said = f"{count} and none can be used: {_faults(base)}"
    elif manner == "steady":
        return verdict
    else:
        said = (
            f"{count} and none shows a resonance that can be followed: sweep more slowly, over "
            f"all speeds up to the highest the maker allows without load."
        )
    findings = (sentence(verdict.state), said)
    return replace(verdict, advice=[said, *verdict.advice], findings=findings)


def _faults(recordings: pd.DataFrame) -> str:
    """Return why recordings cannot be used, what holds for most of them first."""
    every = [
        doubt["message"]
        for quality in recordings["quality"]
        for doubt in quality
        if doubt["severity"] == "unusable"
    ]
    told = sorted(dict.fromkeys(every), key=lambda text: -every.count(text))
    more = f" (and {len(told) - FAULTS_TOLD} other reasons)" if len(told) > FAULTS_TOLD else ""
    return " ".join(told[:FAULTS_TOLD]) + more


def _with_latest(verdict: Verdict, recordings: pd.DataFrame) -> Verdict:
    """Return the verdict; a latest recording that cannot be used asks to be taken again."""
    last = recordings.sort_values(["hours", "date", "added_at"]).iloc[-1]
    if not last["unusable"]:
        return verdict
    faults = [doubt["message"] for doubt in last["quality"] if doubt["severity"] == "unusable"]
    said = f"The latest recording, {last['name']}, cannot be used. {' '.join(faults)}"
    state = worst([verdict.state, "record-again"])
    return replace(verdict, state=state, advice=[said, *verdict.advice])


def _with_methods(verdict: Verdict, recordings: pd.DataFrame) -> Verdict:
    """Return the verdict; what two versions measured may differ by what they do otherwise."""
    versions = recordings["method_version"]
    earlier = int((versions < versions.max()).sum())
    if not earlier:
        return verdict
    said = (
        f"{earlier} of {len(recordings)} recordings were measured by an earlier version, so a "
        f"change may come from that; measure them again: vibetrend logbook remeasure"
    )
    return replace(verdict, advice=[said, *verdict.advice])
