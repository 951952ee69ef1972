"""``vibetrend measure``: speed and orders of recordings, without a logbook."""

from pathlib import Path
from typing import Any

import click

from vibetrend.cli.options import (
    json_option,
    logbook_option,
    print_json,
    recording_options,
    stated,
)


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--engine", "engine_name", help="Engine in the logbook, or an engine file.")
@recording_options
@logbook_option
@json_option
@click.pass_context
def measure(
    ctx: click.Context,
    /,
    files: tuple[Path, ...],
    engine_name: str | None,
    logbook: Path | None,
    as_json: bool,
    **values: Any,
) -> None:
    """Measure speed and orders of recordings; nothing is kept.

    \b
    Example: vibetrend measure idle.csv --rpm 1060 --engine engine.toml
    """
    from vibetrend.checkup.adding import measure_file
    from vibetrend.cli.words import measurement_words
    from vibetrend.errors import VibetrendError
    from vibetrend.settings import shown_units

    engine = _engine(engine_name, logbook)
    options = stated(values)
    shown = None if as_json else shown_units()
    results = []
    failed = False
    for path in files:
        try:
            result = measure_file(path, engine=engine, **options)
        except VibetrendError as error:
            click.echo(f"vibetrend: {error}", err=True)
            failed = True
            continue
        results.append(result.to_dict())
        if shown is not None:
            click.echo(measurement_words(result, shown))
    if as_json and (results or len(files) > 1):
        print_json(results[0] if len(files) == 1 else results)
    if failed:
        ctx.exit(1)


def _engine(named: str | None, logbook: Path | None) -> Any:
    """Return the engine of a file or of the logbook."""
    from vibetrend.engine import Engine
    from vibetrend.logbook import Logbook
    from vibetrend.settings import logbook_folder

    if named is None:
        return None
    if named.endswith(".toml") or Path(named).is_file():
        return Engine.load(named)
    with Logbook.open(logbook_folder(logbook)) as book:
        return book.engine(named)
