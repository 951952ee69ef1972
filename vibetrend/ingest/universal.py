"""Universal files: what the functions in them say, taken together as one recording."""

import datetime as dt
import os
import re
from collections import Counter
from dataclasses import dataclass, field, replace
from typing import BinaryIO

import numpy as np
import pandas as pd

from vibetrend.errors import ReadError
from vibetrend.ingest import dataset58, dates
from vibetrend.ingest.content import LARGEST_FILE
from vibetrend.ingest.dataset58 import Header
from vibetrend.ingest.found import Found
from vibetrend.ingest.frame import of_columns
from vibetrend.ingest.layout import MOST_COLUMNS, TIME_UNITS
from vibetrend.ingest.tags import Stated
from vibetrend.ingest.typed import MOST_CELLS, check_size
from vibetrend.recording import FloatArray, Note

NAME = "universal files (dataset 58)"

_BEGINS = re.compile(rb"(?:[ \t]*\r?\n)*    -1 *\r?\n(?=.{6}) *\d+(?:b|[ \r\n])", re.IGNORECASE)
_BLOCK = 2**20  # bytes
_MOST_LINES = MOST_CELLS + 1_000_000
_UNKNOWN, _TIME = (0, 1), 17  # specific data types of an abscissa
_GENERAL, _TIME_RESPONSE = 0, 1  # function types
_FUNCTIONS = {
    2: "auto spectrum", 3: "cross spectrum", 4: "frequency response function", 6: "coherence",
    7: "auto correlation", 8: "cross correlation", 9: "power spectral density", 12: "spectrum",
    27: "order function",
}  # fmt: skip
_QUANTITIES = {
    0: "", 1: "", 5: "temperature", 11: "velocity", 12: "acceleration", 15: "pressure", 19: "rpm",
}  # fmt: skip
_OF_NO_USE = {2: "stress", 3: "strain", 8: "displacement", 9: "force", 13: "force", 16: "mass"}
# The SI unit, and the exponents of length and force in it (addendum A).
_SI = {11: ("m/s", 1, 0), 12: ("m/s^2", 1, 0), 15: ("Pa", -2, 1)}


@dataclass(frozen=True, kw_only=True, eq=False)
class _Channel:
    """One time response."""

    header: Header
    values: FloatArray  # (n,)
    times: FloatArray | None  # (n,); None where they are even
    whole: bool

    def keeps_time_with(self, other: "_Channel") -> bool:
        """Say whether both were sampled at the same times."""
        if self.times is not None and other.times is not None:
            return np.array_equal(self.times, other.times)
        mine, its = (
            (len(each.values), each.header.start, each.header.step, each.header.abscissa_unit)
            for each in (self, other)
        )
        return self.times is other.times and mine == its


@dataclass(kw_only=True)
class _Content:
    """What was read of a file so far."""

    channels: list[_Channel] = field(default_factory=list)
    aside: Counter[str] = field(default_factory=Counter)  # functions of no use, by their names
    factors: tuple[float, float] | None = None  # of lengths and forces, from dataset 164
    whole: bool = True


def can_read(head: bytes) -> bool:
    """Say whether a file that begins so is a universal file."""
    return _BEGINS.match(head) is not None


def read(stream: BinaryIO, wanted: Stated) -> Found:
    """Read the time responses of a universal file as channels of one recording.

    Raises
    ------
    ReadError
        If it holds none, is damaged or too large, or a hint does not fit.
    """
    content = _content(stream)
    notes = _doubts(content)
    names = _names(content.channels)
    wanted = _by_names(wanted, names)
    used = _on_one_clock(content.channels, names, wanted)
    if len(used) < len(names):
        left = ", ".join(name for i, name in enumerate(names) if i not in used)
        notes.append(Note("columns", "note", f"sampled at other times and left out: {left[:200]}"))
    channels = [content.channels[i] for i in used]
    table = {names[i]: _values(content.channels[i], content.factors) for i in used}
    units = [_unit(channel.header, content.factors) for channel in channels]
    first = channels[0]
    preamble = []
    if first.times is None and wanted.rate is not None:
        message = "rate was stated; the distance of samples in the file is not used"
        notes.append(Note("columns", "note", message))
    elif first.times is None:
        preamble.append(f"sample rate: {_rate(first.header):.9f} Hz")
    else:  # last, so that channels count from 1
        table["time"] = first.times
        units.append(first.header.abscissa_unit or "s")
    found = of_columns(
        pd.DataFrame(table, copy=False),
        wanted,
        units=units,
        preamble=preamble,
        notes=notes,
    )
    return replace(found, date=_date(first.header.created) or found.date)


def _content(stream: BinaryIO) -> _Content:
    size = stream.seek(0, os.SEEK_END)
    stream.seek(0)
    if size > LARGEST_FILE:
        raise ReadError(
            f"larger than {LARGEST_FILE / 2**20:.0f} MB; cut out a minute of steady running"
        )
    lines = sum(block.count(b"\n") for block in iter(lambda: stream.read(_BLOCK), b""))
    stream.seek(0)
    if lines > _MOST_LINES:  # one for each value, and the headers
        raise ReadError("damaged: it has hardly anything but line ends; copy it again")
    content = _Content()
    for identifier in dataset58.datasets(stream):
        number = identifier[:6].strip()
        if number == b"58":
            _add_function(content, stream, identifier)
        elif number == b"164":
            content.factors = dataset58.unit_factors(stream)
            dataset58.skip(stream)
        else:
            dataset58.skip(stream)
    if content.channels:
        return content
    if not content.whole:
        raise ReadError("cut short before the end of its first signal; copy it again")
    held = ", ".join(content.aside) or "no functions (dataset 58)"
    raise ReadError(
        f"a universal file without time signals of acceleration, velocity or pressure, but with "
        f"{held[:150]}; export the time responses"
    )


def _add_function(content: _Content, stream: BinaryIO, identifier: bytes) -> None:
    header = dataset58.header(stream)
    if header is None:
        content.whole = False
        return
    if why := _why_of_no_use(header):
        content.aside[why] += 1
        dataset58.skip_data(stream, identifier, header)
        return
    if len(content.channels) == MOST_COLUMNS:
        raise ReadError(f"more than {MOST_COLUMNS} signals; export the recording's own")
    width = 1 if header.even else 2
    check_size(sum(len(each.values) for each in content.channels) + header.count * width)
    data, whole = dataset58.real_data(stream, identifier, header)
    content.whole &= whole
    if len(data) > 1 and (whole or not content.channels):
        # A signal cut short would shorten the others; alone it is better than nothing.
        content.channels.append(
            _Channel(
                header=header,
                values=data if header.even else data[:, 1],
                times=None if header.even else data[:, 0],
                whole=whole,
            )
        )


def _why_of_no_use(header: Header) -> str:
    over_time = header.abscissa == _TIME or (
        header.function == _TIME_RESPONSE and header.abscissa in _UNKNOWN
    )
    if header.function not in (_GENERAL, _TIME_RESPONSE) or not over_time:
        return _FUNCTIONS.get(header.function, "function that is no time response")
    if header.complex:
        return "complex time response"
    if header.ordinate not in _QUANTITIES:
        return _OF_NO_USE.get(header.ordinate, f"quantity {header.ordinate}")
    return "angular acceleration" if header.ordinate == 12 and abs(header.direction) > 3 else ""


def _doubts(content: _Content) -> list[Note]:
    notes = []
    if not content.whole:
        message = "the file is cut short; signals that are not whole were left out"
        if not content.channels[0].whole:
            message = "the file is cut short; what is left of it was read"
        notes.append(Note("truncated", "warning", message))
    if content.aside:
        listed = ", ".join(f"{name} ({count})" for name, count in content.aside.items())
        notes.append(Note("columns", "note", f"not read, being of no use here: {listed[:200]}"))
    return notes


def _names(channels: list[_Channel]) -> list[str]:
    """Return how to call each channel: by its direction, else by its ID line."""
    heads = [channel.header for channel in channels]
    nodes = len({head.node for head in heads}) > 1
    names = []
    for i, head in enumerate(heads):
        turning = head.ordinate == 11 and abs(head.direction) > 3
        quantity = "rotation" if turning else _QUANTITIES[head.ordinate]
        axis = f"{'xyz'[(abs(head.direction) - 1) % 3]}" if head.direction else ""
        place = f"{head.node}:{axis}" if nodes and axis else axis or head.title
        names.append(f"{quantity} {place or f'channel {i + 1}'}".strip())
    if len(set(names)) == len(names):
        return names
    titles = [head.title for head in heads]
    if all(titles) and len(set(titles)) == len(titles):
        return titles
    quantities = [_QUANTITIES[head.ordinate] for head in heads]
    return [f"{quantity} channel {i + 1}".strip() for i, quantity in enumerate(quantities)]


def _by_names(wanted: Stated, names: list[str]) -> Stated:
    """Return the hints with names in place of numbers, which count all channels of the file."""
    numbers = {str(i + 1): name for i, name in enumerate(names)}
    columns, tacho = wanted.columns, wanted.tacho_column
    if columns is not None:
        columns = tuple(numbers.get(str(column).strip(), column) for column in columns)
    if tacho is not None:
        tacho = numbers.get(str(tacho).strip(), tacho)
    return replace(wanted, columns=columns, tacho_column=tacho)


def _on_one_clock(channels: list[_Channel], names: list[str], wanted: Stated) -> list[int]:
    """Return the channels sampled at the same times.

    Of several such groups the one asked for, else the one with most acceleration, else with most
    channels.
    """
    groups: list[list[int]] = []
    for i, channel in enumerate(channels):
        group = next((g for g in groups if channels[g[0]].keeps_time_with(channel)), None)
        if group is None:
            groups.append([i])
        else:
            group.append(i)
    asked = {*(wanted.columns or ()), wanted.tacho_column}

    def weight(group: list[int]) -> tuple[int, int, int]:
        hits = sum(names[i] in asked for i in group)
        return hits, sum(channels[i].header.ordinate == 12 for i in group), len(group)

    return max(groups, key=weight)


def _values(channel: _Channel, factors: tuple[float, float] | None) -> FloatArray:
    """Return the values of a channel in `_unit`, along the positive axis."""
    head = channel.header
    scale = -1.0 if head.direction < 0 else 1.0
    if factors is not None and not head.ordinate_unit and head.ordinate in _SI:
        _, of_length, of_force = _SI[head.ordinate]
        turning = abs(head.direction) > 3  # an angle has no length
        scale /= factors[0] ** (0 if turning else of_length) * factors[1] ** of_force
    return channel.values * scale


def _unit(head: Header, factors: tuple[float, float] | None) -> str:
    """Return the unit; "" where neither the function nor the file says it."""
    if head.ordinate_unit or factors is None or head.ordinate not in _SI:
        return head.ordinate_unit
    return "rad/s" if abs(head.direction) > 3 else _SI[head.ordinate][0]


def _rate(head: Header) -> float:
    step = head.step * TIME_UNITS.get(head.abscissa_unit.lower(), 1.0)
    if not 1e-9 < step < 1e6:
        raise ReadError(f"its samples are {step:g} s apart, which cannot be; export it again")
    return 1 / step


def _date(created: str) -> dt.date | None:
    """Return the date of an ID line 3, "01-MAY-26 10:20:03"; None if there is none or unclear."""
    day = created.split(" ")[0]
    for pattern in ("%d-%b-%y", "%d-%b-%Y"):
        try:
            return dt.datetime.strptime(day, pattern).date()
        except ValueError:
            continue
    return dates.date_of(created)
