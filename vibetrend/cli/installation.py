"""``vibetrend installation``: a damper's time on an engine."""

import datetime as dt
from pathlib import Path

import click

from vibetrend.cli.options import Date, engine_option, json_option, logbook_option, print_json


@click.group()
def installation() -> None:
    """Keep the installation record: one damper's time on an engine."""


@installation.command()
@engine_option
@click.option("--date", "date", type=Date(), required=True, help="Day of the job.")
@click.option("--hours", type=click.FloatRange(min=0), required=True, help="Hour meter then.")
@click.option("--as-found", is_flag=True, help="The damper was there before: its age is unknown.")
@logbook_option
@json_option
def start(
    name: str, date: dt.date, hours: float, as_found: bool, logbook: Path | None, as_json: bool
) -> None:
    """Begin the time of a new damper; every baseline belongs to one.

    \b
    Example: vibetrend installation start --engine main --date 2026-05-01 --hours 3120
    """
    from vibetrend.errors import LogbookError
    from vibetrend.logbook import Logbook
    from vibetrend.settings import logbook_folder

    if date > dt.date.today():
        raise LogbookError(f"the date {date} is in the future; correct --date")
    with Logbook.open(logbook_folder(logbook)) as book:
        begun = book.start_installation(name, date=date, hours=hours, as_found=as_found)
    if as_json:
        print_json(
            {
                "engine": name,
                "date": begun.date.isoformat(),
                "hours": begun.hours,
                "as_found": begun.as_found,
            }
        )
        return
    what = "as found" if begun.as_found else "new damper"
    click.echo(
        f"Installation on {name} ({what}): {begun.date}, {begun.hours:g} h.\n"
        f"Next: when the belt is re-tensioned after run-in, take the baseline: three days of three "
        f"placements each, phone off and on in between, added with --baseline."
    )
