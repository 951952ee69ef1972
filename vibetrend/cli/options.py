"""Options that several commands share."""

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from vibetrend.ingest import Statements

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


def engine_option(command: Command) -> Command:
    """Add --engine, which has to be given, as `name`."""
    return click.option("--engine", "name", required=True, help="Name of the engine.")(command)


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


def _choice(*choices: str) -> click.Choice[str]:
    return click.Choice(choices)


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
    click.option("--unit", help='Unit of the columns: g, m/s^2, or "0.0039 g" for counts.'),
    click.option("--column", "columns", multiple=True, help="Column to use: name or number."),
    click.option("--rate", type=float, help="Samples per second, for a table without times."),
    click.option("--full-scale", help='What 1.0 in a sound file stands for, e.g. "1 g".'),
    click.option(
        "--calibrator",
        type=click.Path(path_type=Path),
        help="Recording of a sound calibrator, 94 dB at 1 kHz: gives Pa.",
    ),
    click.option("--sensitivity", help='Of a sensor in volts, e.g. "100 mV/g".'),
    click.option("--tacho-column", help="Column or channel of a tacho: name or number."),
    click.option("--teeth", help="Of the tacho's wheel: 118, 60-2 with missing ones, 1 a tape."),
    click.option("--poles", type=int, help="Poles of an alternator that serves as tacho."),
    click.option("--pulley-ratio", type=float, help="Its turns per turn of the crank."),
    click.option("--coolant-c", type=float, help="Coolant temperature, degrees C."),
    click.option("--damper-c", type=float, help="Damper ring's, engine stopped, degrees C."),
    click.option("--room-c", type=float, help="Engine room's, degrees C."),
    click.option("--other-engine", type=_choice("off", "running"), help="Or generator set."),
    click.option("--alternator-load", type=_choice("low", "high"), help="While recording."),
    click.option("--lying", type=_choice("afloat", "ashore"), help="How the boat lies."),
    click.option("--shore-power", type=_choice("off", "on"), help="Charger and all."),
    click.option(
        "--automatic-gain", type=_choice("off", "on"), help="Of the recorder; noise filter too."
    ),
]


def stated(values: dict[str, Any]) -> "Statements":
    """Return what a command's options state about a recording; those left out left out.

    Raises
    ------
    ReadError
        If a calibrator's recording is named and cannot be used.
    """
    given: Any = {name: value for name, value in values.items() if value not in (None, ())}
    for name in ("columns", "tacho_column"):
        if name in given:
            given[name] = _named_or_numbered(given[name])
    calibrator = given.pop("calibrator", None)
    if calibrator is None:
        return given  # type: ignore[no-any-return]  # click has checked every value
    if "full_scale" in given:
        raise click.UsageError("--full-scale and --calibrator exclude each other")
    from vibetrend.checkup.calibrating import calibrated

    return calibrated(given, calibrator)


def _named_or_numbered(column: Any) -> Any:
    if isinstance(column, str):
        return int(column) if column.isdecimal() else column
    return [_named_or_numbered(each) for each in column]


def print_json(value: Any) -> None:
    """Print a value as JSON; what JSON cannot hold must not get here."""
    click.echo(json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False))
