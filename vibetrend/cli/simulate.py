"""``vibetrend simulate``: recordings with known truth; how early an ageing would be noticed."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibetrend.cli.options import Place, json_option, print_json
from vibetrend.cli.terminal import saying, tell

if TYPE_CHECKING:
    from vibetrend.engine import Engine
    from vibetrend.recording import Recording
    from vibetrend.torsion import Change

_SOUND_HZ, _PHONE_HZ = 8000.0, 400.0
_SWEEP_S, _SHARE = 45.0, 0.5


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What was asked for, as the options say it; their names are its own."""

    demo: Path | None
    how_early: bool
    engine_file: Path | None
    output: Path | None
    manner: str | None
    rpm: float | None
    end_rpm: float | None
    seconds: float | None
    rate: float | None
    changes: tuple[tuple[float, float], ...]
    ageing: str | None
    degree: float
    stiffness: float | None
    damper_c: float | None
    twist_share: float | None
    sound: bool
    sweeps: int
    every: float
    pace: float
    temperature: bool
    picture: Path | None
    seed: int


@click.command()
@click.option(
    "--demo",
    type=Place(file_okay=False),
    help="Write the whole demo scenario into this new folder.",
)
@click.option(
    "--how-early",
    is_flag=True,
    help="Say how early an ageing damper would be noticed with your phone and habits.",
)
@click.option("--engine", "engine_file", type=Place(), help="Engine file to simulate.")
@click.option(
    "--output",
    type=Place(dir_okay=False),
    help="File to write: .csv or .csv.gz for a phone's table, .wav or .flac for sound.",
)
@click.option(
    "--manner",
    type=click.Choice(["steady", "run-up", "coast-down"]),
    help="One speed, or a sweep up or down.  [default: steady]",
)
@click.option(
    "--rpm",
    type=float,
    help="True mean speed, or where a sweep begins.  [default: fast idle; of a sweep 5 % inside "
    "idle or rated speed]",
)
@click.option("--end-rpm", type=float, help="Where a sweep ends.  [default: as above]")
@click.option("--seconds", type=float, help="Duration.  [default: 60, of a sweep 45]")
@click.option("--rate", type=float, help="Samples per second.  [default: 400, sound 8000]")
@click.option(
    "--change",
    "changes",
    type=(float, float),
    multiple=True,
    metavar="ORDER DB",
    help="Change an order by so many dB; may be repeated.",
)
@click.option("--ageing", help='How the damper has aged, e.g. "rubber hardening".')
@click.option(
    "--degree", type=float, default=1.0, show_default=True, help="How far; 1 is the usual example."
)
@click.option(
    "--stiffness",
    type=click.FloatRange(min=0.01, max=100),
    help="In a sweep: stiffness of the damper's rubber against new, such as 0.9.",
)
@click.option(
    "--damper-c",
    type=click.FloatRange(min=-50, max=200),
    help="In a sweep: temperature of its ring, degrees C.",
)
@click.option(
    "--twist-share",
    type=float,
    help="In a sweep: the crank's twist in what is felt at its resonance, 0 to 1.  [default: 0.5]",
)
@click.option("--sound", is_flag=True, help="With --how-early: sound, not a phone's acceleration.")
@click.option(
    "--sweeps",
    type=click.IntRange(min=1),
    default=3,
    show_default=True,
    help="With --how-early: sweeps of a check-up.",
)
@click.option(
    "--every",
    type=float,
    default=200.0,
    show_default=True,
    help="With --how-early: hours from check-up to check-up.",
)
@click.option(
    "--pace",
    type=float,
    default=5.0,
    show_default=True,
    help="With --how-early: per cent that stiffness, bond or damping ages in 1000 h; assumed.",
)
@click.option(
    "--temperature/--no-temperature",
    default=True,
    show_default=True,
    help="With --how-early: whether the damper's temperature is noted each time.",
)
@click.option(
    "--picture", type=Place(dir_okay=False), help="With --how-early: picture to write, .svg."
)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True)
@json_option
def simulate(as_json: bool, **options: Any) -> None:
    """Make recordings whose truth is known, or say how early a change would be noticed.

    Sweeps and ageing follow a model of the crankshaft; see 'vibetrend crankshaft'.

    \b
    Example: vibetrend simulate --engine engine.toml --output clip.csv
               --change 1.5 4
    \b
    A sweep:
      vibetrend simulate --engine engine.toml --output sweep.flac
        --manner run-up --stiffness 0.9 --damper-c 40
    How early:
      vibetrend simulate --how-early --engine engine.toml --sound
    """
    asked = Asked(**options)
    _refuse_unused(asked)
    if asked.demo is not None:
        _demo(asked.demo, asked.seed, as_json)
    elif asked.engine_file is None or (asked.output is None and not asked.how_early):
        raise click.UsageError(
            "give --demo DIR, or --engine FILE and --output FILE, or --engine FILE and --how-early"
        )
    elif asked.how_early:
        _how_early(asked, asked.engine_file, as_json)
    elif asked.output is not None:
        _one(asked, asked.engine_file, asked.output, as_json)


def _refuse_unused(asked: Asked) -> None:
    """Refuse what was asked for and would be left out without a word."""
    if asked.how_early:
        unused = _given(
            output=asked.output, manner=asked.manner, rpm=asked.rpm, end_rpm=asked.end_rpm,
            change=asked.changes or None, ageing=asked.ageing, stiffness=asked.stiffness,
            damper_c=asked.damper_c,
        )  # fmt: skip
        if unused:
            raise click.UsageError(
                f"{unused[0]} has no part in --how-early, which goes through all ways of ageing; "
                f"leave it out"
            )
    elif asked.picture is not None:
        raise click.UsageError("--picture goes with --how-early; add that, or leave it out")
    elif asked.manner in (None, "steady"):
        unused = _given(
            end_rpm=asked.end_rpm, stiffness=asked.stiffness, damper_c=asked.damper_c,
            twist_share=asked.twist_share,
        )  # fmt: skip
        if unused:
            raise click.UsageError(
                f"{unused[0]} shows in a sweep only; add --manner run-up, or leave it out"
            )
    if asked.picture is not None and asked.picture.suffix.lower() != ".svg":
        raise click.UsageError(
            f"--picture writes SVG; {asked.picture} has another ending, call it "
            f"{asked.picture.with_suffix('.svg').name}"
        )


def _given(**options: Any) -> list[str]:
    return [f"--{name.replace('_', '-')}" for name, each in options.items() if each is not None]


def _demo(folder: Path, seed: int, as_json: bool) -> None:
    from vibetrend.simulate import demo as write_demo

    with saying("simulating the demo recordings", quiet=as_json):
        write_demo(folder, seed=seed)
    if as_json:
        print_json({"path": str(folder)})
    else:
        tell(f"Wrote invented demo recordings into {folder}")


def _how_early(asked: Asked, engine_file: Path, as_json: bool) -> None:
    from vibetrend.cli.how_early_words import how_early_words
    from vibetrend.engine import Engine
    from vibetrend.report.how_early import how_early_picture, write_picture
    from vibetrend.simulate import MICROPHONE, PHONE, Habits, how_early

    engine = Engine.load(engine_file)
    habits = Habits(
        sensor=MICROPHONE if asked.sound else PHONE,
        rate=_rate(asked, asked.sound),
        sweeps=asked.sweeps,
        seconds=_SWEEP_S if asked.seconds is None else asked.seconds,
        every_hours=asked.every,
        twist_share=_share(asked),
        damper_noted=asked.temperature,
    )
    found = how_early(engine, habits=habits, pace_percent=asked.pace)
    if asked.picture is not None:
        title = f"{engine.name}: engine hours until an ageing damper is noticed (a model)"
        write_picture(asked.picture, how_early_picture(found.to_dict()["how_early"], title=title))
    if as_json:
        print_json(found.to_dict())
        return
    click.echo(how_early_words(found, engine=engine.name))
    if asked.picture is not None:
        tell(f"The picture: {asked.picture}")


def _one(asked: Asked, engine_file: Path, output: Path, as_json: bool) -> None:
    from vibetrend.engine import Engine
    from vibetrend.simulate import write_sound, write_table

    engine = Engine.load(engine_file)
    if output.exists():
        raise click.UsageError(f"{output} is there already; choose another --output")
    sound = output.suffix.lower() in (".wav", ".flac")
    steady = asked.manner in (None, "steady")
    make = _steady if steady else _swept
    with saying(f"simulating {output.name}", quiet=as_json):
        recording, truth = make(asked, engine, sound)
        (write_sound if sound else write_table)(recording, output)
    truth = {"path": str(output)} | truth
    if as_json:
        print_json(truth)
    elif steady:
        tell(f"Wrote {output} (invented): {truth['rpm']:.3f} rpm, seed {asked.seed}")
    else:
        tell(
            f"Wrote {output} (invented): {truth['start_rpm']:.0f} to {truth['end_rpm']:.0f} rpm, "
            f"the crankshaft's resonance at {truth['natural_frequencies_hz'][0]:.1f} Hz, seed "
            f"{asked.seed}. The gauge showed: --manner {asked.manner} --rpm "
            f"{recording.rpm:g} --end-rpm {recording.end_rpm:g}"
        )


def _steady(asked: Asked, engine: "Engine", sound: bool) -> tuple["Recording", dict[str, Any]]:
    from vibetrend.errors import EngineError
    from vibetrend.simulate import MICROPHONE, PHONE, record, steady_changes_db

    change = _change(asked)
    if asked.ageing is not None and change.order_1_factor == 1:
        raise click.UsageError(
            f"{asked.ageing} does not show at a steady speed here; add --manner run-up, or leave "
            f"--ageing out"
        )
    speed = engine.usual_rpm if asked.rpm is None else asked.rpm
    if speed is None:
        raise EngineError(f"{asked.engine_file}: no fast_idle_rpm; add it, or give --rpm")
    recording, truth = record(
        engine,
        rpm=speed,
        seconds=60.0 if asked.seconds is None else asked.seconds,
        rate=_rate(asked, sound),
        seed=asked.seed,
        sensor=MICROPHONE if sound else PHONE,
        changes_db=steady_changes_db(change) | dict(asked.changes),
    )
    return recording, {
        "rpm": truth.rpm,
        "orders": [
            {"order": float(order), "amplitude": float(rms)}
            for order, rms in zip(truth.orders, truth.rms, strict=True)
        ],
        "unit": recording.unit,
    }


def _swept(asked: Asked, engine: "Engine", sound: bool) -> tuple["Recording", dict[str, Any]]:
    from vibetrend.simulate import MICROPHONE, PHONE, sweep, swept_range

    up = asked.manner == "run-up"
    usual = swept_range(engine) if up else swept_range(engine)[::-1]
    start = usual[0] if asked.rpm is None else asked.rpm
    end = usual[1] if asked.end_rpm is None else asked.end_rpm
    if (end > start) != up:
        raise click.UsageError(
            f"from {start:g} to {end:g} rpm is no {asked.manner}; swap --rpm and --end-rpm, or "
            f"choose the other --manner"
        )
    recording, truth = sweep(
        engine,
        start_rpm=start,
        end_rpm=end,
        seconds=_SWEEP_S if asked.seconds is None else asked.seconds,
        rate=_rate(asked, sound),
        seed=asked.seed,
        sensor=MICROPHONE if sound else PHONE,
        damper_c=asked.damper_c,
        change=_change(asked),
        twist_share=_share(asked),
        changes_db=dict(asked.changes),
    )
    shown = {"tag_rpm": recording.rpm, "tag_end_rpm": recording.end_rpm}
    return recording, truth.to_dict() | shown | {"unit": recording.unit}


def _rate(asked: Asked, sound: bool) -> float:
    return (_SOUND_HZ if sound else _PHONE_HZ) if asked.rate is None else asked.rate


def _change(asked: Asked) -> "Change":
    from dataclasses import replace

    from vibetrend.simulate import aged
    from vibetrend.torsion import Change

    change = Change() if asked.ageing is None else aged(asked.ageing, asked.degree)
    stiffness = 1.0 if asked.stiffness is None else asked.stiffness
    return replace(change, stiffness_factor=change.stiffness_factor * stiffness)


def _share(asked: Asked) -> float:
    return _SHARE if asked.twist_share is None else asked.twist_share
