"""Tables in Parquet files."""

import io
import re
from typing import Any, BinaryIO

import pandas as pd

from vibetrend.errors import ReadError
from vibetrend.ingest import content
from vibetrend.ingest.found import Found
from vibetrend.ingest.frame import of_columns
from vibetrend.ingest.layout import MOST_COLUMNS
from vibetrend.ingest.tags import Stated
from vibetrend.ingest.typed import check_size, not_installed, too_long
from vibetrend.recording import Note

NAME = "tables in Parquet"

_OPEN, _LOCKED = b"PAR1", b"PARE"
_PLAIN = re.compile(
    r"(u?int|halffloat|float|double|decimal|bool|timestamp|date|time|duration|(large_)?string|"
    r"dictionary<values=(large_)?string)"
)
_LARGEST = 2**28  # bytes of the columns unpacked
_LONGEST_REMARK = 200  # characters


def can_read(head: bytes) -> bool:
    """Say whether a file that begins so is a Parquet file."""
    return head.startswith((_OPEN, _LOCKED))


def read(stream: BinaryIO, wanted: Stated) -> Found:
    """Read the columns of numbers, times and texts; columns of lists, structs or bytes are not.

    Raises
    ------
    ReadError
        If pyarrow is not installed, or the file is locked, damaged, too large or no recording.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise not_installed("a Parquet file", "parquet") from error
    data = content.whole(stream)
    if data.startswith(_LOCKED):
        raise ReadError("locked with a password; save it again without")
    try:
        file = pq.ParquetFile(io.BytesIO(data))
        schema = file.schema_arrow
        used = [each for each in schema if _PLAIN.match(str(each.type))]
        aside = ", ".join(each.name for each in schema if not _PLAIN.match(str(each.type)))
        if not used:
            raise ReadError(
                f"a Parquet file without plain columns; those it has hold lists, structs or "
                f"bytes ({aside[:100]}); save one value in each field"
            )
        _check_sizes(file.metadata, used)
        texts = [each.name for each in used if _is_text(each.type)]
        # As a dictionary, a text that repeats takes no room.
        file = pq.ParquetFile(io.BytesIO(data), read_dictionary=texts)
        table = file.read(columns=[each.name for each in used], use_threads=False)
        table.validate(full=True)
        frame = _frame(table)
    except (pa.ArrowException, OSError, ValueError, OverflowError, KeyError) as error:
        if isinstance(error, ReadError):
            raise
        raise ReadError("damaged as a Parquet file; copy it again") from error
    notes = []
    if aside:
        message = f"columns of lists, structs or bytes are not read: {aside[:200]}"
        notes.append(Note("columns", "note", message))
    return of_columns(
        frame,
        wanted,
        units=[_text(each.metadata, b"unit") for each in table.schema],
        preamble=_remarks(schema.metadata),
        notes=notes,
    )


def _is_text(arrow_type: Any) -> bool:
    return str(arrow_type) in ("string", "large_string", "string_view")


def _check_sizes(metadata: Any, used: list[Any]) -> None:
    if len(used) > MOST_COLUMNS:
        raise ReadError(f"has more than {MOST_COLUMNS} columns; save the recording's own")
    check_size(metadata.num_rows * len(used))
    # What it says of single columns is not asked for: pyarrow ends the whole program where a
    # damaged file says nothing.
    groups = (metadata.row_group(number) for number in range(metadata.num_row_groups))
    if sum(group.total_byte_size for group in groups) > _LARGEST:
        raise too_long()


def _frame(table: Any) -> pd.DataFrame:
    """Return an Arrow table's columns, each as what a table of ours knows."""
    columns = {}
    for name, column in zip(table.schema.names, table.columns, strict=True):
        kind = str(column.type)
        if kind.startswith("decimal"):
            column = column.cast("float64")
        elif kind.startswith("dictionary"):
            chunks = column.chunks
            longest = max((len(str(t)) for each in chunks for t in each.dictionary), default=0)
            if longest * len(column) > _LARGEST:
                raise too_long()
        series = column.to_pandas()
        index = name == "__index_level_0__" and kind.startswith("timestamp")  # a nameless index
        columns["time" if index else _spelled(name)] = series
    return pd.DataFrame(columns, copy=False)


def _spelled(name: str) -> str:
    """Return a column's name; two levels of names are written as "('acc', 'x')"."""
    if re.fullmatch(r"\(.*,.*\)", name):
        return " ".join(part for part in re.findall(r"'([^']*)'", name) if part) or name
    return name


def _text(metadata: Any, key: bytes) -> str:
    value = (metadata or {}).get(key, b"")
    return value.decode("utf-8", errors="replace") if len(value) <= _LONGEST_REMARK else ""


def _remarks(metadata: Any) -> list[str]:
    """Return what the file says of itself, as lines such as "sample_rate: 200"."""
    return [
        f"{key.decode('utf-8', errors='replace')}: {text}"
        for key in metadata or {}
        if key not in (b"pandas", b"ARROW:schema") and (text := _text(metadata, key))
    ]
