"""``vibetrend work``: what was done to an engine and may have moved levels for good."""

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibetrend.cli.options import (
    Date,
    day,
    engine_option,
    json_option,
    logbook_option,
    opened,
    print_json,
)
from vibetrend.cli.terminal import columns, tell

if TYPE_CHECKING:
    from vibetrend.logbook import Work

_KINDS = (
    "mounts", "injection", "belt", "driven-part", "alignment", "overhaul", "lay-up", "exhaust",
    "other",
)  # fmt: skip
_LEAST = 12  # columns for what was done; with less it follows the hours
_ALSO_CALLED = {"injectors": "injection"}


class _Kind(click.Choice[str]):
    """A kind of work, by a name it once had too."""

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the kind; anything else is wrong usage."""
        return super().convert(_ALSO_CALLED.get(value, value), param, ctx)


_NEXT = (
    "Next: take a new baseline: three days of three placements each, phone off and on in between, "
    "added with --baseline."
)
_ENDED = "What was recorded before is ended: its last verdict stays to be read."
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
    """Enter work that may have moved levels for good: comparison begins anew after it.

    \b
    Example: vibetrend work list --engine main
    """


@work.command()
@engine_option
@click.option("--date", "date", type=Date(), required=True, help="Day it was done.")
@click.option("--hours", type=click.FloatRange(min=0), required=True, help="Hour meter then.")
@click.option(
    "--what",
    type=_Kind(_KINDS),
    metavar="KIND",
    required=True,
    help="What was renewed, moved or taken apart: mounts; injection (pump, nozzles, pipes); belt; "
    "driven-part (alternator, pump); alignment of the shaft; overhaul; lay-up, the engine standing "
    "for months; exhaust; other.",
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
    Example: vibetrend work add --engine main --date 2027-03-01 --hours 4200
               --what mounts
    """
    from vibetrend.logbook.hours import in_words

    day(date)
    with opened(logbook) as book:
        done = book.add_work(name, date=date, hours=hours, what=what, note=note)
    at = f"{date}, {in_words(done.hours, done.meter_hours)}"
    if as_json:
        print_json({"engine": name, **_json(done), "duplicate": done.duplicate})
    elif done.duplicate:
        tell(f"In the logbook already: {what} on {name}, {at}.")
    else:
        tell(f"Work on {name}: {what}, {at}.")
        if done.until_next is not None:
            moved = f"{done.until_next} recording{'s lie' if done.until_next > 1 else ' lies'}"
            tell(_PAST.format(moved) if done.until_next else _NOTHING_BETWEEN)
            return
        if done.ends_some:
            tell(_ENDED)
        tell(_NEXT)


@work.command("list")
@engine_option
@logbook_option
@json_option
def list_work(name: str, logbook: Path | None, as_json: bool) -> None:
    """List the work on an engine, on every damper it had.

    \b
    Example: vibetrend work list --engine main
    """
    from vibetrend.logbook.hours import in_words

    with opened(logbook) as book:
        works = book.work(name)
    if as_json:
        print_json({"engine": name, "work": [_json(each) for each in works]})
    elif works:
        at = [in_words(each.hours, each.meter_hours) for each in works]
        wide = max(map(len, at))
        for each, hours in zip(works, at, strict=True):
            done = f"{each.what}: {each.note}" if each.note else each.what
            first = f"{each.date}  {hours:<{wide}}  "
            if columns() - len(first) < _LEAST:
                done, first = f"{hours}, {done}", f"{each.date}  "
            tell(done, indent=first, hanging=" " * len(first))
    else:
        tell("No work yet. Enter it with: vibetrend work add")


def _json(work: "Work") -> dict[str, Any]:
    """Return the JSON form; `hours` are true engine hours."""
    return {
        "date": work.date.isoformat(),
        "hours": work.hours,
        "meter_hours": work.meter_hours,
        "what": work.what,
        "note": work.note,
    }
