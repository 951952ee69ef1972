"""The rows of a table as arrays, and what was left out of them so far."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pandas.api.types import union_categoricals

from vibetrend.errors import ReadError
from vibetrend.ingest import stamps
from vibetrend.ingest.fields import MISSING
from vibetrend.ingest.layout import Columns
from vibetrend.ingest.stamps import Stamps
from vibetrend.recording import FloatArray, Note

Numbers: TypeAlias = NDArray[np.int64] | FloatArray
Mask: TypeAlias = NDArray[np.bool_]

CUT = Note("truncated", "note", "the last line is cut short and left out")
_BEYOND_MEASURE = 1e30  # in any unit; its square still fits a float64


def _nowhere(_text: str, _column: int) -> str:
    return ""


@dataclass(kw_only=True)
class Table:
    """Columns 0, 1, ... of equal length: each either numbers or texts."""

    shape: Columns
    numbers: dict[int, Numbers] = field(default_factory=dict)  # NaN where a field holds none
    absent: dict[int, Mask] = field(default_factory=dict)  # of whole numbers, which have no NaN
    stamps: dict[int, Stamps] = field(default_factory=dict)  # written times and dates
    texts: dict[int, "pd.Series[str]"] = field(default_factory=dict)
    strays: dict[int, dict[int, str]] = field(default_factory=dict)
    """Texts in columns of numbers that are neither a number nor missing, by column and row."""
    wall_clock: set[int] = field(default_factory=set)  # columns of epoch counts without a zone
    left_out: int = 0  # lines
    notes: list[Note] = field(default_factory=list)
    place_of: Callable[[str, int], str] = _nowhere  # of a field's text and column: "line 3, "

    @property
    def count(self) -> int:
        """Number of rows."""
        columns = [*self.numbers.values(), *self.stamps.values(), *self.texts.values()]
        return len(columns[0]) if columns else 0

    def present(self, column: int) -> Mask:
        """Say of each row whether the column holds anything there."""
        if column in self.stamps:
            return stamps.present(self.stamps[column])
        if column in self.texts:
            series = self.texts[column]
            return (series.notna() & ~series.isin(MISSING)).to_numpy(bool)
        if column in self.absent:
            return ~self.absent[column]
        values = self.numbers[column]
        if values.dtype == np.int64 or np.isfinite(values.sum()):
            return np.ones(len(values), dtype=bool)
        return np.isfinite(values)

    def keep(self, rows: Mask) -> None:
        """Keep only these rows."""
        if rows.all():
            return
        self.numbers = {column: values[rows] for column, values in self.numbers.items()}
        self.absent = {column: values[rows] for column, values in self.absent.items()}
        self.stamps = {column: values[rows] for column, values in self.stamps.items()}
        self.texts = {column: series[rows] for column, series in self.texts.items()}
        place = np.cumsum(rows) - 1
        self.strays = {
            column: {int(place[row]): text for row, text in stray.items() if rows[row]}
            for column, stray in self.strays.items()
        }

    def keep_first(self, count: int) -> None:
        """Keep only so many rows."""
        self.keep(np.arange(self.count) < count)

    def note_dropped(self, count: int, why: str) -> None:
        """Note that lines were left out."""
        lines = "line" if count == 1 else "lines"
        self.notes.append(Note("rows-dropped", "note", f"{count} {lines} {why} left out"))

    def keep_complete(self, used: list[int]) -> None:
        """Leave out rows in which a used column is missing.

        Raises
        ------
        ReadError
            If a field holds text where a number is needed.
        """
        complete = np.ones(self.count, dtype=bool)
        for column in used:
            wrong = np.zeros(0, dtype=bool)
            if stray := self.strays.get(column):
                wrong = np.zeros(self.count, dtype=bool)
                wrong[list(stray)] = True
            self.refuse_text(column, wrong)
            complete &= self.present(column)
        missing = int((~complete).sum())
        if missing == 1 and not complete[-1]:
            self.notes.append(CUT)
        elif missing:
            self.note_dropped(missing, "with a missing value")
        self.keep(complete)
        if self.count < 2:
            raise ReadError("fewer than two complete rows; a recording needs many; record again")

    def refuse_text(self, column: int, wrong: Mask) -> None:
        """Raise a ReadError that points at the first wrong field; the last line may be cut."""
        rows = np.flatnonzero(wrong[:-1])
        if not rows.size:
            return
        row = int(rows[0])
        is_time = column in self.stamps
        text = stamps.text_of(self.stamps[column][row]) if is_time else self.strays[column][row]
        raise ReadError(
            f"{self.place_of(text, column)}{self.shape.label(column)} holds {text[:40]!r}, "
            f"{'a time' if is_time else 'a number'} is needed; delete the line or choose others "
            f"with columns"
        )


def joined(blocks: Iterable[Table], *, shape: Columns, lines: int, most_bytes: int) -> Table:
    """Return the blocks of one table, which have about as many rows as `lines`, as one.

    Each is copied as it comes, for what a parser leaves behind among them takes memory too.

    Raises
    ------
    ReadError
        If they are more than can be held at once.
    """
    whole = Table(shape=shape)
    texts: dict[int, list[pd.Series[str]]] = {}
    start = 0
    for block in blocks:
        whole.left_out += block.left_out
        end = start + block.count
        if not block.count and whole.count:
            continue  # an empty column has no type
        lines = max(lines, end)  # a carriage return alone ends a line too
        for column, values in block.numbers.items():
            _put_numbers(whole, column, values, block.absent.get(column), start, lines)
        for column, written in block.stamps.items():
            width = max(written.itemsize, whole.stamps.get(column, written).itemsize)
            target = _room(whole.stamps.get(column), np.dtype(f"S{width}"), start, lines)
            target[start:end] = written
            whole.stamps[column] = target
        for column, series in block.texts.items():
            texts.setdefault(column, []).append(series)
        for column, stray in block.strays.items():
            moved = {row + start: text for row, text in stray.items()}
            whole.strays[column] = {**whole.strays.get(column, {}), **moved}
        start = end
        kept = (*whole.numbers.values(), *whole.stamps.values())
        if start * sum(target.itemsize for target in kept) > most_bytes:
            raise ReadError("too long to hold at once; cut out a minute of steady running")
    whole.numbers = {column: values[:start] for column, values in whole.numbers.items()}
    whole.absent = {column: values[:start] for column, values in whole.absent.items()}
    whole.stamps = {column: values[:start] for column, values in whole.stamps.items()}
    whole.texts = {
        column: pd.Series(union_categoricals(series)) for column, series in texts.items()
    }
    return whole


def _put_numbers(
    whole: Table, column: int, values: Numbers, gaps: Mask | None, start: int, lines: int
) -> None:
    before = whole.numbers.get(column)
    dtype = values.dtype if before is None or not start else np.result_type(before, values)
    target = _room(before, dtype, start, lines)
    if dtype != np.int64 and column in whole.absent:
        target[:start][whole.absent.pop(column)[:start]] = np.nan
    target[start : start + len(values)] = values
    whole.numbers[column] = target
    if dtype == np.int64 and (gaps is not None or column in whole.absent):
        absent = _room(whole.absent.get(column), np.dtype(bool), start, lines)
        absent[start : start + len(values)] = False if gaps is None else gaps
        whole.absent[column] = absent
    elif gaps is not None:
        target[start : start + len(values)][gaps] = np.nan


def _room(
    before: NDArray[Any] | None, dtype: np.dtype[Any], start: int, lines: int
) -> NDArray[Any]:
    """Return an array of this type for all rows, those before `start` as they were, or zero."""
    if before is not None and before.dtype == dtype and len(before) >= lines:
        return before
    target = np.empty(lines, dtype=dtype)
    target[:start] = 0 if before is None else before[:start]
    return target


def within_measure(values: FloatArray) -> FloatArray:
    """Return the values, NaN where one is infinite or beyond all measure."""
    if not len(values) or (values.min() > -_BEYOND_MEASURE and values.max() < _BEYOND_MEASURE):
        return values
    return np.where(np.abs(values) < _BEYOND_MEASURE, values, np.nan)
