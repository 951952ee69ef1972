"""``vibetrend engine new``: an engine file from options and answers."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibetrend.cli.asking import Questions
from vibetrend.cli.options import Place
from vibetrend.cli.terminal import tell, typed

if TYPE_CHECKING:
    from vibetrend.engine import Engine

Values = dict[str, Any]
"""Named and nested as in an engine file."""

_ABOVE_0 = click.FloatRange(min=0, min_open=True)
_LIMIT_DB = click.FloatRange(min=1, max=60)
_SMALL = click.FloatRange(min=0, min_open=True, max=1000)
_ANGLE = click.FloatRange(min=0, min_open=True, max=180)
_PINS = click.Choice(["shared", "split"])
_NUMBERING = click.Choice(["across", "along"])
_CYLINDERS = click.IntRange(1, 24)
_STROKES = click.Choice(["4", "2"])
_DAMPER = click.Choice(["rubber", "viscous", "other", "unknown"])
_MOUNTS = click.Choice(["rigid", "resilient", "unknown"])


@click.command()
@click.option("--name", help="What you call the engine.  [default: main]")
@click.option("--cylinders", type=_CYLINDERS, help="How many; must be stated.")
@click.option("--strokes", type=_STROKES, help="Of a cycle.  [default: 4]")
@click.option("--fast-idle-rpm", type=_ABOVE_0, help="The speed at which you record, rpm.")
@click.option("--damper", type=_DAMPER, help="Its kind.  [default: unknown]")
@click.option("--limit-db", type=_LIMIT_DB, help="Rise of an order that matters.  [default: 6.02]")
@click.option("--small-velocity", type=_SMALL, help="Below it an order does not matter, mm/s.")
@click.option("--firing-order", help='The cylinders as they fire, such as "1-5-3-6-2-4".')
@click.option("--bank-angle", type=_ANGLE, help="Of a vee, degrees; in line if left out.")
@click.option("--pins", type=_PINS, help="Crank pins of a vee.")
@click.option(
    "--bank-numbering",
    type=_NUMBERING,
    help="Of a vee: cylinders 1 and 2 on one throw, or 1 to N/2 in one bank.",
)
@click.option("--firing-intervals", help='If not even, degrees: "90,150,90,150,90,150".')
@click.option("--idle-rpm", type=_ABOVE_0, help="Idle, rpm.")
@click.option("--rated-rpm", type=_ABOVE_0, help="Rated speed, rpm.")
@click.option("--generator", help='Of a generator set: "4 poles, 50 Hz".')
@click.option("--mounts", type=_MOUNTS, help="What the engine stands on.")
@click.option(
    "--driven",
    multiple=True,
    help='Part and its ratio, "alternator=2.2", or its pulleys, "alternator=180/82 mm, belt '
    '1250 mm"; again for each.',
)
@click.option(
    "--limit",
    multiple=True,
    help='The maker\'s, such as "bolt_torque=135 lbf ft, workshop manual sheet 4" or "runout '
    'rim=max 0.060 in, sheet 4"; again for each.',
)
@click.option("--renew-hours", type=_ABOVE_0, help="The maker's interval for the damper.")
@click.option("--renew-years", type=_ABOVE_0, help="The maker's interval for the damper.")
@click.option("--renew-source", help="Where the maker says so.")
@click.option(
    "--output",
    type=Place(),
    default=Path("engine.toml"),
    show_default=True,
    help="File to write; an existing one is never overwritten.",
)
def new(output: Path, **given: Any) -> None:
    """Write an engine file by answering plain questions, or by options.

    At a terminal whatever is not given is asked. Enter leaves a question open, Ctrl-D all that
    follow. Without one, --cylinders and --fast-idle-rpm (or --generator) must be given.

    \b
    Example: vibetrend engine new --name main --cylinders 6
    """
    from vibetrend.engine import Engine
    from vibetrend.engine.writing import engine_file
    from vibetrend.errors import EngineError

    if output.exists():  # better said before the questions than after them
        raise EngineError(f"{output} is there already; choose another with --output")
    questions = Questions()
    values = _needed(_of_options(given), questions)
    Engine.of(values)
    values = _asked(values, questions)
    text = engine_file(values, file=str(output))
    described = Engine.parse(text, where=str(output))
    try:
        with output.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise EngineError(
            f"{output}: cannot be written ({error.strerror}); choose another with --output"
        ) from error
    tell(f"Wrote {output}. Look it over, then: vibetrend engine add {typed(output)}")
    _warn_of_the_speed(described)


def _warn_of_the_speed(described: "Engine") -> None:
    from vibetrend.cli.engine_words import speed_words
    from vibetrend.engine.recording_speed import recording_speed

    speed = recording_speed(described)
    if speed.conflicts:
        tell(speed_words(speed))


def _of_options(given: Mapping[str, Any]) -> Values:
    """Return what the options state; those left out left out."""
    from vibetrend.engine import stated

    values: Values = {}
    for option, value in given.items():
        if value is None:
            continue
        for each in value if isinstance(value, tuple) else [value]:
            values = stated.merged(values, _meaning(option)(each))
    return values


def _meaning(option: str) -> Callable[[Any], Values]:
    """Return what makes values of an engine file of an option's value."""
    from vibetrend.engine import stated

    texts: dict[str, Callable[[str], Values]] = {
        "firing_order": stated.firing_order,
        "firing_intervals": stated.firing_intervals,
        "generator": stated.generator,
        "driven": stated.driven_part,
        "limit": stated.limit,
    }
    if option in texts:
        return texts[option]
    match option:
        case "strokes":
            return lambda text: {"strokes": int(text)}
        case "bank_angle":
            return lambda degrees: {"layout": "vee", "bank_angle_deg": degrees}
        case "small_velocity":
            return lambda velocity: {"small_velocity_mm_s": velocity}
        case "damper":
            return lambda kind: {"damper": {"type": kind}}
        case "renew_hours" | "renew_years" | "renew_source":
            return lambda value: {"damper": {option: value}}
        case _:
            return lambda value: {option: value}


def _needed(values: Values, questions: Questions) -> Values:
    """Return the values with what has to be known of any engine; else with its default.

    Raises
    ------
    click.MissingParameter
        If nobody states what has no default.
    """
    from vibetrend.engine import stated

    for question, default in _NEEDED:
        known = values if question.option != "damper" else values.get("damper", {})
        if (question.key or question.option) in known:
            continue
        if question is _FAST_IDLE and ("generator" in values or questions.may_skip()):
            continue  # a set's speed is known, and a person is asked for it among what may be open
        option = f"--{question.option.replace('_', '-')}"
        answer = questions.need(option, question.text, question.kind or click.STRING, default)
        values = stated.merged(values, _meaning(question.option)(answer))
    return values


def _asked(values: Values, questions: Questions) -> Values:
    """Return the values with what a person at a terminal knows besides."""
    from vibetrend.engine import Engine, stated

    def ask(question: "_Question") -> bool:
        """Ask for what an option would state; say whether an answer was given."""
        nonlocal values

        def fitting(text: str) -> Values:
            value = question.kind.convert(text, None, None) if question.kind else text
            more = stated.merged(values, _meaning(question.option)(value))
            Engine.of(more)
            return more

        answer = questions.ask(question.text, fitting)
        values = values if answer is None else answer
        return answer is not None

    questions.say("What follows may be left open: Enter skips a question, Ctrl-D all that follow.")
    for question in _QUESTIONS:
        if (question.key or question.option) not in values and _applies(question, values):
            ask(question)
    while ask(_PART):
        pass
    questions.say(f"The maker's limits: {', '.join(stated.limit_names())}.")
    while ask(_LIMIT):
        pass
    for question in _RENEWAL:
        if question.option not in values["damper"]:
            ask(question)
    if len(values["damper"]) > 1 and "renew_source" not in values["damper"]:
        ask(_SOURCE)
    return values


def _applies(question: "_Question", values: Values) -> bool:
    """Say whether a question makes sense for what is known of the engine."""
    match question.option:
        case "pins" | "bank_numbering":
            return "bank_angle_deg" in values
        case "bank_angle":
            return bool(values["cylinders"] % 2 == 0)
        case "firing_order":
            return bool(values["cylinders"] > 1)
        case "fast_idle_rpm":
            return "generator" not in values
        case _:
            return True


@dataclass(frozen=True)
class _Question:
    option: str
    text: str
    kind: "click.ParamType[Any] | None" = None  # what the answer must be; None: its text is read
    key: str = ""  # of the file, where it is not the option's name


_FAST_IDLE = _Question("fast_idle_rpm", "Fast idle, rpm, at which you record", _ABOVE_0)
_NEEDED = (  # each with its default
    (_Question("name", "Name of the engine"), "main"),
    (_Question("cylinders", "Cylinders", _CYLINDERS), ""),
    (_Question("strokes", "Four-stroke or two-stroke, 4 or 2", _STROKES), "4"),
    (_FAST_IDLE, ""),
    (
        _Question("damper", "Damper: rubber, viscous, other or unknown", _DAMPER, key="type"),
        "unknown",
    ),
)
_QUESTIONS = (
    replace(_FAST_IDLE, text=f"{_FAST_IDLE.text} (Enter: not known)"),
    _Question("limit_db", "Rise of an order that matters, dB (Enter for 6.02: doubled)", _LIMIT_DB),
    _Question(
        "small_velocity",
        "Velocity below which an order does not matter, mm/s (Enter: none)",
        _SMALL,
        key="small_velocity_mm_s",
    ),
    _Question("firing_order", "Firing order, such as 1-5-3-6-2-4 (Enter: not known)"),
    _Question(
        "bank_angle", "Angle between the banks of a vee, degrees (Enter: in line)", _ANGLE, "layout"
    ),
    _Question("pins", "Crank pins of the vee, shared or split (Enter: not known)", _PINS),
    _Question(
        "bank_numbering",
        "Cylinders 1 and 2 on one throw (across), or 1 to N/2 in one bank (along) "
        "(Enter: not known)",
        _NUMBERING,
    ),
    _Question("idle_rpm", "Idle, rpm (Enter: not known)", _ABOVE_0),
    _Question("rated_rpm", "Rated speed, rpm (Enter: not known)", _ABOVE_0),
    _Question("generator", "Of a generator set: poles and Hz, such as 4 50 (Enter: it is none)"),
    _Question("mounts", "Mounts, rigid or resilient (Enter: not known)", _MOUNTS),
)
_PART = _Question(
    "driven",
    'Driven part with its ratio, "alternator=2.2", or both pulleys and belt, '
    '"alternator=180/82 mm, belt 1250 mm" (Enter: no more)',
)
_LIMIT = _Question(
    "limit",
    'A limit with unit and source, "bolt_torque=135 lbf ft, workshop manual sheet 4" '
    "(Enter: no more)",
)
_RENEWAL = (
    _Question(
        "renew_hours", "Hours after which the maker renews the damper (Enter: not known)", _ABOVE_0
    ),
    _Question(
        "renew_years", "Years after which the maker renews the damper (Enter: not known)", _ABOVE_0
    ),
)
_SOURCE = _Question("renew_source", "Where the maker says so (Enter: not known)")
