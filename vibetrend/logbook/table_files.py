"""A table as a file, CSV or Parquet, and back to the last digit."""

import contextlib
import csv
import io
from collections.abc import Generator, Iterable, Iterator, Sequence
from itertools import islice
from types import ModuleType
from typing import Any, BinaryIO, Literal

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook import cells
from vibetrend.logbook.copies import one_line

FileKind = Literal["csv", "parquet"]
Rows = Iterable[Sequence[Any]]

_AT_ONCE = 256  # rows of a Parquet file in memory; a measurement's text may have a megabyte
_LONGEST_FIELD = 64 * 2**20  # letters of a CSV field
_LARGEST_RATIO = 200  # of a Parquet file unpacked


def write(kind: FileKind, table: sa.Table, rows: Rows, stream: BinaryIO) -> None:
    """Write the rows of a table as the database keeps them.

    Raises
    ------
    LogbookError
        If Parquet is wanted and its library is missing.
    """
    if kind == "csv":
        _write_csv(table, rows, stream)
    else:
        _write_parquet(table, rows, stream)


def read(
    kind: FileKind, table: sa.Table, stream: BinaryIO, *, where: str
) -> Generator[tuple[Any, ...], None, None]:
    """Give the rows of a table as the database keeps them; `where` names the file in errors.

    Raises
    ------
    LogbookError
        If it is no such file, lacks a column or has another one, or a value has the wrong type;
        says in which line (of CSV) or row and in which column.
    """
    return (_read_csv if kind == "csv" else _read_parquet)(table, stream, where)


def library() -> ModuleType:
    """Return the library of Parquet files.

    Raises
    ------
    LogbookError
        If it is not installed.
    """
    try:
        import pyarrow.parquet
    except ImportError as error:
        raise LogbookError(
            "Parquet needs an optional part; install it with pip install 'vibetrend[parquet]' "
            "(from the project's folder: .venv/bin/pip install '.[parquet]'), or use CSV"
        ) from error
    return pyarrow  # type: ignore[no-any-return]


def _write_csv(table: sa.Table, rows: Rows, stream: BinaryIO) -> None:
    columns = list(table.columns)
    with _text(stream) as text:
        writer = csv.writer(text)
        writer.writerow([column.name for column in columns])
        for row in rows:
            writer.writerow(map(cells.as_text, columns, row))


def _read_csv(
    table: sa.Table, stream: BinaryIO, where: str
) -> Generator[tuple[Any, ...], None, None]:
    columns = list(table.columns)
    with _long_fields(), _text(stream) as text:
        reader = csv.reader(text, strict=True)
        try:
            _check_names(table, next(reader, []), f"{where}, line 1")
            begins = reader.line_num + 1
            for row in reader:
                if len(row) != len(columns):
                    raise LogbookError(
                        f"{where}, line {begins}: {len(row)} values, {len(columns)} are needed; "
                        f"use another export"
                    )
                yield tuple(
                    _value(column, text, f"{where}, line {begins}")
                    for column, text in zip(columns, row, strict=True)
                )
                begins = reader.line_num + 1
        except UnicodeDecodeError as error:
            raise _damaged(f"{where}, after line {reader.line_num}", "no UTF-8 text") from error
        except csv.Error as error:
            raise _damaged(f"{where}, line {reader.line_num}", str(error)) from error


@contextlib.contextmanager
def _text(stream: BinaryIO) -> Iterator[io.TextIOWrapper]:
    text = io.TextIOWrapper(stream, encoding="utf-8", newline="")
    try:
        yield text
    finally:
        text.detach()  # who gave the stream closes it


@contextlib.contextmanager
def _long_fields() -> Iterator[None]:
    usual = csv.field_size_limit(_LONGEST_FIELD)
    try:
        yield
    finally:
        csv.field_size_limit(usual)


def _value(column: sa.Column[Any], text: str, where: str) -> Any:
    try:
        return cells.from_text(column, text)
    except ValueError as error:
        raise LogbookError(f"{where}, column {column.name}: {error}; use another export") from error


def _check_names(table: sa.Table, names: Sequence[str], where: str) -> None:
    wanted = [column.name for column in table.columns]
    if list(names) == wanted:
        return
    missing = [name for name in wanted if name not in names]
    more = [name for name in names if name not in wanted]
    if missing:
        what = f"the column {missing[0]!r} is missing"
    elif more:
        what = f"there is a column {more[0][:60]!a} too many"
    else:
        what = "the columns stand in another order, or twice"
    raise LogbookError(f"{where}: {what}; use another export")


def _damaged(where: str, why: str) -> LogbookError:
    return LogbookError(f"{where}: the file is damaged ({one_line(why)}); use another export")


def _arrow_schema(table: sa.Table) -> Any:
    arrow = library()
    types = {
        "integer": arrow.int64(),
        "number": arrow.float64(),
        "yes/no": arrow.bool_(),
        "text": arrow.string(),
    }
    return arrow.schema(
        arrow.field(
            column.name,
            types[cells.kind_of(column)],
            nullable=bool(column.nullable),
            metadata={"what": str(column.comment)},
        )
        for column in table.columns
    )


def _write_parquet(table: sa.Table, rows: Rows, stream: BinaryIO) -> None:
    arrow, schema = library(), _arrow_schema(table)
    columns = list(table.columns)
    each = iter(rows)
    with arrow.parquet.ParquetWriter(stream, schema) as writer:
        while batch := list(islice(each, 64 * _AT_ONCE)):
            values = [
                [_arrow_value(column, row[place]) for row in batch]
                for place, column in enumerate(columns)
            ]
            writer.write_table(arrow.table(values, schema=schema))


def _arrow_value(column: sa.Column[Any], value: Any) -> Any:
    return bool(value) if cells.kind_of(column) == "yes/no" and value is not None else value


def _read_parquet(
    table: sa.Table, stream: BinaryIO, where: str
) -> Generator[tuple[Any, ...], None, None]:
    arrow, columns = library(), list(table.columns)
    size = stream.seek(0, io.SEEK_END)
    stream.seek(0)
    try:
        file = arrow.parquet.ParquetFile(stream)
        _check_names(table, file.schema_arrow.names, where)
        for field, wanted in zip(file.schema_arrow, _arrow_schema(table), strict=True):
            if field.type != wanted.type:
                raise LogbookError(
                    f"{where}, column {field.name}: it holds {field.type}, {wanted.type} is "
                    f"needed; use another export"
                )
        groups = [file.metadata.row_group(each) for each in range(file.metadata.num_row_groups)]
        if sum(group.total_byte_size for group in groups) > 4 * 2**20 + _LARGEST_RATIO * size:
            raise _damaged(where, "it unpacks to too much")
        number = 0
        for batch in file.iter_batches(batch_size=_AT_ONCE):
            for row in zip(*(each.to_pylist() for each in batch.columns), strict=True):
                number += 1
                yield tuple(
                    _checked(column, value, f"{where}, row {number}")
                    for column, value in zip(columns, row, strict=True)
                )
    except (arrow.ArrowException, OSError, UnicodeDecodeError) as error:
        raise _damaged(where, str(error)) from error


def _checked(column: sa.Column[Any], value: Any, where: str) -> Any:
    try:
        return cells.checked(column, int(value) if isinstance(value, bool) else value)
    except ValueError as error:
        raise LogbookError(f"{where}, column {column.name}: {error}; use another export") from error
