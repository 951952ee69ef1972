"""``vibetrend installation runout``, ``bolt`` and ``belt``: what was measured."""

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibetrend.cli.options import (
    END_PLAY,
    UNIT,
    Amount,
    Number,
    Numbers,
    Place,
    day,
    engine_option,
    json_option,
    logbook_option,
    opened,
    print_json,
    reading_options,
    with_unit,
)

if TYPE_CHECKING:
    from vibetrend.checkup.installing import Kept


def keep_and_tell(
    kind: str,
    content: dict[str, Any],
    *,
    name: str,
    date: dt.date | None,
    logbook: Path | None,
    as_json: bool,
    remarks: Sequence[str] = (),
) -> None:
    """Keep an entry of the record, and print what was kept, how it stands and what is next."""
    from vibetrend.checkup import installing

    with opened(logbook) as book:
        kept = installing.keep(book, name, kind, content, date=day(date), remarks=remarks)
    _tell(kept, as_json=as_json)


def _tell(kept: "Kept", *, as_json: bool) -> None:
    from vibetrend.cli.installation_words import kept_words, next_step
    from vibetrend.settings import shown_units

    shown = shown_units()
    if as_json:
        print_json(kept.to_dict(shown) | {"next": next_step(kept)})
    else:
        click.echo(kept_words(kept, shown))


@click.command()
@engine_option
@click.option("--surface", required=True, help="rim, face, pulley, hub or any other.")
@click.option(
    "--readings",
    type=Numbers(),
    required=True,
    help='Around one turn, at least 3: 0,3,-2,3. With decimal commas: "0,05; 0,12; -0,03".',
)
@click.option(
    "--angles",
    type=Numbers(),
    help="Degrees from the mark with rotation: 0,90,180,270.  [default: evenly spaced from 0]",
)
@click.option("--unit", required=True, help="Of the readings: mm, um, thou, in.")
@click.option("--closing", type=Number(), help="First station read again after the full turn.")
@click.option("--diameter", type=Amount("240 mm"), help="At which a face was read: gives its tilt.")
@END_PLAY
@reading_options
@logbook_option
@json_option
def runout(
    name: str,
    surface: str,
    unit: str,
    diameter: tuple[float, str] | None,
    end_play_held: bool | None,
    resolution: tuple[float, str] | None,
    date: dt.date | None,
    logbook: Path | None,
    as_json: bool,
    **entered: Any,
) -> None:
    """Keep run-out readings around one turn of the crank.

    Greater is where the surface stands higher. What the readings say comes back: TIR,
    eccentricity and its angle, form, and how they stand against the maker's limit in the engine
    file. Eight stations tell more than four; read the first once more after the turn (--closing).

    \b
    Example: vibetrend installation runout --engine main --surface rim
               --readings 0,3,-2,3 --unit thou
    """
    from vibetrend.checkup.installing import in_unit
    from vibetrend.installation import runout_content

    remarks = []
    if "face" in surface.casefold() and end_play_held is None:
        end_play_held = None if as_json else _ask_end_play()
        if end_play_held is None and diameter is None:
            remarks.append(
                "whether the crank's end play was held to one side is not stated; if not, it can "
                "pass for tilt."
            )
    content = runout_content(
        surface,
        unit=unit,
        diameter=None if diameter is None else diameter[0],
        diameter_unit=None if diameter is None else diameter[1],
        end_play_held=end_play_held,
        resolution=in_unit(resolution, unit),
        **entered,
    )
    keep_and_tell(
        "runout", content, name=name, date=date, logbook=logbook, as_json=as_json, remarks=remarks
    )


def _ask_end_play() -> bool | None:
    """Ask whether the crank was held; None where nobody can say or be asked."""
    from vibetrend.cli.asking import is_terminal

    if not is_terminal():
        return None
    answer = click.prompt(
        "Was the crank held to one side while the face was read? (Enter if you cannot say)",
        type=click.Choice(["yes", "no", ""]), default="", show_default=False, err=True,
    )  # fmt: skip
    return {"yes": True, "no": False}.get(answer)


@click.command()
@engine_option
@click.option(
    "--name", "bolt_name", default="damper bolt", show_default=True, help='Which bolt, e.g. "3".'
)
@click.option("--new/--reused", default=None, help="Whether the bolt is new.")
@click.option("--sequence", type=click.IntRange(min=1), help="Its place in the sequence.")
@click.option(
    "--stage", "stages", multiple=True, help='Each stage in turn: "50 N m", "90 deg"; repeatable.'
)
@click.option(
    "--torque",
    type=Amount("135 lbf ft", unit_needed=False),
    help='Short for a single stage: "135 lbf ft".',
)
@UNIT
@click.option("--treatment", default="", help="Of the thread: dry, oiled, thread locker.")
@click.option("--recheck", is_flag=True, help="Checked again after the first warm run.")
@reading_options
@logbook_option
@json_option
def bolt(
    name: str,
    bolt_name: str,
    stages: tuple[str, ...],
    torque: tuple[float, str] | None,
    unit: str | None,
    resolution: tuple[float, str] | None,
    date: dt.date | None,
    logbook: Path | None,
    as_json: bool,
    **entered: Any,
) -> None:
    """Keep how a bolt was tightened: its stages of torque, and of angle after them.

    \b
    Example: vibetrend installation bolt --engine main --name centre
               --stage "50 N m"
    """
    from vibetrend.checkup.installing import in_unit, torque_unit
    from vibetrend.installation import bolt_content

    if bool(stages) == (torque is not None):
        raise click.UsageError("give either --torque, or --stage once for each stage")
    single = with_unit(torque, unit, "--torque")
    done = stages if single is None else (f"{single[0]!r} {single[1]}",)
    division = in_unit(resolution, torque_unit(done))
    content = bolt_content(bolt_name, stages=done, resolution=division, **entered)
    keep_and_tell("bolt", content, name=name, date=date, logbook=logbook, as_json=as_json)


@click.command()
@engine_option
@click.option("--belt", "belt_name", required=True, help="Which belt, e.g. alternator.")
@click.option(
    "--stage",
    type=click.Choice(["as-installed", "after-run-in"]),
    required=True,
    help="When it was read: a new belt loses tension while it runs in.",
)
@click.option(
    "--tension",
    type=Amount("140 lbf", unit_needed=False),
    help='By a gauge: "140 lbf", "620 N".',
)
@UNIT
@click.option("--frequency", type=Number(), help="Hertz at which the plucked span sounds.")
@click.option(
    "--recording",
    type=Place(),
    help="Or its recording: three plucks of one span, engine stopped, a second between.",
)
@click.option("--span", type=Amount("250 mm"), help="Free length between the pulleys.")
@click.option("--span-resolution", type=Amount("1 mm", unit_needed=False), help="How finely read.")
@click.option("--mass", type=Amount("0.1 kg/m"), help="Of the belt per length, from its maker.")
@click.option(
    "--mass-resolution", type=Amount("0.001 kg/m", unit_needed=False), help="How finely known."
)
@click.option("--automatic-tensioner", is_flag=True, help="It has one: no tension is judged.")
@reading_options
@logbook_option
@json_option
def belt(
    name: str,
    belt_name: str,
    tension: tuple[float, str] | None,
    unit: str | None,
    frequency: float | None,
    recording: Path | None,
    span: tuple[float, str] | None,
    span_resolution: tuple[float, str] | None,
    mass: tuple[float, str] | None,
    mass_resolution: tuple[float, str] | None,
    resolution: tuple[float, str] | None,
    date: dt.date | None,
    logbook: Path | None,
    as_json: bool,
    **entered: Any,
) -> None:
    """Keep a belt's tension: by a gauge, or by the tone of the plucked span.

    The tone gives it as 4 x mass per length x span squared x frequency squared. Stop the engine
    and isolate its starting before you reach for the belt.

    \b
    Example: vibetrend installation belt --engine main --belt alternator
               --stage as-installed --tension "140 lbf"
    """
    from vibetrend.checkup import installing
    from vibetrend.installation import belt_content

    if sum(each is not None for each in (tension, frequency, recording)) > 1:
        raise click.UsageError("--tension, --frequency and --recording exclude each other")
    if (frequency is not None or recording is not None) and (span is None or mass is None):
        raise click.UsageError("a tone tells a tension only with --span and --mass")
    number, unit = with_unit(tension, unit, "--tension") or (None, None)
    long, long_unit = span or (None, None)
    heavy, heavy_unit = mass or (None, None)
    values = {
        "span": long,
        "span_unit": long_unit,
        "span_resolution": installing.in_unit(span_resolution, long_unit),
        "mass_per_length": heavy,
        "mass_unit": heavy_unit,
        "mass_resolution": installing.in_unit(mass_resolution, heavy_unit),
        **entered,
    }
    if recording is None:
        division = installing.in_unit(resolution, unit)
        content = belt_content(
            belt_name,
            tension=number,
            unit=unit,
            frequency_hz=frequency,
            resolution=division,
            **values,
        )
        keep_and_tell("belt", content, name=name, date=date, logbook=logbook, as_json=as_json)
        return
    with opened(logbook) as book:
        kept = installing.keep_plucked(book, name, recording, belt_name, date=day(date), **values)
    _tell(kept, as_json=as_json)
