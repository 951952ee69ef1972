"""An invented engine's life in measurements made by hand: quick, and each order as wanted.

No real boat, no real reading.
"""

import datetime as dt
import hashlib
import io
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from invented_life import ENGINE, FITTED, FITTED_HOURS, RPM, TODAY

from vibetrend.checkup.records import EngineRecord
from vibetrend.checkup.standing import standing
from vibetrend.engine import Engine
from vibetrend.logbook import Logbook
from vibetrend.orders.measurement import Measurement, Speed
from vibetrend.recording import Note, Recording, Source

ORDERS = np.arange(1, 15) / 2
BASELINE_DAYS = (1, 2, 3)  # after the damper was fitted, or after work
COMMON_DB, OWN_DB = 0.5, 0.4  # from placement to placement


def measured(
    content: bytes, changes_db: Mapping[float, float], *, unusable: bool = False, **tags: Any
) -> Measurement:
    """Return a measurement as a placement of the phone would give it, with its own scatter."""
    rng = np.random.default_rng(list(hashlib.sha256(content).digest()))
    db = COMMON_DB * rng.standard_normal() + OWN_DB * rng.standard_normal(ORDERS.size)
    db += [changes_db.get(order, 0.0) for order in ORDERS]
    amplitude = 0.2 * 10 ** (db / 20)
    frequency = ORDERS * RPM / 60
    source = Source("clip.csv", hashlib.sha256(content).hexdigest())
    given: dict[str, Any] = {"position": "valve cover", "device": "phone A", "condition": "warm"}
    given |= {"kind": "acceleration", "unit": "m/s^2"} | tags
    return Measurement(
        recording=Recording([0.0, 1.0, 0.0], sample_rate=100, rpm=RPM, source=source, **given),
        speed=Speed(
            rpm=RPM,
            standard_error_rpm=0.5,
            spread_percent=0.3,
            method="harmonics",
            tag_rpm=RPM,
            candidates_rpm=[],
            track=pd.DataFrame({"time_s": [0.0], "rpm": [RPM]}),
        ),
        orders=pd.DataFrame(
            {
                "order": ORDERS,
                "frequency_hz": frequency,
                "amplitude": amplitude,
                "standard_error": 0.01 * amplitude,
                "floor": 0.005,
                "unit": "m/s^2",
                "variation_percent": 2.0,
                "velocity_mm_s": 1000 * amplitude / (2 * math.pi * frequency),
                "visible": True,
                "reason": None,
                "by_axis": [{"x": value} for value in amplitude],
            }
        ),
        driven=pd.DataFrame(),
        overall=pd.DataFrame(),
        quality=[Note("too-short", "unusable", "It is too short.")] if unusable else [],
        method_version=1,
    )


def check_up(
    book: Logbook,
    date: dt.date,
    hours: float,
    changes_db: Mapping[float, float] | None = None,
    *,
    placements: int = 3,
    baseline: bool = False,
    before: bool = False,
    **tags: Any,
) -> None:
    """Add a check-up of some placements."""
    for number in range(placements):
        content = f"{date} {hours} {number} {tags}".encode()
        book.add_recording(
            "main",
            io.BytesIO(content),
            measured(content, changes_db or {}, **tags),
            visit=date.isoformat(),
            hours=hours,
            date=date,
            baseline=baseline,
            before=before,
        )


def baseline(
    book: Logbook,
    start: dt.date = FITTED,
    hours: float = FITTED_HOURS,
    changes_db: Mapping[float, float] | None = None,
    **tags: Any,
) -> None:
    """Add a baseline of three days of three placements right after a date."""
    for day in BASELINE_DAYS:
        check_up(
            book, start + dt.timedelta(days=day), hours + 5 * day, changes_db, baseline=True, **tags
        )


def engine_book(folder: Path) -> Logbook:
    """Open a logbook that knows the engine and no damper."""
    opened = Logbook.open(folder / "logbook")
    opened.put_engine(ENGINE, Engine.parse(ENGINE))
    return opened


def main_engine(book: Logbook) -> EngineRecord:
    """Return where the engine stands."""
    (engine,) = standing(book, ["main"], today=TODAY)
    return engine
