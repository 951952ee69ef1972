"""Matlab files: which of their variables make a recording."""

import datetime as dt
import io
import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import BinaryIO

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.errors import ReadError
from vibetrend.ingest import content, dates, matfile, matfile73
from vibetrend.ingest.found import Found
from vibetrend.ingest.frame import of_columns
from vibetrend.ingest.headings import Heading, heading
from vibetrend.ingest.layout import MOST_COLUMNS
from vibetrend.ingest.matfile import Variables
from vibetrend.ingest.tags import Stated
from vibetrend.ingest.typed import check_size
from vibetrend.recording import FloatArray, Note

NAME = "Matlab files (MAT)"

_RATE = re.compile(
    r"(?:f_?s|s(?:ampl\w*)?_?(?:rate|freq\w*)|rate|abtastrate)_?(k?)(?:hz)?", re.IGNORECASE
)
_STEP = re.compile(r"dt|t_?s|(?:sampl\w*_?)(?:interval|time|period)", re.IGNORECASE)
_UNIT = re.compile(r"units?|einheit", re.IGNORECASE)
_DATE = re.compile(r"date|datum|recorded|recording_?date|start(?:_?(?:time|date))?", re.IGNORECASE)
_LABELS = re.compile(r"\w*(?:names?|labels?|channels?|columns?|headers?|signals?)", re.IGNORECASE)
_DAY_NUMBERS = (690_000, 810_000)  # days since the year 0: from 1889 to 2217
_YEAR_0 = 366  # days before Python's day 1

_MOST_IN_ALL = 1000  # columns, of all arrays

Path = tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Column:
    """A column of numbers, and the structs and the matrix it stands in."""

    within: Path
    name: str
    values: NDArray[np.generic]  # (n,)
    unit: str = ""

    is_time: bool = False

    @property
    def path(self) -> str:
        """Where it stands, from the top."""
        return ".".join((*self.within, self.name))

    @property
    def label(self) -> str:
        """How to call it: "acc.x" tells the kind, but "log.x" no more than "x"."""
        kinds = [each for each in self.within if heading(each, "").kind is not None]
        # "acc.t" would hide a clock.
        return self.name if self.is_time else ".".join((*kinds, self.name))


@dataclass(kw_only=True)
class _Content:
    """Variables by what they can be used for."""

    columns: list[_Column] = field(default_factory=list)
    numbers: dict[Path, float] = field(default_factory=dict)
    texts: dict[Path, str] = field(default_factory=dict)


def can_read(head: bytes) -> bool:
    """Say whether a file that begins so is a Matlab file."""
    return matfile.is_level_5(head) or matfile.is_level_4(head) or _is_hdf5(head)


def _is_hdf5(head: bytes) -> bool:
    return matfile73.SIGNATURE in (head[:8], head[512:520])


def read(stream: BinaryIO, wanted: Stated) -> Found:
    """Read the variables that belong together as the columns of one table.

    Raises
    ------
    ReadError
        If none make a recording, the file is damaged or too large, or a hint does not fit.
    """
    data = content.whole(stream)
    held = matfile73.variables(io.BytesIO(data)) if _is_hdf5(data) else matfile.variables(data)
    sorted_out = _sorted_out(held)
    notes = []
    if not held.whole:
        message = "the file is cut short; the variables that are whole were read"
        notes.append(Note("truncated", "warning", message))
    aside = ", ".join(f"{name} ({what})" for name, what in held.aside)
    if not sorted_out.columns and not held.whole:
        raise ReadError("damaged or cut short before the end of its first array; copy it again")
    if not sorted_out.columns:
        raise ReadError(
            f"a Matlab file without plain arrays of numbers{', but with ' if aside else ''}"
            f"{aside[:120]}; save timetables and objects as plain arrays or as CSV"
        )
    if aside:
        notes.append(Note("columns", "note", f"not read, being no plain numbers: {aside[:200]}"))
    used = _together(sorted_out.columns, wanted)
    if len(used) < len(sorted_out.columns):
        left = ", ".join(each.path for each in sorted_out.columns if each not in used)
        notes.append(Note("columns", "note", f"sampled at other times and left out: {left[:200]}"))
    check_size(len(used) * len(used[0].values))
    preamble = []
    if (rate := _rate(sorted_out.numbers, used[-1].within)) is not None:
        preamble.append(f"sample rate: {rate:.9f} Hz")
    used, date = _without_day_numbers(used)
    times_used = Counter(each.label for each in used)
    named = {each.path if times_used[each.label] > 1 else each.label: each for each in used}
    found = of_columns(
        pd.DataFrame({name: each.values for name, each in named.items()}, copy=False),
        wanted,
        units=[each.unit for each in named.values()],
        preamble=preamble,
        notes=notes,
    )
    date = date or found.date or _date(sorted_out.texts)
    return replace(found, stated=found.stated.over(_tags(sorted_out)), date=date)


def _sorted_out(held: Variables) -> _Content:
    sorted_out = _Content()
    lists: dict[Path, tuple[str, ...]] = {}
    arrays: list[tuple[Path, NDArray[np.generic]]] = []
    for path, value in held.values:
        if isinstance(value, str):
            sorted_out.texts[path] = value.strip()
        elif isinstance(value, tuple):
            lists[path] = value
        elif value.size == 1:
            sorted_out.numbers[path] = float(value.reshape(-1)[0])
        elif value.size and path[-1]:  # without a name: Matlab's own
            arrays.append((path, value))
    for path, array in arrays:
        vector = array.size == max(array.shape, default=0)
        rows = array.reshape(-1, 1) if vector else array
        rows = rows.T if rows.shape[0] < rows.shape[1] else rows
        if rows.ndim > 2 or rows.shape[1] > MOST_COLUMNS:
            held.aside.append((".".join(path), "array of many dimensions"))
            continue
        native = rows.astype(rows.dtype.newbyteorder("="), copy=False)
        sorted_out.columns += _columns(path, native, lists, sorted_out.texts)
        if len(sorted_out.columns) > _MOST_IN_ALL:
            raise ReadError(
                f"more than {_MOST_IN_ALL} columns of numbers; save the recording's own in a file"
            )
    return sorted_out


def _columns(
    path: Path,
    rows: NDArray[np.generic],
    lists: Mapping[Path, tuple[str, ...]],
    texts: Mapping[Path, str],
) -> list[_Column]:
    """Return the columns of one array."""
    *scope, name = path
    within = tuple(scope)
    unit = next(
        (text for at, text in texts.items() if at[:-1] == within and _UNIT.fullmatch(at[-1])), ""
    )
    head = heading(name, "")
    names = _names(head, rows, lists, within)
    unit = head.unit or (unit if heading(name, unit).known_unit else "")
    columns = []
    for i, each in enumerate(names):
        own = heading(each, "")
        is_time = own.role == "time" and _rises(rows[:, i])
        if own.role == "time" and not is_time:
            each = "channel" if len(names) == 1 else f"channel {i + 1}"  # "data", which is a date
        columns.append(
            _Column(
                within=within if len(names) == 1 else (*within, head.label),
                name=each,
                values=rows[:, i],
                unit="" if own.unit or is_time else unit,
                is_time=is_time,
            )
        )
    return columns


def _names(
    head: Heading,
    rows: NDArray[np.generic],
    lists: Mapping[Path, tuple[str, ...]],
    within: Path,
) -> list[str]:
    """Return a name for each column of an array."""
    count = rows.shape[1]
    if count == 1:
        return [head.name]
    for path, texts in lists.items():
        if path[:-1] == within and len(texts) == count and _LABELS.fullmatch(path[-1]):
            return list(texts)
    clock = ["time"] if (_steps(rows[:, 0]) > 0).all() else []
    if count - len(clock) == 3 and head.kind is not None:
        return [*clock, "x", "y", "z"]
    return [*clock, *(f"channel {i + 1}" for i in range(len(clock), count))]


def _rises(values: NDArray[np.generic]) -> bool:
    steps = _steps(values)
    # A clock may be set back once or twice; a signal falls in half of its steps.
    return bool((steps > 0).any() and (steps < 0).mean() < 0.02)


def _steps(values: NDArray[np.generic]) -> FloatArray:
    with np.errstate(invalid="ignore", over="ignore"):  # infinite values, in damaged files
        return np.diff(values.astype(np.float64))


def _together(columns: Sequence[_Column], wanted: Stated) -> list[_Column]:
    """Return the columns of one length and one clock: those asked for, else most acceleration."""
    groups: dict[tuple[int, Path | None], list[_Column]] = {}
    for column in columns:
        clocks = [
            each.within
            for each in columns
            if each.is_time
            and len(each.values) == len(column.values)
            and column.within[: len(each.within)] == each.within
        ]
        key = (len(column.values), max(clocks, key=len, default=None))
        groups.setdefault(key, []).append(column)
    asked = {str(name) for name in (*(wanted.columns or ()), wanted.tacho_column)}

    def weight(group: list[_Column]) -> tuple[int, int, int, int]:
        kinds = [heading(each.label, each.unit).kind for each in group]
        return (
            sum(bool({each.label, each.path} & asked) for each in group),
            kinds.count(wanted.kind or "acceleration"),
            sum(not each.is_time for each in group) and len(group[0].values) > 1,
            len(group) * len(group[0].values),
        )

    chosen = max(groups.values(), key=weight)
    return sorted(chosen, key=lambda each: each.is_time, reverse=True)


def _rate(numbers: Mapping[Path, float], within: Path) -> float | None:
    """Return the sample rate stated nearest to the signals, Hz."""
    rates: list[tuple[int, float]] = []
    for path, value in numbers.items():
        near = within[: len(path) - 1] == path[:-1] and 1e-9 < value < 1e9
        if near and (match := _RATE.fullmatch(path[-1])):
            rates.append((len(path), value * (1000 if match[1] else 1)))
        elif near and _STEP.fullmatch(path[-1]):
            rates.append((len(path), 1 / value))
    return max(rates, key=lambda rate: rate[0])[1] if rates else None


def _without_day_numbers(columns: list[_Column]) -> tuple[list[_Column], dt.date | None]:
    """Turn a clock in days, as Matlab counts them from the year 0, into seconds."""
    clock_column, *others = columns
    first = float(clock_column.values[0])
    low, high = _DAY_NUMBERS
    if not clock_column.is_time or clock_column.unit or not low < first < high:
        return columns, None
    days = clock_column.values.astype(np.float64)
    if not days[-1] - first < 1:  # counts of ms may be as large, but run through more than one
        return columns, None
    seconds = replace(clock_column, values=(days - first) * 86_400, unit="s")
    return [seconds, *others], dt.date.fromordinal(int(first) - _YEAR_0)


def _tags(sorted_out: _Content) -> Stated:
    numbers = {heading(path[-1], "").tag: value for path, value in sorted_out.numbers.items()}
    texts = {heading(path[-1], "").tag: text for path, text in sorted_out.texts.items()}
    rpm, hours = (numbers.get(name, math.nan) for name in ("rpm", "hours"))
    return Stated(
        rpm=rpm if 0 < rpm < math.inf else None,
        hours=hours if 0 < hours < math.inf else None,
        position=texts.get("position") or None,
        device=texts.get("device") or None,
        condition=texts.get("condition") or None,
    )


def _date(texts: Mapping[Path, str]) -> dt.date | None:
    dated = (text for path, text in texts.items() if _DATE.fullmatch(path[-1]))
    return next((day for text in dated if (day := dates.date_of(text))), None)
