"""``vibetrend engine``: describe the engines that are looked after."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from vibetrend.cli import asking
from vibetrend.cli.options import json_option, logbook_option, print_json

if TYPE_CHECKING:
    from vibetrend.engine import Engine

_ABOVE_0 = click.FloatRange(min=0, min_open=True)
_LIMIT_DB = click.FloatRange(min=1, max=60)
_SMALL = click.FloatRange(min=0, min_open=True, max=1000)


@click.group()
def engine() -> None:
    """Describe the engines that are looked after."""


@engine.command()
@click.argument("file", type=click.Path(path_type=Path))
@logbook_option
@json_option
def add(file: Path, logbook: Path | None, as_json: bool) -> None:
    """Keep an engine file in the logbook; a known name is updated.

    \b
    Example: vibetrend engine add engine.toml
    """
    from vibetrend.engine import Engine, read_text
    from vibetrend.logbook import Logbook
    from vibetrend.settings import logbook_folder

    text = read_text(file)
    described = Engine.parse(text, where=str(file))
    with Logbook.open(logbook_folder(logbook)) as book:
        what = book.put_engine(text, described)
    if as_json:
        print_json({"name": described.name, "result": what})
        return
    after = {
        "added": f"Next: vibetrend installation start --engine {described.name} "
        f"--date YYYY-MM-DD --hours N",
        "updated": "Installations already started keep the description they were started with.",
        "unchanged": "The logbook had the same description.",
    }
    click.echo(f"Engine {described.name}: {what}. {after[what]}")


_TEMPLATE = """\
# An engine file; `vibetrend engine add {file}` puts it into the logbook.
name = "{name}"
cylinders = {cylinders}
strokes = {strokes}                 # 4 or 2
fast_idle_rpm = {fast_idle_rpm:g}       # the speed you record at, warm and out of gear
# firing_order = [1, 5, 3, 6, 2, 4]
# rated_rpm = 2600
# The rise of an order that matters, dB (6.02, doubled, is a convention of this program), and the
# velocity below which an order does not matter, mm/s rms.
{limit}
{small}

# Parts driven by belt or gear: turns per turn of the crank.
# [[driven]]
# name = "alternator"
# ratio = 2.2

[damper]
type = "{damper}"          # rubber, viscous, other or unknown
# The maker's own figures; without them the program says that the interval is unknown.
# renew_hours = 4000
# renew_years = 6
"""


@engine.command()
@click.option("--name", prompt="Name of the engine", default="main")
@click.option("--cylinders", prompt="Cylinders", type=click.IntRange(1, 24))
@click.option(
    "--strokes",
    prompt="Four-stroke or two-stroke (4 or 2)",
    default="4",
    type=click.Choice(["4", "2"]),
)
@click.option("--fast-idle-rpm", prompt="Fast idle, rpm, at which you record", type=float)
@click.option(
    "--damper",
    prompt="Damper",
    default="unknown",
    type=click.Choice(["rubber", "viscous", "other", "unknown"]),
)
@click.option("--limit-db", type=_LIMIT_DB, help="Rise of an order that matters.  [default: 6.02]")
@click.option("--small-velocity", type=_SMALL, help="Below it an order does not matter, mm/s.")
@click.option(
    "--output",
    type=click.Path(path_type=Path),
    default=Path("engine.toml"),
    show_default=True,
    help="File to write; an existing one is never overwritten.",
)
def new(
    name: str,
    cylinders: int,
    strokes: str,
    fast_idle_rpm: float,
    damper: str,
    limit_db: float | None,
    small_velocity: float | None,
    output: Path,
) -> None:
    """Write an engine file by answering a few questions.

    \b
    Example: vibetrend engine new --name main --cylinders 6
    """
    from vibetrend.engine import Engine
    from vibetrend.errors import EngineError

    if limit_db is None:
        limit_db = _asked("Rise of an order that matters, dB (Enter for 6.02: doubled)", _LIMIT_DB)
    if small_velocity is None:
        small_velocity = _asked(
            "Velocity below which an order does not matter, mm/s (Enter: none)", _SMALL
        )
    text = _TEMPLATE.format(
        file=output, name=name.replace("\\", "\\\\").replace('"', '\\"'), cylinders=cylinders,
        strokes=strokes, fast_idle_rpm=fast_idle_rpm, damper=damper,
        limit=_line("limit_db", limit_db, "6.02"),
        small=_line("small_velocity_mm_s", small_velocity, "0.5"),
    )  # fmt: skip
    Engine.parse(text, where=str(output))
    try:
        with output.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise EngineError(f"{output} is there already; choose another with --output") from error
    except OSError as error:
        raise EngineError(
            f"{output}: cannot be written ({error.strerror}); choose another with --output"
        ) from error
    click.echo(f"Wrote {output}. Look it over, then: vibetrend engine add {output}")


def _asked(question: str, among: click.FloatRange) -> float | None:
    """Return a person's answer; None if there is nobody to ask, or no answer."""

    def number(text: str) -> float | None:
        return float(among(text)) if text else None

    if not asking.is_terminal():
        return None
    answer: float | None = click.prompt(question, default="", show_default=False, value_proc=number)
    return answer


def _line(key: str, value: float | None, example: str) -> str:
    return f"# {key} = {example}" if value is None else f"{key} = {value:g}"


@engine.command("list")
@logbook_option
@json_option
def list_engines(logbook: Path | None, as_json: bool) -> None:
    """List the engines in the logbook.

    \b
    Example: vibetrend engine list
    """
    from vibetrend.logbook import Logbook
    from vibetrend.settings import logbook_folder

    with Logbook.open(logbook_folder(logbook)) as book:
        names = book.engine_names()
    if as_json:
        print_json({"engines": names})
    elif names:
        click.echo("\n".join(names))
    else:
        click.echo("No engine yet. Next: vibetrend engine new")


@engine.command()
@click.argument("name")
@logbook_option
@json_option
def show(name: str, logbook: Path | None, as_json: bool) -> None:
    """Show an engine as the logbook describes it.

    \b
    Example: vibetrend engine show main
    """
    from vibetrend.logbook import Logbook
    from vibetrend.settings import logbook_folder

    with Logbook.open(logbook_folder(logbook)) as book:
        described, text = book.engine(name), book.engine_text(name)
    if as_json:
        print_json(described.model_dump(mode="json"))
        return
    click.echo(text.rstrip())
    click.echo(f"\n# Firing order {described.firing_order_number:g}: {_firing(described)}")


def _firing(described: "Engine") -> str:
    if described.fast_idle_rpm is None:
        return "state fast_idle_rpm to see its frequency"
    hertz = described.firing_order_number * described.fast_idle_rpm / 60
    return f"{hertz:.1f} Hz at {described.fast_idle_rpm:.0f} rpm"
