"""Text tables: CSV and its relatives, one row per sample."""

import csv
import datetime as dt
import io
import re
from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.errors import ReadError
from vibetrend.ingest import clock, columns, content, layout
from vibetrend.ingest.found import MOST_VALUES, Found
from vibetrend.ingest.layout import Layout
from vibetrend.ingest.tags import Stated, in_name
from vibetrend.recording import FloatArray, Note

NAME = "text tables (CSV, TSV)"

_RATE = re.compile(
    r"(?:sampl\w*|abtast)[\s_-]*(?:rate|freq\w*|frequenz)\D{0,12}?(\d+(?:[.,]\d+)?)\s*(k?)(?:hz|sps|$)",
    re.IGNORECASE,
)
_LAST_LINE = Note("truncated", "note", "the last line is cut short and left out")
_BEYOND_MEASURE = 1e30  # in any unit; its square still fits a float64
_DATED = re.compile(r"\W*(?:date|datum|recorded|recording|start)", re.IGNORECASE)
_PLAYLISTS = (b"#EXTM3U", b"[playlist]", b"ffconcat")


def can_read(head: bytes) -> bool:
    """Say whether a file that begins so is text."""
    return layout.is_text(head)


def read(stream: BinaryIO, wanted: Stated) -> Found:
    """Read a table whose layout is worked out from its content.

    Raises
    ------
    ReadError
        If there is no table, a number is missing where one is needed, or there is no clock.
    """
    data = content.whole(stream)
    if data[:100].lstrip().startswith(_PLAYLISTS):
        raise ReadError("a playlist, which only names other files; give the recording itself")
    if wanted.full_scale is not None:
        raise ReadError("full_scale is for sound files; give unit for a table")
    # Loggers that lose power leave a tail of zero bytes.
    text = layout.to_utf8(data).rstrip(b"\0\x1a")
    shape = layout.sniff(text)
    table = _Table.of(text, shape)
    roles = columns.choose(shape, table.numbers, wanted)
    time = roles.time if wanted.rate is None else ()
    table.keep_complete([*time, *roles.signals])
    samples = np.column_stack(
        [
            table.numbers[column] * factor
            for column, factor in zip(roles.signals, roles.factors, strict=True)
        ]
    )
    if samples.size > MOST_VALUES:
        raise ReadError("too long to hold at once; cut out a minute of steady running")
    notes = [*table.notes, *roles.notes]
    times, rate, date = None, wanted.rate, _stated_date(table)
    if time:
        stamps = _clock(table, time, roles.time_unit)
        readable = np.isfinite(stamps.seconds)  # all but a last line that is cut
        samples, times, disorder = _in_order(samples[readable], stamps.seconds[readable])
        notes += [*stamps.notes, *disorder]
        date = stamps.date or date
    elif roles.time:
        name = columns.label(shape, roles.time[0])
        notes.append(Note("columns", "note", f"rate was stated; the times in {name} are not used"))
    else:
        rate = rate or _stated_rate(shape)
        if rate is None:
            raise ReadError(
                "no column holds times in s, ms, us or ns; give the sample rate in Hz with rate"
            )
    return Found(
        samples=samples,
        times=times,
        sample_rate=rate,
        axes=roles.axes,
        kind=roles.kind,
        unit=roles.unit,
        stated=columns.stated_by(shape, table.frame),
        date=date,
        notes=tuple(notes),
    )


@dataclass
class _Table:
    """The rows as read, and what was left out of them so far."""

    text: bytes
    shape: Layout
    frame: pd.DataFrame  # columns 0, 1, ... as read: text where a column is not all numbers
    numbers: dict[int, FloatArray]  # the columns of numbers, NaN where a field holds none
    notes: list[Note]

    @classmethod
    def of(cls, text: bytes, shape: Layout) -> "_Table":
        body = text[shape.start :]
        frame = _read_rows(body, shape)
        numbers = {
            column: _as_numbers(frame[column], shape.decimal)
            for column, field in enumerate(shape.types)
            if field == "number"
        }
        table = cls(text=text, shape=shape, frame=frame, numbers=numbers, notes=[])
        table._leave_out_what_is_no_row(body)
        return table

    def _leave_out_what_is_no_row(self, body: bytes) -> None:
        """Leave out repeated headers, remarks, lines of another width and a cut last line."""
        read = len(self.frame)
        has_number = np.zeros(read, dtype=bool)
        for values in self.numbers.values():
            has_number |= np.isfinite(values)
        dropped = int((~has_number).sum())
        if body.count(b"\n") > read:  # some lines were blank, some did not fit
            dropped += sum(bool(line.strip()) for line in body.splitlines()) - read
        if not body.endswith((b"\n", b"\r")) and has_number[-1:].all() and _is_cut(body):
            has_number[-1] = False
            self.notes.append(_LAST_LINE)
        self._keep(has_number)
        if dropped > 0:
            self._note_dropped(dropped, "without samples")

    def _note_dropped(self, count: int, why: str) -> None:
        lines = "line" if count == 1 else "lines"
        self.notes.append(Note("rows-dropped", "note", f"{count} {lines} {why} left out"))

    def _keep(self, rows: NDArray[np.bool_]) -> None:
        if not rows.all():
            self.frame = self.frame[rows]
            self.numbers = {column: values[rows] for column, values in self.numbers.items()}

    def keep_complete(self, used: list[int]) -> None:
        """Leave out rows in which a used column is missing.

        Raises
        ------
        ReadError
            If a field holds text where a number is needed.
        """
        complete = np.ones(len(self.frame), dtype=bool)
        for column in used:
            present = self.frame[column].notna().to_numpy()
            if column in self.numbers:
                number = np.isfinite(self.numbers[column])
                self.refuse_text(column, present & ~number)
                present = number
            complete &= present
        missing = int((~complete).sum())
        if missing == 1 and not complete[-1]:
            self.notes.append(_LAST_LINE)
        elif missing:
            self._note_dropped(missing, "with a missing value")
        self._keep(complete)
        if len(self.frame) < 2:
            raise ReadError("fewer than two complete rows; a recording needs many; record again")

    def refuse_text(self, column: int, wrong: NDArray[np.bool_]) -> None:
        """Raise a ReadError that points at the first wrong field; the last line may be cut."""
        rows = np.flatnonzero(wrong[:-1])
        if not rows.size:
            return
        text = str(self.frame[column].iloc[rows[0]])
        if pd.api.types.is_numeric_dtype(self.frame[column]):  # infinite or beyond all measure
            return
        needed = "a number" if column in self.numbers else "a time"
        raise ReadError(
            f"line {self._line_of(text, column)}, {columns.label(self.shape, column)} holds "
            f"{text[:40]!r}, {needed} is needed; delete the line or choose others with columns"
        )

    def _line_of(self, text: str, column: int) -> int:
        plain = text.encode()
        for number, line in enumerate(self.text.splitlines(), start=1):
            if number >= self.shape.start_line and plain in line:
                fields = self.shape.split(line.decode(errors="replace"))
                if len(fields) > column and fields[column] == text:
                    return number
        return self.shape.start_line


def _read_rows(body: bytes, shape: Layout) -> pd.DataFrame:
    # Without quotes among the rows, a stray one must not swallow the rest of the file.
    quoted = shape.quote.encode() in body[: layout.HEAD]

    def rows(as_text: set[int]) -> pd.DataFrame:
        return pd.read_csv(
            io.BytesIO(body),
            sep=shape.separator,
            decimal=shape.decimal,
            header=None,
            names=list(range(len(shape.types))),
            dtype=dict.fromkeys(as_text, "str"),
            engine="c",
            encoding="utf-8",
            encoding_errors="replace",
            quotechar=shape.quote,
            quoting=csv.QUOTE_MINIMAL if quoted else csv.QUOTE_NONE,
            skipinitialspace=True,
            skip_blank_lines=True,
            on_bad_lines="skip",
            na_values=["-", "--", "---", "?"],
            low_memory=False,
        )

    try:
        frame = rows(as_text=set())
        # A missing value turns whole numbers into float64, which cannot hold epoch ns.
        rounded = {c for c in shape.long_integers if pd.api.types.is_float_dtype(frame[c])}
        return rows(as_text=rounded) if rounded else frame
    except (pd.errors.ParserError, pd.errors.EmptyDataError, OverflowError) as error:
        raise ReadError(
            "the table is damaged, perhaps by a quotation mark without its partner; copy it again"
        ) from error


def _as_numbers(series: "pd.Series[Any]", decimal: str) -> FloatArray:
    if not pd.api.types.is_numeric_dtype(series):
        plain = series.astype("str")
        if decimal == ",":
            plain = plain.str.replace(",", ".")
        series = pd.to_numeric(plain, errors="coerce")
    values = series.to_numpy(dtype=float)
    return np.where(np.abs(values) < _BEYOND_MEASURE, values, np.nan)


def _is_cut(body: bytes) -> bool:
    # A whole row is hardly ever shorter than every one of the hundred before it.
    *before, last = body[-layout.HEAD :].splitlines()[-100:]
    return len(before) > 10 and len(last) < min(len(line) for line in before[1:])


def _clock(table: _Table, time: tuple[int, ...], unit: str) -> clock.Clock:
    first = time[0]
    name = columns.label(table.shape, first)
    stamps = table.frame[first]
    if first in table.numbers:
        if stamps.dtype != np.int64 and first in table.shape.long_integers:
            whole = stamps.astype("str").str.fullmatch(r"\d{1,18}|[1-8]\d{18}")
            stamps = stamps.astype("int64") if whole.all() else stamps
        if stamps.dtype == np.int64:  # float64 has steps of 256 ns near an epoch time
            return clock.from_numbers(stamps.to_numpy(dtype=np.int64), unit, name)
        return clock.from_numbers(table.numbers[first], unit, name)
    if len(time) == 2:
        stamps = stamps.astype("str") + " " + table.frame[time[1]].astype("str")
    read = clock.from_text(stamps, name)
    table.refuse_text(first, ~np.isfinite(read.seconds))
    return read


def _in_order(
    samples: FloatArray, seconds: FloatArray
) -> tuple[FloatArray, FloatArray, tuple[Note, ...]]:
    """Return the samples in the order of their stamps.

    Late arrivals are sorted in. Where the clock was set back, sorting would mix two stretches,
    so the longer one is kept.
    """
    late = seconds < np.maximum.accumulate(seconds)
    if not late.any():
        return samples, seconds, ()
    count = int(late.sum())
    order = np.argsort(seconds, kind="stable")
    ordered = seconds[order]
    usual = float(np.median(np.diff(ordered)))
    steps = np.diff(ordered)
    near = np.minimum(np.append(steps, np.inf), np.insert(steps, 0, np.inf))
    if (near[late[order]] > 0.25 * usual).all():
        message = f"{count} samples came late and were sorted in by their times"
        return samples[order], ordered, (Note("clock", "note", message),)
    if count <= 0.01 * len(seconds):
        message = f"the clock ran backwards; {count} samples recorded twice in time left out"
        return samples[~late], seconds[~late], (Note("clock", "note", message),)
    ends = np.flatnonzero(np.diff(seconds) < 0) + 1
    stretches = np.split(np.arange(len(seconds)), ends)
    longest = max(stretches, key=len)
    message = (
        f"the clock starts anew {len(ends)} times; only the longest stretch, "
        f"{len(longest)} of {len(seconds)} samples, is used"
    )
    return samples[longest], seconds[longest], (Note("clock", "warning", message),)


def _stated_date(table: _Table) -> dt.date | None:
    """Return the date that the preamble or a column beside the clock states."""
    for line in table.shape.preamble:
        if _DATED.match(line) and (found := in_name(line).date):
            return found
    beside = (i for i, field in enumerate(table.shape.types) if field in ("date", "time"))
    return next((clock.date_of(str(table.frame[i].iloc[0])) for i in beside), None)


def _stated_rate(shape: Layout) -> float | None:
    for line in shape.preamble:
        if match := _RATE.search(line):
            return float(match[1].replace(",", ".")) * (1000 if match[2] else 1) or None
    return None
