"""The installation record in plain words: what was kept, how it stands, what is next."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from vibetrend.cli.words import wrapped
from vibetrend.quantities import ShownUnits
from vibetrend.trend.advice import CAUTIONS

if TYPE_CHECKING:
    from vibetrend.checkup.installing import Kept
    from vibetrend.installation import Record
    from vibetrend.logbook import Installation

ISOLATE, _, STANDS_ABOVE = CAUTIONS
_BY_HAND = ("runout", "bolt", "belt", "mark", "casing", "fluid", "check")
_BEYOND = {
    "runout": "look for dirt, burrs and a mistake in reading, put it right and read again",
    "bolt": "tighten it as the maker says, and enter it again",
    "belt": "set it as the maker says, and read again",
}


def kept_words(kept: "Kept", shown: ShownUnits) -> str:
    """Return what was kept, how it stands against the maker's limit, and what is next."""
    lines = wrapped(_what(kept))
    for each in said_of(kept, shown):
        lines += wrapped(each, indent="  ", hanging="  ")
    for remark in kept.remarks:
        lines += wrapped(f"Mind: {remark}", indent="  ")
    lines += ["", *wrapped(f"Next: {next_step(kept)}")]
    if kept.entry.kind in _BY_HAND:
        lines += wrapped(ISOLATE)
    return "\n".join(lines)


def _what(kept: "Kept") -> str:
    entry = kept.entry
    whose = f"for {kept.engine}, damper of {kept.record.date}"
    named = f"{_named(entry.kind, entry.content)}, {entry.date}"
    if entry.duplicate:
        return f"In the record already {whose}: {named}; nothing changed."
    return f"Kept {whose}: {named}."


def _named(kind: str, content: dict[str, object]) -> str:
    match kind:
        case "runout":
            return f"run-out of {content['surface']}"
        case "bolt":
            return f"bolt {content['name']}"
        case "belt":
            return f"belt {content['belt']}"
        case "mark":
            return str(content["what"]).replace("-", " ")
        case "check":
            return f"check {content['item']} {'done' if content['done'] else 'NOT done'}"
        case "photo":
            return f"photo {content['name']}"
        case "fluid":
            return "fluid sample"
        case "finish":
            return "the job is closed"
        case _:
            return kind


def said_of(kept: "Kept", shown: ShownUnits) -> list[str]:
    """Return the sentences that an entry's readings say, and what its belt kept of its tension."""
    from vibetrend.installation import drop_sentence, sentence
    from vibetrend.installation.sentences import mark_change_sentence

    said = [sentence(each, shown) for each in kept.readings]
    names = {each.name.casefold() for each in kept.readings}
    if kept.entry.kind == "belt" and kept.entry.content["stage"] == "after-run-in":
        said += [
            drop_sentence(each, shown)
            for each in kept.record.belt_drops
            if each.belt.casefold() in names
        ]
    if kept.entry.kind == "mark":
        said += [
            mark_change_sentence(each, shown)
            for each in kept.record.marks_moved
            if each.what in names
        ]
    return said


def next_step(kept: "Kept") -> str:
    """Return what is to be done next, in a sentence or two."""
    kind, record = kept.entry.kind, kept.record
    beyond = [each for each in kept.readings if each.state == "beyond"]
    if beyond:
        what = _BEYOND.get(kind, "find out why, and ask the maker")
        return f"beyond the maker's limit: {what} before the engine is run."
    if kind == "finish":
        return _after_the_job(record)
    if kind == "belt" and record.belts_settled is False:
        return (
            "run it in as the maker says, re-tension it, and enter that with --stage "
            "after-run-in; a baseline is best begun after it."
        )
    if not record.missing:
        return "nothing is missing; close the job: vibetrend installation finish"
    if record.finished is not None:
        return f"the record still lacks {_count(record.missing)}."
    return (
        f"the record still lacks {_count(record.missing)}, as vibetrend installation show "
        f"lists; first: {record.missing[0]}"
    )


def _after_the_job(record: "Record") -> str:
    from vibetrend.checkup.dampers import beyond_limit

    if beyond := beyond_limit(record):
        return (
            f"beyond the maker's limit is: {', '.join(beyond)}. Put it right and read again before "
            f"the engine is run."
        )
    if record.belts_settled is False:
        return "when the belt is re-tensioned after run-in, enter that, then take the baseline."
    return (
        "take the baseline: three days of three placements each, phone off and on in "
        "between, added with --baseline."
    )


def finish_words(kept: "Kept") -> str:
    """Return that a job is closed, and what its record lacks."""
    lines = wrapped(_what(kept))
    missing = kept.record.missing
    if missing:
        lines += [f"It lacks {_count(missing)}, which may be added afterwards:"]
        for each in missing:
            lines += wrapped(f"- {each}", indent="  ")
    else:
        lines += ["Nothing is missing."]
    return "\n".join([*lines, "", *wrapped(f"Next: {next_step(kept)}"), *wrapped(STANDS_ABOVE)])


def record_words(
    name: str, every: "Sequence[tuple[Installation, Record]]", shown: ShownUnits
) -> str:
    """Return the record of every damper an engine had, the latest last."""
    blocks = ["\n".join(_damper(name, one, record, shown)) for one, record in every]
    return "\n\n".join([*blocks, "\n".join(wrapped(STANDS_ABOVE))])


def _damper(name: str, one: "Installation", record: "Record", shown: ShownUnits) -> list[str]:
    from vibetrend.checkup.dampers import beyond_limit
    from vibetrend.installation import drop_sentence, moved_sentence, sentence
    from vibetrend.installation.sentences import mark_change_sentence

    title = f"{name}: damper of {record.date}"
    since = f"{'found on the engine' if record.as_found else 'fitted'} at {hours_words(one)}"
    until = "" if one.until is None else f", until {one.until} ({one.until_hours:g} h in all)"
    lines = [title, "-" * len(title), *wrapped(f"{since}{until}".capitalize() + ".")]
    lines += [line for each in _details(record) for line in wrapped(each)]
    said = [f"{each.date}  {sentence(each, shown)}" for each in record.readings]
    said += [f"{each.date}  Photo {each.name}. {each.caption}".strip() for each in record.photos]
    said += [f"{each.date}  {each.text}" for each in record.notes]
    lines += _listed("Readings and notes", sorted(said, key=lambda text: text[:10]))
    compared = [drop_sentence(each, shown) for each in record.belt_drops]
    compared += [moved_sentence(each, shown) for each in record.moved]
    compared += [mark_change_sentence(each, shown) for each in record.marks_moved]
    lines += _listed("Compared", compared)
    answers = {True: "done", False: "NOT done", None: "not noted"}
    checks = [
        f"{each.sentence} {answers[each.done]}. {each.note}".strip() for each in record.checks
    ]
    lines += _listed("Checked", checks)
    lines += _listed("Beyond the maker's limit, by the latest reading", beyond_limit(record))
    lines += _listed("Still missing", record.missing)
    if record.finished is not None:
        who = f" by {record.finished.person}" if record.finished.person else ""
        lines += ["", *wrapped(f"Finished on {record.finished.date}{who}. {record.finished.note}")]
    return lines


def _details(record: "Record") -> list[str]:
    known = record.details
    facts = {
        "part": known.part,
        "serial": known.serial,
        "made on": known.made_on and str(known.made_on),
        "years count from": known.made_on and f"the day it was {known.counts_from}",
        "by": known.who,
    }
    said = "; ".join(f"{name} {fact}" for name, fact in facts.items() if fact)
    return [each for each in (f"{said}." if said else "", known.notes) if each]


def _listed(title: str, items: Sequence[str]) -> list[str]:
    if not items:
        return []
    return ["", f"{title}:", *(line for each in items for line in wrapped(each, indent="  "))]


def hours_words(one: "Installation") -> str:
    """Return the hours a damper was fitted at, as the person read them."""
    from vibetrend.logbook.hours import in_words

    return in_words(one.hours, one.meter_hours)


def _count(missing: Sequence[str]) -> str:
    return f"{len(missing)} thing{'s' if len(missing) != 1 else ''}"
