"""``vibetrend work``: what was done to an engine and may have moved levels for good."""

import datetime as dt
from pathlib import Path

import click

from vibetrend.cli.options import Date, engine_option, json_option, logbook_option, print_json

_KINDS = ("mounts", "injectors", "belt", "alignment", "overhaul", "lay-up", "exhaust", "other")


_NEXT = (
    "Next: take a new baseline: three days of three placements each, phone off and on in between, "
    "added with --baseline."
)
_PAST = (
    "Other work or a newer damper is known after it, and {} now between the two. No baseline can "
    "be taken for that time any more: only the step across this work is left to see."
)
_NOTHING_BETWEEN = (
    "Other work or a newer damper is known after it and no recording lies between the two: nothing "
    "else changes."
)


@click.group()
def work() -> None:
    """Enter work that may have moved levels for good: comparison begins anew after it."""


@work.command()
@engine_option
@click.option("--date", "date", type=Date(), required=True, help="Day it was done.")
@click.option("--hours", type=click.FloatRange(min=0), required=True, help="Hour meter then.")
@click.option(
    "--what",
    type=click.Choice(_KINDS),
    required=True,
    help="What was renewed, moved or taken apart; a lay-up is the engine standing for months.",
)
@click.option("--note", default="", help="What exactly was done.")
@logbook_option
@json_option
def add(
    name: str,
    date: dt.date,
    hours: float,
    what: str,
    note: str,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Enter work on an engine; what was recorded since is no longer compared with before.

    A new damper is not work but an installation. Series from before the work keep their last
    verdict, and the step across it is shown once there are recordings after it.

    It may be entered late: recordings of a later date, or of more hours on its date, are filed
    after it. Recordings of the same date and hours as the work lie before it if they were added
    before it was entered, else after it: so add the check-up, then enter the work.

    \b
    Example: vibetrend work add --engine main --date 2027-03-01 --hours 4200 --what mounts
    """
    from vibetrend.errors import LogbookError
    from vibetrend.logbook import Logbook
    from vibetrend.settings import logbook_folder

    if date > dt.date.today():
        raise LogbookError(f"the date {date} is in the future; correct --date")
    with Logbook.open(logbook_folder(logbook)) as book:
        done = book.add_work(name, date=date, hours=hours, what=what, note=note)
    if as_json:
        told = {"date": date.isoformat(), "hours": hours, "what": done.what, "note": done.note}
        print_json({"engine": name, **told, "duplicate": done.duplicate})
    elif done.duplicate:
        click.echo(f"In the logbook already: {what} on {name}, {date}, {hours:g} h.")
    else:
        click.echo(f"Work on {name}: {what}, {date}, {hours:g} h.")
        if done.until_next is not None:
            moved = f"{done.until_next} recording{'s lie' if done.until_next > 1 else ' lies'}"
            click.echo(_PAST.format(moved) if done.until_next else _NOTHING_BETWEEN)
            return
        if done.ends_some:
            click.echo("What was recorded before is ended: its last verdict stays to be read.")
        click.echo(_NEXT)


@work.command("list")
@engine_option
@logbook_option
@json_option
def list_work(name: str, logbook: Path | None, as_json: bool) -> None:
    """List the work on an engine, on every damper it had.

    \b
    Example: vibetrend work list --engine main
    """
    from vibetrend.logbook import Logbook
    from vibetrend.settings import logbook_folder

    with Logbook.open(logbook_folder(logbook)) as book:
        works = book.work(name)
    if as_json:
        rows = [
            {"date": each.date.isoformat(), "hours": each.hours, "what": each.what,
             "note": each.note}
            for each in works
        ]  # fmt: skip
        print_json({"engine": name, "work": rows})
    elif works:
        for each in works:
            note = f": {each.note}" if each.note else ""
            click.echo(f"{each.date}  {each.hours:g} h  {each.what}{note}")
    else:
        click.echo("No work yet. Enter it with: vibetrend work add")
