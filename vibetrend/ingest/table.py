"""Text tables: CSV and its relatives, one row per sample."""

import functools
import os
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from typing import BinaryIO

from vibetrend.errors import ReadError
from vibetrend.ingest import content, encoding, fields, layout, location, pairs, preamble, rows
from vibetrend.ingest.found import Found
from vibetrend.ingest.frame import found_in
from vibetrend.ingest.grid import CUT, Table, joined
from vibetrend.ingest.layout import Layout
from vibetrend.ingest.rows import Cut
from vibetrend.ingest.tags import Stated

NAME = "text tables (CSV, TSV)"

_MOST_BYTES = 290_000_000  # of numbers and times held at once
_BLOCK = 2**20  # bytes of text parsed at once
_PLAYLISTS = (b"#EXTM3U", b"[playlist]", b"ffconcat")
_FEW = 20  # lines of garbage at the end


def can_read(head: bytes) -> bool:
    """Say whether a file that begins so is text."""
    return encoding.is_text(head)


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
    text, shape = _as_text(data)
    places = location.in_table(data, shape)
    del data
    whole = _without_cut_line(text, shape)
    cuts = list(_cuts(whole, shape))
    table = joined(
        _blocks(whole, cuts, shape),
        shape=shape,
        lines=sum(each.lines for each in cuts),
        most_bytes=_MOST_BYTES,
    )
    cut = len(whole) < len(text)
    del text, whole  # as much memory as the numbers in them
    if cut:
        table.notes.append(CUT)
    _leave_out_remarks_below(table)
    table.place_of = functools.partial(_place_of, stream=stream)
    return found_in(table, wanted, location=places)


def _as_text(data: bytes) -> tuple[bytes, Layout]:
    """Return the file as plain UTF-8 lines and their layout."""
    # Loggers that lose power leave a tail of zero bytes.
    text, names = pairs.taken_apart(encoding.to_utf8(data).rstrip(b"\0\x1a"))
    shape = preamble.with_names(layout.sniff(text))
    fit = len(names) == len(shape.types)  # not where other lines are the table
    return text, replace(shape, names=names) if fit else shape


def _blocks(text: bytes, cuts: list[Cut], shape: Layout) -> Iterator[Table]:
    """Parse the text block by block, several at a time: pandas lets go of Python's lock."""
    if len(cuts) == 1:
        yield rows.parsed(text, cuts[0], shape)
        return
    workers = min(4, os.cpu_count() or 1)
    with ThreadPoolExecutor(workers) as pool:
        running: deque[Future[Table]] = deque()
        try:
            for cut in cuts:
                running.append(pool.submit(rows.parsed, text, cut, shape))
                if len(running) > 2 * workers:  # so that not all of them wait in memory
                    yield running.popleft().result()
            while running:
                yield running.popleft().result()
        finally:
            pool.shutdown(cancel_futures=True)  # where one block is beyond reading, so is all


def _cuts(text: bytes, shape: Layout) -> Iterator[Cut]:
    newline, start = shape.newline.encode(), shape.start
    while True:
        end = text.find(newline, start + _BLOCK) + 1 or len(text)
        yield Cut(start, end, rows.count_lines(text, start, end, shape.newline))
        if end == len(text):
            return
        start = end


def _leave_out_remarks_below(table: Table) -> None:
    wrong = {row for stray in table.strays.values() for row in stray}
    end = table.count
    while end > table.count - _FEW and end - 1 in wrong:
        end -= 1
    if table.count - end > 1:  # one alone may be a cut line
        table.left_out += table.count - end
        table.keep_first(end)
    if table.left_out > 0:
        table.note_dropped(table.left_out, "without samples")


def _without_cut_line(text: bytes, shape: Layout) -> bytes:
    """Leave out a last line without an end that was cut within a field."""
    *before, last = text[-layout.HEAD :].splitlines()[-100:]
    if text.endswith((b"\n", b"\r")) or len(before) <= 10:
        return text
    start = len(text) - len(last)
    quotes = last.count(shape.quote.encode()) % 2
    # A whole row is hardly ever shorter than every one of the hundred before it.
    short = len(last) < min(len(line) for line in before[1:])
    digits = {_decimals(line, shape) for line in before[1:]}
    fewer = len(digits) == 1 and _decimals(last, shape) < digits.pop()
    parts = shape.split(last.decode(errors="replace"))
    begins = fields.kind(parts[0], shape.decimal) if parts else "missing"
    is_row = begins in ("number", "time", "date")  # not a remark below the table
    return text[:start] if is_row and (quotes or short or fewer) else text


def _decimals(line: bytes, shape: Layout) -> int:
    """Return how many digits stand behind the decimal mark of a line's last field."""
    last = shape.split(line.decode(errors="replace"))[-1:]
    return len(last[0].partition(shape.decimal)[2]) if last else 0


def _place_of(field: str, column: int, *, stream: BinaryIO) -> str:
    text, shape = _as_text(content.whole(stream))
    plain = field.encode()
    newline = shape.newline.encode()
    at = text.find(plain, shape.start)
    while at >= 0:
        start = text.rfind(newline, 0, at) + 1
        end = text.find(newline, at)
        parts = shape.split(text[start : end if end >= 0 else None].decode(errors="replace"))
        if len(parts) > column and parts[column] == field:
            return f"line {text.count(newline, 0, start) + 1}, "
        at = text.find(plain, at + 1)
    return ""
