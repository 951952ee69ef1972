"""``vibetrend report``: the page to keep and to hand over."""

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vibetrend.cli.options import json_option, logbook_option, print_json

if TYPE_CHECKING:
    from vibetrend.checkup.records import EngineRecord


@click.command()
@click.option("--engine", "name", help="Only this engine.  [default: all]")
@click.option(
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="File to write.  [default: reports/NAME.html; ours is replaced, a foreign file never]",
)
@logbook_option
@json_option
def report(name: str | None, output: Path | None, logbook: Path | None, as_json: bool) -> None:
    """Write the page: one file that opens anywhere, with no network.

    \b
    Example: vibetrend report --engine main --output main.html
    """
    from vibetrend.checkup.pictures import with_pictures
    from vibetrend.checkup.standing import standing
    from vibetrend.errors import LogbookError
    from vibetrend.logbook import Logbook
    from vibetrend.settings import logbook_folder

    with Logbook.open(logbook_folder(logbook)) as book:
        records = with_pictures(
            book,
            standing(book, [name] if name else None, today=dt.date.today()),
            tell=lambda text: click.echo(f"vibetrend: {text}", err=True),
        )
    if not records:
        raise LogbookError("the logbook holds no engine yet; begin with: vibetrend engine new")
    path = write_page(records, output or Path("reports") / f"{_file_name(name or 'engines')}.html")
    if as_json:
        print_json({"path": str(path)})
    else:
        click.echo(f"Wrote {path}")


def write_page(
    records: "Sequence[EngineRecord]", path: Path, *, title: str = "", invented: bool = False
) -> Path:
    """Write the page of some engines and return its path."""
    from vibetrend.checkup.twins import side_by_side
    from vibetrend.errors import VibetrendError
    from vibetrend.report import page, write

    named = ", ".join(record.engine.name for record in records)
    html = page(
        records,
        title=title or f"Vibration record: {named}",
        made_at=dt.datetime.now().astimezone(),
        invented=invented,
        twins=side_by_side(records),
    )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise VibetrendError(
            f"{path}: its folder cannot be made ({error.strerror}); choose another --output"
        ) from error
    write(path, html)
    return path


def _file_name(name: str) -> str:
    """Return a name that any file system takes."""
    return "".join(letter if letter.isalnum() or letter in "-_" else "_" for letter in name)[:80]
