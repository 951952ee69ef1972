"""Early warning from a marine diesel's own vibration: orders, baseline, drift.

>>> import vibetrend as vt
>>> recording = vt.read("clip.csv", rpm=1000)  # doctest: +SKIP
>>> vt.measure(recording).orders  # doctest: +SKIP

Names are imported when first used, so that the command line answers at once.
"""

from importlib import import_module
from typing import TYPE_CHECKING

from vibetrend.errors import (
    EngineError,
    InstallationError,
    JudgeError,
    LogbookError,
    MeasureError,
    ReadError,
    VibetrendError,
)

if TYPE_CHECKING:
    from vibetrend.engine import Engine
    from vibetrend.ingest import read
    from vibetrend.installation.runout import runout
    from vibetrend.measuring import measure
    from vibetrend.orders import Measurement
    from vibetrend.recording import Recording, Tacho
    from vibetrend.trend import Verdict
    from vibetrend.trend.judge import judge

__version__ = "0.1.0"

_HOME = {
    "Engine": "vibetrend.engine",
    "Measurement": "vibetrend.orders",
    "Recording": "vibetrend.recording",
    "Tacho": "vibetrend.recording",
    "Verdict": "vibetrend.trend",
    "judge": "vibetrend.trend.judge",
    "measure": "vibetrend.measuring",
    "read": "vibetrend.ingest",
    "runout": "vibetrend.installation.runout",
}

__all__ = [
    "Engine",
    "EngineError",
    "InstallationError",
    "JudgeError",
    "LogbookError",
    "MeasureError",
    "Measurement",
    "ReadError",
    "Recording",
    "Tacho",
    "Verdict",
    "VibetrendError",
    "judge",
    "measure",
    "read",
    "runout",
]


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOME])
