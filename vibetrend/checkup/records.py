"""Where each engine stands, as plain records: what status, add and the page show."""

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.engine import Engine
from vibetrend.trend import Comparison, Verdict

if TYPE_CHECKING:  # only the type: to say where an engine stands, nothing has to be measured
    from vibetrend.orders import Spectrogram


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderSpectrum:
    """Amplitude against order, of one recording or the middle of several."""

    order: NDArray[np.float64]  # (n,) multiples of crankshaft speed, rising
    amplitude: NDArray[np.float64]  # (n,) rms, in `unit`
    unit: str
    label: str  # what it shows, e.g. "the latest check-up, 3 recordings"


@dataclass(frozen=True, kw_only=True)
class Work:
    """Something done to the engine that may have moved levels for good."""

    date: dt.date
    hours: float  # engine hours
    what: str  # "mounts", "injectors" and so on
    note: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Step(Comparison):
    """How a series begins after work, compared with the last check-up before the work."""

    against: dt.date  # of that check-up


@dataclass(frozen=True, kw_only=True, eq=False)
class SeriesRecord:
    """One series: what may be compared, its recordings and what was concluded."""

    info: dict[str, Any]  # a series of ``status --json`` without its verdict and comparisons
    verdict: Verdict
    history: pd.DataFrame  # the columns that ``judge`` takes
    recordings: pd.DataFrame  # recording, name, sha256, visit, hours, date, rpm, speed_rpm,
    # baseline, quality (a list of dicts: code, severity, message), method_version and more
    ended: bool = False  # by work; its last verdict stays to be read
    after_work: Step | None = None
    before: Comparison | None = None  # its baseline against recordings of the damper before
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
    series: tuple[SeriesRecord, ...]  # those that work has ended come last
    work: tuple[Work, ...] = ()  # since the damper was fitted, earliest first
    renewal_hours: float | None = None  # engine hours when the damper is due, be it by hours or,
    # as use so far lets expect, by its date; no forecast is told beyond


@dataclass(frozen=True, kw_only=True, eq=False)
class SideBySide:
    """Two like engines, recorded in the same way; a difference is information, not a verdict.

    `table` has one row for each feature that both show, columns `feature`, `order`, `first`,
    `second` (rms amplitude at the latest check-up of each), `unit` (of both), `difference_db`
    (second over first), `standard_error_db` (of the difference without `common_db`),
    `first_change_db` and `second_change_db` (each against its own baseline, as its verdict says;
    NaN without one).
    """

    engines: tuple[str, str]
    series: tuple[Any, Any]  # the id of each
    info: dict[str, Any]  # of the first's series: how both were recorded
    unit: str  # of all orders
    common_db: float  # what the differences of all orders have in common
    table: pd.DataFrame
