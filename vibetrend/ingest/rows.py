"""A stretch of a text table's lines becomes arrays, by pandas' own parser."""

import csv
from typing import Any, NamedTuple, cast

import numpy as np
import pandas as pd

from vibetrend.errors import ReadError
from vibetrend.ingest import fields, stamps
from vibetrend.ingest.fields import Field
from vibetrend.ingest.grid import Numbers, Table, within_measure
from vibetrend.ingest.layout import Layout

_MOST_STRAYS = 1000  # in a block
_MOST_TEXTS = 1000  # different ones in a column of a block
_AROUND = " \t\"'"  # a quotation mark without its partner too
_WHOLE = r"\d{1,18}|[1-8]\d{18}"  # fits an int64


class _Stretch:
    """Part of a text as a file; pandas reads bytes from it without decoding them first."""

    def __init__(self, text: bytes, start: int, end: int) -> None:
        self._text, self._at, self._end = text, start, end

    def read(self, size: int) -> bytes:
        start, self._at = self._at, min(self._at + size, self._end)
        return self._text[start : self._at]

    def __iter__(self) -> "_Stretch":  # without it pandas does not take it as a file
        return self


class Cut(NamedTuple):
    """A stretch of a text, in bytes, that begins at the beginning of a line."""

    start: int
    end: int
    lines: int  # in it


def parsed(text: bytes, cut: Cut, shape: Layout) -> Table:
    """Return the rows that lie in a stretch of text.

    Raises
    ------
    ReadError
        If they cannot be parsed at all.
    """
    end, lines = cut.end, cut.lines
    start, skipped = _first_fitting(text, cut.start, end, shape)
    if start > cut.start:
        lines = count_lines(text, start, end, shape.newline)
    frame = _frame(text, start, end, shape)
    if frame is None or len(frame) < lines:
        whole = text[start:end].splitlines(keepends=True)
        lines = sum(bool(line.strip()) for line in whole)
        quote = shape.quote.encode()
        if any(quote in line for line in whole) and (frame is None or len(frame) < lines):
            # A quotation mark without its partner must not swallow the lines up to the next.
            kept = b"".join(line for line in whole if line.count(quote) % 2 == 0)
            frame = _frame(kept, 0, len(kept), shape)
    if frame is None:
        raise ReadError(
            "the table is damaged, perhaps by a quotation mark without its partner; copy it again"
        )
    table = Table(shape=shape, left_out=skipped + max(0, lines - len(frame)))
    for column, field in enumerate(shape.types):
        if field == "number":
            _add_numbers(table, column, frame[column], shape)
        elif field in ("time", "date"):
            written = np.asarray(frame[column], dtype=f"S{stamps.LONGEST}")
            table.stamps[column] = stamps.tidied(written)
        else:
            table.texts[column] = _few(frame[column].cat)
    _leave_out_what_is_no_row(table, len(frame))
    return table


def _few(texts: Any) -> "pd.Series[str]":
    """Return a column of texts by category; of too many only two, which is enough to be several.

    There may be as many as rows, and nobody needs them.
    """
    categories = texts.categories.astype("object")  # also where all are missing
    if len(categories) > _MOST_TEXTS:
        categories = categories[:2].copy(deep=True)
    codes = np.where(texts.codes < len(categories), texts.codes, -1)
    return pd.Series(pd.Categorical.from_codes(codes, categories=categories))


def _leave_out_what_is_no_row(table: Table, count: int) -> None:
    """Leave out repeated headers and remarks."""
    has_number = np.zeros(count, dtype=bool)
    for column in table.numbers:
        has_number |= table.present(column)
        if has_number.all():
            return
    table.left_out += int((~has_number).sum())
    table.keep(has_number)


def _first_fitting(text: bytes, start: int, end: int, shape: Layout) -> tuple[int, int]:
    """Pass over lines that are too wide or blank: pandas takes the width from the first one."""
    skipped = 0
    newline = shape.newline.encode()
    while start < end:
        after = text.find(newline, start, end) + 1 or end
        line = text[start:after].decode(errors="replace").strip("\r\n")
        if line.strip():
            if len(shape.split(line)) <= len(shape.types):
                break
            skipped += 1
        start = after
    return start, skipped


def _frame(text: bytes, start: int, end: int, shape: Layout) -> pd.DataFrame | None:
    quoted = text.find(shape.quote.encode(), start, end) >= 0
    # Texts other than times are few and repeat, such as a sensor's name.
    spelled: dict[Field, str] = {
        "time": f"S{stamps.LONGEST}",
        "date": f"S{stamps.LONGEST}",
        "text": "category",
        "missing": "category",
    }
    as_text = {c: spelled[field] for c, field in enumerate(shape.types) if field in spelled}
    as_text |= dict.fromkeys(shape.grouped, "str")
    if shape.gaps:  # where one is missing, pandas would make whole numbers float64
        as_text |= dict.fromkeys(shape.long_integers, "str")
    try:
        return pd.read_csv(
            cast(Any, _Stretch(text, start, end)),
            sep=shape.separator,
            decimal=shape.decimal,
            header=None,
            names=list(range(len(shape.types))),
            dtype=as_text,
            engine="c",
            encoding_errors="replace",
            quotechar=shape.quote,
            # Without quotes, a stray one must not swallow the rest of the file.
            quoting=csv.QUOTE_MINIMAL if quoted else csv.QUOTE_NONE,
            skipinitialspace=shape.padded,
            skip_blank_lines=True,
            on_bad_lines="skip",
            na_filter=shape.gaps,  # costs a look-up for every field
            keep_default_na=False,
            na_values=sorted(fields.MISSING),
            low_memory=False,
        )
    except pd.errors.EmptyDataError:
        return pd.DataFrame({column: [] for column in range(len(shape.types))}, dtype="category")
    except (pd.errors.ParserError, OverflowError):
        return None


def count_lines(text: bytes, start: int, end: int, newline: str) -> int:
    """Return how many lines there are, blank ones included."""
    letters = np.frombuffer(text, dtype=np.uint8, count=end - start, offset=start)
    ends = int(np.count_nonzero(letters == ord(newline)))
    return ends + bool(len(letters) and letters[-1] != ord(newline))


def _add_numbers(table: Table, column: int, series: "pd.Series[Any]", shape: Layout) -> None:
    if pd.api.types.is_numeric_dtype(series):
        values: Numbers = series.to_numpy()
        if values.dtype != np.int64:
            values = within_measure(values.astype(np.float64, copy=False))
        table.numbers[column] = values
        return
    texts = series.astype("object").fillna("").astype("str").str.strip(_AROUND)
    missing = texts.isin(fields.MISSING).to_numpy(bool)
    if column in shape.grouped:
        in_groups = texts.str.fullmatch(fields.GROUPED[shape.decimal])
        texts = texts.where(~in_groups, texts.str.replace(r"[.,]", "", regex=True))
    plain = texts
    if shape.decimal == ",":  # "1.000" is no 1 then
        plain = texts.where(~texts.str.contains(".", regex=False), "")
        plain = plain.str.replace(",", ".", regex=False)
    read = np.array(pd.to_numeric(plain, errors="coerce"), dtype=np.float64)
    odd = np.flatnonzero(np.isnan(read) & ~missing)
    strays: dict[int, str] = {}
    for row, text in zip(odd.tolist(), texts.iloc[odd], strict=True):
        read[row] = fields.number(text, shape.decimal)
        if np.isnan(read[row]):
            strays[row] = text
            if len(strays) == _MOST_STRAYS:  # no column of numbers; the first ones tell
                break
    if strays:
        table.strays[column] = strays
    if column in shape.long_integers:
        whole = texts.str.fullmatch(_WHOLE).to_numpy(bool)
        if (whole | np.isnan(read)).all():
            table.numbers[column] = texts.where(whole, "0").to_numpy().astype(np.int64)
            table.absent[column] = ~whole
            return
    table.numbers[column] = within_measure(read)
