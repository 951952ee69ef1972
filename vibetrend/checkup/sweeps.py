"""The sweeps of a series: their resonances followed over the hours, and the curves to look at."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from vibetrend.checkup.records import SeriesRecord, SweepCurves
from vibetrend.engine import Engine
from vibetrend.logbook import KeptSweep, Logbook, Series, sweeps
from vibetrend.runup.following import Sweep, following
from vibetrend.runup.resonances import resonances
from vibetrend.trend.rows import CIRCUMSTANCES


def history_of(logbook: Logbook, series: Series) -> pd.DataFrame:
    """Return what `judge` takes of a series: of sweeps, the resonances they show together."""
    if series.manner == "steady":
        return logbook.history(series.id)
    return _followed(sweeps(logbook, series.id), series)


def _followed(kept: Sequence[KeptSweep], series: Series) -> pd.DataFrame:
    engine = series.installation.engine if series.installation else None
    history = following(
        [
            Sweep(
                recording=each.recording,
                visit=each.visit,
                hours=each.hours,
                date=each.date,
                baseline=each.baseline,
                runup=each.runup,
                damper_c=each.circumstances.get("damper_c"),
            )
            for each in kept
        ],
        engine=engine,
    )
    stated = pd.DataFrame({each.recording: each.circumstances for each in kept}).T
    damper_c = pd.to_numeric(stated.get("damper_c", pd.Series(dtype=float)))
    stated = stated.reindex(columns=list(CIRCUMSTANCES)).astype(object)
    stated = stated.where(stated.notna(), None)
    history = history.join(stated, on="recording").join(damper_c.rename("damper_c"), on="recording")
    return history.assign(floor=np.nan, rpm=np.nan, temperature_c=np.nan, velocity_mm_s=np.nan)


def with_curves(logbook: Logbook, record: SeriesRecord, engine: Engine) -> SeriesRecord:
    """Return a series' record with what its latest sweeps show over its baseline's.

    One of steady recordings is returned as it is.
    """
    if record.info["manner"] == "steady":
        return record
    kept = sweeps(logbook, record.info["id"])
    baseline = [each for each in kept if each.baseline]
    later = [each for each in kept if each.visit == kept[-1].visit and not each.baseline]
    return replace(
        record,
        curves=_curves(later, "the latest check-up", record.info["unit"]),
        reference_curves=_curves(baseline, "the baseline", record.info["unit"]),
        resonances=_resonances(kept[-1], baseline, engine) if kept else None,
    )


def _resonances(one: KeptSweep, baseline: Sequence[KeptSweep], engine: Engine) -> pd.DataFrame:
    """Return the resonances of a sweep, and how far they lie from the baseline's."""
    warm = [each.circumstances.get("damper_c") for each in baseline]
    known = [each for each in warm if each is not None]
    found, _ = resonances(  # what is to doubt stands beside each recording already
        one.runup,
        engine=engine,
        baseline=[] if one.baseline else [each.runup for each in baseline],
        damper_c=one.circumstances.get("damper_c"),
        baseline_damper_c=float(np.mean(known)) if known else None,
    )
    return found


def _curves(kept: Sequence[KeptSweep], label: str, unit: str) -> SweepCurves | None:
    """Return the middle of several sweeps' order curves; None where there are none."""
    tables = [each.runup for each in kept if len(each.runup)]
    if not tables:
        return None
    together = pd.concat(tables).groupby(["order", "speed_rpm"], as_index=False)
    table = together.agg(
        amplitude=("amplitude", "median"),
        standard_error=("standard_error", lambda errors: np.sqrt(np.mean(errors**2) / len(errors))),
    )
    return SweepCurves(table=table, unit=unit, label=f"{label}, {len(tables)} sweeps")
