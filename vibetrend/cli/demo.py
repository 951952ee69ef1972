"""``vibetrend demo``: the whole job on invented recordings."""

import contextlib
import datetime as dt
import tempfile
from collections.abc import Iterator
from operator import attrgetter
from pathlib import Path

import click

from vibetrend.cli.options import Place, json_option, print_json
from vibetrend.cli.terminal import complain, following, saying, tell

_SEED = 3


@click.command()
@click.option(
    "--recordings",
    type=Place(file_okay=False),
    default=Path("recordings_demo"),
    show_default=True,
    help="Folder of the demo recordings; simulated first when it is not there.",
)
@click.option(
    "--output",
    type=Place(dir_okay=False),
    default=Path("reports/demo.html"),
    show_default=True,
    help="Page to write.",
)
@click.option(
    "--logbook",
    type=Place(file_okay=False),
    help="Folder of a logbook to keep it in.  [default: a temporary one]",
)
@json_option
def demo(recordings: Path, output: Path, logbook: Path | None, as_json: bool) -> None:
    """Run the whole job on invented recordings and write the page.

    Reads, measures, keeps and judges the check-ups of an invented boat's two engines.

    \b
    Example: vibetrend demo
    """
    from vibetrend.checkup.demo import play
    from vibetrend.checkup.earlier import with_earlier
    from vibetrend.checkup.happenings import with_log
    from vibetrend.checkup.pictures import with_pictures
    from vibetrend.checkup.standing import standing, to_json
    from vibetrend.cli.report import write_page
    from vibetrend.cli.standing_words import standing_words
    from vibetrend.logbook import Logbook
    from vibetrend.settings import shown_units
    from vibetrend.simulate import read_plan

    with _folder(recordings, as_json) as source, _folder_for(logbook) as place:
        plan = read_plan(source)
        # The story goes on to its own last day, whatever this computer's clock says.
        last = max(visit.date for each in plan.engines for visit in each.visits)
        today = max(dt.date.today(), last)
        files = [path for each in plan.engines for visit in each.visits for path in visit.files]
        with Logbook.open(place) as book:
            steps = play(plan, book, today=today)  # each measures and keeps one recording
            for _ in following(files, "measuring recording", attrgetter("name"), quiet=as_json):
                next(steps)
            list(steps)  # its end
            names = [each.name for each in plan.engines]
            with saying("judging both engines", quiet=as_json):
                records = standing(book, names, today=today)
                records = with_earlier(book, with_pictures(book, records, tell=complain))
                records = with_log(book, records)
    path = write_page(records, output, title="Invented demo data: one boat, two engines",
                      invented=True)  # fmt: skip
    if as_json:
        print_json(to_json(records) | {"page": str(path)})
        return
    tell("Invented demo data: no real boat, engine or reading.")
    click.echo(f"\n{standing_words(records, today=today, shown=shown_units())}\n")
    tell(f"The page: {path}")


@contextlib.contextmanager
def _folder(recordings: Path, as_json: bool) -> Iterator[Path]:
    """Yield the folder of the recordings; make them where there is none."""
    from vibetrend.simulate import demo as write_demo

    if recordings.is_dir():
        yield recordings
        return
    with tempfile.TemporaryDirectory() as made:
        tell(f"{recordings} is not here: simulating the recordings first.", err=True)
        folder = Path(made) / "recordings"
        with saying("simulating the recordings", quiet=as_json):
            write_demo(folder, seed=_SEED)
        yield folder


@contextlib.contextmanager
def _folder_for(logbook: Path | None) -> Iterator[Path]:
    if logbook is not None:
        yield logbook
        return
    with tempfile.TemporaryDirectory() as made:
        yield Path(made) / "logbook"
