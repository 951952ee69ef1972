"""The rows of a table as arrays, and what was left out of them so far."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TypeAlias

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


def within_limit(blocks: Iterable[Table], *, most_bytes: int) -> list[Table]:
    """Return the blocks of one table, as long as all of them can be held at once.

    Raises
    ------
    ReadError
        If they cannot.
    """
    parts: list[Table] = []
    held = 0
    for block in blocks:
        parts.append(block)
        held += sum(column.nbytes for column in (*block.numbers.values(), *block.stamps.values()))
        if held > most_bytes:
            raise ReadError("too long to hold at once; cut out a minute of steady running")
    return parts


def joined(parts: list[Table]) -> Table:
    """Return the blocks of one table as one; they are empty thereafter."""
    left_out = sum(part.left_out for part in parts)
    parts = [part for part in parts if part.count] or parts[:1]  # an empty column has no type
    whole = Table(shape=parts[0].shape, left_out=left_out)
    total = sum(part.count for part in parts)
    for column, values in parts[0].numbers.items():
        whole_numbers = all(part.numbers[column].dtype == np.int64 for part in parts)
        whole.numbers[column] = np.empty(total, dtype=values.dtype if whole_numbers else float)
        if whole_numbers and any(column in part.absent for part in parts):
            whole.absent[column] = np.zeros(total, dtype=bool)
    for column in parts[0].stamps:
        widest = max(part.stamps[column].itemsize for part in parts)
        whole.stamps[column] = np.empty(total, dtype=f"S{widest}")
    for column in parts[0].texts:
        pieces = [part.texts[column] for part in parts]
        whole.texts[column] = pd.Series(union_categoricals(pieces))
    start = 0
    for part in parts:
        end = start + part.count
        for column, target in whole.numbers.items():
            target[start:end] = part.numbers[column]
            gaps = part.absent.get(column)
            if gaps is not None and column in whole.absent:
                whole.absent[column][start:end] = gaps
            elif gaps is not None:
                target[start:end][gaps] = np.nan
        for column, written in whole.stamps.items():
            written[start:end] = part.stamps[column]
        for column, stray in part.strays.items():
            moved = {row + start: text for row, text in stray.items()}
            whole.strays[column] = {**whole.strays.get(column, {}), **moved}
        part.numbers.clear()  # the numbers lie in one piece of memory, freed with the last of them
        part.stamps.clear()
        start = end
    return whole


def within_measure(values: FloatArray) -> FloatArray:
    """Return the values, NaN where one is infinite or beyond all measure."""
    if not len(values) or (values.min() > -_BEYOND_MEASURE and values.max() < _BEYOND_MEASURE):
        return values
    return np.where(np.abs(values) < _BEYOND_MEASURE, values, np.nan)
