"""``vibetrend trouble``: what to do about an error, offline."""

import re
from dataclasses import asdict
from itertools import groupby
from typing import TYPE_CHECKING

import click

from vibetrend.cli.options import json_option, print_json
from vibetrend.cli.terminal import columns, tell, titled, wrapped

if TYPE_CHECKING:
    from vibetrend.trouble import Entry

_NO_BREAK = "\N{NO-BREAK SPACE}"


@click.command()
@click.argument("words", nargs=-1)
@json_option
@click.pass_context
def trouble(ctx: click.Context, /, words: tuple[str, ...], as_json: bool) -> None:
    """Say what to do about an error: a pasted message, or words about it.

    Without words it lists everything the troubleshooting page has. No network is needed.

    \b
    Example: vibetrend trouble "the disk is full"
             vibetrend trouble clipped
    """
    from vibetrend.trouble import entries, matching

    found = matching(" ".join(words)) if words else list(entries())
    if as_json:
        print_json([asdict(entry) for entry in found])
    elif not words:
        _list(found)
    else:
        for at, entry in enumerate(found):
            click.echo("\n".join(["", *_shown(entry)] if at else _shown(entry)))
    if not found:
        if not as_json:
            tell("Nothing on the page fits these words. All it has: vibetrend trouble")
        ctx.exit(1)


def _list(found: "list[Entry]") -> None:
    for part, its in groupby(found, key=lambda entry: entry.part):
        click.echo("\n".join(titled(part)))
        for entry in its:
            tell(entry.heading, indent="  ", hanging="    ")
        click.echo()
    tell("One of them in full: vibetrend trouble, then words of it or the message you saw")


def _shown(entry: "Entry") -> list[str]:
    lines = titled(entry.heading)
    for line in (*entry.seen, *entry.elsewhere):
        lines += wrapped(line, indent="  | ", hanging="  |   ")
    lines += ["", *wrapped(f"Why: {_said(entry.why)}", hanging="  "), "What to do:"]
    for number, step in enumerate(entry.steps, start=1):
        lines += wrapped(_said(step), indent=f"  {number}. ", hanging="     ")
    if entry.safe:
        lines += wrapped(f"Not lost: {_said(entry.safe)}", hanging="  ")
    return lines


def _said(text: str) -> str:
    """Return text without its backticks, each command on one line where that is possible."""
    most = columns() - len("     ")

    def whole(found: re.Match[str]) -> str:
        command = found[1]
        return command.replace(" ", _NO_BREAK) if len(command) <= most else command

    return re.sub(r"`([^`]+)`", whole, text)
