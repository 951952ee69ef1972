"""What a recording says: the result of `measure`."""

from dataclasses import dataclass, field
from typing import Any, Literal

import pandas as pd

from vibetrend.plain import plain, rows
from vibetrend.recording import Note, Recording

METHOD_VERSION = 2
"""Raised whenever the same file would give other numbers."""


@dataclass(frozen=True, kw_only=True)
class Swept:
    """The part of a sweep that counts: where the speed goes furthest one way."""

    start_rpm: float
    end_rpm: float
    seconds: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Speed:
    """Crankshaft speed through a recording."""

    rpm: float  # mean
    standard_error_rpm: float
    spread_percent: float  # standard deviation of the speed within the recording, % of the mean
    method: Literal["harmonics", "tacho", "tag"]
    tag_rpm: float | None
    candidates_rpm: list[float]  # other speeds that would explain the recording almost as well
    track: pd.DataFrame = field(repr=False)  # time_s, rpm
    swept: Swept | None = None  # None of a steady recording, and where no sweep was found


@dataclass(frozen=True, kw_only=True, eq=False)
class Measurement:
    """Speed, orders and doubts of one recording.

    `orders` has one row for each order, columns `order`, `frequency_hz`, `amplitude`,
    `standard_error`, `floor`, `unit`, `variation_percent`, `velocity_mm_s`, `displacement_um`,
    `phase_deg`, `phase_standard_error_deg`, `phase_repeats_deg`, `visible`, `reason`, `folded_hz`,
    `by_axis`, `ellipse`. `driven` has the same and `name`; `others`, lines that are no part known,
    `name` (None unless they are mains) and `follows`: "crank", "clock", or "either" where the speed
    was too steady to tell. `overall` has `name`, `band_hz`, `value`, `unit`.
    Amplitudes are rms in `unit`, all axes together; NaN stands for "has no meaning here".
    `phase_reference` ("order 3", "tacho") is what phases are counted from, see
    :mod:`vibetrend.orders.motion`; `folded_hz` is where sampling shows an order
    above half its rate.

    A sweep (run-up, coast-down) has `runup` and `resonances` instead of orders and lines: see
    :mod:`vibetrend.runup`.
    """

    recording: Recording
    speed: Speed
    orders: pd.DataFrame
    driven: pd.DataFrame
    overall: pd.DataFrame
    quality: list[Note]
    others: pd.DataFrame = field(default_factory=pd.DataFrame)
    runup: pd.DataFrame = field(default_factory=pd.DataFrame)
    resonances: pd.DataFrame = field(default_factory=pd.DataFrame)
    phase_reference: str | None = None
    method_version: int = METHOD_VERSION

    @property
    def unusable(self) -> bool:
        """Whether a fault rules the recording out of any comparison."""
        return any(note.severity == "unusable" for note in self.quality)

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form: plain values, NaN and infinity as None."""
        recording = self.recording
        source = recording.source
        speed = self.speed
        return {
            "recording": {
                "path": source.path if source else None,
                "sha256": source.sha256 if source else None,
                "kind": recording.kind,
                "unit": recording.unit,
                "manner": recording.manner,
                "sample_rate_hz": recording.mean_rate_hz,
                "duration_s": recording.duration_s,
                "axes": list(recording.axes),
            },
            "speed": {
                "tag_rpm": speed.tag_rpm,
                "rpm": plain(speed.rpm),
                "standard_error_rpm": plain(speed.standard_error_rpm),
                "spread_percent": plain(speed.spread_percent),
                "method": speed.method,
                "candidates_rpm": list(speed.candidates_rpm),
            }
            | ({} if speed.swept is None else {"swept": vars(speed.swept)}),
            "orders": rows(self.orders),
            "driven": rows(self.driven),
            "others": rows(self.others),
            "phase_reference": self.phase_reference,
            "overall": rows(self.overall),
            "runup": rows(self.runup),
            "resonances": rows(self.resonances),
            "quality": [
                {"code": note.code, "severity": note.severity, "message": note.message}
                for note in self.quality
            ],
            "method_version": self.method_version,
        }
