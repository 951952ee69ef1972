"""The command line: parses, calls, prints. Nothing is computed here."""

import io
import os
import sys

import click

from vibetrend.cli.add import add
from vibetrend.cli.card import card
from vibetrend.cli.demo import demo
from vibetrend.cli.engine import engine
from vibetrend.cli.installation import installation
from vibetrend.cli.measure import measure
from vibetrend.cli.meter import meter
from vibetrend.cli.report import report
from vibetrend.cli.simulate import simulate
from vibetrend.cli.status import status
from vibetrend.cli.terminal import cleared, colour, complain, poor_but_plain
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
      vibetrend engine add engine.toml
      vibetrend installation start --engine main --date 2026-05-01 --hours 3120
      vibetrend add idle.csv --engine main --rpm 1060 --hours 3125 --baseline
      vibetrend status
      vibetrend report --engine main

    \b
    Exit codes: 0 done, 1 the input or the logbook cannot be used, 2 wrong usage,
    130 interrupted; status and add: 3 record again, another day or all moved,
    4 changed or renewal overdue, 5 past the limit.
    """
    click.get_current_context().color = colour()


for command in (
    demo, engine, installation, meter, work, measure, add, status, report, card, watch, simulate,
):  # fmt: skip
    cli.add_command(command)


def main() -> None:
    """Run the command line and exit with its code."""
    # Small matrices all along: a second thread of the linear algebra only gets in the way.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            poor_but_plain(stream)  # a letter it lacks is no reason to stop
    try:
        code = cli.main(standalone_mode=False)
    except click.exceptions.Abort:
        code = INTERRUPTED
        cleared()
        click.echo("interrupted", err=True)
    except click.ClickException as error:
        error.show()
        code = error.exit_code
    except VibetrendError as error:
        complain(error)
        code = 1
    sys.exit(code)
