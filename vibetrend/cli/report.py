"""``vibetrend report``: the page to keep and to hand over, and the calendar of what is due."""

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

import click

from vibetrend.cli.options import json_option, logbook_option, print_json

if TYPE_CHECKING:
    from vibetrend.checkup.records import EngineRecord


_NO_PHOTOS: Mapping[str, bytes] = MappingProxyType({})
_OURS = b"-//vibetrend//"


@click.command()
@click.option("--engine", "name", help="Only this engine.  [default: all]")
@click.option(
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="File to write.  [default: reports/NAME.html; ours is replaced, a foreign file never]",
)
@click.option(
    "--calendar",
    "calendar_file",
    metavar="FILE.ics",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write what is due as a calendar file instead; the page too only with --output.",
)
@logbook_option
@json_option
def report(
    name: str | None,
    output: Path | None,
    calendar_file: Path | None,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Write the page: one file that opens anywhere, with no network.

    With --calendar it is a calendar of when the damper is due and when to record next, which
    ordinary calendar programs open; a newer one moves the entries of an older one.

    \b
    Example: vibetrend report --engine main --output main.html
    """
    from vibetrend.checkup.installing import small_photos
    from vibetrend.checkup.pictures import with_pictures
    from vibetrend.checkup.standing import standing
    from vibetrend.errors import LogbookError
    from vibetrend.logbook import Logbook
    from vibetrend.settings import logbook_folder

    def tell(text: str) -> None:
        click.echo(f"vibetrend: {text}", err=True)

    wants_page = calendar_file is None or output is not None
    photos = _NO_PHOTOS
    with Logbook.open(logbook_folder(logbook)) as book:
        records = standing(book, [name] if name else None, today=dt.date.today())
        if wants_page:
            records = with_pictures(book, records, tell=tell)
            photos = small_photos(book, records, tell=tell)
    if not records:
        raise LogbookError("the logbook holds no engine yet; begin with: vibetrend engine new")
    written = {}
    if calendar_file is not None:
        written["calendar"] = write_calendar(records, calendar_file, tell=tell)
    if wants_page:
        path = output or Path("reports") / f"{_file_name(name or 'engines')}.html"
        written["path"] = write_page(records, path, photos=photos)
    if as_json:
        print_json({what: str(path) for what, path in written.items()})
    else:
        click.echo("\n".join(f"Wrote {path}" for path in written.values()))


def write_calendar(
    records: "Sequence[EngineRecord]", path: Path, *, tell: Callable[[str], None]
) -> Path:
    """Write what is due as a calendar file, whole or not at all; `tell` what has no date."""
    from vibetrend.report import writing
    from vibetrend.report.calendar import calendar, left_out

    now = dt.datetime.now().astimezone()
    kind = writing.Kind(name="calendar", signature=_OURS, option="--calendar")
    writing.write(path, calendar(records, made_at=now).encode(), kind)
    for why in left_out(records, made_at=now):
        tell(f"not in the calendar: {why}")
    return path


def write_page(
    records: "Sequence[EngineRecord]",
    path: Path,
    *,
    title: str = "",
    invented: bool = False,
    photos: Mapping[str, bytes] = _NO_PHOTOS,
) -> Path:
    """Write the page of some engines, with small `photos` by SHA-256, and return its path."""
    from vibetrend.checkup.twins import side_by_side
    from vibetrend.report import page, write
    from vibetrend.settings import shown_units

    named = ", ".join(record.engine.name for record in records)
    html = page(
        records,
        title=title or f"Vibration record: {named}",
        made_at=dt.datetime.now().astimezone(),
        invented=invented,
        twins=side_by_side(records),
        shown=shown_units(),
        photos=photos,
    )
    write(path, html)
    return path


def _file_name(name: str) -> str:
    """Return a name that any file system takes."""
    return "".join(letter if letter.isalnum() or letter in "-_" else "_" for letter in name)[:80]
