"""What was sampled: pure data, no file access."""

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, get_args, get_type_hints

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vibetrend import units
from vibetrend.errors import ReadError, VibetrendError

Kind = Literal["acceleration", "velocity", "rotation", "sound", "pressure", "other"]
Manner = Literal["steady", "run-up", "coast-down"]
Severity = Literal["note", "warning", "unusable"]

FloatArray = NDArray[np.float64]

SI_UNITS: dict[Kind, tuple[str, ...]] = {
    "acceleration": ("m/s^2",),
    "velocity": ("m/s",),
    "rotation": ("rad/s",),
    "sound": ("1", "Pa"),
    "pressure": ("Pa", "V"),
    "other": ("1", "V", "Pa", "m/s^2", "m/s", "rad/s"),
}


@dataclass(frozen=True)
class Note:
    """A doubt or an assumption about a recording: one entry of ``quality``.

    Reads as an object or by key, like its JSON form.
    """

    code: str
    severity: Severity
    message: str

    def __getitem__(self, key: Literal["code", "severity", "message"]) -> str:
        return str(getattr(self, key))


@dataclass(frozen=True)
class Source:
    """The file a recording came from."""

    path: str
    sha256: str
    reading: Mapping[str, Any] = field(default_factory=dict)  # options it had to be read with
    location: tuple[tuple[int, int], ...] = ()  # bytes, first and end, whose digits tell where
    coordinates: tuple[tuple[int, int], ...] = ()  # the same of numbers that are not text


@dataclass(frozen=True, eq=False)
class Tacho:
    """Edge times of a tooth or pulse sensor on the crankshaft, or geared to it."""

    edge_times: FloatArray  # (n,) seconds, of one slope, none lost or extra in between
    teeth_per_turn: float  # of the crank, as if none were missing; 13.2 if geared so
    missing_teeth: int | tuple[int, ...] = 0  # in a row: 2 of a 60-2 wheel, (2, 1) of a 36-2-1


@dataclass(frozen=True, kw_only=True)
class Circumstances:
    """What else may move levels, as stated on the day; None or "" where nobody said."""

    coolant_c: float | None = None  # degrees Celsius
    damper_c: float | None = None  # of its ring, engine stopped
    room_c: float | None = None
    other_engine: Literal["", "off", "running"] = ""  # or generator set
    alternator_load: Literal["", "low", "high"] = ""
    lying: Literal["", "afloat", "ashore"] = ""
    shore_power: Literal["", "off", "on"] = ""
    automatic_gain: Literal["", "off", "on"] = ""  # or noise suppression, in the sound recorder


CHOICES: dict[str, tuple[str, ...]] = {
    name: tuple(choice for choice in get_args(hint) if choice)
    for name, hint in get_type_hints(Circumstances).items()
    if get_args(hint) and type(None) not in get_args(hint)
}
"""The fixed choices among the circumstances."""


@dataclass(frozen=True, eq=False, init=False)
class Recording:
    """Samples with their times, unit and tags; read-only.

    ``dataclasses.replace(recording, rpm=1000)`` gives one with another tag; the samples are not
    copied.
    """

    samples: FloatArray | None  # (n, axes), SI; None when only tacho times exist
    times: FloatArray | None  # (n,) seconds, never decreasing; None when evenly sampled
    sample_rate: float | None  # Hz, only when evenly sampled
    axes: tuple[str, ...]
    kind: Kind
    unit: str  # the SI unit of `samples`
    manner: Manner
    tacho: Tacho | None
    rpm: float | None  # of a sweep: where it begins
    end_rpm: float | None  # of a sweep: where it ends; None of a steady recording
    hours: float | None
    date: dt.date | None
    position: str
    device: str
    condition: str
    codec: str  # how sound was stored, e.g. "FLAC"; "" for a table
    circumstances: Circumstances
    notes: tuple[Note, ...]  # what the reader assumed or doubts
    source: Source | None

    def __init__(
        self,
        samples: ArrayLike | None = None,
        *,
        times: ArrayLike | None = None,
        sample_rate: float | None = None,
        axes: Sequence[str] | None = None,
        kind: Kind = "acceleration",
        unit: str | None = None,
        manner: Manner = "steady",
        tacho: Tacho | None = None,
        rpm: float | None = None,
        end_rpm: float | None = None,
        hours: float | None = None,
        date: dt.date | None = None,
        position: str = "",
        device: str = "",
        condition: str = "",
        codec: str = "",
        circumstances: Circumstances | None = None,
        notes: Iterable[Note] = (),
        source: Source | None = None,
    ) -> None:
        """Check the arrays against each other and convert them to SI.

        Parameters
        ----------
        samples : array_like, shape (n,) or (n, axes), optional
            In `unit`. May be left out when `tacho` is given. Copied, unless it is a read-only
            array: an hour of sound is large.
        times : array_like, shape (n,), optional
            Seconds, never decreasing, not necessarily even.
        sample_rate : float, optional
            Hz, instead of `times`.
        unit : str, optional
            Any unit of :func:`vibetrend.units.unit`; the SI unit of `kind` if left out.
        rpm, end_rpm, hours, date, position, device, condition
            Tags: what the person states about the recording. Of a sweep (run-up, coast-down) `rpm`
            is where it begins and `end_rpm` where it ends.

        Raises
        ------
        ReadError
            If the arrays do not fit together, are empty, or hold what is not a number, or the
            unit does not belong to the kind.
        """
        if kind not in SI_UNITS:
            raise ReadError(f"kind {kind!r} is not known; write one of {', '.join(SI_UNITS)}")
        try:
            given = units.unit(SI_UNITS[kind][0] if unit is None else unit)
        except VibetrendError as error:
            raise ReadError(str(error)) from error
        if given.si not in SI_UNITS[kind]:
            raise ReadError(
                f"unit {unit!r} is not one of {kind}; give the kind that belongs to it with --kind"
            )
        if manner not in ("steady", "run-up", "coast-down"):
            raise ReadError(f"manner {manner!r} is not known; write steady, run-up or coast-down")
        if rpm is not None and not 0 < rpm < math.inf:
            raise ReadError(f"rpm is {rpm:g}; it must be above 0 and finite")
        if end_rpm is not None:
            _check_end(end_rpm, rpm, manner)
        if hours is not None and not 0 <= hours < math.inf:
            raise ReadError(f"hours is {hours:g}; engine hours cannot be below 0")
        data, stamps = _checked_arrays(samples, times, sample_rate, tacho)
        if data is not None:
            if given.factor != 1:
                data = data * given.factor
            data.setflags(write=False)
        count = 0 if data is None else data.shape[1]
        if axes is None:
            axes = ("x", "y", "z")[:count] if count <= 3 else [str(i + 1) for i in range(count)]
        if len(axes) != count or len(set(axes)) != count:
            raise ReadError(f"{count} axes were sampled, but the names given are {list(axes)}")

        values = {
            "samples": data,
            "times": stamps,
            "sample_rate": None if sample_rate is None or data is None else float(sample_rate),
            "axes": tuple(axes),
            "kind": kind,
            "unit": given.si,
            "manner": manner,
            "tacho": tacho,
            "rpm": None if rpm is None else float(rpm),
            "end_rpm": None if end_rpm is None else float(end_rpm),
            "hours": None if hours is None else float(hours),
            "date": date,
            "position": position,
            "device": device,
            "condition": condition,
            "codec": codec,
            "circumstances": Circumstances() if circumstances is None else circumstances,
            "notes": tuple(notes),
            "source": source,
        }
        for name, value in values.items():
            object.__setattr__(self, name, value)

    @property
    def count(self) -> int:
        """Number of samples on each axis."""
        return 0 if self.samples is None else len(self.samples)

    @property
    def mean_rate_hz(self) -> float:
        """Samples per second, Hz; the mean where the stamps are uneven."""
        if self.sample_rate is not None:
            return self.sample_rate
        if self.times is None:
            return 0.0
        return float((self.count - 1) / (self.times[-1] - self.times[0]))

    @property
    def duration_s(self) -> float:
        """Seconds covered, the last sample's own interval included."""
        if self.samples is None:
            edges = self.tacho.edge_times if self.tacho is not None else np.zeros(1)
            return float(edges[-1] - edges[0])
        return self.count / self.mean_rate_hz

    def time_s(self) -> FloatArray:
        """Return the time of each sample, shape (n,), seconds."""
        if self.times is not None:
            return self.times
        return np.arange(self.count) / self.mean_rate_hz


def _check_end(end_rpm: float, rpm: float | None, manner: str) -> None:
    if not 0 < end_rpm < math.inf:
        raise ReadError(f"end_rpm is {end_rpm:g}; it must be above 0 and finite")
    if manner == "steady":
        raise ReadError(
            f"end_rpm is {end_rpm:g}, but a steady recording ends at the speed it begins with; "
            f"leave it out, or add --manner run-up or --manner coast-down"
        )
    if rpm == end_rpm:
        raise ReadError(
            f"a {manner} from {rpm:g} to {end_rpm:g} rpm changes nothing; give the speeds it "
            f"begins and ends with, or leave out --manner and --end-rpm if it ran steadily"
        )
    if rpm is not None and (end_rpm > rpm) != (manner == "run-up"):
        raise ReadError(
            f"a {manner} from {rpm:g} to {end_rpm:g} rpm runs the other way; swap rpm and end_rpm, "
            f"or give the other --manner"
        )


def _held(values: ArrayLike) -> FloatArray:
    """Return values that nobody else changes: themselves if they are read-only, else a copy."""
    if isinstance(values, np.ndarray) and values.dtype == float and not values.flags.writeable:
        return values
    return np.array(values, dtype=float)


def _checked_arrays(
    samples: ArrayLike | None,
    times: ArrayLike | None,
    sample_rate: float | None,
    tacho: Tacho | None,
) -> tuple[FloatArray | None, FloatArray | None]:
    if samples is None:
        if tacho is None:
            raise ReadError("a recording needs samples or tacho times; neither was given")
        return None, None
    try:
        data = _held(samples)
        stamps = None if times is None else _held(times)
    except (TypeError, ValueError) as error:
        raise ReadError(f"samples and times must be numbers: {error}") from error
    if data.ndim == 1:
        data = data[:, np.newaxis]
    if data.ndim != 2 or len(data) < 2 or data.shape[1] < 1:
        raise ReadError(
            f"samples has shape {np.shape(samples)}; (n,) or (n, axes) with 2 samples or more "
            f"is needed"
        )
    if not np.isfinite(data).all():
        row, axis = np.argwhere(~np.isfinite(data))[0]
        raise ReadError(
            f"sample {row} on axis {axis} is not a number; leave such rows out, with their times"
        )
    if stamps is None:
        if sample_rate is None or not 0 < sample_rate < math.inf:
            raise ReadError("give the times of the samples, or a sample_rate above 0 in Hz")
        return data, None
    if sample_rate is not None:
        raise ReadError("give either times or sample_rate, not both")
    if stamps.shape != (len(data),):
        raise ReadError(
            f"{len(data)} samples but times of shape {stamps.shape}; one each is needed"
        )
    if not np.isfinite(stamps).all():
        raise ReadError("a time is not a number; leave such rows out")
    steps = np.diff(stamps)
    if (steps < 0).any():
        row = int(np.argmax(steps < 0)) + 1
        raise ReadError(f"time goes backwards at sample {row}; sort the rows by time")
    if stamps[-1] == stamps[0]:
        raise ReadError("all times are the same; times in seconds are needed")
    stamps.setflags(write=False)
    return data, stamps
