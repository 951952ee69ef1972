"""``vibetrend logbook backup``, ``restore``, ``export``, ``import``: copies, and back."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vibetrend.cli.options import Place, json_option, logbook_option, opened, print_json
from vibetrend.cli.terminal import saying, tell, typed

if TYPE_CHECKING:
    from vibetrend.logbook.copies import MadeAgain

_WRONG = 1
_TRIAL = "logbook-trial"

damaged_option = click.option(
    "--damaged", is_flag=True, help="Take what is damaged or missing as it is, and name it."
)


@click.command()
@click.argument("file", type=Place(), metavar="FILE.zip")
@damaged_option
@logbook_option
@json_option
@click.pass_context
def backup(
    ctx: click.Context, /, file: Path, damaged: bool, logbook: Path | None, as_json: bool
) -> None:
    """Write the whole logbook into one file, and read that again to check it.

    It is an ordinary zip file with the database and every recording and photo as it was added.
    A file that exists is never replaced.

    \b
    Example: vibetrend logbook backup boat-2026-05.zip
    """
    from vibetrend.logbook.backup import back_up
    from vibetrend.report.words import count

    with (
        saying("writing and checking the backup", quiet=as_json),
        opened(logbook, make=False) as book,
    ):
        done = back_up(book, file, damaged=damaged)
    if as_json:
        print_json(
            {
                "path": str(done.path),
                "bytes": done.size,
                "recordings": done.recordings,
                "originals": done.originals,
                "entries": done.entries,
                "head": done.head,
                "faults": list(done.faults),
            }
        )
    else:
        tell(
            f"Wrote {done.path}, {_size(done.size)}, and read it again: "
            f"{count(done.recordings, 'recording')}, {count(done.originals, 'original file')}."
        )
        _tell_end(done.entries, done.head, done.faults)
        tell(
            "Keep it on another device than this computer, and try once whether it can be "
            "restored, into another folder:"
        )
        tell(
            f"vibetrend logbook restore {typed(done.path)} --logbook {_TRIAL}",
            indent="  ",
        )
    ctx.exit(_WRONG if done.faults else 0)


@click.command()
@click.argument("file", type=Place(), metavar="FILE.zip")
@damaged_option
@logbook_option
@json_option
@click.pass_context
def restore(
    ctx: click.Context, /, file: Path, damaged: bool, logbook: Path | None, as_json: bool
) -> None:
    """Make the logbook again from a backup, in an empty folder.

    A logbook that is there is never replaced: move its folder away first, or name another one.

    \b
    Example: vibetrend logbook restore boat-2026-05.zip --logbook logbook-trial
    """
    from vibetrend.logbook.backup import restore as make_again
    from vibetrend.settings import logbook_folder

    with saying("restoring and checking", quiet=as_json):
        done = make_again(file, logbook_folder(logbook), damaged=damaged)
    _tell_made(done, f"Restored the backup of {done.made_at[:10]}", logbook, as_json=as_json)
    ctx.exit(_WRONG if done.faults else 0)


@click.command()
@click.argument("folder", type=Place(), metavar="DIR")
@click.option("--parquet", is_flag=True, help="Write the tables as Parquet instead of CSV.")
@damaged_option
@logbook_option
@json_option
@click.pass_context
def export(
    ctx: click.Context,
    /,
    folder: Path,
    parquet: bool,
    damaged: bool,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Write everything in open formats into a new folder.

    Every table as a CSV or Parquet file, logbook.json that says what each file and column is, and
    every recording and photo as it was added. 'vibetrend logbook import' reads it back to the last
    digit.

    \b
    Example: vibetrend logbook export boat-2026-05 --parquet
    """
    from vibetrend.logbook.exporting import DESCRIPTION
    from vibetrend.logbook.exporting import export as write
    from vibetrend.report.words import count

    with saying("exporting", quiet=as_json), opened(logbook, make=False) as book:
        done = write(book, folder, parquet=parquet, damaged=damaged)
    if as_json:
        print_json(
            {
                "folder": str(done.folder),
                "tables": done.rows,
                "recordings": done.recordings,
                "originals": done.originals,
                "entries": done.entries,
                "head": done.head,
                "faults": list(done.faults),
            }
        )
    else:
        tell(
            f"Wrote {len(done.rows)} tables with {sum(done.rows.values())} rows, "
            f"{count(done.recordings, 'recording')} and {count(done.originals, 'original file')} "
            f"into {done.folder}."
        )
        _tell_end(done.entries, done.head, done.faults)
        tell(f"What each file and column is: {done.folder / DESCRIPTION}")
    ctx.exit(_WRONG if done.faults else 0)


@click.command("import")
@click.argument("folder", type=Place(), metavar="DIR")
@damaged_option
@logbook_option
@json_option
@click.pass_context
def import_(
    ctx: click.Context, /, folder: Path, damaged: bool, logbook: Path | None, as_json: bool
) -> None:
    """Make a new logbook, in an empty folder, from what was exported.

    Nothing is added to a logbook that is there.

    \b
    Example: vibetrend logbook import boat-2026-05 --logbook logbook-trial
    """
    from vibetrend.logbook.importing import import_logbook
    from vibetrend.settings import logbook_folder

    with saying("importing and checking", quiet=as_json):
        done = import_logbook(folder, logbook_folder(logbook), damaged=damaged)
    _tell_made(done, f"Imported the export of {done.made_at[:10]}", logbook, as_json=as_json)
    ctx.exit(_WRONG if done.faults else 0)


def _tell_made(done: "MadeAgain", what: str, named: Path | None, *, as_json: bool) -> None:
    """Say what a logbook that was made holds, and what to do next."""
    from vibetrend.report.words import count

    if as_json:
        print_json(
            {
                "folder": str(done.folder),
                "made_at": done.made_at,
                "recordings": done.recordings,
                "originals": done.originals,
                "entries": done.entries,
                "head": done.head,
                "faults": list(done.faults),
            }
        )
        return
    tell(
        f"{what} into {done.folder}: {count(done.recordings, 'recording')}, "
        f"{count(done.originals, 'original file')}."
    )
    _tell_end(done.entries, done.head, done.faults)
    option = "" if named is None else f" --logbook {typed(named)}"
    tell(f"Look whether all is there: vibetrend status{option}")


def _tell_end(entries: int, head: str, faults: Sequence[str]) -> None:
    """Tell how the chain ends, and what is not right."""
    from vibetrend.checkup.corrected import in_groups

    if entries:
        tell(f"Hash of the newest of its {entries} entries: {in_groups(head)}")
    for fault in faults:
        tell(fault, indent="Wrong: ", hanging="  ")


def _size(size: int) -> str:
    return f"{size / 1e6:.1f} MB" if size >= 1e6 else f"{max(1, round(size / 1e3))} kB"
