"""Long tables, in which a column says which sensor each row belongs to; each has its own clock."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.errors import ReadError
from vibetrend.ingest.grid import Table
from vibetrend.ingest.headings import Heading, heading
from vibetrend.ingest.layout import Columns
from vibetrend.ingest.tags import Stated
from vibetrend.recording import Kind, Note, Severity

_MOST_SENSORS = 40
_COLUMN = {
    "sensor", "sensors", "sensortype", "type", "device", "node", "source", "quelle", "capteur",
}  # fmt: skip
_BESIDE = {"id", "no", "nr", "number", "type", "name", ""}
# How phones number their sensors (Android, android.hardware.Sensor).
_BY_NUMBER = {
    "1": "accelerometer", "2": "magnetometer", "4": "gyroscope", "9": "gravity",
    "10": "linear acceleration",
}  # fmt: skip
_PREFERRED: tuple[Kind, ...] = ("acceleration", "velocity", "rotation", "pressure", "sound")


def one_of(table: Table, wanted: Stated) -> tuple[Table, Stated, tuple[Note, ...]]:
    """Return a table of one sensor's rows: that asked for by kind or column, else acceleration.

    A table of one sensor comes back as it is.

    Raises
    ------
    ReadError
        If the sensor's axes, one to a row, do not belong together.
    """
    for column in range(len(table.shape.names)):
        sensors = _sensors(table, column)
        if sensors is None:
            continue
        rows = sensors.value_counts()
        rows = rows[rows > 0]  # a category may have none left
        names = sorted(str(name) for name in rows.index)
        by_number = len(set(names) & set(_BY_NUMBER)) > 1
        heads = {
            name: heading(_BY_NUMBER.get(name, name) if by_number else name, "") for name in names
        }
        asked = [str(each) for each in wanted.columns or () if str(each) in set(names)]
        if asked and column in table.texts:
            rest = tuple(each for each in wanted.columns or () if str(each) not in asked[:1])
            wanted = replace(wanted, columns=rest or None)
            chosen = asked[:1]
        else:
            chosen = _chosen(heads, rows, wanted)
        severity: Severity = "note"
        if not chosen and _names_sensors(table, column):
            chosen, severity = [str(rows.index[0])], "warning"
        if chosen:
            return _only(table, column, sensors, chosen, heads, wanted, severity)
    return table, wanted, ()


def _names_sensors(table: Table, column: int) -> bool:
    words = heading(table.shape.names[column], "").words
    return bool(words & _COLUMN) and words <= _COLUMN | _BESIDE


def _sensors(table: Table, column: int) -> "pd.Series[str] | None":
    """Return the sensor of each row if the column may name it."""
    if column in table.texts:
        series = table.texts[column]
        if table.shape.types[column] != "text" or not table.present(column).all():
            return None
    elif column in table.numbers and _names_sensors(table, column):
        numbers = table.numbers[column]
        if numbers.dtype != np.int64 or column in table.absent:
            return None
        series = pd.Series(numbers).astype("str")
    else:
        return None
    return series if 2 <= series.nunique() <= _MOST_SENSORS else None


def _chosen(heads: dict[str, Heading], rows: "pd.Series[int]", wanted: Stated) -> list[str]:
    """Return the names of the rows to use: of a sensor, or of each of its axes; none if unsure."""
    kinds = {name: head.kind for name, head in heads.items() if head.role != "other"}
    for kind in [wanted.kind, *_PREFERRED] if wanted.kind else _PREFERRED:
        names = [name for name, of_it in kinds.items() if of_it == kind]
        if not names:
            continue
        names = [name for name in names if heads[name].linear] or names
        axes = [heads[name].axis for name in names]
        if all(axes) and len(set(axes)) == len(axes):
            return sorted(names, key=lambda name: heads[name].axis)
        return [max(names, key=lambda name: int(rows[name]))]
    return []


def _only(
    table: Table,
    column: int,
    sensors: "pd.Series[str]",
    chosen: list[str],
    heads: dict[str, Heading],
    wanted: Stated,
    severity: Severity,
) -> tuple[Table, Stated, tuple[Note, ...]]:
    kind = heads[chosen[0]].kind
    if wanted.kind is None and kind is not None and wanted.unit is None:
        wanted = replace(wanted, kind=kind)
    others = sorted(set(heads) - set(chosen))
    notes: tuple[Note, ...] = ()
    if others:
        message = (
            f"{table.shape.label(column)} names several sensors; the rows of "
            f"{', '.join(chosen)[:80]} were used, not those of {', '.join(others[:4])[:80]}"
            f"{' ...' if len(others) > 4 else ''}"
        )
        notes = (Note("columns", severity, message),)
    if len(chosen) > 1:
        return _side_by_side(table, sensors.to_numpy(), chosen, heads), wanted, notes
    table.numbers.pop(column, None)  # it has told what it can
    table.texts[column] = sensors
    table.keep((sensors == chosen[0]).to_numpy(bool))
    return table, wanted, notes


def _side_by_side(
    table: Table, values: NDArray[Any], chosen: list[str], heads: dict[str, Heading]
) -> Table:
    """Put axes that lie in rows of their own beside each other."""
    rows = [np.flatnonzero(values == name) for name in chosen]
    count = min(len(each) for each in rows)
    signals = [
        column
        for column in table.numbers
        if heading(table.shape.names[column], table.shape.units[column]).role
        not in ("time", "other", "tag")
    ]
    if len(signals) != 1 or max(len(each) for each in rows) - count > 1:
        raise ReadError(
            f"the rows of {', '.join(chosen)[:100]} do not belong together; "
            f"save one table with a column for each axis"
        )
    (signal,) = signals
    first = np.zeros(table.count, dtype=bool)
    first[rows[0][:count]] = True
    numbers = {
        f"{name}": table.numbers[signal][each[:count]]
        for name, each in zip(chosen, rows, strict=True)
    }
    table.keep(first)
    width = len(table.shape.names)
    unit = heading(table.shape.names[signal], table.shape.units[signal]).unit
    del table.numbers[signal]
    for place, each in enumerate(numbers.values()):
        table.numbers[width + place] = each
    table.shape = Columns(
        names=(*table.shape.names, *chosen),
        units=(*table.shape.units, *[heads[name].unit or unit for name in chosen]),
        types=(*table.shape.types, *[table.shape.types[signal]] * len(chosen)),
        preamble=table.shape.preamble,
        decimal=table.shape.decimal,
    )
    return table
