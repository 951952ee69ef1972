"""Where each engine stands, as plain records: what status, add and the page show."""

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.engine import Engine
from vibetrend.installation.renewal import Renewal
from vibetrend.installation.use import Reached
from vibetrend.trend import Comparison, Verdict

if TYPE_CHECKING:  # only the types: to say where an engine stands, nothing has to be measured
    from vibetrend.installation.record import Record
    from vibetrend.orders import AmplitudeSpectrum, Measurement, Spectrogram, Trace
    from vibetrend.runup.maps import SweepMap


INTERVAL_HOURS = 200.0
"""Between check-ups: every few hundred hours; common practice, no source."""


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderSpectrum:
    """Amplitude against order, of one recording or the middle of several."""

    order: NDArray[np.float64]  # (n,) multiples of crankshaft speed, rising
    amplitude: NDArray[np.float64]  # (n,) rms, in `unit`
    unit: str
    label: str  # what it shows, e.g. "the latest check-up, 3 recordings"


@dataclass(frozen=True, kw_only=True, eq=False)
class SweepCurves:
    """Amplitude of each order against speed, of one sweep or the middle of several.

    `table` has columns `order`, `speed_rpm`, `amplitude` (rms, in `unit`), `standard_error`.
    """

    table: pd.DataFrame
    unit: str
    label: str  # what it shows, e.g. "the latest check-up, 3 sweeps"


@dataclass(frozen=True, kw_only=True, eq=False)
class Interference:
    """Where an engine's orders meet the natural frequencies of its crankshaft, by the model.

    `table` is that of :func:`vibetrend.torsion.interference`: `mode` (from 1, of the damper or of
    the crank), `frequency_hz`, `order`, `speed_rpm` (where they meet), `vector_sum` (share of the
    largest), `within` (the operating range).
    """

    table: pd.DataFrame
    typical: tuple[str, ...]  # values that nobody stated, in words
    lowest_rpm: float  # of the operating range
    highest_rpm: float


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
class PastInstallation:
    """An earlier damper's time on the engine, ended by the next."""

    date: dt.date
    hours: float  # true engine hours
    as_found: bool
    until: dt.date
    until_hours: float
    record: "Record"


@dataclass(frozen=True, kw_only=True, eq=False)
class SeriesRecord:
    """One series: what may be compared, its recordings and what was concluded."""

    info: dict[str, Any]  # a series of ``status --json`` without its verdict and comparisons
    verdict: Verdict
    history: pd.DataFrame  # the columns that ``judge`` takes
    recordings: pd.DataFrame  # recording, name, sha256, visit, hours, date, rpm, speed_rpm,
    # speed_standard_error_rpm, speed_spread_percent, baseline, quality (a list of dicts: code,
    # severity, message), overall (of dicts: name, band_hz, value, unit), method_version and more
    ended: bool = False  # by work or by another damper; its last verdict stays to be read
    damper: PastInstallation | None = None  # that it is of; None for the present one
    after_work: Step | None = None
    before: Comparison | None = None  # its baseline against recordings of the damper before
    latest: OrderSpectrum | None = None
    reference: OrderSpectrum | None = None
    curves: SweepCurves | None = None  # of sweeps: the latest check-up's
    reference_curves: SweepCurves | None = None  # the baseline's
    resonances: pd.DataFrame | None = None  # of sweeps: those of the latest one, as measured
    spectrogram: "Spectrogram | None" = None
    no_picture: str = ""  # why there is no spectrogram, where there should be one


@dataclass(frozen=True, kw_only=True)
class KnownHours:
    """What was known of an engine's hours on a day."""

    date: dt.date
    hours: float  # true engine hours
    meter_hours: float  # what the hour meter showed
    what: str  # "recording", "work", "installation", "reading" (of the meter), "change" (of it)


@dataclass(frozen=True, kw_only=True)
class Happening:
    """One line of the log of everything."""

    date: dt.date
    hours: float | None  # true engine hours; None where none belong to it
    meter_hours: float | None  # what the hour meter showed then
    what: str  # "installation", "reading", "check", "details", "photo", "note", "finish", "work",
    # "meter", "check-up", "engine file", "correction", "measured again" or "verdict"
    words: str  # ours, with names in them
    own: str = ""  # a person's own words beside them
    states: tuple[str, ...] = ()  # of a verdict: the state before, where there was one, and after
    added_at: str = ""  # UTC, ISO 8601


@dataclass(frozen=True, kw_only=True)
class Corrected:
    """One value that counts instead of what was entered."""

    entry: str  # a recording's short id, or "work-3" and so on
    about: str  # file name, kind of work, what was read and so on
    what: str  # in words
    was: str
    now: str
    reason: str  # the person's own words
    person: str  # "" if not stated
    made_at: str  # UTC, ISO 8601
    date: dt.date


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What the chain over all entries of a logbook says."""

    entries: int
    hash: str  # of the newest entry, its first digits in groups, to be written down
    faults: tuple[str, ...]  # plain lines; none where all is as it was entered
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class EngineRecord:
    """One engine with its installation and its series."""

    engine: Engine
    status: dict[str, Any]  # an engine of ``status --json``
    installation_date: dt.date | None
    installation_hours: float | None
    as_found: bool
    series: tuple[SeriesRecord, ...]  # those that work has ended come last
    renewal: Renewal  # no forecast is told beyond its `expected_hours`
    work: tuple[Work, ...] = ()  # since the damper was fitted, earliest first
    installation_record: "Record | None" = None  # of the present one; None where there is none
    earlier_installations: tuple[PastInstallation, ...] = ()  # earliest first
    earlier_series: tuple[SeriesRecord, ...] = ()  # of these, the latest damper's first; only
    # `with_earlier` fills it, for page and tables: no state and no advice rests on it
    hours_log: tuple[KnownHours, ...] = ()  # all that is known of its hours, earliest first
    corrections: tuple[Corrected, ...] = ()  # of any entry, oldest first; only `with_log` and
    # `with_corrections` fill it, for page and tables
    happenings: tuple[Happening, ...] = ()  # all that was entered and judged, newest first; only
    # `with_log` fills it, for the page
    interference: Interference | None = None  # only `with_pictures` fills it, for the page
    meter_offset: float = 0.0  # true hours less what the hour meter shows, now
    next_recording: Reached | None = None  # when the next check-up's hours are reached, by the use
    # so far; None where nothing can be told of the use
    latest_day: dt.date | None = None  # of anything that was entered; one that has not come yet
    # counts as today


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


@dataclass(frozen=True, kw_only=True, eq=False)
class RecordingRecord:
    """One recording by itself, without a logbook: what was measured, and pictures of it."""

    measurement: "Measurement"
    engine: Engine | None  # that it was measured with
    begins_s: float  # when its first sample or tooth was, on the recording's own clock
    measured_s: tuple[float, float]  # the part that was measured, seconds from there
    trace: "Trace | None"  # None where nothing but tooth times was recorded
    spectrum: "AmplitudeSpectrum | None"
    spectrogram: "Spectrogram | None"
    order_map: "SweepMap | None" = None  # of a sweep whose speed was found
    interference: Interference | None = None  # of a sweep of an engine that is described
