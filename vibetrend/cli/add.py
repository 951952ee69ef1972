"""``vibetrend add``: keep recordings and say where the engine stands."""

import datetime as dt
from operator import attrgetter
from pathlib import Path
from typing import Any

import click

from vibetrend.cli.asking import asking
from vibetrend.cli.options import (
    Date,
    Place,
    engine_option,
    json_option,
    logbook_option,
    opened,
    print_json,
    recording_options,
    stated,
)
from vibetrend.cli.terminal import cleared, complain, following, saying, wrapped

_BEFORE = (
    "Kept as the damper before: not judged, but shown beside the baseline taken in the same way."
)


@click.command()
@click.argument("files", nargs=-1, required=True, type=Place())
@engine_option
@click.option("--hours", type=float, help="What the hour meter shows.")
@click.option("--date", type=Date(), help="Day of the recording.  [default: its own, else today]")
@click.option("--baseline", is_flag=True, help="Belongs to the baseline; three complete days.")
@click.option("--before", is_flag=True, help="Of the damper before: kept to compare, not judged.")
@click.option("--visit", help="The check-up it belongs to.  [default: the date]")
@click.option("--position", help="Where the phone or sensor was.")
@click.option("--device", help="Which phone or sensor.")
@click.option("--condition", help='How the engine was, e.g. "warm, out of gear".')
@click.option("--keep-location", is_flag=True, help="Keep where a phone says it was.")
@recording_options
@logbook_option
@json_option
@click.pass_context
def add(
    ctx: click.Context,
    /,
    files: tuple[Path, ...],
    name: str,
    baseline: bool,
    before: bool,
    visit: str | None,
    keep_location: bool,
    logbook: Path | None,
    as_json: bool,
    **values: Any,
) -> None:
    """Add recordings to the logbook and say where the engine stands.

    At a terminal it asks for what is missing. What is stated of the circumstances (other
    engine, loads, temperatures) holds for the whole check-up. A location that a phone put into
    the file is not kept.

    \b
    Example: vibetrend add 1.csv 2.csv 3.csv --engine main --rpm 1060 --hours 3310
    """
    from vibetrend.checkup.adding import add_file
    from vibetrend.checkup.standing import standing, to_json
    from vibetrend.cli.standing_words import earlier_words, filed_words, standing_words
    from vibetrend.cli.status import exit_code
    from vibetrend.cli.words import added_words
    from vibetrend.errors import VibetrendError
    from vibetrend.settings import shown_units

    if baseline and before:
        raise click.UsageError("--baseline and --before exclude each other")
    today = dt.date.today()
    options = stated(values)
    complete = None if as_json else asking()
    added = []
    failed = False
    with opened(logbook) as book:
        book.engine(name)
        for path in following(files, "measuring", attrgetter("name"), quiet=as_json):
            try:
                entry = add_file(
                    book,
                    path,
                    engine_name=name,
                    today=today,
                    visit=visit,
                    baseline=baseline,
                    before=before,
                    keep_location=keep_location,
                    complete=complete,
                    **options,
                )
            except VibetrendError as error:
                complain(error)
                failed = True
                continue
            added.append(entry)
            if not as_json:
                cleared()
                click.echo(added_words(entry))
        with saying("judging", quiet=as_json):
            records = standing(book, [name], today=today, tell=complain)
    if as_json:
        print_json({"added": [entry.to_dict() for entry in added], "status": to_json(records)})
    elif added:
        filed = {entry.kept.series_id for entry in added if not entry.kept.before}
        told = [filed_words(records[0], filed) if filed else _BEFORE]
        # Of what was there already, `added_words` has said it.
        hints = [each.remark for each in added if each.measurement is not None and each.remark]
        told += ["\n".join(wrapped(hint)) for hint in dict.fromkeys(hints)]
        if filed - {one.info["id"] for one in records[0].series}:
            told.append(earlier_words(records[0]))
        words = "\n".join(each for each in told if each)
        click.echo(f"\n{words}\n\n{standing_words(records, today=today, shown=shown_units())}")
    ctx.exit(1 if failed else exit_code(records))
