"""Options that several commands share."""

import datetime as dt
import json
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from vibetrend.cli.terminal import shows
from vibetrend.quoting import quoted

if TYPE_CHECKING:
    from vibetrend.ingest import Statements
    from vibetrend.logbook import Logbook

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
            self.fail(f"{quoted(value)} is not a date; write it as 2026-05-01", param, ctx)


class Place(click.Path[Path]):
    """The path of a file or a folder; an empty one would be the folder one stands in."""

    def __init__(self, *, file_okay: bool = True, dir_okay: bool = True) -> None:
        """Take what `click.Path` takes."""
        super().__init__(path_type=Path, file_okay=file_okay, dir_okay=dir_okay)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Return the path; an empty one is wrong usage."""
        if value == "":
            self.fail("the path is empty; name one", param, ctx)
        return super().convert(value, param, ctx)


class Number(click.ParamType[float]):
    """A number, with a decimal point or, where nothing else can be meant, a comma."""

    name = "number"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the number; anything else is wrong usage."""
        if isinstance(value, int | float):
            return float(value)
        try:
            return _number(value.strip())
        except ValueError as error:
            self.fail(str(error), param, ctx)


class Numbers(click.ParamType[tuple[float, ...]]):
    """Numbers with commas between them: 0,3,-2,3. With ; or blanks between, commas are decimal."""

    name = "numbers"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, ...]:
        """Return the numbers; anything else is wrong usage."""
        if isinstance(value, tuple):
            return value
        try:
            return tuple(_number(part) for part in _parts(value))
        except ValueError as error:
            self.fail(str(error), param, ctx)


class Amount(click.ParamType[tuple[float, str]]):
    """A number with its unit: "240 mm". With a unit of its own elsewhere, the number alone."""

    name = "amount"

    def __init__(self, example: str, *, unit_needed: bool = True) -> None:
        """Take `example` as what an error shows."""
        self.example = example
        self.unit_needed = unit_needed

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, str]:
        """Return number and unit; anything else is wrong usage."""
        if isinstance(value, tuple):
            return value
        # "0.001 in" is a unit too: of several numbers the first is the amount.
        found = re.fullmatch(r"\s*([-+]?[\d.,]+(?:[eE][-+]?\d+)?)\s*(.*?)\s*", value)
        if found is None or (self.unit_needed and not found[2]):
            self.fail(
                f"{quoted(value)} is no number with its unit; write it as {self.example!r}",
                param,
                ctx,
            )
        try:
            return _number(found[1]), found[2]
        except ValueError as error:
            self.fail(str(error), param, ctx)


def with_unit(
    amount: tuple[float, str] | None, unit: str | None, option: str
) -> tuple[float, str] | None:
    """Return an amount with the unit beside it where it has none of its own.

    Raises
    ------
    click.UsageError
        If it has no unit at all.
    """
    if amount is None or amount[1]:
        return amount
    if unit is None:
        raise click.UsageError(f"{option} {amount[0]:g} has no unit; write it behind the number")
    return amount[0], unit


def _parts(text: str) -> list[str]:
    """Return the numbers of a list as they are written.

    Raises
    ------
    ValueError
        If it cannot be told which commas are decimal.
    """
    if ";" in text:
        return [part.strip() for part in text.split(";")]
    spaced = re.split(r"\s+", text.strip())
    if len(spaced) == 1 or all(part.endswith(",") for part in spaced[:-1]):
        parts = [part.strip() for part in text.split(",")]
        if any(re.fullmatch(r"[-+]?0\d+", part) for part in parts):
            raise ValueError(
                f"in {quoted(text)} it cannot be told which commas are decimal; write decimal "
                f"points, or put ; between the numbers"
            )
        return parts
    if any(part.startswith(",") or part.endswith(",") for part in spaced):
        raise ValueError(
            f"in {quoted(text)} it cannot be told what stands between the numbers; put ; between "
            f"them"
        )
    return spaced


def _number(text: str) -> float:
    """Return a finite number; one comma is decimal unless it may stand for thousands."""
    plain = re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?", text)
    decimal = re.fullmatch(r"[-+]?\d+,(\d+)", text)
    if plain and math.isfinite(float(text)):
        return float(text)
    if decimal and (len(decimal[1]) != 3 or re.match(r"[-+]?0+,", text)):
        if math.isfinite(value := float(text.replace(",", "."))):
            return value
    elif decimal:
        raise ValueError(f"{quoted(text)} may be a thousand or a decimal; write a decimal point")
    raise ValueError(f"{quoted(text)} is no number; write it as 0.12")


def engine_option(command: Command) -> Command:
    """Add --engine, which has to be given, as `name`."""
    return click.option("--engine", "name", required=True, help="Name of the engine.")(command)


def logbook_option(command: Command) -> Command:
    """Add ``--logbook DIR``."""
    return click.option(
        "--logbook",
        type=Place(file_okay=False),
        help="Folder of the logbook.  [default: VIBETREND_LOGBOOK, else the data folder]",
    )(command)


def opened(folder: Path | None, *, make: bool = True) -> "Logbook":
    """Open the logbook of --logbook; of the settings where that is left out.

    `make` it where there is none.
    """
    from vibetrend.logbook import Logbook
    from vibetrend.settings import logbook_folder

    return Logbook.open(logbook_folder(folder), make=make)


def json_option(command: Command) -> Command:
    """Add ``--json``."""
    return click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")(
        command
    )


def reading_options(command: Command) -> Command:
    """Add what every reading of the installation record may have."""
    for option in reversed(_READING):
        command = option(command)
    return command


def day(date: dt.date | None) -> dt.date:
    """Return a day that has come, today if none is stated.

    Raises
    ------
    LogbookError
        If it is in the future.
    """
    from vibetrend.errors import LogbookError

    today = dt.date.today()
    if date is not None and date > today:
        raise LogbookError(
            f"the date {date} is in the future; correct --date, or set this computer's clock, "
            f"which says {today}"
        )
    return date or today


def recording_options(command: Command) -> Command:
    """Add what can be stated about a recording."""
    for option in reversed(_RECORDING):
        command = option(command)
    return command


def _choice(*choices: str) -> click.Choice[str]:
    return click.Choice(choices)


PERSON = click.option("--person", default="", help="Who did it.")
NOTE = click.option("--note", default="", help="What else is to be known, one line.")
UNIT = click.option("--unit", help="Of a number that has none behind it.")
END_PLAY = click.option(
    "--end-play-held/--no-end-play-held",
    default=None,
    help="Whether the crank was held to one side; matters for a face.",
)
DAY = click.option("--date", type=Date(), help="Day it was done.  [default: today]")
PAPER = click.Choice(["A4", "Letter"], case_sensitive=False)
_READING = [
    DAY,
    click.option("--instrument", default="", help="What it was measured with."),
    click.option(
        "--resolution",
        type=Amount("0.01 mm", unit_needed=False),
        help="Its finest division, in the reading's unit or with a unit of its own.",
    ),
    PERSON,
    NOTE,
]
_RECORDING = [
    click.option(
        "--rpm", type=float, help="Engine speed as the gauge showed it; of a sweep, at its start."
    ),
    click.option("--end-rpm", type=float, help="Engine speed at the end of a sweep."),
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
        type=Place(),
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


def print_json(value: Any, *, indent: int | None = 2) -> None:
    """Print a value as JSON; what JSON cannot hold must not get here. No indent: on one line."""
    text = json.dumps(value, indent=indent, ensure_ascii=False, allow_nan=False)
    # Letters that stdout lacks are written as JSON writes them in ASCII: nothing is lost.
    click.echo(text if shows(text) else json.dumps(value, indent=indent, allow_nan=False))
