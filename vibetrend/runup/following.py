"""The resonances of one series of sweeps as the rows of a history, for the judge."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from vibetrend.engine import Engine
from vibetrend.runup.naming import Place
from vibetrend.runup.powers import powers
from vibetrend.runup.resonances import Named, Reference, reference
from vibetrend.runup.temperature import Warmth, warmth

COLUMNS = (
    *("recording", "visit", "hours", "date", "baseline", "order", "feature", "amplitude"),
    *("standard_error", "shared_error", "visible", "unit", "telling_order"),
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Sweep:
    """One recording of the series: what is stored of it."""

    recording: str
    visit: str
    hours: float
    date: dt.date | None
    baseline: bool
    runup: pd.DataFrame  # as `Measurement.runup`
    damper_c: float | None = None


def following(
    sweeps: Sequence[Sweep],
    *,
    engine: Engine | None = None,
    excited: frozenset[float] | None = None,
    tacho_at: Place | None = None,
) -> pd.DataFrame:
    """Return the history of the resonances in one series of sweeps.

    The sweeps of the baseline together say which resonances there are and what they are called;
    every sweep is then laid over them. Where none is marked as baseline, those of the first visit
    take its place.

    Parameters
    ----------
    sweeps : sequence of Sweep
        One engine, phone and spot.
    engine, excited, tacho_at
        As in `resonances`.

    Returns
    -------
    DataFrame
        Three rows for each sweep and resonance it reaches, `feature` "resonance: NAME frequency"
        (Hz), "... height" (peak over surroundings, 1 at the baseline; no gain enters) and
        "... width" (half-power width, Hz). `standard_error` is the sweep's own, `shared_error` what
        all sweeps of a visit share: what the damper's temperature, or its not being known, leaves
        open in the frequency. Frequencies of the crankshaft are corrected to the damper's mean
        temperature at the baseline where both are known. A resonance of unknown cause may be a
        rubber mount: it is not corrected, and has the error of an unknown temperature.
        `telling_order` is the order in which a resonance is clearest at the baseline, the same in
        all its rows; NaN where none is clear.
    """
    ordered = sorted(sweeps, key=lambda sweep: (sweep.hours, sweep.visit, sweep.recording))
    ordered = [sweep for sweep in ordered if not sweep.runup.empty]
    if not ordered:
        return pd.DataFrame(columns=list(COLUMNS))
    first = ordered[0].visit
    marked = any(sweep.baseline for sweep in ordered)
    base = [each for each in ordered if (each.baseline if marked else each.visit == first)]
    against = reference(
        [each.runup for each in base], engine=engine, excited=excited, tacho_at=tacho_at
    )
    known = [each.damper_c for each in base if each.damper_c is not None]
    baseline_c = float(np.mean(known)) if known else None
    rows = [
        row
        for sweep in ordered
        for row in followed(sweep, against, baseline_c=baseline_c, engine=engine)
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def followed(
    sweep: Sweep, against: Reference, *, baseline_c: float | None, engine: Engine | None
) -> list[dict[str, Any]]:
    """Return the rows of one sweep; `baseline_c` is the damper's temperature at the baseline."""
    at = {name: getattr(sweep, name) for name in COLUMNS[:5]}
    rows: list[dict[str, Any]] = []
    for named, shift in against.shifts(powers(sweep.runup)):
        warm = _warmth(named, sweep, baseline_c, engine)
        hertz = named.resonance.mode.frequency_hz
        width = 2 * named.resonance.mode.damping * hertz
        frequency = hertz * (np.exp(shift.shift) - warm.shift_percent / 100)
        telling = against.telling_order(named)
        values = (
            ("frequency", frequency, shift.error, warm.error_percent / 100, "Hz"),
            ("height", np.exp(shift.height), shift.height_error, 0.0, "of the baseline's"),
            ("width", width * np.exp(shift.width), shift.width_error, 0.0, "Hz"),
        )
        rows += [
            {
                **at,
                "order": np.nan,
                "feature": f"resonance: {named.name} {quantity}",
                "amplitude": value,
                "standard_error": value * error,
                "shared_error": value * shared,
                "visible": True,
                "unit": unit,
                "telling_order": telling,
            }
            for quantity, value, error, shared, unit in values
        ]
    return rows


def _warmth(named: Named, sweep: Sweep, baseline_c: float | None, engine: Engine | None) -> Warmth:
    if named.cause == "crankshaft":
        return warmth(sweep.damper_c, baseline_c, engine=engine)
    return replace(warmth(None, None, engine=engine), shift_percent=0.0)
