"""What the logbook hands out for judging and showing: one table for each series."""

import datetime as dt
import json
from typing import Any

import pandas as pd
import sqlalchemy as sa

from vibetrend.logbook import counting, schema
from vibetrend.logbook.filing import IS_CURRENT, IS_NEWEST
from vibetrend.logbook.hours import shown_then
from vibetrend.logbook.recordings import among

_NUMBERS = ["hours", "meter_hours", "order", "amplitude", "standard_error", "floor", "rpm",
            "speed_rpm", "speed_standard_error_rpm", "speed_spread_percent", "temperature_c",
            "velocity_mm_s"]  # fmt: skip
# What may be stated of the day and hinders a comparison where it differs, as `judge` knows it.
_CIRCUMSTANCES = ["other_engine", "alternator_load", "lying", "shore_power"]
_YES_NO = ["baseline", "before", "visible", "unusable"]

_recording = counting.recording
_in_series = _recording.join(schema.filing, schema.filing.c.recording_id == _recording.c.id).join(
    schema.measurement, schema.measurement.c.recording_id == _recording.c.id
)
_by_hours = (_recording.c.hours, _recording.c.date, _recording.c.id)


def recordings(connection: sa.Connection, series_id: int) -> pd.DataFrame:
    """Return one row for each recording of a series, by hours."""
    table, measurement = _recording.c, schema.measurement.c
    query = _of(
        series_id,
        table.label.label("recording"),
        table.name,
        table.sha256,
        table.visit,
        table.hours,
        shown_then(_recording).label("meter_hours"),
        table.date,
        table.rpm,
        sa.func.json_extract(table.tags, "$.end_rpm").label("end_rpm"),
        table.baseline,
        table.before,
        table.reading,
        table.tags.label("circumstances"),
        measurement.unusable,
        # Where no speed was found, the stated one is kept in its place.
        sa.case((_measured("$.speed.method") == "tag", None), else_=measurement.speed_rpm).label(
            "speed_rpm"
        ),
        _measured("$.speed.standard_error_rpm").label("speed_standard_error_rpm"),
        _measured("$.speed.spread_percent").label("speed_spread_percent"),
        measurement.method_version,
        _measured("$.quality").label("quality"),
        _measured("$.overall").label("overall"),
        table.added_at,
    )
    found = _table(connection, query.order_by(*_by_hours))
    for column in ("quality", "overall", "reading"):
        found[column] = found[column].map(json.loads)
    found["circumstances"] = found["circumstances"].map(lambda text: among(json.loads(text)))
    found["added_at"] = pd.to_datetime(found["added_at"], utc=True)
    return found


def history(connection: sa.Connection, series_id: int, *, before: bool) -> pd.DataFrame:
    """Return one row for each recording and feature that may be compared, by hours."""
    table, measurement, amplitude = _recording.c, schema.measurement.c, schema.amplitude.c
    query = _of(
        series_id,
        table.label.label("recording"),
        table.visit,
        table.hours,
        amplitude.order_number.label("order"),
        amplitude.amplitude,
        amplitude.standard_error,
        table.baseline,
        amplitude.feature,
        amplitude.floor,
        amplitude.visible,
        table.date,
        sa.func.coalesce(measurement.speed_rpm, table.rpm).label("rpm"),
        sa.func.json_extract(table.tags, "$.coolant_c").label("temperature_c"),
        amplitude.velocity_mm_s,
        *(sa.func.json_extract(table.tags, f"$.{name}").label(name) for name in _CIRCUMSTANCES),
    )
    query = query.join(schema.amplitude, amplitude.measurement_id == measurement.id).where(
        amplitude.amplitude > 0, ~measurement.unusable, table.before == before
    )
    return _table(connection, query.order_by(*_by_hours, amplitude.place))


def _measured(path: str) -> sa.ColumnElement[Any]:
    """Return a part of what a measurement found, by its path in the JSON form."""
    return sa.func.json_extract(schema.measurement.c.result, path)


def _of(series_id: int, *columns: sa.ColumnElement[Any]) -> sa.Select[Any]:
    return (
        sa.select(*columns)
        .select_from(_in_series)
        .where(schema.filing.c.series_id == series_id, IS_CURRENT, IS_NEWEST)
    )


def _table(connection: sa.Connection, query: sa.Select[Any]) -> pd.DataFrame:
    """Return the rows as a table whose columns have their types even when it is empty."""
    result = connection.execute(query)
    table = pd.DataFrame(list(map(tuple, result)), columns=list(result.keys()))
    types = dict.fromkeys(_NUMBERS, "float64") | dict.fromkeys(_YES_NO, "bool")
    table = table.astype({name: type_ for name, type_ in types.items() if name in table})
    for name in table.columns.intersection(_CIRCUMSTANCES):
        table[name] = table[name].astype(object).where(table[name].notna(), None)
    table["date"] = pd.Series(map(dt.date.fromisoformat, table["date"]), dtype=object)
    return table
