"""One recording -> one HTML text that needs nothing but a browser."""

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from markupsafe import Markup

from vibetrend.checkup.records import OrderSpectrum, RecordingRecord
from vibetrend.quantities import ShownUnits
from vibetrend.recording import Note, Recording
from vibetrend.report import curves, figures, interference, pictures, shown, writing
from vibetrend.report.charts import CHARTS
from vibetrend.report.document import RECORDING, SIGNATURE, STYLES, as_json, document, marked
from vibetrend.report.numbers import Table
from vibetrend.report.pictures import Along
from vibetrend.report.recording import figures as recording_figures
from vibetrend.report.recording import pictures as recording_pictures
from vibetrend.report.recording import sweep_words, tables
from vibetrend.report.recording import words as told
from vibetrend.report.recording.charts import Chart
from vibetrend.report.recording.lines import KINDS, Line, lines, strongest
from vibetrend.report.recording.sweeping import SweepView, along, is_sweep, sweep_view
from vibetrend.report.settings_used import reading_words
from vibetrend.report.statement import Statement

_AS_KEPT = ShownUnits()
_FEWEST_POINTS = 3
_TELLING_NAME = 64  # letters of a heading


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """One recording as the template shows it."""

    name: str
    heading: str  # the name, shortened where it is very long
    sha256: str
    what: list[str]
    use: Statement
    notes: list[Note]  # worst first
    standing: list[Statement]
    marked: list[Line]  # in the spectrum, those with a letter
    kinds: list[str]  # of all lines marked there
    trace: Chart | None
    spectrum: Chart | None
    by_order: tuple[Markup, Markup] | None  # instead of a spectrum, where tooth times give none
    speed: Chart | None
    over_time: Chart | None
    orders: Table | None
    driven: Table | None
    others: Table | None
    by_axis: Table | None
    overall: Table | None
    reading: str  # the options it was read with
    sweep: SweepView | None


def recording_page(
    record: RecordingRecord, *, made_at: dt.datetime, units: ShownUnits = _AS_KEPT
) -> str:
    """Return the page of one recording as one self-contained HTML text.

    Parameters
    ----------
    record : RecordingRecord
        The recording as `checkup.looking.looked_at` returns it.
    made_at : datetime
        The clock, as an argument so that the same record gives the same page.
    units : ShownUnits
        The units a person wants to see.
    """
    recording = record.measurement.recording
    name, source = told.name(recording), recording.source
    record = shown.recording(record, units)
    return document(
        "recording.html.j2",
        kind=RECORDING,
        mark="" if source is None else source.sha256,
        styles=(*STYLES, "recording.css"),
        title=f"One recording: {name}",
        made_at=made_at,
        record=record,
        view=_view(record, name, units),
        told=told,
        kind_words=KINDS,
        shape=recording_pictures.shape,
        charts=CHARTS,
        curves=curves,
        interference=interference,
    )


def is_of_something_else(path: Path, sha256: str) -> bool:
    """Return whether a file is a page of ours, but not of the recording with this hash."""
    return writing.known(path, SIGNATURE) and not writing.known(path, marked(sha256))


def _view(record: RecordingRecord, name: str, units: ShownUnits) -> View:
    measured = record.measurement
    recording = measured.recording
    marked = lines(record)
    sensed = recording.samples is not None
    overall = tables.overall_table(measured, units)
    swept = sweep_view(record, units)
    return View(
        name=name,
        heading=name if len(name) <= _TELLING_NAME else f"{name[: _TELLING_NAME - 1]}…",
        sha256="" if recording.source is None else recording.source.sha256,
        what=told.what(record),
        use=told.use(measured),
        notes=told.doubts(measured),
        standing=[
            sweep_words.speed(measured) if swept else told.speed(measured),
            sweep_words.resonances(swept) if swept else told.orders(record, units),
            told.overall(measured, units),
        ],
        marked=[one for one in marked if one.kind != "order"],
        kinds=[kind for kind in KINDS if any(one.kind == kind for one in marked)],
        trace=_trace(record),
        spectrum=_spectrum(record, marked),
        by_order=None if sensed or swept else _by_order(record, units),
        speed=_speed(record),
        over_time=_over_time(record, along(swept, measured.speed, record.begins_s)),
        orders=None if measured.orders.empty else tables.order_table(record, units),
        driven=_some(tables.line_table(measured.driven, recording.kind, units, "Part")),
        others=_some(tables.line_table(measured.others, recording.kind, units, "Other line")),
        by_axis=_some(tables.axis_table(measured, units)) if len(recording.axes) > 1 else None,
        overall=_some(overall),
        reading=_reading(recording),
        sweep=swept,
    )


def _reading(recording: Recording) -> str:
    options = {} if recording.source is None else dict(recording.source.reading)
    return reading_words([options]) if options else "what the file itself says"


def _some(table: Table) -> Table | None:
    return table if table.rows else None


# Charts


def _trace(record: RecordingRecord) -> Chart | None:
    if record.trace is None:
        return None
    return Chart(
        still=recording_pictures.trace(record.trace, record.measured_s),
        data=as_json([recording_figures.trace(record.trace, record.measured_s)]),
        numbers=tables.trace_table(record.trace),
    )


def _spectrum(record: RecordingRecord, marked: list[Line]) -> Chart | None:
    if record.spectrum is None:
        return None
    return Chart(
        still=recording_pictures.spectrum(record, marked),
        data=as_json([recording_figures.spectrum(record, marked)]),
        numbers=tables.peak_table(record.spectrum.unit, strongest(record, marked)),
    )


def _by_order(record: RecordingRecord, units: ShownUnits) -> tuple[Markup, Markup] | None:
    """Return the visible orders alone, where there are no samples to make a spectrum of."""
    table = record.measurement.orders
    visible = table[table["visible"].astype(bool)]
    if visible.empty:
        return None
    one = OrderSpectrum(
        order=visible["order"].to_numpy(np.float64),
        amplitude=visible["amplitude"].to_numpy(np.float64),
        unit=str(visible["unit"].iloc[0]),
        label="this recording",
    )
    kind = record.measurement.recording.kind
    one = shown.spectrum(one, kind, units) or one
    return pictures.spectrum(one, None), as_json([figures.spectrum(one, None)])


def _speed(record: RecordingRecord) -> Chart | None:
    found = record.measurement.speed
    if found.method == "tag" or len(found.track) < _FEWEST_POINTS:
        return None
    length = max(record.measurement.recording.duration_s, record.measured_s[1])
    steady = not is_sweep(record.measurement)
    return Chart(
        still=recording_pictures.speed(found, record.begins_s, length, steady=steady),
        data=as_json([recording_figures.speed(found, record.begins_s, length, steady=steady)]),
        numbers=tables.speed_table(record),
    )


def _over_time(record: RecordingRecord, orders: list[Along]) -> Chart | None:
    picture = record.spectrogram
    if picture is None:
        return None
    return Chart(
        still=pictures.over_time(picture, orders),
        data=as_json([figures.over_time(picture, orders)]),
        numbers=tables.over_time_table(picture),
    )
