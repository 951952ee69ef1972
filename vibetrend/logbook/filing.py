"""Which recordings may be compared: the series each is filed in.

Engine, installation, epoch and everything stated about a recording must agree exactly; the
speed may differ by 4 %.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import counting, engines, schema, works
from vibetrend.logbook.chain import add_row
from vibetrend.logbook.engines import Installation
from vibetrend.recording import Recording

SPEED_BAND = 0.04
"""How far a recording's speed may lie from its series', relative."""


@dataclass(frozen=True)
class Tags:
    """What must agree, beside speed and time, for two recordings to be compared."""

    position: str
    device: str
    kind: str
    unit: str  # sound comes in Pa or in full scale, which no comparison survives
    codec: str
    manner: str
    condition: str

    @classmethod
    def of(cls, recording: Recording) -> "Tags":
        """Return the tags of a recording."""
        return cls(**{field.name: getattr(recording, field.name) for field in fields(cls)})


@dataclass(frozen=True)
class Series:
    """What may be compared with each other."""

    id: int
    position: str
    device: str
    kind: str
    codec: str
    manner: str
    condition: str
    speed_rpm: float | None  # None where it sweeps (run-up, coast-down) or is not known
    epoch: int  # count of times that work was done before
    installation: Installation | None  # None for recordings from before the first
    unit: str  # of the samples
    keeps_before: bool  # holds recordings from before the damper was renewed

    def is_like(self, other: "Series") -> bool:
        """Say whether they would be one series, were they of one installation and epoch."""
        return recorded_alike(vars(self), vars(other))


def recorded_alike(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Say whether all `Tags` and the speed (`speed_rpm`, within 4 % of the other's) agree."""
    same = all(one[each.name] == other[each.name] for each in fields(Tags))
    return same and _same_speed(one["speed_rpm"], other["speed_rpm"])


def _same_speed(rpm: float | None, other_rpm: float | None) -> bool:
    if rpm is None or other_rpm is None:
        return rpm is other_rpm
    # Rounding must not throw out the speed that lies on the edge itself.
    return abs(rpm / other_rpm - 1) <= SPEED_BAND + 1e-9


_newer = schema.filing.alias("newer")

IS_CURRENT = ~sa.exists().where(
    _newer.c.recording_id == schema.filing.c.recording_id, _newer.c.id > schema.filing.c.id
)
"""True for the filing of a recording that counts: the newest."""

_higher = schema.measurement.alias("higher")

IS_NEWEST = ~sa.exists().where(
    _higher.c.recording_id == schema.measurement.c.recording_id,
    _higher.c.id > schema.measurement.c.id,
)
"""True for the measurement of a recording that counts: the newest."""


def file(connection: sa.Connection, recording_id: int) -> None:
    """File a recording in the series it belongs to, made if there is none."""
    row = connection.execute(
        sa.select(counting.any_recording, schema.measurement.c.speed_rpm)
        .join(schema.measurement, schema.measurement.c.recording_id == counting.any_recording.c.id)
        .where(counting.any_recording.c.id == recording_id, IS_NEWEST)
    ).one()
    stated = json.loads(row.tags)
    tags = Tags(**{field.name: stated[field.name] for field in fields(Tags)})
    installation_id, epoch = _times(connection, row.engine_id)(row.date, row.hours, row.added_at)
    # What the person stated holds before what was measured: it is the speed they will set again.
    stated_or_measured = row.speed_rpm if row.rpm is None else row.rpm
    series_id = _series(
        connection,
        {
            "engine_id": row.engine_id,
            "installation_id": installation_id,
            "epoch": epoch,
            **asdict(tags),
        },
        speed_rpm=stated_or_measured if tags.manner == "steady" else None,
    )
    add_row(
        connection,
        schema.filing,
        recording_id=recording_id,
        series_id=series_id,
        made_at=schema.now(),
    )


def file_again(connection: sa.Connection, engine_id: int) -> None:
    """File again what an installation or work entered late has taken over; the rest stays."""
    recording, series = counting.any_recording, schema.series
    filed = (
        sa.select(
            recording.c.id,
            recording.c.date,
            recording.c.hours,
            recording.c.added_at,
            series.c.installation_id,
            series.c.epoch,
        )
        .select_from(
            recording.join(schema.filing, schema.filing.c.recording_id == recording.c.id).join(
                series, schema.filing.c.series_id == series.c.id
            )
        )
        .where(recording.c.engine_id == engine_id, IS_CURRENT)
        .order_by(recording.c.id)
    )
    belongs_to = _times(connection, engine_id)
    for row in connection.execute(filed).all():
        now = belongs_to(row.date, row.hours, row.added_at)
        if now != (row.installation_id, row.epoch):
            file(connection, row.id)


def all_series(connection: sa.Connection, engine_name: str) -> list[Series]:
    """Return the series of an engine that hold recordings, in the order they were begun."""
    engine_id = engines.number(connection, engine_name)
    installations = {each.id: each for each in engines.installations(connection, engine_name)}
    table = schema.series
    filed = sa.exists().where(
        schema.filing.c.series_id == table.c.id,
        counting.recording.c.id == schema.filing.c.recording_id,
        IS_CURRENT,
    )
    keeps_before = filed.where(counting.recording.c.before)
    query = sa.select(table, keeps_before.label("keeps_before"))
    query = query.where(table.c.engine_id == engine_id, filed)
    return [
        Series(
            installation=installations.get(row.installation_id),
            **{
                field.name: getattr(row, field.name)
                for field in fields(Series)
                if field.name != "installation"
            },
        )
        for row in connection.execute(query.order_by(table.c.id))
    ]


def with_neighbours(connection: sa.Connection, engine_name: str, work: works.Work) -> works.Work:
    """Return a work with what lies on both sides of it."""
    return replace(
        work,
        ends_some=_ends_some(connection, engine_name, work),
        until_next=_until_next(connection, engines.number(connection, engine_name), work),
    )


def _ends_some(connection: sa.Connection, engine_name: str, work: works.Work) -> bool:
    """Say whether series with recordings end with a work."""
    return any(
        series.epoch == work.epoch - 1
        and series.installation is not None
        and series.installation.id == work.installation_id
        for series in all_series(connection, engine_name)
    )


def _until_next(connection: sa.Connection, engine_id: int, work: works.Work) -> int | None:
    """Return how many recordings lie between a work and the next work or damper.

    None where no such is known.
    """
    ended = any(
        (each.installation_id, each.epoch) == (work.installation_id, work.epoch + 1)
        for each in works.of_engine(connection, engine_id)
    )
    last = engines.installation_rows(connection, engine_id)[-1]
    if not ended and work.installation_id == last.id:
        return None
    series, filing = schema.series, schema.filing
    query = (
        sa.select(sa.func.count())
        .select_from(filing.join(series))
        .where(
            series.c.installation_id == work.installation_id,
            series.c.epoch == work.epoch,
            IS_CURRENT,
        )
    )
    return connection.scalar(query)


def check_series(connection: sa.Connection, series_id: int) -> None:
    """Refuse a series that does not exist."""
    if connection.scalar(sa.select(schema.series.c.id).filter_by(id=series_id)) is None:
        raise LogbookError(
            f"series {series_id} is not in the logbook; 'vibetrend status' lists those that are"
        )


def _times(
    connection: sa.Connection, engine_id: int
) -> Callable[[str, float, str], tuple[int | None, int]]:
    """Return what gives the installation, and its epoch, that a recording belongs to.

    It takes the recording's date, its hours and when it was added.
    """
    installations = engines.installation_rows(connection, engine_id)
    work = works.of_engine(connection, engine_id)

    def belongs_to(date: str, hours: float, added_at: str) -> tuple[int | None, int]:
        installation_id = engines.installation_at(installations, date, hours)
        return installation_id, works.epoch_at(work, installation_id, date, hours, added_at)

    return belongs_to


def _series(connection: sa.Connection, exact: dict[str, Any], *, speed_rpm: float | None) -> int:
    """Return the key of the series with these values and the nearest speed, made if needed."""
    table = schema.series
    same = [table.c[name].is_not_distinct_from(value) for name, value in exact.items()]
    known: dict[int, float | None] = {
        row.id: row.speed_rpm
        for row in connection.execute(sa.select(table.c.id, table.c.speed_rpm).where(*same))
    }
    close = {key: speed for key, speed in known.items() if _same_speed(speed_rpm, speed)}
    if close:
        return min(close, key=lambda key: abs((close[key] or 0.0) - (speed_rpm or 0.0)))
    return add_row(connection, table, **exact, speed_rpm=speed_rpm)
