"""The tables of one recording: every number of the JSON that a person uses, and of each chart."""

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from vibetrend.checkup.records import RecordingRecord
from vibetrend.quantities import ShownUnits
from vibetrend.recording import FloatArray
from vibetrend.report.numbers import Column, Row, Table, cell
from vibetrend.report.recording.lines import Peak, other_name
from vibetrend.report.recording.pictures import track
from vibetrend.report.shown import level, unit_words
from vibetrend.report.words import NOTHING, number

if TYPE_CHECKING:  # only the types
    import pandas as pd

    from vibetrend.orders import Measurement, Spectrogram, Trace

_SPANS = 20
_POINTS = 60
_BANDS, _TIMES = 16, 10


# What was measured


def order_table(record: RecordingRecord, shown: ShownUnits) -> Table:
    """Return every order with its amplitude, errors and phase."""
    measured = record.measurement
    firing = None if record.engine is None else record.engine.firing_order_number
    return _lines(
        measured.orders,
        shown,
        kind=measured.recording.kind,
        first="Order",
        names=[f"{order:g}" for order in measured.orders["order"]],
        tags=["firing" if order == firing else "" for order in measured.orders["order"]],
        phases=measured.phase_reference is not None,
    )


def line_table(lines: "pd.DataFrame", kind: str, shown: ShownUnits, first: str) -> Table:
    """Return driven or other lines, with the order at which each was found."""
    names = [other_name(row) for row in lines.to_dict("records")]
    return _lines(lines, shown, kind=kind, first=first, names=names, with_order=True)


def _lines(
    table: "pd.DataFrame",
    shown: ShownUnits,
    *,
    kind: str,
    first: str,
    names: Sequence[str],
    tags: Sequence[str] | None = None,
    phases: bool = False,
    with_order: bool = False,
) -> Table:
    records = table.to_dict("records")
    kept_in = str(records[0]["unit"]) if records else ""
    factor, unit = level(1.0, kept_in, shown)
    unit = unit_words(unit, kind)
    moving = any(math.isfinite(row["velocity_mm_s"]) for row in records)
    per_mm_s, velocity = level(1.0, "mm/s", shown)
    columns = [
        *([Column(name="Order")] if with_order else []),
        Column(name="Frequency", unit="Hz"),
        Column(name="Amplitude", unit=f"{unit} rms"),
        Column(name="±", unit=unit),
        Column(name="Noise level", unit=unit),
        Column(name="Varies", unit="%"),
    ]
    if moving:
        columns += [
            Column(name="Velocity", unit=f"{velocity} rms"),
            Column(name="Displacement", unit="µm rms"),
        ]
    if phases:
        columns += [
            Column(name="Phase", unit="°"),
            Column(name="±", unit="°"),
            Column(name="repeats after", unit="°"),
        ]
    rows = []
    for place, (row, name) in enumerate(zip(records, names, strict=True)):
        cells = [
            *([number(row["order"], 4)] if with_order else []),
            number(row["frequency_hz"], 2),
            cell(factor * row["amplitude"]),
            cell(factor * row["standard_error"], 2),
            cell(factor * row["floor"], 2),
            number(row["variation_percent"], 1),
        ]
        if moving:
            cells += [cell(per_mm_s * row["velocity_mm_s"]), cell(row["displacement_um"])]
        if phases:
            names_of = ("phase_deg", "phase_standard_error_deg", "phase_repeats_deg")
            cells += [number(row[name_of], digits) for name_of, digits in
                      zip(names_of, (0, 1, 0), strict=True)]  # fmt: skip
        visible = bool(row["visible"])
        rows.append(
            Row(
                name=name,
                cells=tuple(cells),
                tag=tags[place] if tags else "",
                words=_seen(row) if visible else f"no: {row['reason'] or 'not said why'}",
                faint=not visible,
            )
        )
    return Table(first=first, columns=tuple(columns), rows=tuple(rows), last="Visible")


def _seen(row: dict[Any, Any]) -> str:
    folded = row["folded_hz"]
    return "yes" if folded is None or math.isnan(folded) else f"yes, folded to {folded:.1f} Hz"


def axis_table(measured: "Measurement", shown: ShownUnits) -> Table:
    """Return the amplitude of every visible line on each of several axes, and its ellipse."""
    axes = measured.recording.axes
    rows = []
    tables = (measured.orders, measured.driven, measured.others)
    for which, table in enumerate(tables):
        for row in table.to_dict("records"):
            if not row["visible"] or not isinstance(row["by_axis"], dict):
                continue
            factor, _ = level(1.0, row["unit"], shown)
            ellipse = row["ellipse"] if isinstance(row["ellipse"], dict) else {}
            values = [row["by_axis"].get(axis) for axis in axes]
            values += [ellipse.get("major"), ellipse.get("minor")]
            rows.append(
                Row(
                    name=f"{row['order']:g}" if which == 0 else other_name(row),
                    cells=tuple(cell(None if v is None else factor * v) for v in values),
                )
            )
    unit = unit_words(level(1.0, measured.recording.unit, shown)[1], measured.recording.kind)
    names = (*axes, "Long half-axis", "Short half-axis")
    columns = tuple(Column(name=name, unit=f"{unit} rms") for name in names)
    return Table(first="Line", columns=columns, rows=tuple(rows))


def overall_table(measured: "Measurement", shown: ShownUnits) -> Table:
    """Return the overall levels with their bands."""
    rows = []
    for row in measured.overall.to_dict("records"):
        value, unit = level(row["value"], row["unit"], shown)
        unit = unit_words(unit, measured.recording.kind)
        low, high = row["band_hz"]
        cells = (cell(value), number(low, 1), number(high, 1))
        rows.append(Row(name=f"{row['name']}, {unit} rms", cells=cells))
    columns = (Column(name="Level"), Column(name="From", unit="Hz"), Column(name="To", unit="Hz"))
    return Table(first="What", columns=columns, rows=tuple(rows))


# What the charts show


def trace_table(seen: "Trace") -> Table:
    """Return least and largest value of every axis in twenty equal spans."""
    rows = []
    for places in np.array_split(np.arange(len(seen.middles_s)), _SPANS):
        if not places.size:
            continue
        low, high = seen.low[:, places], seen.high[:, places]
        values = [
            value for axis in range(len(seen.axes)) for value in _reach(low[axis], high[axis])
        ]
        begin, end = seen.edges_s[places[0]], seen.edges_s[places[-1] + 1]
        rows.append(Row(name=f"{begin:.2f} to {end:.2f}", cells=tuple(map(cell, values))))
    columns = tuple(
        Column(name=f"{axis}, {which}", unit=seen.unit)
        for axis in seen.axes
        for which in ("least", "largest")
    )
    return Table(first="Seconds", columns=columns, rows=tuple(rows))


def _reach(low: FloatArray, high: FloatArray) -> tuple[float, float]:
    """Return least and largest of what is there; NaN where nothing is."""
    there = np.isfinite(low)
    if not there.any():
        return math.nan, math.nan
    return float(low[there].min()), float(high[there].max())


def peak_table(unit: str, peaks: Sequence[Peak]) -> Table:
    """Return the peaks of the spectrum, each with the lines it belongs to."""
    rows = tuple(
        Row(
            name=f"{peak.hertz:.2f}",
            cells=(number(peak.order, 3), cell(peak.amplitude)),
            words=peak.names or NOTHING,
        )
        for peak in peaks
    )
    columns = (Column(name="Order"), Column(name="Amplitude", unit=f"{unit} rms"))
    return Table(first="Hz", columns=columns, rows=rows, last="What it is")


def speed_table(record: RecordingRecord) -> Table:
    """Return the speed over time, means of neighbours where there are many."""
    time, rpm = track(record.measurement.speed, record.begins_s)
    rows = [
        Row(name=f"{time[part].mean():.2f}", cells=(number(float(rpm[part].mean()), 2),))
        for part in _parts(len(time), _POINTS)
    ]
    return Table(first="Seconds", columns=(Column(name="Speed", unit="rpm"),), rows=tuple(rows))


def over_time_table(picture: "Spectrogram") -> Table:
    """Return the strongest level in bands of frequency and spans of time."""
    times = list(_parts(len(picture.time_s), _TIMES))
    rows = [
        Row(
            name=f"{picture.hertz[band][0]:.0f} to {picture.hertz[band][-1]:.0f}",
            cells=tuple(number(float(picture.level_db[band, span].max())) for span in times),
        )
        for band in _parts(len(picture.hertz), _BANDS)
    ]
    columns = tuple(
        Column(name=f"{picture.time_s[span][0]:.1f} to {picture.time_s[span][-1]:.1f} s",
               unit="dB") for span in times
    )  # fmt: skip
    return Table(first="Hz", columns=columns, rows=tuple(rows))


def _parts(length: int, most: int) -> Iterator[slice]:
    edges = np.linspace(0, length, min(length, most) + 1).astype(int)
    yield from map(slice, edges[:-1].tolist(), edges[1:].tolist())
