"""``vibetrend installation mark``, ``casing`` and ``fluid``: what was measured on the damper."""

import datetime as dt
from pathlib import Path
from typing import Any

import click

from vibetrend.cli.installation_readings import keep_and_tell
from vibetrend.cli.options import (
    END_PLAY,
    UNIT,
    Amount,
    Number,
    Numbers,
    engine_option,
    json_option,
    logbook_option,
    reading_options,
    with_unit,
)

_MARKS = ("index-offset", "element-recess", "face-wobble")


@click.command()
@engine_option
@click.option("--what", type=click.Choice(_MARKS), required=True, help="What was measured.")
@click.option(
    "--value",
    type=Amount("0.8 mm", unit_needed=False),
    required=True,
    help="Offset: above 0 where the ring is ahead in rotation. Recess: below 0 where the rubber "
    "stands out.",
)
@UNIT
@END_PLAY
@reading_options
@logbook_option
@json_option
def mark(
    name: str,
    what: str,
    value: tuple[float, str],
    unit: str | None,
    resolution: tuple[float, str] | None,
    date: dt.date | None,
    logbook: Path | None,
    as_json: bool,
    **entered: Any,
) -> None:
    """Keep what is measured on a rubber damper: whether ring or rubber have moved.

    \b
    index-offset    hub mark to ring mark, along the rim
    element-recess  how far the rubber lies below the metal
    face-wobble     of the ring's face, total indicator reading

    \b
    Example: vibetrend installation mark --engine main --what index-offset
               --value "0.8 mm"
    """
    from vibetrend.checkup.installing import in_unit
    from vibetrend.installation import mark_content

    number, unit = with_unit(value, unit, "--value") or value
    content = mark_content(what, number, unit, resolution=in_unit(resolution, unit), **entered)
    keep_and_tell("mark", content, name=name, date=date, logbook=logbook, as_json=as_json)


@click.command()
@engine_option
@click.option(
    "--thicknesses", type=Numbers(), required=True, help="At points around it: 41.02,41.05,41.03."
)
@click.option("--unit", required=True, help="Of the thicknesses: mm, in.")
@reading_options
@logbook_option
@json_option
def casing(
    name: str,
    unit: str,
    resolution: tuple[float, str] | None,
    date: dt.date | None,
    logbook: Path | None,
    as_json: bool,
    **entered: Any,
) -> None:
    """Keep the thickness of a viscous damper's casing at points around it.

    \b
    Example: vibetrend installation casing --engine main
               --thicknesses 41.02,41.05,41.03 --unit mm
    """
    from vibetrend.checkup.installing import in_unit
    from vibetrend.installation import casing_content

    content = casing_content(unit=unit, resolution=in_unit(resolution, unit), **entered)
    keep_and_tell("casing", content, name=name, date=date, logbook=logbook, as_json=as_json)


@click.command()
@engine_option
@click.option(
    "--viscosity-loss", type=Number(), help="Share lost since new, percent; below 0: thicker."
)
@click.option("--result", default="", help="The laboratory's words.")
@click.option("--hours-on-fluid", type=Number(), help="Engine hours that the fluid has run.")
@click.option("--laboratory", default="", help="Who tested it.")
@reading_options
@logbook_option
@json_option
def fluid(
    name: str,
    viscosity_loss: float | None,
    resolution: tuple[float, str] | None,
    date: dt.date | None,
    logbook: Path | None,
    as_json: bool,
    **entered: Any,
) -> None:
    """Keep the result of a sample of a viscous damper's fluid.

    \b
    Example: vibetrend installation fluid --engine main --viscosity-loss 12
    """
    from vibetrend.checkup.installing import in_unit
    from vibetrend.installation import fluid_content

    content = fluid_content(
        viscosity_loss_percent=viscosity_loss, resolution=in_unit(resolution, "%"), **entered
    )
    keep_and_tell("fluid", content, name=name, date=date, logbook=logbook, as_json=as_json)
