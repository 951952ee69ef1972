"""``vibetrend simulate``: recordings with known truth."""

from pathlib import Path

import click

from vibetrend.cli.options import Place, json_option, print_json
from vibetrend.cli.terminal import saying, tell


@click.command()
@click.option(
    "--demo",
    type=Place(file_okay=False),
    help="Write the whole demo scenario into this new folder.",
)
@click.option(
    "--engine",
    "engine_file",
    type=Place(),
    help="Engine file to simulate a recording of.",
)
@click.option(
    "--output",
    type=Place(dir_okay=False),
    help="File to write: .csv or .csv.gz for a phone's table, .wav or .flac for sound.",
)
@click.option("--rpm", type=float, help="True mean speed.  [default: the engine's fast idle]")
@click.option("--seconds", type=float, default=60.0, show_default=True)
@click.option("--rate", type=float, help="Samples per second.  [default: 400, sound 8000]")
@click.option(
    "--change",
    "changes",
    type=(float, float),
    multiple=True,
    metavar="ORDER DB",
    help="Change an order by so many dB; may be repeated.",
)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True)
@json_option
def simulate(
    demo: Path | None,
    engine_file: Path | None,
    output: Path | None,
    rpm: float | None,
    seconds: float,
    rate: float | None,
    changes: tuple[tuple[float, float], ...],
    seed: int,
    as_json: bool,
) -> None:
    """Make recordings whose truth is known: to try the program out, or to test it.

    \b
    Example: vibetrend simulate --engine engine.toml --output clip.csv
               --change 1.5 4
    """
    from vibetrend.simulate import demo as write_demo

    if demo is not None:
        with saying("simulating the demo recordings", quiet=as_json):
            write_demo(demo, seed=seed)
        if as_json:
            print_json({"path": str(demo)})
        else:
            tell(f"Wrote invented demo recordings into {demo}")
        return
    if engine_file is None or output is None:
        raise click.UsageError("give --demo DIR, or --engine FILE and --output FILE")
    with saying(f"simulating {output.name}", quiet=as_json):
        truth = _recording(engine_file, output, rpm, seconds, rate, dict(changes), seed)
    if as_json:
        print_json(truth)
    else:
        tell(f"Wrote {output} (invented): {truth['rpm']:.3f} rpm, seed {seed}")


def _recording(
    engine_file: Path,
    output: Path,
    rpm: float | None,
    seconds: float,
    rate: float | None,
    changes: dict[float, float],
    seed: int,
) -> dict[str, object]:
    from vibetrend.engine import Engine
    from vibetrend.errors import EngineError
    from vibetrend.simulate import MICROPHONE, PHONE, record, write_sound, write_table

    engine = Engine.load(engine_file)
    speed = engine.usual_rpm if rpm is None else rpm
    if speed is None:
        raise EngineError(f"{engine_file}: no fast_idle_rpm; add it, or give --rpm")
    if output.exists():
        raise click.UsageError(f"{output} is there already; choose another --output")
    sound = output.suffix.lower() in (".wav", ".flac")
    recording, truth = record(
        engine,
        rpm=speed,
        seconds=seconds,
        rate=(8000.0 if sound else 400.0) if rate is None else rate,
        seed=seed,
        sensor=MICROPHONE if sound else PHONE,
        changes_db=changes,
    )
    (write_sound if sound else write_table)(recording, output)
    return {
        "path": str(output),
        "rpm": truth.rpm,
        "orders": [
            {"order": float(order), "amplitude": float(rms)}
            for order, rms in zip(truth.orders, truth.rms, strict=True)
        ],
        "unit": recording.unit,
    }
