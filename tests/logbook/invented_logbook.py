"""Invented recordings of an invented engine, measured by hand. No real boat, no real reading."""

import datetime as dt
import hashlib
import io
import math
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from vibetrend.engine import Engine
from vibetrend.logbook import KeptRecording, Logbook
from vibetrend.orders.measurement import Measurement, Speed
from vibetrend.recording import Note, Recording, Source

ENGINE = """\
name = "main"
cylinders = 6
fast_idle_rpm = 1000
"""
FITTED = dt.date(2026, 5, 1)
FITTED_HOURS = 3120.0


def measured(
    content: bytes,
    *,
    orders: int = 3,
    rpm: float = 1000.0,
    tag: float | None = 1000.0,
    quality: tuple[Note, ...] = (),
    method_version: int = 1,
    **tags: Any,
) -> Measurement:
    """Return a measurement with `orders` orders, one driven line and one overall level."""
    numbers = np.arange(1, orders + 1) / 2
    source = Source("/somewhere/clip.csv", hashlib.sha256(content).hexdigest())
    given: dict[str, Any] = {"position": "head", "device": "phone", "source": source} | tags
    return Measurement(
        recording=Recording([0.0, 1.0, 0.0], sample_rate=100.0, rpm=tag, **given),
        speed=Speed(
            rpm=rpm,
            standard_error_rpm=0.5,
            spread_percent=0.3,
            method="harmonics",
            tag_rpm=tag,
            candidates_rpm=[],
            track=pd.DataFrame({"time_s": [0.0], "rpm": [rpm]}),
        ),
        orders=_lines(numbers, rpm),
        driven=_lines(np.array([2.2]), rpm).assign(name="alternator"),
        overall=pd.DataFrame(
            [{"name": "10-1000 Hz", "band_hz": [10, 1000], "value": 4.5, "unit": "mm/s"}]
        ),
        quality=list(quality),
        method_version=method_version,
    )


def _lines(numbers: "np.ndarray[Any, Any]", rpm: float) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "order": numbers,
            "frequency_hz": numbers * rpm / 60,
            "amplitude": 0.1 * numbers,
            "standard_error": 0.01,
            "floor": 0.005,
            "unit": "m/s^2",
            "variation_percent": 2.0,
            "velocity_mm_s": math.nan,
            "visible": True,
            "reason": None,
            "by_axis": [{"x": value} for value in 0.1 * numbers],
        }
    )


def add(
    book: Logbook,
    content: bytes,
    measurement: Measurement | None = None,
    *,
    engine: str = "main",
    hours: float = 3150.0,
    date: dt.date = dt.date(2026, 5, 4),
    **stated: Any,
) -> KeptRecording:
    """Add content as if it had been recorded on a usual day."""
    given: dict[str, Any] = {"visit": date.isoformat(), "baseline": False, "before": False}
    return book.add_recording(
        engine,
        io.BytesIO(content),
        measurement or measured(content),
        hours=hours,
        date=date,
        **(given | stated),
    )


def book_with_engine(folder: Path) -> Logbook:
    """Open a logbook that knows the engine."""
    book = Logbook.open(folder)
    book.put_engine(ENGINE, Engine.parse(ENGINE))
    return book
