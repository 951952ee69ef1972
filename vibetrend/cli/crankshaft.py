"""``vibetrend crankshaft``: how an engine's crankshaft twists, and what a damper's ageing shows."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibetrend.cli.options import json_option, logbook_option, opened, print_json

if TYPE_CHECKING:
    from vibetrend.engine import Engine

_FACTOR = click.FloatRange(min=0, min_open=True)


@click.command()
@click.argument("name", metavar="ENGINE")
@click.option("--stiffness", type=_FACTOR, help="What if: times the ring's stiffness, such as 0.9.")
@click.option("--loss", type=_FACTOR, help="What if: times the rubber's loss factor.")
@click.option("--slip", type=float, help="What if: share of the bond that has let go, below 1.")
@click.option("--fluid", type=_FACTOR, help="What if: times a viscous damper's damping.")
@logbook_option
@json_option
def crankshaft(
    name: str,
    stiffness: float | None,
    loss: float | None,
    slip: float | None,
    fluid: float | None,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Say how a crankshaft twists, at which speeds that shows, and what would show an old damper.

    ENGINE is a name in the logbook or an engine file. What the file does not say of crankshaft and
    damper is taken as typical of such an engine, and told. A model: an estimate.

    \b
    Example: vibetrend crankshaft main
             vibetrend crankshaft engine.toml --stiffness 0.9
    """
    from vibetrend.cli.crankshaft_words import cautions, crankshaft_words
    from vibetrend.plain import plain, rows
    from vibetrend.torsion import (
        Change,
        Crankshaft,
        interference,
        operating_range,
        ways_of_ageing,
        what_would_i_see,
    )

    engine = _engine(name, logbook)
    model, running = Crankshaft.of(engine), operating_range(engine)
    critical, ageing = interference(model, engine), ways_of_ageing(engine)
    given = {
        "stiffness_factor": stiffness, "loss_factor": loss, "ring_slip": slip,
        "viscous_factor": fluid,
    }  # fmt: skip
    stated = {key: value for key, value in given.items() if value is not None}
    seen = what_would_i_see(engine, Change(**stated)) if stated else None
    if as_json:
        result: dict[str, Any] = {
            "name": engine.name,
            "idle_rpm": running.idle_rpm,
            "rated_rpm": running.rated_rpm,
            "places": model.places,
            "modes": [each.to_dict() for each in model.modes[: critical["mode"].max()]],
            "critical_speeds": rows(critical),
            "ageing": rows(ageing),
            "change": stated or None,
            "seen": None if seen is None else rows(seen),
            "typical": model.typical,
            "cautions": cautions(engine),
        }
        print_json(plain(result))
        return
    click.echo(crankshaft_words(engine, model, running, critical, ageing, seen))


def _engine(name: str, logbook: Path | None) -> "Engine":
    """Return the engine of a file or of the logbook."""
    from vibetrend.engine import Engine

    if name.endswith(".toml") or Path(name).is_file():
        return Engine.load(name)
    with opened(logbook) as book:
        return book.engine(name)
