"""The dampers an engine had: the record of each, put together from the logbook."""

import datetime as dt
from collections.abc import Sequence
from typing import Any

from vibetrend.engine import Engine
from vibetrend.errors import InstallationError
from vibetrend.installation import (
    Moved,
    Reading,
    Record,
    RunOut,
    compare_runout,
    record_of,
    sentence,
)
from vibetrend.installation.as_json import as_json
from vibetrend.logbook import Installation, Logbook
from vibetrend.logbook.engines import none_begun
from vibetrend.quantities import ShownUnits


def records(logbook: Logbook, engine_name: str) -> list[tuple[Installation, Record]]:
    """Return every installation of an engine with its record, the latest last."""
    engine = logbook.engine(engine_name)
    return [(each, record(logbook, each, engine)) for each in logbook.installations(engine_name)]


def record(logbook: Logbook, one: Installation, engine: Engine) -> Record:
    """Return the record of an installation; `engine` as its file describes it now."""
    return record_of(
        logbook.entries(engine.name, one.id),
        engine=engine if one.until is None else one.engine,
        limits_then=one.engine.limits,
        limits_now=engine.limits,
        date=one.date,
        hours=one.hours,
        as_found=one.as_found,
    )


def on_engine(logbook: Logbook, engine_name: str, date: dt.date) -> Installation:
    """Return the installation that an entry of this date belongs to.

    Raises
    ------
    InstallationError
        If none had begun by then.
    """
    begun = [each for each in logbook.installations(engine_name) if each.date <= date]
    if not begun:
        raise InstallationError(none_begun(engine_name, f"{date}"))
    return begun[-1]


def record_at(logbook: Logbook, engine_name: str, date: dt.date) -> Record:
    """Return the record that an entry of this date belongs to.

    Raises
    ------
    InstallationError
        If no installation had begun by then.
    """
    own = on_engine(logbook, engine_name, date)
    return record(logbook, own, logbook.engine(engine_name))


def compare(
    logbook: Logbook, engine_name: str, *, surface: str, other: str | None, date: dt.date
) -> Moved:
    """Compare two sets of run-out: a surface's first and latest, or the latest of two surfaces.

    Raises
    ------
    InstallationError
        If one of them is not recorded.
    """
    its = record_at(logbook, engine_name, date)
    found = its.readings
    one = _runouts(found, surface)
    if other is None:
        if len(one) < 2:
            raise InstallationError(
                f"the run-out of {surface} is recorded once since {its.date}; read it again, or "
                f"name another surface with --with"
            )
        first, second = one[0], one[-1]
    else:
        first, second = one[-1], _runouts(found, other)[-1]
    sets = (first[1], second[1])
    return Moved(
        name=surface if other is None else f"{surface} and {other}",
        first=first[0],
        second=second[0],
        sets=sets,
        change=compare_runout(*sets),
    )


def _runouts(readings: Sequence[Reading], surface: str) -> list[tuple[Reading, RunOut]]:
    found = [(each, each.details) for each in readings if isinstance(each.details, RunOut)]
    own = [each for each in found if each[0].name.casefold() == surface.casefold()]
    if not own:
        known = ", ".join(dict.fromkeys(each.name for each, _ in found)) or "of none"
        raise InstallationError(
            f"no run-out of {surface} is recorded for this damper; recorded is: {known}"
        )
    return own


def record_json(one: Installation, its: Record, shown: ShownUnits) -> dict[str, Any]:
    """Return the JSON form of an installation with its record, a sentence with each reading."""
    return {
        **its.to_dict(),
        "meter_hours": one.meter_hours,
        "until": as_json(one.until),
        "until_hours": one.until_hours,
        "readings": [reading_json(each, shown) for each in its.readings],
    }


def reading_json(reading: Reading, shown: ShownUnits) -> dict[str, Any]:
    """Return the JSON form of a reading, with its sentence."""
    found: dict[str, Any] = as_json(reading)
    return {**found, "sentence": sentence(reading, shown)}
