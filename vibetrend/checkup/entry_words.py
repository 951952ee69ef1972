"""An entry of the installation record in one short line: for the log, the list, a correction."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import fields

from vibetrend.engine import Limits
from vibetrend.errors import InstallationError
from vibetrend.installation import CHECKLIST, Content, Reading
from vibetrend.installation.digits import told
from vibetrend.installation.missing import called
from vibetrend.installation.reading import READING_KINDS, STAGE_WORDS, readings_of
from vibetrend.installation.record import content_of
from vibetrend.installation.sentences import step
from vibetrend.logbook import Entry
from vibetrend.quantities import ShownUnits

_UNREADABLE = "an entry that cannot be read"


def in_words(entry: Entry, readings: Sequence[Reading]) -> tuple[str, str]:
    """Return an entry in one short line, and the person's own words beside it.

    Parameters
    ----------
    readings : sequence of Reading
        What the entry holds; empty of one that is no reading, or cannot be read.
    """
    if readings:
        return "; ".join(map(_read, readings)), readings[0].note
    if entry.kind in BESIDE:
        with suppress(InstallationError):  # told below
            return BESIDE[entry.kind](content_of(entry))
    return f"{_UNREADABLE} ({ascii(entry.kind)[1:-1]})", ""


def by_itself(entry: Entry) -> str:
    """Return an entry in one line without its record, which leaves out what was set aside."""
    words, own = in_words(entry, _readings(entry))
    if entry.kind in BESIDE and not words.startswith(_UNREADABLE):
        words = f"{entry.kind}, {words}" if words else entry.kind
    between = ": " if words == entry.kind else "; "
    return f"{words}{between}{own}" if own else words


def _readings(entry: Entry) -> Sequence[Reading]:
    if entry.kind not in READING_KINDS:
        return ()
    nothing = Limits()  # what was read does not depend on them
    try:
        return readings_of(entry, limits_then=nothing, limits_now=nothing)
    except (InstallationError, ArithmeticError):  # damaged: `in_words` says that it is
        return ()


def _read(reading: Reading) -> str:
    """Return what was read, e.g. ``run-out of rim: 0.22 mm``, in the unit it was read in."""
    stage = STAGE_WORDS.get(reading.stage, reading.stage)
    name = ", ".join(filter(None, (called(reading), stage)))
    if reading.quantity is None:
        return f"{name}: no value"
    read_in = reading.quantity.unit
    as_read = ShownUnits(
        **{each.name: read_in for each in fields(ShownUnits) if each.name == read_in.dimension}
    )
    return f"{name}: {told(reading.quantity, as_read, step(reading))}"


def _check(content: Content) -> tuple[str, str]:
    point = CHECKLIST[content["item"]].rstrip(".")
    answer = "done" if content["done"] else "not done"
    return f"{answer}: {point[:1].lower()}{point[1:]}", content["note"]


def _details(content: Content) -> tuple[str, str]:
    names = {"part": "part", "serial": "serial number", "who": "fitted by", "notes": ""}
    own = [f"{words} {content[key]}".strip() for key, words in names.items() if content[key]]
    made = content["made_on"]
    return f"made on {made}" if made else "of the damper", ", ".join(own)


def _photo(content: Content) -> tuple[str, str]:
    return f"kept as {content['sha256'][:12]}", content["caption"] or content["name"]


def _note(content: Content) -> tuple[str, str]:
    return "", content["text"]


def _finish(content: Content) -> tuple[str, str]:
    count = len(content["missing"])
    lacking = f"{count} point{'s' * (count != 1)} of a careful record missing then"
    return f"record finished, {lacking if count else 'nothing missing'}", content["note"]


BESIDE: Mapping[str, Callable[[Content], tuple[str, str]]] = {
    "details": _details, "check": _check, "photo": _photo, "note": _note, "finish": _finish,
}  # fmt: skip
"""The kinds of entries that are no readings."""
