"""Where each engine stands, as plain records: what status, add and the page show."""

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.engine import Engine
from vibetrend.trend import Verdict

if TYPE_CHECKING:  # only the type: to say where an engine stands, nothing has to be measured
    from vibetrend.orders import Spectrogram


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderSpectrum:
    """Amplitude against order, of one recording or the middle of several."""

    order: NDArray[np.float64]  # (n,) multiples of crankshaft speed, rising
    amplitude: NDArray[np.float64]  # (n,) rms, in `unit`
    unit: str
    label: str  # what it shows, e.g. "the latest check-up, 3 recordings"


@dataclass(frozen=True, kw_only=True, eq=False)
class SeriesRecord:
    """One series: what may be compared, its recordings and what was concluded."""

    info: dict[str, Any]  # a series of ``status --json`` without its verdict
    verdict: Verdict
    history: pd.DataFrame  # the columns that ``judge`` takes
    recordings: pd.DataFrame  # recording, name, sha256, visit, hours, date, rpm, speed_rpm,
    # baseline, quality (a list of dicts: code, severity, message), method_version and more
    latest: OrderSpectrum | None = None
    reference: OrderSpectrum | None = None
    spectrogram: "Spectrogram | None" = None


@dataclass(frozen=True, kw_only=True, eq=False)
class EngineRecord:
    """One engine with its installation and its series."""

    engine: Engine
    status: dict[str, Any]  # an engine of ``status --json``
    installation_date: dt.date | None
    installation_hours: float | None
    as_found: bool
    series: tuple[SeriesRecord, ...]
