"""``vibetrend report``: the page to keep and to hand over, on paper, as pictures and as tables."""

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vibetrend.cli.options import PAPER, Place, json_option, logbook_option, opened, print_json
from vibetrend.cli.terminal import complain, following, saying, tell

if TYPE_CHECKING:
    from vibetrend.checkup.records import EngineRecord, Kept
    from vibetrend.report.document import Paper
    from vibetrend.report.writing import File


_NO_PHOTOS: Mapping[str, bytes] = {}
_MANY = {"png": "picture", "csv": "file"}
_FILE = Place(dir_okay=False)
_FOLDER = Place(file_okay=False)


@click.command()
@click.option("--engine", "name", help="Only this engine.  [default: all]")
@click.option(
    "--output",
    type=_FILE,
    help="File to write.  [default: reports/NAME.html; ours is replaced, a foreign file never]",
)
@click.option("--pdf", "pdf_file", metavar="FILE.pdf", type=_FILE, help="Print the page to PDF.")
@click.option(
    "--paper",
    type=PAPER,
    default="A4",
    show_default=True,
    help="Paper of the PDF.",
)
@click.option("--png", "png_folder", metavar="DIR", type=_FOLDER, help="Write each picture as PNG.")
@click.option(
    "--csv",
    "csv_folder",
    metavar="DIR",
    type=_FOLDER,
    help="Write all numbers as CSV tables, with a list of their columns and units.",
)
@click.option(
    "--calendar",
    "calendar_file",
    metavar="FILE.ics",
    type=_FILE,
    help="Write what is due as a calendar file.",
)
@logbook_option
@json_option
def report(
    name: str | None,
    output: Path | None,
    pdf_file: Path | None,
    paper: "Paper",
    png_folder: Path | None,
    csv_folder: Path | None,
    calendar_file: Path | None,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Write the page: one file that opens anywhere, with no network.

    --pdf, --png, --csv and --calendar write that instead; the page too only with --output. Any of
    them go together. PDF and PNG need a browser of Chromium's kind (Chromium, Chrome, Edge,
    Brave) on this computer; VIBETREND_BROWSER may name it.

    The calendar says when the damper is due and when to record next, for ordinary calendar
    programs; a newer one moves the entries of an older one.

    \b
    Example: vibetrend report --engine main --output main.html --pdf main.pdf
    """
    from vibetrend.checkup.corrected import how_kept, with_corrections
    from vibetrend.checkup.earlier import with_earlier
    from vibetrend.checkup.happenings import with_log
    from vibetrend.checkup.installing import small_photos
    from vibetrend.checkup.pictures import with_pictures
    from vibetrend.checkup.standing import standing
    from vibetrend.errors import LogbookError
    from vibetrend.report import document, tables, writing
    from vibetrend.report.printing import browser
    from vibetrend.report.printing import paper as on_paper
    from vibetrend.report.words import count

    made_at = dt.datetime.now().astimezone()
    program = browser.found() if pdf_file or png_folder else None
    wants_page = output is not None or not (pdf_file or png_folder or csv_folder or calendar_file)
    photos, kept = _NO_PHOTOS, None
    with saying("judging", quiet=as_json), opened(logbook) as book:
        records = standing(book, [name] if name else None, today=made_at.date(), tell=complain)
        if wants_page or pdf_file or csv_folder:
            records = with_earlier(book, records)
        if csv_folder:
            records = with_corrections(book, records)
        if wants_page or pdf_file:
            records = with_log(book, with_pictures(book, records, tell=complain))
            kept = how_kept(book)
            photos = small_photos(book, records, tell=complain)
    if not records:
        raise LogbookError("the logbook holds no engine yet; begin with: vibetrend engine new")

    # All is made before anything is written: what fails leaves nothing half done.
    html = ""
    if wants_page or pdf_file:
        with saying("making the page", quiet=as_json):
            html = page_of(records, made_at=made_at, photos=photos, kept=kept)
    made: dict[str, list[File]] = {}
    if wants_page:
        stem = writing.file_name(name) if name else writing.OF_ALL
        path = output or Path("reports") / f"{stem}.html"
        made["path"] = [document.file(path, html)]
    if pdf_file and program:
        names = [record.engine.name for record in records]
        with saying("printing", quiet=as_json):
            made["pdf"] = [
                on_paper.pdf(html, pdf_file, program, names=names, made_at=made_at, paper=paper)
            ]
    if png_folder and program:
        made["png"] = _pictures(records, png_folder, program, made_at, quiet=as_json)
    if csv_folder:
        made["csv"] = tables.files(records, csv_folder, made_at=made_at)
    if calendar_file:
        made["calendar"] = [_calendar(records, calendar_file, made_at)]
    writing.write_all([file for files in made.values() for file in files])

    if as_json:
        written = {what: [str(file.path) for file in files] for what, files in made.items()}
        print_json({what: paths if what in _MANY else paths[0] for what, paths in written.items()})
        return
    for what, files in made.items():
        path = files[0].path
        many = f"{count(len(files), _MANY[what])} into {path.parent}" if what in _MANY else path
        tell(f"Wrote {many}")


def write_page(
    records: "Sequence[EngineRecord]", path: Path, *, title: str = "", invented: bool = False
) -> Path:
    """Write the page of some engines and return its path."""
    from vibetrend.report import write

    made_at = dt.datetime.now().astimezone()
    write(path, page_of(records, made_at=made_at, title=title, invented=invented))
    return path


def page_of(
    records: "Sequence[EngineRecord]",
    *,
    made_at: dt.datetime,
    title: str = "",
    invented: bool = False,
    photos: Mapping[str, bytes] = _NO_PHOTOS,
    kept: "Kept | None" = None,
) -> str:
    """Return the page of some engines, with small `photos` by SHA-256."""
    from vibetrend.checkup.standing import to_json
    from vibetrend.checkup.twins import side_by_side
    from vibetrend.report import page
    from vibetrend.report.isolating import isolated
    from vibetrend.settings import shown_units

    named = ", ".join(isolated(record.engine.name) for record in records)
    return page(
        records,
        title=title or f"Vibration record: {named}",
        made_at=made_at,
        invented=invented,
        twins=side_by_side(records),
        shown=shown_units(),
        photos=photos,
        status=to_json(records, kept),
        kept=kept,
    )


def _pictures(
    records: "Sequence[EngineRecord]",
    folder: Path,
    program: Path,
    made_at: dt.datetime,
    *,
    quiet: bool,
) -> "list[File]":
    from vibetrend.report import writing
    from vibetrend.report.printing import loose
    from vibetrend.settings import shown_units

    found = loose.loose(records, made_at=made_at, shown=shown_units())
    return [
        writing.File(path=folder / one.name, content=one.png(program), kind=loose.KIND)
        for one in following(found, "drawing", lambda one: one.name, quiet=quiet)
    ]


def _calendar(records: "Sequence[EngineRecord]", path: Path, made_at: dt.datetime) -> "File":
    from vibetrend.report import writing
    from vibetrend.report.calendar import calendar, left_out

    content = calendar(records, made_at=made_at).encode()
    for why in left_out(records, made_at=made_at):
        complain(f"not in the calendar: {why}")
    kind = writing.Kind(name="calendar", signature=b"-//vibetrend//", option="--calendar")
    return writing.File(path=path, content=content, kind=kind)
