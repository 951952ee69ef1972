"""``vibetrend meter``: the log of an engine's hour meter."""

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibetrend.cli.options import (
    NOTE,
    Date,
    day,
    engine_option,
    json_option,
    logbook_option,
    opened,
    print_json,
)
from vibetrend.cli.terminal import tell, typed

if TYPE_CHECKING:
    from vibetrend.logbook import MeterEntry

_HOURS = click.FloatRange(min=0)
_DATE = click.option("--date", type=Date(), help="Day it was read or changed.  [default: today]")


@click.group()
def meter() -> None:
    """Keep the hour meter's log: readings, a new meter, a roll-over.

    --hours everywhere is what the meter shows. True engine hours, which intervals and trends
    count by, come from this log: enter a change before anything that was read after it.

    \b
    Example: vibetrend meter read --engine main --hours 3340
    """


@meter.command()
@engine_option
@_DATE
@click.option("--hours", type=_HOURS, required=True, help="What the hour meter shows.")
@logbook_option
@json_option
def read(
    name: str, date: dt.date | None, hours: float, logbook: Path | None, as_json: bool
) -> None:
    """Enter what the hour meter shows.

    \b
    Example: vibetrend meter read --engine main --date 2026-06-01 --hours 3340
    """
    with opened(logbook) as book:
        entry = book.add_meter_reading(name, date=day(date), shown=hours)
    _tell(entry, name=name, as_json=as_json)


@meter.command()
@engine_option
@_DATE
@click.option("--before", type=_HOURS, required=True, help="What the old meter showed last.")
@click.option("--after", type=_HOURS, required=True, help="What the new one showed first.")
@NOTE
@logbook_option
@json_option
def replace(name: str, logbook: Path | None, as_json: bool, **change: Any) -> None:
    """Enter that the hour meter was replaced by another.

    \b
    Example: vibetrend meter replace --engine main --date 2026-06-01
               --before 3340 --after 0
    """
    _change("replaced", name=name, logbook=logbook, as_json=as_json, **change)


@meter.command("roll-over")
@engine_option
@_DATE
@click.option("--before", type=_HOURS, required=True, help="Its highest number, e.g. 9999.9.")
@click.option("--after", type=_HOURS, default=0, show_default=True, help="What came after it.")
@NOTE
@logbook_option
@json_option
def roll_over(name: str, logbook: Path | None, as_json: bool, **change: Any) -> None:
    """Enter that the hour meter went past its highest number and began anew.

    \b
    Example: vibetrend meter roll-over --engine main --date 2026-06-01
               --before 9999.9
    """
    _change("rolled-over", name=name, logbook=logbook, as_json=as_json, **change)


def _change(
    what: str,
    *,
    name: str,
    date: dt.date | None,
    logbook: Path | None,
    as_json: bool,
    **change: Any,
) -> None:
    with opened(logbook) as book:
        entry = book.change_meter(name, date=day(date), what=what, **change)
    _tell(entry, name=name, as_json=as_json)


@meter.command("list")
@engine_option
@logbook_option
@json_option
def list_meter(name: str, logbook: Path | None, as_json: bool) -> None:
    """List readings and changes of an engine's hour meter.

    \b
    Example: vibetrend meter list --engine main
    """
    with opened(logbook) as book:
        entries = book.meter(name)
    if as_json:
        print_json({"engine": name, "meter": [_json(each) for each in entries]})
    elif entries:
        for each in entries:
            note = f": {each.note}" if each.note else ""
            tell(f"{_words(each)}{note}", indent=f"{each.date}  ", hanging=" " * 12)
    else:
        tell("Nothing in the meter's log yet. Enter it with: vibetrend meter read")


def _tell(entry: "MeterEntry", *, name: str, as_json: bool) -> None:
    if as_json:
        print_json({"engine": name, **_json(entry), "duplicate": entry.duplicate})
    elif entry.duplicate:
        tell(f"In the log already: hour meter of {name}, {entry.date}, {_words(entry)}.")
    else:
        tell(f"Hour meter of {name}, {entry.date}: {_words(entry)}.")
        if entry.recounted:
            tell(
                f"Engine hours of what was entered before and made after it were corrected: "
                f"{entry.recounted}. 'vibetrend logbook list --engine {typed(name)}' shows them."
            )


def _json(entry: "MeterEntry") -> dict[str, Any]:
    read = {"meter_hours": entry.shown}
    changed = {"before": entry.shown, "after": entry.after, "note": entry.note}
    return {
        "date": entry.date.isoformat(),
        "what": entry.what,
        **(read if entry.after is None else changed),
        "hours": entry.hours,
    }


def _words(entry: "MeterEntry") -> str:
    from vibetrend.logbook.hours import in_words

    if entry.after is None:
        return in_words(entry.hours, entry.shown)
    what = entry.what.replace("-", " ")
    return f"{what} at {in_words(entry.hours, entry.shown)}, showing {entry.after:g} h then"
