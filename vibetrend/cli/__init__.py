"""The command line: parses, calls, prints. Nothing is computed here."""

import contextlib
import errno
import io
import os
import sys
import traceback
from typing import TextIO

import click

from vibetrend.cli.add import add
from vibetrend.cli.card import card
from vibetrend.cli.crankshaft import crankshaft
from vibetrend.cli.demo import demo
from vibetrend.cli.engine import engine
from vibetrend.cli.installation import installation
from vibetrend.cli.logbook import logbook
from vibetrend.cli.measure import measure
from vibetrend.cli.meter import meter
from vibetrend.cli.report import report
from vibetrend.cli.simulate import simulate
from vibetrend.cli.status import status
from vibetrend.cli.terminal import cleared, colour, complain, plain, tell
from vibetrend.cli.trouble import trouble
from vibetrend.cli.watch import watch
from vibetrend.cli.work import work
from vibetrend.errors import VibetrendError

INTERRUPTED = 130


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96})
@click.version_option(package_name="vibetrend", message="%(version)s")
def cli() -> None:
    """Early, honest warning that a marine diesel has moved away from its baseline.

    \b
    First steps:
      vibetrend demo
      vibetrend measure idle.csv --rpm 1060 --page
      vibetrend engine add engine.toml
      vibetrend installation start --engine main --date 2026-05-01 --hours 3120
      vibetrend card --engine main
      vibetrend add idle.csv --engine main --rpm 1060 --hours 3125 --baseline
      vibetrend status
      vibetrend report --engine main

    When something goes wrong: vibetrend trouble "the message"

    \b
    Exit codes: 0 done, 1 the input or the logbook cannot be used, 2 wrong usage,
    130 interrupted; status and add: 3 record again, another day or all moved,
    4 changed or renewal overdue, 5 past the limit.
    """
    click.get_current_context().color = colour()


for command in (
    demo, engine, installation, meter, work, measure, add, status, report, card, watch, logbook,
    simulate, crankshaft, trouble,
):  # fmt: skip
    cli.add_command(command)


def main() -> None:
    """Run the command line and exit with its code."""
    try:
        code = _run()
        click.echo(nl=False)  # what is still to be written; at the end Python would, and complain
    except OSError as error:
        if not _while_printing(error):
            raise
        code = 1
        with contextlib.suppress(OSError):  # stderr may be as full
            if error.errno != errno.EPIPE:  # else who reads has gone, as `head` does
                complain(f"not all could be printed ({error.strerror})")
        for stream in (sys.stdout, sys.stderr):
            _give_up(stream)
    sys.exit(code)


def _while_printing(error: OSError) -> bool:
    """Say whether it was raised by what prints, not by a file that is read or written."""
    *_, (last, _) = traceback.walk_tb(error.__traceback__)
    return last.f_code is click.echo.__code__


def _give_up(stream: TextIO | None) -> None:
    """Let what a stream cannot write go nowhere: Python would try once more at the end."""
    if stream is None:
        return
    try:
        stream.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _run() -> int:
    """Run the command line; return its exit code."""
    # Small matrices all along: a second thread of the linear algebra only gets in the way.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="plainer")  # a letter it lacks is no reason to stop
    try:
        code: int = cli.main(standalone_mode=False)
    except click.exceptions.Abort:
        code = INTERRUPTED
        cleared()
        tell("interrupted", err=True)
    except click.ClickException as error:
        error.show(said := io.StringIO())
        for line in said.getvalue().splitlines():
            click.echo(plain(line), err=True)  # it may quote what was typed
        code = error.exit_code
    except VibetrendError as error:
        complain(error)
        code = 1
    return code
