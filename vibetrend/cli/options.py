"""Options that several commands share."""

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

Command = TypeVar("Command", bound=Callable[..., Any])


class Date(click.ParamType[dt.date]):
    """A day as YYYY-MM-DD."""

    name = "date"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> dt.date:
        """Return the day; anything else is wrong usage."""
        if isinstance(value, dt.date):
            return value
        try:
            return dt.date.fromisoformat(value)
        except ValueError:
            self.fail(f"{value!r} is not a date; write it as 2026-05-01", param, ctx)


def logbook_option(command: Command) -> Command:
    """Add ``--logbook DIR``."""
    return click.option(
        "--logbook",
        type=click.Path(path_type=Path, file_okay=False),
        help="Folder of the logbook.  [default: VIBETREND_LOGBOOK, else the data folder]",
    )(command)


def json_option(command: Command) -> Command:
    """Add ``--json``."""
    return click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")(
        command
    )


def recording_options(command: Command) -> Command:
    """Add what can be stated about a recording."""
    for option in reversed(_RECORDING):
        command = option(command)
    return command


_RECORDING = [
    click.option("--rpm", type=float, help="Engine speed as the gauge showed it."),
    click.option(
        "--manner",
        type=click.Choice(["steady", "run-up", "coast-down"]),
        help="How the engine ran.",
    ),
    click.option(
        "--kind",
        type=click.Choice(["acceleration", "velocity", "rotation", "sound", "pressure", "other"]),
        help="What was recorded, where the file does not say.",
    ),
    click.option("--unit", help="Unit of a table's columns, e.g. g or m/s^2."),
    click.option("--column", "columns", multiple=True, help="Column to use: name or number."),
    click.option("--rate", type=float, help="Samples per second, for a table without times."),
    click.option("--full-scale", help='What 1.0 in a sound file stands for, e.g. "1 g".'),
]


def stated(values: dict[str, Any]) -> dict[str, Any]:
    """Return the options of `ingest.read` among a command's values, those left out left out."""
    values = {name: value for name, value in values.items() if value not in (None, ())}
    if "columns" in values:
        values["columns"] = [int(name) if name.isdecimal() else name for name in values["columns"]]
    return values


def print_json(value: Any) -> None:
    """Print a value as JSON; what JSON cannot hold must not get here."""
    click.echo(json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False))
