"""What a careful record would still hold, in plain sentences."""

from collections.abc import Iterable, Iterator, Sequence

from vibetrend.engine import Engine, Limits
from vibetrend.installation.belts import Belt
from vibetrend.installation.bolts import Bolt
from vibetrend.installation.checklist import BRIEFLY, Check
from vibetrend.installation.details import Details
from vibetrend.installation.marks import MARK_NAMES
from vibetrend.installation.reading import Reading
from vibetrend.installation.runout import RunOut
from vibetrend.installation.viscous import CASING_NAMES

SURFACES = ("rim", "face")  # of every damper; others where the maker has a limit for them
_MOST_NAMED = 8  # in a sentence, which is kept as one line of 500 characters at most
_LONGEST_NAME = 40
_OF_THE_OTHER = {  # readings that a damper of this type cannot have
    "rubber": {"casing": "casing thickness", "fluid": "fluid sample"},
    "viscous": {what: MARK_NAMES[what] for what in ("index-offset", "element-recess")},
}


def missing(
    readings: Sequence[Reading],
    checks: Sequence[Check],
    details: Details,
    *,
    engine: Engine,
    limits: Limits,
    as_found: bool,
    unsettled: Sequence[str],
    has_photo: bool,
) -> Iterator[str]:
    """Say what a record lacks; of a damper found on the engine, what can still be had.

    Parameters
    ----------
    limits : Limits
        All that are known.
    unsettled : sequence of str
        Belts not read again after run-in.
    """
    yield from _of_damper(details, engine, as_found)
    yield from _run_out(readings, limits)
    if not as_found:
        yield from _bolts(readings, limits)
    yield from _belts(readings, engine, unsettled)
    yield from _by_type(readings, engine.damper.type)
    yield from _limits_and_instruments(readings)
    yield from _checklist(checks)
    if not has_photo:
        yield "No photo is kept."


def _of_damper(details: Details, engine: Engine, as_found: bool) -> Iterator[str]:
    lacking = {"part number": details.part, "serial number": details.serial}
    if not as_found:
        lacking["who fitted it"] = details.who
    if names := _listed(name for name, value in lacking.items() if not value):
        yield f"Not noted of the damper: {names}."
    if engine.damper.type == "rubber" and details.made_on is None:
        yield "When the damper was made is not noted; rubber ages on the shelf."
    if engine.damper.type == "unknown":
        yield "The engine file does not say whether the damper is a rubber or a viscous one."


def _run_out(readings: Sequence[Reading], limits: Limits) -> Iterator[str]:
    read = [(each.name, each.details) for each in readings if isinstance(each.details, RunOut)]
    known = {name.casefold() for name, _ in read}
    wanted = dict.fromkeys((*SURFACES, *(name.casefold() for name in limits.runout)))
    if names := _listed(name for name in wanted if name not in known):
        yield f"No run-out is recorded of: {names}."
    if names := _listed(name for name, each in read if each.closing_error is None):
        yield f"The first station was not read again after the full turn: {names}."
    if names := _listed(
        name for name, each in read if "face" in name.casefold() and each.end_play_held is None
    ):
        yield (f"Whether the crank's end play was held to one side is not noted: {names}.")


def _bolts(readings: Sequence[Reading], limits: Limits) -> Iterator[str]:
    bolts = {each.entry_id: each.details for each in readings if isinstance(each.details, Bolt)}
    tightened = [bolt for bolt in bolts.values() if not bolt.recheck]
    if not bolts:
        yield "No bolt torque is recorded."
        return
    if names := _listed(bolt.name for bolt in tightened if not bolt.treatment):
        yield f"Whether the thread was dry, oiled or locked is not noted: {names}."
    if names := _listed(bolt.name for bolt in tightened if bolt.new is None):
        yield f"Whether the bolt is new or used again is not noted: {names}."
    yield from _same_place(tightened)
    if limits.bolt_angle and (names := _listed(b.name for b in tightened if b.angle is None)):
        yield f"The maker asks for an angle after the torque; none is noted: {names}."
    if len(tightened) == len(bolts):
        yield "No bolt was checked again after the first warm run."


def _same_place(tightened: Sequence[Bolt]) -> Iterator[str]:
    """Say which bolts have one place in the order of tightening; the latest word on each counts."""
    places: dict[int, list[str]] = {}
    for bolt in {each.name.casefold(): each for each in tightened}.values():
        if bolt.sequence is not None:
            places.setdefault(bolt.sequence, []).append(bolt.name)
    for place, names in sorted(places.items()):
        if len(names) > 1:
            yield (
                f"More than one bolt is entered as number {place} in the sequence: "
                f"{_listed(names)}; enter the wrong one again."
            )


def _belts(readings: Sequence[Reading], engine: Engine, unsettled: Sequence[str]) -> Iterator[str]:
    if engine.driven and not any(isinstance(each.details, Belt) for each in readings):
        names = _listed(part.name for part in engine.driven)
        yield f"No belt tension is recorded; the engine file names driven parts: {names}."
    if unsettled:
        yield (
            f"No tension after run-in is recorded of: {_listed(unsettled)}. A baseline is best "
            f"begun after the belt has been re-tensioned after run-in."
        )


def _by_type(readings: Sequence[Reading], damper: str) -> Iterator[str]:
    read = {each.name for each in readings if each.kind in ("mark", "casing", "fluid")}
    other = _OF_THE_OTHER.get(damper, {})
    if names := _listed(words for name, words in other.items() if name in read):
        yield (
            f"Entered of a damper that the engine file says is {damper}: {names}. A {damper} "
            f"damper has none of it: correct the entry or the engine file."
        )
    if damper == "rubber":
        wanted = ("index-offset", "element-recess")
        if names := _listed(MARK_NAMES[what] for what in wanted if what not in read):
            yield f"Not measured on this rubber damper: {names}."
    if damper == "viscous" and "casing" not in read:
        yield "The thickness of this viscous damper's casing is not recorded."


def _checklist(checks: Sequence[Check]) -> Iterator[str]:
    if names := _listed(BRIEFLY[each.item] for each in checks if each.done is None):
        yield f"Not noted as checked: {names}."
    if names := _listed(BRIEFLY[each.item] for each in checks if each.done is False):
        yield f"Noted as not done: {names}."


def _limits_and_instruments(readings: Sequence[Reading]) -> Iterator[str]:
    if names := _listed(called(each) for each in readings if each.state == "limit-unknown"):
        yield (
            f"The maker's limit is not in the engine file for: {names}. Write it there "
            f"with its unit and source."
        )
    if names := _listed(called(each) for each in readings if _no_instrument(each)):
        yield f"The instrument or its resolution is not noted for: {names}."


def called(reading: Reading) -> str:
    """Return what a reading is of, e.g. ``run-out of rim``."""
    match reading.kind:
        case "runout":
            return f"run-out of {reading.name}"
        case "mark":
            return MARK_NAMES[reading.name]
        case "casing":
            return CASING_NAMES[reading.what]
        case "fluid":
            return reading.what
        case _:
            return f"{reading.what} of {reading.name}"


def _no_instrument(reading: Reading) -> bool:
    if reading.quantity is None or reading.kind == "fluid" or reading.what == "angle":
        return False
    if isinstance(reading.details, Belt) and reading.details.by == "frequency":
        return reading.standard_error is None
    return not reading.instrument or reading.resolution is None


def _listed(names: Iterable[str]) -> str:
    """Name each once, in short."""
    short = [
        name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 3]}..."
        for name in dict.fromkeys(names)
    ]
    more = [f"and {len(short) - _MOST_NAMED} more"] * (len(short) > _MOST_NAMED)
    return ", ".join([*short[:_MOST_NAMED], *more])
