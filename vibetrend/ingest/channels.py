"""What the channels of a sound file stand for, and how much of a long one is kept."""

import re
from dataclasses import dataclass

import numpy as np

from vibetrend import units
from vibetrend.errors import ReadError, VibetrendError
from vibetrend.ingest import quantity, tacho
from vibetrend.ingest.found import MOST_VALUES, Found
from vibetrend.ingest.headings import kind_of
from vibetrend.ingest.tags import Stated
from vibetrend.recording import FloatArray, Kind, Note, Tacho

MOST_STEADY_VALUES = 11_520_000
"""Frames times channels kept of a steady recording: 120 s of 48 kHz stereo, 0.1 GB."""
KEPT_S = 120.0
"""What is kept at most of the middle of a longer one; a measurement takes no more."""
KEPT_VALUES = 5_760_000
"""The same in values, 60 s of 48 kHz stereo: whoever records an hour shall not need a gigabyte."""

CUT_SHORT = Note("truncated", "note", "the file is cut short; what is left of it was read")

_AMOUNT = re.compile(r"\s*([\d.]+(?:e[-+]?\d+)?)\s*(\S.*)", re.IGNORECASE)
_MOST_CHANNELS = 1024


@dataclass(frozen=True)
class Meaning:
    """What a sample of 1.0 stands for."""

    kind: Kind
    unit: str  # SI
    factor: float


@dataclass(frozen=True)
class Channels:
    """Which channels of a file are kept, in this order, and what they are."""

    columns: tuple[int, ...]  # of those kept, counted from 0; the tacho's, if any, is the last
    axes: tuple[str, ...]  # of the others
    has_tacho: bool
    meaning: Meaning


def channels(count: int, wanted: Stated) -> Channels:
    """Return what to take of a sound file of `count` channels.

    Raises
    ------
    ReadError
        If a hint cannot be understood, does not fit, or names a channel that is not there.
    """
    if wanted.rate is not None:
        raise ReadError("a sound file states its own sample rate; leave out rate")
    if not 0 < count <= _MOST_CHANNELS:
        raise ReadError(f"a sound file with {count} channels; copy it again from the recorder")
    meaning = _meaning(wanted)
    at_tacho = None if wanted.tacho_column is None else _tacho_channel(count, wanted)
    names = _names(count, meaning.kind, at_tacho)
    if wanted.columns is not None:
        used = _chosen(wanted.columns, names)
    else:
        used = [index for index in range(count) if index != at_tacho]
    if at_tacho is not None and at_tacho in used:
        raise ReadError(f"channel {at_tacho + 1} is the tacho; leave it out of columns")
    return Channels(
        columns=(*used, *(() if at_tacho is None else (at_tacho,))),
        axes=tuple(names[index] for index in used),
        has_tacho=at_tacho is not None,
        meaning=meaning,
    )


def most_frames(rate: float, kept: Channels, wanted: Stated) -> tuple[int, int]:
    """Return how many frames may be kept at most, and how many of a file that has more.

    Of a run-up all counts that can be held at once, of a steady recording the middle.
    """
    steady = wanted.manner in (None, "steady")
    most = (MOST_STEADY_VALUES if steady else MOST_VALUES) // len(kept.columns)
    of_longer = min(most, int(KEPT_S * rate), KEPT_VALUES // len(kept.columns))
    return most, of_longer if steady else most


class Kept:
    """The frames kept of a file, put one after the other into memory taken only once."""

    def __init__(self, frames: int, columns: tuple[int, ...]) -> None:
        self._values = np.empty((frames, len(columns)))
        self._columns = columns
        self.count = 0

    def restart(self, frames: int) -> None:
        """Begin anew, with room for no more than `frames`."""
        self._values = np.empty((frames, len(self._columns)))
        self.count = 0

    @property
    def full(self) -> bool:
        """Whether there is no room left."""
        return self.count == len(self._values)

    def place(self, frames: int, channels: int) -> FloatArray | None:
        """Return where the next frames belong, if they are kept with all their channels as is.

        A block that was put there needs no copy when it is added.
        """
        if self._columns != tuple(range(channels)):
            return None
        return self._values[self.count : self.count + frames]

    def add(self, block: FloatArray) -> bool:
        """Append a block of frames, shape (n, channels); False if not all of it has room."""
        end = min(self.count + len(block), len(self._values))
        fits = self.count + len(block) == end
        if block.base is not self._values:
            for index, column in enumerate(self._columns):
                self._values[self.count : end, index] = block[: end - self.count, column]
        self.count = end
        return fits

    def values(self, first: int = 0, end: int | None = None) -> FloatArray:
        """Return what was kept, shape (n, columns), not copied."""
        return self._values[first : self.count if end is None else end]


def shortened(rate: float, *, total: int | None, kept: int, first: int) -> Note:
    """Return the note that only part of a long file was read, `total` frames if known."""
    length = "longer than can be held at once" if total is None else f"{total / rate:.0f} s long"
    part = "middle" if first else "first"
    message = f"the file is {length}; only its {part} {kept / rate:.0f} s were read"
    return Note("shortened", "note", message)


def found(
    values: FloatArray,
    rate: float,
    kept: Channels,
    wanted: Stated,
    *,
    notes: tuple[Note, ...] = (),
) -> Found:
    """Return the samples in their unit, and the edges of a tacho channel.

    Parameters
    ----------
    values : array, shape (n, columns)
        Parts of full scale; changed in place, because a copy may be a hundred megabytes.

    Raises
    ------
    ReadError
        If there is nothing in it or the tacho channel shows no tacho.
    """
    if len(values) < 2:
        raise ReadError("a sound file without sound in it; record again")
    pulses: Tacho | None = None
    if kept.has_tacho:
        pulses, remarks = tacho.of_signal(np.arange(len(values)) / rate, values[:, -1], wanted)
        notes += remarks
    samples = values[:, : len(kept.axes)]
    if kept.meaning.factor != 1:
        samples *= kept.meaning.factor
    samples.setflags(write=False)
    return Found(
        samples=samples if kept.axes else None,
        sample_rate=rate,
        axes=kept.axes,
        kind=kept.meaning.kind,
        unit=kept.meaning.unit,
        tacho=pulses,
        notes=notes,
    )


def codec_words(stored_as: str, count: int) -> str:
    """Return a codec with its channels, e.g. "FLAC PCM_16, stereo"; one channel is not named."""
    if count == 1:
        return stored_as
    return f"{stored_as}, {'stereo' if count == 2 else f'{count} channels'}"


def _meaning(wanted: Stated) -> Meaning:
    if wanted.full_scale is None:
        if wanted.sensitivity is not None:
            raise ReadError(
                "sensitivity turns volts into a quantity; say how many volts full scale is, e.g. "
                "full_scale '2.5 V'"
            )
        if wanted.kind not in (None, "sound", "other") or wanted.unit not in (None, "1"):
            raise ReadError(
                "a sound file holds parts of full scale; to read it as "
                f"{wanted.kind or 'sound'} give full_scale, e.g. '1 g' or '2 Pa'"
            )
        return Meaning(wanted.kind or "sound", "1", 1.0)
    match = _AMOUNT.fullmatch(wanted.full_scale)
    try:
        value = float(match[1]) if match else 0.0
        unit = units.unit(match[2]) if match else None
    except (ValueError, VibetrendError):
        value, unit = 0.0, None
    if unit is None or not 0 < value * unit.factor < np.inf:
        raise ReadError(
            f"full_scale is {wanted.full_scale[:40]!r}; write a number and a unit, e.g. '1 g'"
        )
    factor = value * unit.factor
    if wanted.sensitivity is not None:
        if unit.si != "V":
            raise ReadError(
                f"sensitivity turns volts into a quantity, but full_scale is "
                f"{wanted.full_scale[:40]!r}; leave one out, or give full_scale in V"
            )
        sensor = quantity.sensitivity(wanted.sensitivity)
        unit, factor = sensor.unit, factor / sensor.volts_per_si
    heard_as: Kind = "sound" if unit.si in ("Pa", "1") else kind_of(unit)
    return Meaning(wanted.kind or heard_as, unit.si, factor)


def _names(count: int, kind: Kind, at_tacho: int | None) -> list[str]:
    numbered = [f"channel {i + 1}" for i in range(count)]
    if kind == "sound":
        return {1: ["sound"], 2: ["left", "right"]}.get(count, numbered)
    axes = [index for index in range(count) if index != at_tacho]
    if len(axes) > 3:
        return numbered
    for index, name in zip(axes, "xyz", strict=False):
        numbered[index] = name
    return numbered


def _tacho_channel(count: int, wanted: Stated) -> int:
    name = wanted.tacho_column
    plain = ["left", "right"] if count == 2 else [f"channel {i + 1}" for i in range(count)]
    return _chosen((name if name is not None else "",), plain)[0]


def _chosen(columns: tuple[str | int, ...], names: list[str]) -> list[int]:
    used: list[int] = []
    for column in columns:
        text = str(column)
        index = (
            names.index(text)
            if text in names
            else int(text) - 1
            if text.isdecimal() and len(text) < 5
            else -1
        )
        if not 0 <= index < len(names) or index in used:
            shown = column if isinstance(column, int) else repr(text[:40])
            raise ReadError(f"channel {shown} is not one of {', '.join(names[:8])}")
        used.append(index)
    return used
