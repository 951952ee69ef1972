"""``vibetrend status``: where each engine stands."""

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vibetrend.cli.options import json_option, logbook_option, opened, print_json
from vibetrend.cli.terminal import coloured, complain, tell, wrapped

if TYPE_CHECKING:
    from vibetrend.checkup.records import EngineRecord

_EXIT_CODES = {
    "record-again": 3,
    "another-day": 3,
    "all-moved": 3,
    "changed": 4,
    "past-limit": 5,
}
_OVERDUE = 4


@click.command()
@click.option("--engine", "name", help="Only this engine.  [default: all]")
@click.option("--all", "every", is_flag=True, help="Every order in the charts.")
@logbook_option
@json_option
@click.pass_context
def status(
    ctx: click.Context,
    /,
    name: str | None,
    every: bool,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Say where each engine stands.

    Whether all is as it was entered is checked too, the originals apart.

    \b
    Example: vibetrend status --engine main
    """
    from vibetrend.checkup.corrected import how_kept, not_as_entered
    from vibetrend.checkup.standing import standing, to_json
    from vibetrend.cli.standing_words import standing_words
    from vibetrend.settings import shown_units

    today = dt.date.today()
    with opened(logbook) as book:
        kept = how_kept(book)
        records = standing(book, [name] if name else None, today=today, tell=complain)
    if as_json:
        print_json(to_json(records, kept))
        ctx.exit(exit_code(records))
    if wrong := not_as_entered(kept):
        click.echo("\n".join(coloured(line, "overdue") for line in wrapped(wrong)) + "\n")
    if records:
        click.echo(standing_words(records, today=today, shown=shown_units(), every=every))
    else:
        tell("No engine yet. Next: vibetrend engine new")
    ctx.exit(exit_code(records))


def exit_code(records: "Sequence[EngineRecord]") -> int:
    """Return the highest exit code that states and renewals ask for."""
    codes = [_EXIT_CODES.get(record.status["state"], 0) for record in records]
    overdue = any(record.status["renewal"]["state"] == "overdue" for record in records)
    return max([*codes, _OVERDUE if overdue else 0])
