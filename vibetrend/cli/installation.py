"""``vibetrend installation``: a damper's time on an engine, and the record of how it was fitted."""

import datetime as dt
from pathlib import Path
from typing import Any

import click

from vibetrend.cli.installation_damper import casing, fluid, mark
from vibetrend.cli.installation_readings import belt, bolt, keep_and_tell, runout
from vibetrend.cli.options import (
    DAY,
    NOTE,
    PERSON,
    Date,
    Place,
    day,
    engine_option,
    json_option,
    logbook_option,
    opened,
    print_json,
)
from vibetrend.cli.terminal import complain, tell, typed

_POINTS = ("clean", "pulled-on", "timing-mark", "ring-mark", "clearance", "warm-recheck")


@click.group()
def installation() -> None:
    """Keep the installation record: one damper's time on an engine.

    \b
    start    the damper goes on: date, hours, part, serial, who
    runout, bolt, belt, mark, casing, fluid    what was measured
    check, photo, note    what was seen
    compare, show    how it stands, then and now
    finish   the job is closed; readings may be added afterwards

    \b
    Example: vibetrend installation check clean --engine main
    """


for command in (runout, bolt, belt, mark, casing, fluid):
    installation.add_command(command)


@installation.command()
@engine_option
@click.option("--date", "date", type=Date(), required=True, help="Day of the job.")
@click.option("--hours", type=click.FloatRange(min=0), required=True, help="Hour meter then.")
@click.option("--as-found", is_flag=True, help="The damper was there before: its age is unknown.")
@click.option("--part", default="", help="Part number of the damper.")
@click.option("--serial", default="", help="Its serial number.")
@click.option("--made-on", type=Date(), help="Day it was made, as stamped on it.")
@click.option(
    "--counts-from",
    type=click.Choice(["made", "fitted"]),
    help="From when the maker's years count: rubber ages on the shelf.  [default: fitted]",
)
@click.option("--who", default="", help="Who fitted it.")
@click.option("--notes", default="", help="What else is to be known, one line.")
@logbook_option
@json_option
def start(
    name: str,
    date: dt.date,
    hours: float,
    as_found: bool,
    logbook: Path | None,
    as_json: bool,
    **details: Any,
) -> None:
    """Begin the time of a new damper; every baseline belongs to one.

    The same again with --part, --serial and so on adds these to it.

    \b
    Example: vibetrend installation start --engine main --date 2026-05-01
               --hours 3120
    """
    from vibetrend.checkup import installing
    from vibetrend.cli.installation_words import ISOLATE, hours_words

    day(date)
    with opened(logbook) as book:
        begun = installing.start(book, name, date=date, hours=hours, as_found=as_found, **details)
    one = begun.installation
    if as_json:
        print_json(
            {
                "engine": name,
                "date": one.date.isoformat(),
                "hours": one.hours,
                "meter_hours": one.meter_hours,
                "as_found": one.as_found,
                "duplicate": begun.duplicate,
                "ends": begun.ends and begun.ends.date.isoformat(),
                "changed": list(begun.changed),
                "details": begun.record.to_dict()["details"],
            }
        )
        return
    what = "as found" if one.as_found else "new damper"
    known = "In the logbook already: installation" if begun.duplicate else "Installation"
    tell(f"{known} on {name} ({what}): {one.date}, {hours_words(one)}.")
    if begun.ends:
        tell(
            f"It ends the time of the damper of {begun.ends.date}, {hours_words(begun.ends)}; that "
            f"one's record stays."
        )
    for each in begun.changed:
        tell(each)
    when = "take" if one.as_found else "when the belt is re-tensioned after run-in, take"
    following = (
        f"Next: enter what is measured and seen (vibetrend installation --help), and {when} the "
        f"baseline: three days of three placements each, phone off and on in between, added with "
        f"--baseline."
    )
    tell(following)
    tell(ISOLATE)


@installation.command()
@engine_option
@click.argument("item", metavar="ITEM", type=click.Choice(_POINTS))
@click.option("--done/--not-done", default=True, help="Whether it was done.  [default: done]")
@DAY
@PERSON
@NOTE
@logbook_option
@json_option
def check(
    name: str,
    item: str,
    done: bool,
    date: dt.date | None,
    person: str,
    note: str,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Note a point of the checklist as done, or as not done.

    \b
    clean         crank nose, key and seal sleeve are clean and not worn
    pulled-on     it was pulled on with the proper tool, no hammer
    timing-mark   checked against top dead centre
    ring-mark     a mark across ring and hub was made or noted
    clearance     all round, when turned by hand
    warm-recheck  bolts, belts and run-out again after the first warm run

    \b
    Example: vibetrend installation check clean --engine main
    """
    from vibetrend.installation import check_content

    content = check_content(item, done, note, person)
    keep_and_tell("check", content, name=name, date=date, logbook=logbook, as_json=as_json)


@installation.command()
@engine_option
@click.argument("text")
@DAY
@PERSON
@logbook_option
@json_option
def note(
    name: str, text: str, date: dt.date | None, person: str, logbook: Path | None, as_json: bool
) -> None:
    """Write a remark into the record.

    \b
    Example: vibetrend installation note "old damper kept ashore" --engine main
    """
    from vibetrend.installation import note_content

    content = note_content(text, person)
    keep_and_tell("note", content, name=name, date=date, logbook=logbook, as_json=as_json)


@installation.command()
@engine_option
@click.argument("files", nargs=-1, required=True, type=Place())
@click.option("--caption", default="", help="What it shows, one line.")
@click.option("--date", type=Date(), help="Day it was taken.  [default: the camera's, else today]")
@PERSON
@click.option("--keep-location", is_flag=True, help="Keep where it was taken.")
@logbook_option
@json_option
@click.pass_context
def photo(
    ctx: click.Context,
    /,
    name: str,
    files: tuple[Path, ...],
    date: dt.date | None,
    logbook: Path | None,
    as_json: bool,
    **beside: Any,
) -> None:
    """Keep photos like originals; where they were taken is not kept.

    JPEG, PNG, WebP, AVIF or HEIC, up to 40 MB each. A camera's date counts where it lies within
    this damper's time.

    \b
    Example: vibetrend installation photo rim.jpg --engine main
               --caption "dial on the rim"
    """
    from vibetrend.checkup import installing
    from vibetrend.cli.installation_words import kept_words
    from vibetrend.errors import VibetrendError
    from vibetrend.settings import shown_units

    today = dt.date.today()
    stated = None if date is None else day(date)
    shown = shown_units()
    kept = []
    failed = False
    with opened(logbook) as book:
        book.engine(name)
        for path in files:
            try:
                kept.append(
                    installing.add_photo(book, name, path, today=today, date=stated, **beside)
                )
            except VibetrendError as error:
                complain(error)
                failed = True
    if as_json:
        print_json({"added": [each.to_dict(shown) for each in kept]})
    else:
        for each in kept:
            click.echo(kept_words(each, shown))
    ctx.exit(1 if failed else 0)


@installation.command("compare")
@engine_option
@click.option("--surface", required=True, help="First and latest reading of it: then and now.")
@click.option("--with", "other", help="The latest of both surfaces instead, e.g. hub and ring.")
@click.option("--date", type=Date(), help="Of the damper on the engine then.  [default: today]")
@logbook_option
@json_option
def compare_readings(
    name: str,
    surface: str,
    other: str | None,
    date: dt.date | None,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Compare two sets of run-out: what moved, how far, at which angle.

    \b
    Example: vibetrend installation compare --engine main --surface rim
    """
    from vibetrend.checkup.dampers import compare
    from vibetrend.cli.installation_words import compared_words
    from vibetrend.installation import moved_sentence
    from vibetrend.installation.as_json import as_json as plain
    from vibetrend.settings import shown_units

    shown = shown_units()
    with opened(logbook) as book:
        moved = compare(book, name, surface=surface, other=other, date=day(date))
    if as_json:
        dates = [moved.first.date.isoformat(), moved.second.date.isoformat()]
        print_json(
            {"engine": name, "name": moved.name, "dates": dates}
            | {**plain(moved.change), "sentence": moved_sentence(moved, shown)}
        )
    else:
        click.echo(compared_words(moved, shown))


@installation.command()
@engine_option
@logbook_option
@json_option
def show(name: str, logbook: Path | None, as_json: bool) -> None:
    """Show the record of every damper the engine had, the latest last.

    \b
    Example: vibetrend installation show --engine main
    """
    from vibetrend.checkup.dampers import record_json, records
    from vibetrend.cli.installation_words import record_words
    from vibetrend.settings import shown_units

    shown = shown_units()
    with opened(logbook) as book:
        every = records(book, name)
    if as_json:
        told = [record_json(one, record, shown) for one, record in every]
        print_json({"engine": name, "installations": told})
    elif every:
        click.echo(record_words(name, every, shown))
    else:
        tell(
            f"No installation on {name} yet. Next: vibetrend installation start "
            f"--engine {typed(name)} --date YYYY-MM-DD --hours N"
        )


@installation.command()
@engine_option
@DAY
@PERSON
@NOTE
@logbook_option
@json_option
def finish(
    name: str,
    date: dt.date | None,
    person: str,
    note: str,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Close the job; what the record lacks is said and kept, and may be added afterwards.

    \b
    Example: vibetrend installation finish --engine main --person "A. Example"
    """
    from vibetrend.checkup import installing
    from vibetrend.cli.installation_words import finish_words, next_step
    from vibetrend.settings import shown_units

    with opened(logbook) as book:
        done = installing.finish(book, name, date=day(date), person=person, note=note)
    if as_json:
        print_json(done.to_dict(shown_units()) | {"next": next_step(done)})
    else:
        click.echo(finish_words(done))
