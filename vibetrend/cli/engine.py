"""``vibetrend engine``: describe the engines that are looked after."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibetrend.cli.engine_new import new
from vibetrend.cli.options import Place, json_option, logbook_option, opened, print_json
from vibetrend.cli.terminal import plain, tell, typed

if TYPE_CHECKING:
    from vibetrend.engine import Engine


@click.group()
def engine() -> None:
    """Describe the engines that are looked after.

    \b
    Example: vibetrend engine show main
    """


engine.add_command(new)


@engine.command()
@click.argument("file", type=Place())
@logbook_option
@json_option
def add(file: Path, logbook: Path | None, as_json: bool) -> None:
    """Keep an engine file in the logbook; a known name is updated.

    \b
    Example: vibetrend engine add engine.toml
    """
    from vibetrend.engine import Engine, read_text

    text = read_text(file)
    described = Engine.parse(text, where=str(file))
    with opened(logbook) as book:
        what = book.put_engine(text, described)
    if as_json:
        print_json({"name": described.name, "result": what})
        return
    after = {
        "added": f"Next: vibetrend installation start --engine {typed(described.name)} "
        f"--date YYYY-MM-DD --hours N",
        "updated": "Installations already started keep the description they were started with.",
        "unchanged": "The logbook had the same description.",
    }
    tell(f"Engine {described.name}: {what}. {after[what]}")


@engine.command("list")
@logbook_option
@json_option
def list_engines(logbook: Path | None, as_json: bool) -> None:
    """List the engines in the logbook.

    \b
    Example: vibetrend engine list
    """
    with opened(logbook) as book:
        names = book.engine_names()
    if as_json:
        print_json({"engines": names})
    elif names:
        click.echo("\n".join(map(plain, names)))
    else:
        tell("No engine yet. Next: vibetrend engine new")


@engine.command()
@click.argument("name")
@click.option("--file", "as_file", is_flag=True, help="Print its file as it was written.")
@logbook_option
@json_option
def show(name: str, as_file: bool, logbook: Path | None, as_json: bool) -> None:
    """Show an engine of the logbook, or of an engine file, and the orders to expect of it.

    \b
    Example: vibetrend engine show main
    """
    from vibetrend.cli.engine_words import engine_words
    from vibetrend.engine import Engine, read_text

    if name.endswith(".toml") or ("/" in name and Path(name).is_file()):
        text = read_text(name)
        described = Engine.parse(text, where=name)
    else:
        with opened(logbook) as book:
            described, text = book.engine(name), book.engine_text(name)
    if as_json:
        print_json(_as_json(described))
    elif as_file:
        click.echo(text, nl=False)
    else:
        click.echo(engine_words(described))


def _as_json(described: "Engine") -> dict[str, Any]:
    from dataclasses import asdict

    from vibetrend.engine.expected import expected_orders
    from vibetrend.engine.firing import firing
    from vibetrend.engine.recording_speed import recording_speed

    return {
        **described.model_dump(mode="json"),
        "firing": asdict(firing(described)),
        "expected_orders": [asdict(each) for each in expected_orders(described)],
        "recording_speed": asdict(recording_speed(described)),
    }
