"""``vibetrend card``: one page to print and hang in the engine room."""

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vibetrend.cli.options import (
    PAPER,
    Place,
    engine_option,
    json_option,
    logbook_option,
    opened,
    print_json,
)
from vibetrend.cli.terminal import complain, tell

if TYPE_CHECKING:
    from vibetrend.report.document import Paper


@click.command()
@engine_option
@click.option(
    "--photo",
    type=Place(),
    help="Photo of the phone's spot; where it was taken is left out.  [default: a sketch]",
)
@click.option("--place", default="", help="The spot in your words.  [default: as recorded]")
@click.option("--link", "address", help="Address of the engine's page, for a QR code.")
@click.option("--run-up", is_flag=True, help="Say how to run up, though none is recorded yet.")
@click.option(
    "--paper",
    type=PAPER,
    default="A4",
    show_default=True,
    help="Paper it is made for; it fits the other too.",
)
@click.option(
    "--output",
    type=Place(dir_okay=False),
    help="File to write.  [default: reports/NAME-card.html; no foreign file is replaced]",
)
@logbook_option
@json_option
def card(
    name: str,
    photo: Path | None,
    place: str,
    address: str | None,
    run_up: bool,
    paper: "Paper",
    output: Path | None,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Write the recording card: where the phone goes, speed, warm-up, steps, cautions.

    It is one page to print and hang in the engine room, with lines to write on. Position, device,
    condition and speed are those of the recordings so far; without any they are left blank.
    Where the logbook holds slow run-ups, the card has them as well.
    The address for the QR code may also stand in settings.toml, as link in the table [card].

    \b
    Example: vibetrend card --engine main --photo spot.jpg --paper Letter
    """
    from vibetrend.checkup.installing import picture
    from vibetrend.checkup.standing import standing
    from vibetrend.report import card as cards
    from vibetrend.report import write
    from vibetrend.report.link import link
    from vibetrend.report.writing import file_name
    from vibetrend.settings import card_link, settings_file

    where = "--link"
    if address is None:
        address, where = card_link(), f"{settings_file()}, [card]: link"
    leads_to = None if address is None else link(address, where=where)
    shown = b"" if photo is None else picture(photo, side=cards.PHOTO_SIDE)
    today = dt.date.today()
    with opened(logbook) as book:
        (record,) = standing(book, [name], today=today, tell=complain)
    made = cards.card(
        record,
        made_on=today,
        paper=paper,
        photo=shown,
        place=place,
        link=leads_to,
        run_up=run_up,
    )
    path = output or Path("reports") / f"{file_name(name)}-card.html"
    write(path, cards.html(made))
    if as_json:
        print_json({"path": str(path), **made.to_dict()})
        return
    for remark in made.remarks:
        complain(remark)
    tell(f"Wrote {path}")
