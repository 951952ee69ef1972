"""Short recordings, and what an earlier version of the method might have measured in them."""

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import Any

from invented_life import ENGINE, FITTED, RPM, book, clip
from quick import measured_once

from vibetrend.engine import Engine
from vibetrend.ingest import read
from vibetrend.logbook import Logbook
from vibetrend.orders import Measurement
from vibetrend.recording import Note

LOUDER, LOUDER_ORDER = 1.1, 2.5
DAYS = [(FITTED + dt.timedelta(days=4 + day), 3131.0 + 4 * day) for day in range(4)]
"""Dates and hours of four check-ups of one recording each, three of them the baseline."""


def add_earlier(
    opened: Logbook, path: Path, date: dt.date, hours: float, *, baseline: bool, version: int = 1
) -> str:
    """Add a recording as an earlier version measured it; return its id."""
    options: dict[str, Any] = {"rpm": RPM, "position": "head"}
    measurement = measured_once(read(path, **options), engine=Engine.parse(ENGINE))
    if version == 1:
        measurement = earlier(measurement)
    with path.open("rb") as content:
        kept = opened.add_recording(
            "main", content, measurement,
            visit=date.isoformat(), hours=hours, date=date, baseline=baseline, before=False,
        )  # fmt: skip
    return kept.id


def earlier(measurement: Measurement) -> Measurement:
    """Return a result with one order louder, order 1 unseen, 7 seen, and another doubt."""
    orders = measurement.orders.copy()
    orders.loc[orders["order"] == LOUDER_ORDER, "amplitude"] *= LOUDER
    orders.loc[orders["order"] == 1, "visible"] = False
    orders.loc[orders["order"] == 7, "visible"] = True
    doubts = [*measurement.quality, Note("gaps", "warning", "Some samples are missing.")]
    return replace(measurement, orders=orders, quality=doubts, method_version=1)


def earlier_book(folder: Path, *, versions: tuple[int, ...] = (1, 1, 1, 1)) -> list[str]:
    """Make a logbook of four recordings in a folder; return their ids."""
    with book(folder) as opened:
        return [
            add_earlier(
                opened, clip(folder / f"{date}.csv", seed=place), date, hours,
                baseline=place < 3, version=version,
            )
            for place, ((date, hours), version) in enumerate(zip(DAYS, versions, strict=True))
        ]  # fmt: skip
