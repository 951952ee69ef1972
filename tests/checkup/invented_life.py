"""An invented engine's life in short simulated recordings. No real boat, no real reading."""

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from vibetrend.checkup.adding import Added, add_file
from vibetrend.checkup.records import EngineRecord
from vibetrend.checkup.standing import standing
from vibetrend.engine import Engine
from vibetrend.logbook import Logbook
from vibetrend.simulate import record, write_table

ENGINE = """\
name = "main"
cylinders = 6
fast_idle_rpm = 1080
[damper]
type = "rubber"
renew_hours = 4000
renew_years = 6
"""
RPM = 1080.0  # firing order at 54 Hz, clear of mains
RATE = 200.0  # shows orders up to 5.5
SECONDS = 12.0
FITTED = dt.date(2024, 6, 1)
FITTED_HOURS = 3120.0
TODAY = dt.date(2025, 6, 1)
BASELINE = [
    (dt.date(2024, 6, 5), 3131.0),
    (dt.date(2024, 6, 6), 3135.0),
    (dt.date(2024, 6, 7), 3140.0),
]
# dB, standard deviation, of everything and of each order by itself from placement to placement
COMMON_DB, OWN_DB = 0.5, 0.4


def clip(
    path: Path, *, seed: int, changes_db: Mapping[float, float] | None = None, rpm: float = RPM
) -> Path:
    """Write a recording as a phone would, put on anew and therefore a little different."""
    rng = np.random.default_rng([7, seed])
    changes = {order / 2: OWN_DB * rng.standard_normal() for order in range(1, 25)}
    for order, change in (changes_db or {}).items():
        changes[order] += change
    recording, _ = record(
        Engine.parse(ENGINE),
        rpm=rpm * (1 + 0.005 * rng.standard_normal()),
        seconds=SECONDS,
        rate=RATE,
        seed=seed,
        changes_db=changes,
        common_db=COMMON_DB * rng.standard_normal(),
    )
    write_table(recording, path)
    return path


def still(path: Path) -> Path:
    """Write a recording of an engine that is not running: noise and gravity."""
    rng = np.random.default_rng(1)
    times = np.arange(round(SECONDS * RATE)) / RATE
    noise = 0.01 * rng.standard_normal((times.size, 3)) + [0, 0, 9.81]
    np.savetxt(
        path,
        np.column_stack([times, noise]),
        fmt="%.4f",
        delimiter=",",
        header="time (s),ax (m/s^2),ay (m/s^2),az (m/s^2)",
        comments="",
    )
    return path


def book(folder: Path, *, installed: bool = True) -> Logbook:
    """Open a logbook that knows the engine and, unless told otherwise, its new damper."""
    opened = Logbook.open(folder / "logbook")
    opened.put_engine(ENGINE, Engine.parse(ENGINE))
    if installed:
        opened.start_installation("main", date=FITTED, hours=FITTED_HOURS)
    return opened


def add(opened: Logbook, path: Path, date: dt.date, hours: float, **stated: Any) -> Added:
    """Add a recording as a person would who states rpm, hours and date."""
    given: dict[str, Any] = {"engine_name": "main", "today": TODAY, "rpm": RPM}
    return add_file(opened, path, date=date, hours=hours, **(given | stated))


def check_up(
    opened: Logbook,
    folder: Path,
    date: dt.date,
    hours: float,
    *,
    changes_db: Mapping[float, float] | None = None,
    rpm: float = RPM,
    **stated: Any,
) -> list[Added]:
    """Add a check-up of three placements."""
    return [
        add(
            opened,
            clip(
                folder / f"{date}_{placement}.csv",
                seed=10 * date.toordinal() + placement,
                changes_db=changes_db,
                rpm=rpm,
            ),
            date,
            hours,
            **({"rpm": rpm} | stated),
        )
        for placement in range(3)
    ]


def with_baseline(folder: Path) -> Logbook:
    """Open a logbook whose baseline of three days is complete."""
    opened = book(folder)
    for date, hours in BASELINE:
        check_up(opened, folder, date, hours, baseline=True)
    return opened


def main_engine(opened: Logbook) -> EngineRecord:
    """Return where the engine stands."""
    (engine,) = standing(opened, ["main"], today=TODAY)
    return engine
