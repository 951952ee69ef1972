"""``vibetrend measure``: speed and orders of recordings, without a logbook."""

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibetrend.cli.options import (
    Place,
    json_option,
    logbook_option,
    opened,
    print_json,
    recording_options,
    stated,
)
from vibetrend.cli.terminal import cleared, complain, following, tell

if TYPE_CHECKING:
    from vibetrend.engine import Engine
    from vibetrend.orders import Measurement

_HASH_DIGITS = 8


@click.command()
@click.argument("files", nargs=-1, required=True, type=Place())
@click.option("--engine", "engine_name", help="Engine in the logbook, or an engine file.")
@click.option(
    "--against",
    multiple=True,
    type=Place(),
    help="An earlier sweep; resonances then say how far they have moved. May be repeated.",
)
@click.option("--page", is_flag=True, help="Write a page of each recording too.")
@click.option(
    "--output",
    type=Place(dir_okay=False),
    help="File of the page.  [default: reports/NAME.html; ours is replaced, a foreign file never]",
)
@recording_options
@logbook_option
@json_option
@click.pass_context
def measure(
    ctx: click.Context,
    /,
    files: tuple[Path, ...],
    engine_name: str | None,
    against: tuple[Path, ...],
    page: bool,
    output: Path | None,
    logbook: Path | None,
    as_json: bool,
    **values: Any,
) -> None:
    """Measure speed and orders of recordings; nothing is kept in the logbook.

    Of a sweep (--manner run-up or coast-down) state where it begins and ends: it shows at which
    speeds the orders peak, which is where a damper's stiffness can be seen.

    With --page each recording gets a page to look at: its values over time, its spectrum with
    the orders marked, its speed, every number and every doubt. NAME is the recording's own; where
    a page of something else has that name, the first digits of the file's hash go behind it.

    \b
    Example: vibetrend measure idle.csv --rpm 1060 --engine engine.toml
             vibetrend measure idle.csv --rpm 1060 --page
             vibetrend measure sweep.wav --manner run-up --rpm 700 --end-rpm 2400
               --engine engine.toml --against first_sweep.wav
    """
    from vibetrend.checkup.adding import measure_file
    from vibetrend.cli.sweep_words import sweep_words
    from vibetrend.cli.words import measurement_words
    from vibetrend.errors import VibetrendError
    from vibetrend.settings import shown_units

    if output is not None and not page:
        raise click.UsageError("--output names the file of a page; add --page")
    if output is not None and len(files) > 1:
        raise click.UsageError(
            "--output names one page; give one file, or leave it out for reports/NAME.html"
        )
    engine = _engine(engine_name, logbook)
    options = stated(values)
    shown = None if as_json else shown_units()
    results = []
    failed = False
    earlier = options.copy()
    earlier.pop("damper_c", None)  # it was that day what it was
    baseline = [measure_file(path, engine=engine, **earlier) for path in against]
    for path in following(files, "measuring", lambda file: file.name, quiet=as_json):
        try:
            result = measure_file(path, engine=engine, baseline=baseline, **options)
            results.append(result.to_dict())
            if shown is not None:
                cleared()
                swept = result.recording.manner != "steady"
                click.echo(sweep_words(result) if swept else measurement_words(result, shown))
            if page:
                written = _write_page(result, engine, output)
                cleared()
                tell(f"Wrote {written}", err=as_json)
        except VibetrendError as error:
            complain(error)
            failed = True
    if as_json and (results or len(files) > 1):
        print_json(results[0] if len(files) == 1 else results)
    if failed:
        ctx.exit(1)


def _write_page(result: "Measurement", engine: "Engine | None", output: Path | None) -> Path:
    from vibetrend.checkup.looking import looked_at
    from vibetrend.report import write
    from vibetrend.report.recording.page import recording_page
    from vibetrend.settings import shown_units

    html = recording_page(
        looked_at(result, engine=engine),
        made_at=dt.datetime.now().astimezone(),
        units=shown_units(),
    )
    path = output or _page_path(result)
    write(path, html)
    return path


def _page_path(result: "Measurement") -> Path:
    """Return reports/NAME.html, or NAME-HASH.html where that is a page of something else."""
    from vibetrend.report.recording.page import is_of_something_else
    from vibetrend.report.writing import file_name

    source = result.recording.source
    assert source is not None
    name = Path(source.path).name
    for packed in (".gz", ".zip"):
        name = name.removesuffix(packed)
    stem = file_name(Path(name).stem)
    path = Path("reports") / f"{stem}.html"
    if is_of_something_else(path, source.sha256):
        return path.with_name(f"{stem}-{source.sha256[:_HASH_DIGITS]}.html")
    return path


def _engine(named: str | None, logbook: Path | None) -> Any:
    """Return the engine of a file or of the logbook."""
    from vibetrend.engine import Engine

    if named is None:
        return None
    if named.endswith(".toml") or Path(named).is_file():
        return Engine.load(named)
    with opened(logbook) as book:
        return book.engine(named)
