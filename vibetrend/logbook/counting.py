"""What counts of a row: its value as last corrected, else as entered.

These stand for the tables of the same names wherever rows are read, not where they are added.
"""

from typing import Any

import sqlalchemy as sa

from vibetrend.logbook import schema

SET_ASIDE = "set_aside"


def _newest(table: sa.Table, what: str, kind: Any) -> sa.ColumnElement[Any]:
    correction = schema.correction.c
    value = sa.func.json_extract(correction.now, "$")
    return sa.type_coerce(
        sa.select(value)
        .where(
            correction.table_name == table.name,
            correction.row_id == table.c.id,
            correction.what == what,
        )
        .order_by(correction.id.desc())
        .limit(1)
        .scalar_subquery(),
        kind,
    )


def _as_counted(table: sa.Table, *corrected: str, with_set_aside: bool = False) -> sa.Subquery:
    columns: list[sa.ColumnElement[Any]] = [
        sa.func.coalesce(_newest(table, column.name, column.type), column).label(column.name)
        if column.name in corrected
        else column
        for column in table.c
    ]
    aside = sa.func.coalesce(_newest(table, SET_ASIDE, sa.Boolean()), sa.false())
    query = sa.select(*columns, aside.label(SET_ASIDE))
    if not with_set_aside:
        query = query.where(~aside)
    return query.subquery(f"{table.name}_as_counted")


_CORRECTABLE = {
    "recording": ("hours", "meter_hours", "date", "visit", "rpm", "baseline", "before", "tags"),
    "installation": ("hours", "meter_hours", "date"),
    "work": ("hours", "meter_hours", "date"),
    "meter": ("date", "shown", "after"),
    "entry": (),
}

ANY = {
    name: _as_counted(schema.metadata.tables[name], *columns, with_set_aside=True)
    for name, columns in _CORRECTABLE.items()
}
"""All rows, those set aside too, with a column `set_aside`; below are the others."""

any_recording = ANY["recording"]
recording = _as_counted(schema.recording, *_CORRECTABLE["recording"])
installation = _as_counted(schema.installation, *_CORRECTABLE["installation"])
work = _as_counted(schema.work, *_CORRECTABLE["work"])
meter = _as_counted(schema.meter, *_CORRECTABLE["meter"])
entry = _as_counted(schema.entry)
