"""What follows once a table is parsed: columns get roles, the clock is read, rows are ordered.

Shared by all formats that hold a table, text or not.
"""

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

from vibetrend.errors import ReadError
from vibetrend.ingest import clock, columns, dates, fields, order, preamble, sensors, stamps, tacho
from vibetrend.ingest.columns import Roles
from vibetrend.ingest.fields import Field
from vibetrend.ingest.found import MOST_VALUES, Found
from vibetrend.ingest.grid import Mask, Table, within_measure
from vibetrend.ingest.layout import Columns
from vibetrend.ingest.tags import Stated, in_name
from vibetrend.recording import FloatArray, Note, Tacho

_DATED = re.compile(r"\W*(?:date|datum|fecha|data|dato|recorded|recording|start)", re.IGNORECASE)
_SHORTEST_S = 1e-9  # between samples
_LOOKED_AT = 20  # texts that tell what a column holds
_SAME_LEVELS = 0.9  # of the rows of a table of changes differ from the row before


def of_columns(
    named: pd.DataFrame,
    wanted: Stated,
    *,
    units: Sequence[str] = (),
    preamble: Sequence[str] = (),
    notes: Sequence[Note] = (),
) -> Found:
    """Read a table of typed columns, as formats that are no text hold it.

    Parameters
    ----------
    named : DataFrame
        Its column names are the headings, e.g. ``"acc_x (g)"``; columns of numbers, booleans,
        datetime64, timedelta64 or strings.
    units : sequence of str, optional
        Of each column, "" where its heading tells.
    preamble : sequence of str, optional
        Lines beside the table, e.g. ``"sampling rate: 200 Hz"``.

    Raises
    ------
    ReadError
        As :func:`found_in`.
    """
    spelled = list(units) or [""] * named.shape[1]
    types: list[Field] = []
    table = Table(
        shape=Columns(types=(), names=(), units=(), preamble=tuple(preamble)), notes=list(notes)
    )
    for column in range(named.shape[1]):
        series = named.iloc[:, column].reset_index(drop=True)
        types.append(_add(table, column, series))
        if pd.api.types.is_datetime64_any_dtype(series) or series.dtype.kind == "m":
            spelled[column] = "ns"
    names = tuple(str(name) for name in named.columns)
    table.shape = replace(table.shape, types=tuple(types), names=names, units=tuple(spelled))
    return found_in(table, wanted)


def _add(table: Table, column: int, series: "pd.Series[Any]") -> Field:
    """Put a typed column into a table and return what its fields hold."""
    missing = series.isna().to_numpy(bool)
    if series.dtype.kind in "mM":
        moments = series.to_numpy("m8[ns]" if series.dtype.kind == "m" else "M8[ns]")
        table.numbers[column] = np.where(missing, 0, moments.astype(np.int64))
        if getattr(series.dt, "tz", None) is None:
            table.wall_clock.add(column)
    elif series.dtype.kind in "bi":
        table.numbers[column] = series.where(~missing, 0).to_numpy(np.int64)
    else:
        return _add_others(table, column, series, missing)
    if missing.any():
        table.absent[column] = missing
    return "number"


def _add_others(table: Table, column: int, series: "pd.Series[Any]", missing: Mask) -> Field:
    given = series[~missing]
    if series.dtype.kind in "uf" or (
        series.dtype == object and all(isinstance(each, int | float | Decimal) for each in given)
    ):
        values = pd.to_numeric(series, errors="coerce").to_numpy(np.float64, na_value=np.nan)
        table.numbers[column] = within_measure(values)
        return "number"
    texts = series.astype("object").where(~missing, "").astype("str")
    kinds = [fields.kind(text, ".") for text in texts[:_LOOKED_AT]]
    kind: Field = next((kind for kind in kinds if kind in ("time", "date")), "text")
    if kind == "text":
        table.texts[column] = texts
    else:
        table.stamps[column] = stamps.of_texts(texts.tolist())
    return kind


def found_in(table: Table, wanted: Stated, *, location: tuple[tuple[int, int], ...] = ()) -> Found:
    """Choose the columns of a table, read its clock, order its rows.

    Raises
    ------
    ReadError
        If a number is missing where one is needed, or there is no signal or no clock.
    """
    if wanted.full_scale is not None:
        raise ReadError("full_scale is for sound files; give unit or sensitivity for a table")
    table, wanted, of_sensor = sensors.one_of(table, wanted)
    roles = columns.choose(table, wanted)
    stated, of_tags = columns.stated_by(table)
    date = _stated_date(table)
    found = _read(table, roles, wanted)
    return replace(
        found,
        stated=stated,
        date=found.date or date,
        location=location,
        notes=(*table.notes, *of_sensor, *found.notes, *of_tags),
    )


def _read(table: Table, roles: Roles, wanted: Stated) -> Found:
    edges = _edges(table, roles) if roles.tacho is not None and roles.tacho_is_edges else None
    if edges is not None and not roles.signals:
        turning, said = tacho.of_edges(edges, wanted)
        return _tacho_alone(turning, (*roles.notes, *said))
    sampled = () if roles.tacho is None or edges is not None else (roles.tacho,)
    used = (*roles.signals, *sampled)
    clocks = (*roles.time, *([] if roles.fraction is None else [roles.fraction]))
    table.keep_complete([*(clocks if wanted.rate is None else ()), *used])
    if len(used) * table.count > MOST_VALUES:
        raise ReadError("too long to hold at once; cut out a minute of steady running")
    # Column by column in memory, as they are filled and analysed.
    samples = np.empty((table.count, len(used)), order="F")
    for place, column in enumerate(used):
        factor = roles.meaning.factors[place] if place < len(roles.signals) else 1.0
        np.multiply(table.numbers[column], factor, out=samples[:, place])
        if column not in (*clocks, roles.tacho):
            del table.numbers[column]  # its memory may be needed
    found = _on_its_clock(table, roles, wanted, samples)
    if roles.tacho is None:
        return found
    if edges is not None:
        turning, said = tacho.of_edges(edges, wanted)
        return replace(found, tacho=turning, notes=(*found.notes, *said))
    samples, time = np.asarray(found.samples), found.times
    if time is None:
        time = np.arange(len(samples)) / (found.sample_rate or 1.0)
    turning, said = _sampled_tacho(time, samples[:, -1], table, wanted)
    notes = (*found.notes, *said)
    if not roles.signals:
        return replace(_tacho_alone(turning, notes), date=found.date)
    return replace(found, samples=samples[:, :-1], tacho=turning, notes=notes)


def _on_its_clock(table: Table, roles: Roles, wanted: Stated, samples: FloatArray) -> Found:
    """Put samples and times, or their rate, together."""
    notes = list(roles.notes)
    times, rate, date = None, wanted.rate, None
    if roles.time and rate is None:
        stamps = _clock(table, roles)
        seconds, date = stamps.seconds, stamps.date
        readable = np.isfinite(seconds)  # all but a last line that is cut
        if not readable.all():
            samples, seconds = samples[readable], seconds[readable]
        samples, seconds, disorder = order.in_order(samples, seconds)
        notes += [*stamps.notes, *disorder]
        if 0 < (step := order.usual_step(seconds)) < _SHORTEST_S:
            raise clock.no_clock(table.shape.label(roles.time[0]), step)
        counted = order.by_count(seconds, table.shape.label(roles.time[0]))
        if counted is None:
            times = seconds
            notes += order.against_stated(preamble.rate(table.shape), seconds)
        else:
            rate = counted[0]
            notes.append(counted[1])
    elif roles.time:
        name = table.shape.label(roles.time[0])
        notes.append(Note("columns", "note", f"rate was stated; the times in {name} are not used"))
    else:
        rate = rate or preamble.rate(table.shape)
        if rate is None:
            raise ReadError(
                "no column holds times in s, ms, us or ns; give the sample rate in Hz with rate"
            )
    for held in (samples, times):
        if held is not None:
            held.setflags(write=False)  # so that nobody needs a copy
    return Found(
        samples=samples,
        times=times,
        sample_rate=rate,
        axes=roles.axes,
        kind=roles.meaning.kind,
        unit=roles.meaning.unit,
        date=date,
        notes=tuple(notes),
    )


def _tacho_alone(turning: Tacho, notes: tuple[Note, ...]) -> Found:
    return Found(samples=None, axes=(), kind="other", unit="1", tacho=turning, notes=notes)


def _sampled_tacho(
    time: FloatArray, values: FloatArray, table: Table, wanted: Stated
) -> tuple[Tacho, tuple[Note, ...]]:
    if columns.two_levels(values):
        levels = [v for v in table.numbers.values() if columns.two_levels(v)]
        moved = np.logical_or.reduce([np.diff(each) != 0 for each in levels])
        if moved.mean() > _SAME_LEVELS:  # a row for each change, none in between
            return tacho.of_levels(time, values, wanted)
    return tacho.of_signal(time, values, wanted)


def _edges(table: Table, roles: Roles) -> FloatArray:
    """Return edge times in seconds, on the clock of the samples if there are any."""
    column = roles.tacho or 0
    present = table.present(column)
    values = table.numbers[column][present]
    if len(values) < 2:
        raise ReadError(f"{table.shape.label(column)} holds no edge times; choose another column")
    read = clock.from_numbers(values, roles.tacho_unit, table.shape.label(column))
    if not roles.signals or not roles.time or roles.time[0] not in table.numbers:
        return read.seconds
    step = float(read.seconds[-1]) / float(values[-1] - values[0])  # seconds in a unit
    first = table.numbers[roles.time[0]][table.present(roles.time[0])][0]
    return read.seconds + float(values[0] - first) * step


def _clock(table: Table, roles: Roles) -> clock.Clock:
    first = roles.time[0]
    name = table.shape.label(first)
    if first in table.numbers:
        wall_clock = first in table.wall_clock
        return clock.from_numbers(
            table.numbers[first], roles.time_unit, name, wall_clock=wall_clock
        )
    read = clock.from_text([table.stamps[column] for column in roles.time], name)
    table.refuse_text(first, ~np.isfinite(read.seconds))
    if roles.fraction is None:
        return read
    within = table.numbers[roles.fraction] * roles.fraction_s
    begins = np.diff(read.seconds) > 0
    if not begins[np.diff(within) < 0].all():  # a count of its own, begun at another moment
        return read
    return replace(read, seconds=read.seconds + (within - within[0]))


def _stated_date(table: Table) -> dt.date | None:
    """Return the date that the preamble or a column beside the clock states."""
    for line in table.shape.shown_above():
        if _DATED.match(line):
            if found := in_name(line).date:
                return found
            if found := dates.date_of(re.sub(r"^\D*?[:;,=\t]\s*", "", line)):
                return found
    beside = (stamps.text_of(written[0]) for written in table.stamps.values() if len(written))
    return next(map(dates.date_of, beside), None)
