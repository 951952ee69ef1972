"""What a person types of an engine in one line, as values of its file.

An option and an answer at a terminal are the same text. What comes back is named and nested as in
the file, to be put together by :func:`merged` and checked by :meth:`vibetrend.engine.Engine.of`.
"""

import re
from collections.abc import Mapping
from typing import Any

from vibetrend.engine.limits import DIMENSIONS, GREATEST_ONLY
from vibetrend.errors import EngineError, VibetrendError
from vibetrend.quantities import unit
from vibetrend.quoting import quoted

LIMIT_EXAMPLE = "bolt_torque=135 lbf ft, workshop manual sheet 4"
DRIVEN_EXAMPLE = "alternator=2.2"
PULLEYS_EXAMPLE = "alternator=180/82 mm, belt 1250 mm"

_MOST_DIGITS = 9
_LONGEST = 500  # characters looked at
_NUMBER = r"\d+(?:\.\d+)?|\.\d+"
_LIMIT = re.compile(
    r"(?P<most>max|at most|not above|up to)?(?P<least>min|at least|not below)?\s*"
    rf"(?P<number>{_NUMBER})\s*"
    rf"(?:(?:±|\+/-|\+-)\s*(?P<tolerance>{_NUMBER})\s*|(?:to|-|–)\s*(?P<end>{_NUMBER})\s*)?"
    r"(?P<unit>.*)",
    re.IGNORECASE,
)
_LENGTH = rf"({_NUMBER})\s*([a-z\"][a-z .\"]*)?"
_TABLES = ("damper", "limits", "runout")
_RUNOUT = re.compile(r"run[-_ ]?out[._ ]+(.+)", re.IGNORECASE)


def firing_order(text: str) -> dict[str, Any]:
    """Return the cylinders of ``"1-5-3-6-2-4"``.

    Raises
    ------
    EngineError
        If anything but whole numbers stands there.
    """
    parts = re.split(r"[-–,;\s]+", text.strip())
    if not all(part.isdecimal() and len(part) <= _MOST_DIGITS for part in parts):
        raise EngineError(
            f"firing order {quoted(text)}: write the cylinders as they fire, such as 1-5-3-6-2-4"
        )
    return {"firing_order": [int(part) for part in parts]}


def firing_intervals(text: str) -> dict[str, Any]:
    """Return the degrees of ``"90, 150, 90, 150, 90, 150"``.

    Raises
    ------
    EngineError
        If anything but numbers stands there.
    """
    parts = re.split(r"[,;\s]+", text.strip())
    if not all(re.fullmatch(_NUMBER, part) for part in parts):
        raise EngineError(
            f"firing intervals {quoted(text)}: write the degrees from one firing to the next, "
            f"such as 90,150,90,150,90,150"
        )
    return {"firing_intervals_deg": [float(part) for part in parts]}


def generator(text: str) -> dict[str, Any]:
    """Return poles and frequency of ``"4 poles, 50 Hz"``, or just ``"4 50"``.

    Raises
    ------
    EngineError
        If that is not what stands there.
    """
    found = re.fullmatch(
        rf"(\d{{1,{_MOST_DIGITS}}})(?:\s*poles?)?[,;/\s]+({_NUMBER})(?:\s*hz)?",
        text.strip(),
        re.IGNORECASE,
    )
    if found is None:
        raise EngineError(f"generator {quoted(text)}: write its poles and frequency, such as 4 50")
    return {"generator": {"poles": int(found[1]), "frequency_hz": float(found[2])}}


def driven_part(text: str) -> dict[str, Any]:
    """Return a part driven along, of ``"alternator=2.2"`` or with the pulleys' diameters.

    ``"alternator=180/82 mm, belt 1250 mm"`` states the crank's pulley, the part's own and the
    belt; ``"pump=1.3, crank pulley 180 mm, belt 1250 mm"`` a ratio with a belt. Lengths without a
    unit are mm.

    Raises
    ------
    EngineError
        If it is written in another way.
    """
    name, _, rest = (part.strip() for part in text.partition("="))
    drive, *more = (part.strip() for part in rest.split(","))
    part: dict[str, Any] = {"name": name}
    if found := re.fullmatch(_NUMBER, drive):
        part["ratio"] = float(drive)
    elif found := re.fullmatch(rf"({_NUMBER})\s*/\s*{_LENGTH}", drive, re.IGNORECASE):
        part["crank_pulley_mm"] = _millimetres(found[1], found[3])
        part["pulley_mm"] = _millimetres(found[2], found[3])
    else:
        raise _not_driven(text)
    for each in more:
        found = re.fullmatch(rf"(belt|crank pulley)\s+{_LENGTH}", each, re.IGNORECASE)
        if found is None:
            raise _not_driven(text)
        key = {"belt": "belt_length_mm", "crank pulley": "crank_pulley_mm"}[found[1].lower()]
        part[key] = _millimetres(found[2], found[3])
    return {"driven": [part]}


def limit(text: str) -> dict[str, Any]:
    """Return a maker's limit, such as `LIMIT_EXAMPLE`.

    Before the equals sign stands the key, run-outs with their surface (``runout rim``); then the
    number with its unit: ``135 ± 5 lbf ft``, ``130 to 140 lbf ft``, ``max 0.060 in``,
    ``min 105 lbf``; and after a comma where it stands written.

    Raises
    ------
    EngineError
        If it is written in another way, or a part is missing.
    """
    name, _, rest = (part.strip() for part in text.partition("="))
    numbers, _, source = (part.strip() for part in rest.partition(","))
    path = _key(name)
    found = _LIMIT.fullmatch(numbers[:_LONGEST])
    if found is None or _says_both(found):
        raise EngineError(f"limit {quoted(text)} is not understood; write it as {LIMIT_EXAMPLE!r}")
    if not found["unit"].strip():
        if comma := re.search(r"\d+,\d+", rest):
            raise EngineError(
                f"limit {quoted(text)}: a comma ends the number, so write {quoted(comma[0])} with "
                f"a decimal point, as in 0.5, and thousands without a comma"
            )
        raise EngineError(f"limit {quoted(text)} has no unit; write it as {LIMIT_EXAMPLE!r}")
    if not source:
        raise EngineError(
            f"limit {quoted(text)} does not say where it stands written; add that after a comma, "
            f"as in {LIMIT_EXAMPLE!r}"
        )
    one: dict[str, Any] = {**_numbers(path[0], found), "unit": found["unit"].strip()}
    one["source"] = source
    for key in reversed(path):
        one = {key: one}
    return {"limits": one}


def limit_names() -> list[str]:
    """Return what limits there are, as a person writes them."""
    return ["runout SURFACE", *(name for name in DIMENSIONS if name != "runout")]


def _says_both(found: "re.Match[str]") -> bool:
    """Say whether a bound stands before what is a range or a target already."""
    return bool((found["most"] or found["least"]) and (found["end"] or found["tolerance"]))


def _numbers(name: str, found: "re.Match[str]") -> dict[str, float]:
    number = float(found["number"])
    if found["end"]:
        return {"min": number, "max": float(found["end"])}
    if found["tolerance"]:
        return {"value": number, "tolerance": float(found["tolerance"])}
    if found["least"]:
        return {"min": number}
    # Of what should be nothing at all a bare number is the most that is allowed.
    return {"max" if found["most"] or name in GREATEST_ONLY else "value": number}


def merged(values: Mapping[str, Any], more: Mapping[str, Any]) -> dict[str, Any]:
    """Return values of an engine file with more of them.

    Raises
    ------
    EngineError
        If something is stated again that can be stated only once.
    """
    result = dict(values)
    for key, new in more.items():
        old = result.get(key)
        if old is None:
            result[key] = new
        elif key == "driven":
            result[key] = [*old, *new]
        elif key in _TABLES:
            result[key] = merged(old, new)
        else:
            raise EngineError(f"{key} is stated twice; state it once")
    return result


def _key(name: str) -> tuple[str, ...]:
    if surface := _RUNOUT.fullmatch(name):
        return "runout", surface[1]
    key = re.sub(r"[-\s]+", "_", name.lower())
    if key in DIMENSIONS and key != "runout":
        return (key,)
    raise EngineError(f"limit of {quoted(name)} is not known; known are {', '.join(limit_names())}")


def _millimetres(number: str, named: str | None) -> float:
    try:
        factor = 1e-3 if not named else unit(named, "length").factor
    except VibetrendError as error:
        raise EngineError(str(error)) from error
    return round(float(number) * factor * 1e3, 6)


def _not_driven(text: str) -> EngineError:
    return EngineError(
        f"driven part {quoted(text)} is not understood; write it as {DRIVEN_EXAMPLE!r} or "
        f"{PULLEYS_EXAMPLE!r}"
    )
