"""``vibetrend watch``: add what arrives in a folder, and tell of changes."""

import datetime as dt
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibetrend.cli.options import (
    Place,
    json_option,
    logbook_option,
    print_json,
    recording_options,
    stated,
)
from vibetrend.cli.terminal import tell

if TYPE_CHECKING:
    from vibetrend.watch.events import Event
    from vibetrend.watch.memory import Memory


@click.command()
@click.argument("folder", metavar="DIR", type=Place())
@click.option("--engine", "name", help="Name of the engine.  [default: as folder.toml says]")
@click.option(
    "--every",
    type=click.FloatRange(min=0.05, max=3600),
    default=5,
    show_default=True,
    help="Seconds between looks.",
)
@click.option("--once", is_flag=True, help="Add what is there, then stop.")
@click.option("--list", "only_list", is_flag=True, help="Only list what was set aside, and why.")
@click.option("--run", help="Command to run when a state changes.")
@click.option("--mail", is_flag=True, help="Send a mail when a state changes.")
@click.option("--baseline", is_flag=True, help="All belongs to the baseline.")
@click.option("--position", help="Where the phone or sensor was.")
@click.option("--device", help="Which phone or sensor.")
@click.option("--condition", help='How the engine was, e.g. "warm, out of gear".')
@recording_options
@logbook_option
@json_option
@click.pass_context
def watch(
    ctx: click.Context,
    /,
    folder: Path,
    name: str | None,
    every: float,
    once: bool,
    only_list: bool,
    run: str | None,
    mail: bool,
    baseline: bool,
    logbook: Path | None,
    as_json: bool,
    **values: Any,
) -> None:
    """Watch a folder that a phone syncs into: add what arrives, say where the engine stands.

    \b
    Example: vibetrend watch phone --engine main --device "my phone"

    A recording is added when it has stopped growing for two looks, and without a side file
    (clip.toml for clip.csv) two looks later, because that may arrive after it. Rpm and hours
    must be stated by the side file, the table, the file's name or DIR/folder.toml:

    \b
      engine = "main"
      position = "front casting, port side"
      device = "my phone"

    That file may hold all keys of a side file, and counts least: options, side file, table,
    name and the file's own date come before it. (What says how to read, such as unit, overrules
    the table there too.) A folder in DIR may have a folder.toml of its own. Folders are looked
    into four deep; links and hidden or unfinished files are not.

    No file is ever moved, changed or deleted. What cannot be read is said once and tried again
    when it, its side file, folder.toml or the options change. A recording is added once, however
    often the watch is stopped and started. A change of state is told once, also one that came
    while nobody watched.

    --run COMMAND is run without a shell, for 60 s at most, and finds in its environment
    VIBETREND_ENGINE, VIBETREND_STATE, VIBETREND_STATE_BEFORE, VIBETREND_RENEWAL,
    VIBETREND_RENEWAL_BEFORE, VIBETREND_SUBJECT (one line) and VIBETREND_TEXT. --mail takes
    server and addresses from the table [mail] of your settings, and keeps what cannot be sent.

    With --json every event is one line.
    """
    from vibetrend.cli.standing_words import standing_words
    from vibetrend.cli.status import exit_code
    from vibetrend.logbook import Logbook
    from vibetrend.settings import logbook_folder, mail_settings, shown_units
    from vibetrend.watch.alone import alone
    from vibetrend.watch.command import CommandError, split
    from vibetrend.watch.intake import Filing, Intake
    from vibetrend.watch.memory import Memory
    from vibetrend.watch.messenger import Messenger
    from vibetrend.watch.watcher import Watcher

    place = logbook_folder(logbook)
    # The same folder, however it is named; it may be on a drive that is not there now.
    folder = folder.resolve()
    if only_list:
        _list(Memory.load(place, folder)[0], as_json)
        return
    try:
        split(run) if run is not None else None
    except CommandError as error:
        raise click.UsageError(f"--run: {error}") from error
    Logbook.open(place).close()
    with alone(Memory.place(place, folder).with_suffix(".lock")):
        memory, lost = Memory.load(place, folder)
        filing = Filing(engine=name, baseline=baseline, options=stated(values))
        intake = Intake(memory, filing, clock=time.monotonic)
        watcher = Watcher(
            folder,
            memory,
            logbook=place,
            intake=intake,
            messenger=Messenger(
                memory,
                run=run,
                mail_settings=mail_settings() if mail else None,
                clock=time.monotonic,
            ),
            words=lambda record: standing_words(
                [record], today=dt.date.today(), shown=shown_units()
            ),
            clock=time.monotonic,
            now=lambda: dt.datetime.now().astimezone(),
        )
        watcher.start()
        tell(f"Watching {folder}, a look every {every:g} s. Ctrl-C ends it.", err=True)
        if lost:
            tell("What was read before is not remembered: all is looked at again.", err=True)
        while True:
            for event in watcher.poll():
                _tell(event, as_json)
            if once and (watcher.idle or watcher.blocked):
                break
            time.sleep(every)
    ctx.exit(1 if intake.failed or watcher.blocked else exit_code(watcher.records))


def _tell(event: "Event", as_json: bool) -> None:
    from vibetrend.cli.standing_words import filed_words, short_words, standing_words
    from vibetrend.cli.words import added_words
    from vibetrend.logbook.hours import in_words
    from vibetrend.report.words import STATE_WORDS
    from vibetrend.settings import shown_units
    from vibetrend.watch.events import Changed, Kept, Remark, SetAside, Stands

    if as_json:
        print_json(event.to_dict(), indent=None)
        return
    match event:
        case Kept(added=added):
            click.echo(added_words(added))
            if added.measurement is not None:
                at = in_words(added.kept.hours, added.kept.meter_hours)
                tell(f"{added.kept.date}, {at}", indent="  ")
                if added.remark:
                    tell(added.remark, indent="  ", hanging="  ")
        case SetAside(reason=reason, again=again):
            tell(f"set aside: {reason}{' (it is tried again)' if again else ''}")
        case Remark(message=message):
            tell(message)
        case Stands(records=records, filed=filed) if filed:
            told = [filed_words(record, filed) for record in records]
            told.append(standing_words(records, today=dt.date.today(), shown=shown_units()))
            click.echo("\n" + "\n\n".join(words for words in told if words) + "\n")
        case Stands(records=records) if records:
            click.echo(short_words(records))
        case Changed(notice=notice):
            before = STATE_WORDS.get(notice.before.state, "")
            was = f" (before: {before.lower()})" if before else ""
            tell(f"CHANGE of state: {notice.subject}{was}")


def _list(memory: "Memory", as_json: bool) -> None:
    aside = memory.set_aside()
    if as_json:
        print_json(
            {
                "kept": sum(seen.became == "kept" for seen in memory.files.values()),
                "set_aside": [{"path": name, "reason": why} for name, why in aside.items()],
            }
        )
    else:
        for reason in aside.values():
            tell(reason)
        if not aside:
            tell("Nothing was set aside.")
