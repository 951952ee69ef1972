"""``vibetrend logbook``: check it, correct what was mistyped, copy it, measure it again."""

import getpass
import re
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import click

from vibetrend.cli.logbook_copies import backup, export, import_, restore
from vibetrend.cli.logbook_remeasure import remeasure
from vibetrend.cli.options import (
    Date,
    day,
    engine_option,
    json_option,
    logbook_option,
    opened,
    print_json,
)
from vibetrend.cli.terminal import cell, tell, width

_REASON = click.option("--reason", required=True, help="Why, for whoever reads it later.")
_PERSON = click.option("--person", help="Who says so.  [default: name of this account]")
_MARKS = {"baseline": (True, False), "before": (False, True), "none": (False, False)}


@click.group()
def logbook() -> None:
    """Check the logbook, correct what was mistyped, copy it, measure it again.

    Nothing that was entered is ever overwritten or deleted: a correction is an entry of its own,
    and what counted before stays to be read, here and in the report.

    \b
    Example: vibetrend logbook check
    """


@logbook.command()
@click.option("--printed", help="Hash on a report printed earlier: is it still in the chain?")
@click.option(
    "--clock-is-right",
    is_flag=True,
    help="Keep that this computer's clock is right although the newest entry lies in its future.",
)
@logbook_option
@json_option
@click.pass_context
def check(
    ctx: click.Context,
    printed: str | None,
    clock_is_right: bool,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Check that every entry and every original is as it was entered.

    Each entry carries a hash of itself and of the entry before, so one that was changed, taken
    out or slipped in is found. It proves that nothing was changed since a hash was written down
    elsewhere, as on a printed report: give that one with --printed. It does not prove that what
    was entered was true, nor when; and who can write the file could make the whole chain anew.

    Exit code 1 where anything is wrong.

    \b
    Example: vibetrend logbook check
    """
    from vibetrend.checkup.corrected import in_groups
    from vibetrend.logbook import accept_clock

    digits = "".join((printed or "").lower().split())
    if printed is not None and not re.fullmatch("[0-9a-f]{16,64}", digits):
        raise click.UsageError(
            f"--printed {printed!r} is no hash; give all 20 digits on the report"
        )
    with opened(logbook, make=False) as book:
        if clock_is_right and not accept_clock(book):
            tell("The clock is not behind the newest entry; nothing was changed.", err=True)
        found = book.check(printed=digits)
    if as_json:
        print_json({"clean": found.clean, **asdict(found)})
    else:
        for fault in found.faults:
            tell(fault, indent="Wrong: ", hanging="  ")
        if found.clean:
            tell(
                f"Clean: {found.entries} entries and {found.originals} originals, all as they "
                f"were entered."
            )
        else:
            tell(
                "Entries that are not named above are as they were entered. Restore a backup into "
                "an empty folder (vibetrend logbook restore) and compare; keep this one as it is."
            )
        for note in found.notes:
            tell(note, indent="Note: ", hanging="  ")
        if found.entries:
            tell(f"Hash of the newest entry: {in_groups(found.head)}")
    ctx.exit(0 if found.clean else 1)


@logbook.command("list")
@engine_option
@logbook_option
@json_option
def list_entries(name: str, logbook: Path | None, as_json: bool) -> None:
    """List every entry of an engine with its id, for correct and set-aside.

    \b
    Example: vibetrend logbook list --engine main
    """
    from vibetrend.checkup.corrected import entries_in_words

    lines = []
    # To the end of what may fail by damaged rows, which are then told as damage.
    with opened(logbook, make=False) as book:
        entries = entries_in_words(book, name)
        wide = max((width(each.id) for each in entries), default=0)
        for each in entries:
            hours = "" if each.hours is None else f"{each.hours:.0f} h"
            said = [each.about, *["corrected"] * each.corrected, *["set aside"] * each.set_aside]
            lines.append((f"{cell(each.id, wide)}  {each.date}  {hours:>7}  ", "; ".join(said)))
    if as_json:
        every = [
            asdict(replace(each, entry=None))
            | {"date": each.date.isoformat(), "entry": each.entry and each.entry.content}
            for each in entries
        ]
        print_json({"engine": name, "entries": every})
        return
    if not entries:
        tell("Nothing is entered of this engine yet.")
    for first, words in lines:
        tell(words, indent=first, hanging=" " * 4)


_ENTRIES = click.argument("entries", metavar="RECORDING...", nargs=-1, required=True)
_HOURS = click.FloatRange(min=0)
_DEGREES = click.FloatRange(-60, 250)


@logbook.command()
@_ENTRIES
@click.option("--hours", type=_HOURS, help="What the hour meter showed.")
@click.option("--date", type=Date(), help="Day it was recorded or done.")
@click.option("--rpm", type=click.FloatRange(1, 20_000), help="Speed; it is then measured again.")
@click.option("--end-rpm", type=click.FloatRange(1, 20_000), help="Of a sweep: speed at its end.")
@click.option("--coolant-c", type=_DEGREES, help="Coolant temperature, degrees C.")
@click.option("--damper-c", type=_DEGREES, help="Damper ring's, engine stopped, degrees C.")
@click.option("--room-c", type=_DEGREES, help="Engine room's, degrees C.")
@click.option("--visit", help="The check-up it belongs to.")
@click.option("--mark", type=click.Choice(list(_MARKS)), help="Of the baseline, damper before.")
@click.option("--position", help="Where the phone or sensor was.")
@click.option("--device", help="Which phone or sensor.")
@click.option("--condition", help="How the engine was.")
@click.option("--before", "shown", type=_HOURS, help="Of a meter change: what the old showed last.")
@click.option("--after", type=_HOURS, help="Of a meter change: what the new showed first.")
@_REASON
@_PERSON
@logbook_option
@json_option
def correct(
    entries: tuple[str, ...],
    reason: str,
    person: str | None,
    mark: str | None,
    logbook: Path | None,
    as_json: bool,
    **stated: Any,
) -> None:
    """Correct what was mistyped of recordings, an installation, work or the hour meter.

    RECORDING is its short id, or installation-1, work-3, meter-2: 'vibetrend logbook list' shows
    them. Several at once, as all recordings of a check-up, are corrected together or not at all.
    The old value stays to be read, with who corrected it, when and why. What cannot be corrected
    is set aside and entered again.

    \b
    Example: vibetrend logbook correct 3f2a91bc55 --hours 3125
               --reason "meter read wrongly"
    """
    from vibetrend.checkup.corrected import in_words
    from vibetrend.checkup.correcting import correct_entries
    from vibetrend.cli.words import notes_words, ran_words

    given = {name: value for name, value in stated.items() if value is not None}
    if mark is not None:
        given["baseline"], given["before"] = _MARKS[mark]
    if not given:
        raise click.UsageError("nothing to correct was given; --hours, --date and so on say what")
    if "date" in given:
        day(given["date"])
    if any(each.startswith("meter-") for each in entries) and "hours" in given:
        given["shown"] = given.pop("hours")
    with opened(logbook, make=False) as book:
        done = correct_entries(book, entries, given, reason=reason, person=_person(person))
    made = done.made
    if as_json:
        told = [asdict(each) for each in made]
        again = {id_: one.to_dict()["speed"] for id_, one in done.measured.items()}
        print_json(
            {"entry": entries[0], "entries": list(entries), "corrected": told, "measured": again}
        )
    elif not made:
        tell(f"{', '.join(entries)}: that counts already; nothing was changed.")
    else:
        for each in in_words(made, {}):
            tell(f"{each.entry}: {each.what} was {each.was}, now {each.now}.")
        for id_, one in done.measured.items():
            tell(f"{id_}: measured again, {ran_words(one)}.")
            for line in notes_words([each for each in one.quality if each.severity != "note"]):
                click.echo(line)
        tell("What was entered stays in the logbook and in the report.")


@logbook.command("set-aside")
@_ENTRIES
@click.option("--back", is_flag=True, help="Use it again.")
@_REASON
@_PERSON
@logbook_option
@json_option
def set_aside(
    entries: tuple[str, ...],
    back: bool,
    reason: str,
    person: str | None,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Use recordings, or other entries, for nothing from now on; --back uses them again.

    RECORDING is its short id, or work-3, meter-2, entry-12, installation-1: 'vibetrend logbook
    list' shows them. Nothing is deleted: it stays in the logbook, and the report lists it.

    \b
    Example: vibetrend logbook set-aside 3f2a91bc55 --reason "phone had slipped"
    """
    from vibetrend.logbook import set_aside

    with opened(logbook, make=False) as book:
        done = set_aside(book, entries, reason=reason, person=_person(person), back=back)
    if as_json:
        print_json(
            {"entry": entries[0], "entries": list(entries), "set_aside": not back,
             "changed": bool(done.entries), "hours_corrected": done.recounted}
        )  # fmt: skip
        return
    named = ", ".join(done.entries)
    if not done.entries:
        state = "in use" if back else "set aside"
        tell(f"{', '.join(entries)}: {state} already; nothing was changed.")
    elif back:
        tell(f"{named}: used again. That it was set aside stays in the logbook and the report.")
    else:
        tell(
            f"{named}: set aside and used for nothing from now on. It stays in the logbook and the "
            f"report. To use it again: vibetrend logbook set-aside {' '.join(done.entries)} --back "
            f"--reason TEXT"
        )
    if done.recounted:
        tell(f"Engine hours that rest on the hour meter's log were corrected: {done.recounted}.")


def _person(stated: str | None) -> str:
    if stated is not None:
        return stated
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # an account without a name
        return ""


for command in (backup, restore, export, import_, remeasure):
    logbook.add_command(command)
